"""The command line as a person types it: exit codes, one sentence for bad input, data as JSON."""

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchguide.bundled import procedures_folder
from benchguide.cli import main

ROOT = Path(__file__).parents[1]


@pytest.fixture
def runner() -> CliRunner:
    return CliRunner()


def test_check_of_the_bundled_files_is_clean(runner: CliRunner) -> None:
    result = runner.invoke(main, ["check"])
    assert (result.exit_code, result.output.strip()) == (0, "No findings.")


def test_check_names_file_line_and_remedy_and_ends_with_2_for_unusable_files(
    runner: CliRunner, tmp_path: Path
) -> None:
    bad = tmp_path / "x.device.yaml"
    bad.write_text(
        "benchguide: device/1\nid: x\nname: X\nabout: A\noutline: {width_mm: -1, height_mm: 2}\nparts: []\n"
    )
    result = runner.invoke(main, ["check", str(bad)])
    assert result.exit_code == 2
    assert f"{bad}:5:" in result.output
    assert "Traceback" not in result.output


def test_check_ends_with_1_when_a_rule_is_broken(runner: CliRunner, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    for source in (ROOT / "procedures" / "gloamreed").iterdir():
        (folder / source.name).write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    path = folder / "tuning-wheel.procedure.yaml"
    text = path.read_text(encoding="utf-8")
    start = text.index("  - id: back-main-board")
    end = text.index("  - id: ", start + 10)
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    result = runner.invoke(main, ["check", str(folder), "--json"])
    assert result.exit_code == 1
    assert any("main-board" in json.dumps(found) for found in json.loads(result.output))


def test_check_prints_its_rules(runner: CliRunner) -> None:
    rows = json.loads(runner.invoke(main, ["check", "--rules", "--json"]).output)
    assert len(rows) >= 15
    assert all(row["sentence"] and row["reason"] and row["example"] for row in rows)


def test_plan_gives_the_way_in_and_says_what_forbids_it(runner: CliRunner) -> None:
    found = json.loads(runner.invoke(main, ["plan", "gloamreed", "--to", "wheel-module", "--json"]).output)
    assert "wheel-module" in json.dumps(found)
    kept = runner.invoke(main, ["plan", "gloamreed", "--to", "wheel-module", "--keep", "main-board"])
    assert kept.exit_code == 1
    assert "main board" in kept.output.lower()
    unknown = runner.invoke(main, ["plan", "gloamreed", "--to", "whel-module"])
    assert unknown.exit_code == 2
    assert "Traceback" not in unknown.output


@pytest.mark.parametrize("kind", ["device", "procedure"])
def test_schema_is_written(runner: CliRunner, tmp_path: Path, kind: str) -> None:
    out = tmp_path / "schema.json"
    assert runner.invoke(main, ["schema", kind, "-o", str(out)]).exit_code == 0
    assert json.loads(out.read_text())["$schema"].startswith("https://json-schema.org/")


def test_missing_data_folder_is_one_sentence_and_2(runner: CliRunner, tmp_path: Path) -> None:
    for command in ("records", "verify"):
        result = runner.invoke(main, [command, "--data", str(tmp_path / "nothing")])
        assert result.exit_code == 2
        assert result.output.strip()
        assert "Traceback" not in result.output


def test_preflight_as_json(runner: CliRunner, tmp_path: Path) -> None:
    result = runner.invoke(main, ["preflight", "--json", "--data", str(tmp_path)])
    assert result.exit_code in (0, 1)
    assert {"name", "state", "sentence", "mend"} <= set(json.loads(result.output)[0])


@pytest.mark.timeout(300)
def test_the_unattended_demo_leaves_a_verified_record(runner: CliRunner, tmp_path: Path) -> None:
    out = tmp_path / "demo"
    ran = subprocess.run(
        [sys.executable, "-m", "benchguide.cli", "demo", "--unattended", "--out", str(out)],
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=280,
    )
    assert ran.returncode == 0, ran.stderr
    rows = json.loads(runner.invoke(main, ["records", "--data", str(out), "--json"]).output)
    assert [(row["job"], row["state"]) for row in rows] == [("J-2041", "finished")]
    verified = runner.invoke(main, ["verify", "--data", str(out)])
    assert verified.exit_code == 0, verified.output
    report = runner.invoke(main, ["report", "J-2041", "--data", str(out), "-o", str(tmp_path / "r")])
    assert report.exit_code == 0, report.output
    _shows_what_was_seen(out)
    again = runner.invoke(main, ["demo", "--unattended", "--out", str(out)])
    assert again.exit_code == 2
    assert "not empty" in again.output
    _tamper(out)
    assert runner.invoke(main, ["verify", "--data", str(out)]).exit_code == 1


def _shows_what_was_seen(out: Path) -> None:
    """The demo has one poor photo that was taken anew, and one difference that was mended; nothing else differs."""
    (table,) = (out / "report").glob("*_seen.csv")
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    poor = [row for row in rows if row["kind"] == "poor photo"]
    assert [(row["step"], row["told"]) for row in poor] == [("in-audio-link", "hidden by glare")]
    assert poor[0]["answer"] == "a better one was taken after it"
    told = [row for row in rows if row["kind"] == "difference"]
    assert [(row["step"], row["answer"]) for row in told] == [("back-coax-snaps", "mended")]
    assert not [row["told"] for row in rows if row["told"].startswith("Cannot tell")]
    page = next((out / "report").glob("*.html")).read_text(encoding="utf-8")
    assert page.count('class="mark"') == 4
    assert "Poor: hidden by glare" in page


def _tamper(folder: Path) -> None:
    photo = next(iter(sorted((folder / "photos").rglob("*.jpg"))))
    data = bytearray(photo.read_bytes())
    data[-100] ^= 1
    photo.chmod(0o644)
    photo.write_bytes(bytes(data))


def test_write_out_gives_a_file_that_checks_clean(runner: CliRunner, tmp_path: Path) -> None:
    source = procedures_folder() / "thrumwell" / "heat-pad.procedure.yaml"
    for name in ("heat-pad.procedure.yaml", "thrumwell.device.yaml"):
        (tmp_path / name).write_text((source.parent / name).read_text(encoding="utf-8"), encoding="utf-8")
    out = tmp_path / "own.procedure.yaml"
    result = runner.invoke(main, ["write-out", str(tmp_path / source.name), "-o", str(out)])
    assert result.exit_code == 0, result.output
    (tmp_path / source.name).unlink()
    assert runner.invoke(main, ["check", str(tmp_path)]).exit_code == 0
    again = runner.invoke(main, ["write-out", str(out)])
    assert again.exit_code == 2
    assert "written out already" in again.stderr


def test_photo_check_and_compare_name_what_cannot_be_read(runner: CliRunner, tmp_path: Path) -> None:
    text = tmp_path / "notes.jpg"
    text.write_text("no picture")
    for words in (["photo-check", str(text)], ["compare", str(text), str(text)], ["mat", "read", str(text)]):
        result = runner.invoke(main, words)
        assert result.exit_code == 2, words
        assert "notes.jpg" in result.stderr
        assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("words", "page"),
    [(["mat", "print", "gloamreed-tuning-wheel"], "mat.pdf"), (["map", "print", "gloamreed"], "map.pdf")],
)
def test_mat_and_map_are_printed(runner: CliRunner, tmp_path: Path, words: list[str], page: str) -> None:
    out = tmp_path / page
    result = runner.invoke(main, [*words, "-o", str(out)])
    assert result.exit_code == 0, result.output
    assert out.read_bytes().startswith(b"%PDF")
    assert "100 %" in result.output


def test_listen_rates_a_phrase_and_wants_one_thing(runner: CliRunner) -> None:
    result = runner.invoke(main, ["listen", "--rate", "next stop", "--json"])
    assert result.exit_code == 0, result.output
    nearest = json.loads(result.output)[0]
    assert nearest["words"] == "next step"
    assert nearest["too_near"]
    assert runner.invoke(main, ["listen"]).exit_code == 2
