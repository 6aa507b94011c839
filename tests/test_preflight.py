"""benchguide.preflight on this real machine, and on states that this machine is not in."""

import importlib.metadata
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchguide import preflight
from benchguide.preflight import Camera, Finding

PROJECT = Path(__file__).resolve().parent.parent


def test_this_machine_is_looked_at_whole_and_nothing_is_left_behind(tmp_path: Path) -> None:
    folder = tmp_path / "not" / "there"
    findings = preflight.checks(folder)
    names = [finding.name for finding in findings]
    expected = [
        "Python",
        "PySide6",
        "Qt libraries",
        "Display",
        "Cameras",
        "Disk room",
        "Data folder",
        "Sound",
    ]
    if sys.platform == "linux":
        assert names[-1] == "Foot switch"
    some = ("Microphone", "Microphone volume", "Foot switch")
    assert [name for name in names if name not in some] == [*expected, "Speech", "Spoken commands"]
    assert list(tmp_path.iterdir()) == []
    for finding in findings:
        assert finding.sentence.endswith("."), finding
        assert bool(finding.mend) == (finding.state != "fine"), finding
        assert json.loads(json.dumps(finding.as_dict()))["state"] == finding.state


def test_the_module_loads_neither_qt_nor_opencv() -> None:
    code = "import sys, benchguide.preflight; print({'PySide6', 'cv2', 'numpy'} & set(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "set()"


def test_any_missing_decides_the_exit_code() -> None:
    fine, warning = Finding("a", "fine", "."), Finding("b", "warning", ".", "x")
    assert not preflight.any_missing([fine, warning])
    assert preflight.any_missing([fine, Finding("c", "missing", ".", "x")])


# ---- Python and Qt ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("version", "state"), [((3, 10, 14), "missing"), ((3, 11, 0), "fine"), ((3, 14), "fine")]
)
def test_python_version(version: tuple[int, ...], state: str) -> None:
    assert preflight.python(version).state == state


@pytest.mark.parametrize(
    ("version", "state"),
    [("6.6.3", "missing"), ("6.7.0", "fine"), ("6.11.1", "fine"), ("6.12.0", "missing"), ("6.12.1", "fine")],
)
def test_pyside6_version(version: str, state: str) -> None:
    finding = preflight.pyside6(lambda _: version)
    assert finding.state == state
    assert ("!=6.12.0" in finding.mend) == (state == "missing")


def test_pyside6_absent() -> None:
    def absent(name: str) -> str:
        raise importlib.metadata.PackageNotFoundError(name)

    assert preflight.pyside6(absent).state == "missing"


LDD_OUTPUT = """\
/x/PySide6/Qt/plugins/platforms/libqxcb.so:
\tlinux-vdso.so.1 (0x00007ffd4b3f2000)
\tlibQt6Gui.so.6 => /x/PySide6/Qt/lib/libQt6Gui.so.6 (0x00007f8a4c000000)
\tlibxcb-cursor.so.0 => not found
\tlibEGL.so.1 => not found
/x/PySide6/QtMultimedia.abi3.so:
\tlibEGL.so.1 => not found
"""
LOADER_OUTPUT = "ImportError: libpulse.so.0: cannot open shared object file: No such file or directory\n"


def test_missing_libraries_are_read_from_both_tools_and_named_once() -> None:
    assert preflight.missing_libraries(LDD_OUTPUT) == ["libxcb-cursor.so.0", "libEGL.so.1"]
    assert preflight.missing_libraries(LOADER_OUTPUT) == ["libpulse.so.0"]
    assert preflight.missing_libraries("") == []


def test_the_real_loader_is_understood() -> None:
    code = "import ctypes; ctypes.CDLL('libbenchguide-nowhere.so.1')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert preflight.missing_libraries(done.stderr) == ["libbenchguide-nowhere.so.1"]


def test_a_needed_library_is_missing_a_useful_one_is_a_warning() -> None:
    needed = preflight.qt_libraries_finding(["libEGL.so.1"], ["libspeechd.so.2"])
    assert (needed.state, needed.mend) == ("missing", "sudo apt-get install libegl1 libspeechd2")
    useful = preflight.qt_libraries_finding([], ["libspeechd.so.2"])
    assert (useful.state, useful.mend) == ("warning", "sudo apt-get install libspeechd2")
    unknown = preflight.qt_libraries_finding(["libunheard-of.so.9"], [])
    assert "libunheard-of.so.9" in unknown.sentence
    assert "apt-get" not in unknown.mend


def test_setup_installs_what_preflight_can_miss() -> None:
    """Every package preflight may name is in the table of .ci/setup, or comes with one that is."""
    lines = (PROJECT / ".ci" / "setup").read_text(encoding="utf-8").splitlines()
    table = {line.split("|")[0].strip() for line in lines if "| run " in line}
    comes_with = {"libxcb1", "libxcb-render0", "libxcb-util1", "libwayland-client0", "libice6"}
    assert set(preflight.PACKAGE_OF_LIBRARY.values()) - comes_with <= table


@pytest.mark.skipif(sys.platform != "linux", reason="ldd is a tool of Linux")
def test_every_file_looked_at_exists_in_the_installed_pyside6() -> None:
    import PySide6

    folder = Path(PySide6.__file__).parent
    for name in preflight._NEEDED:
        assert (folder / name).exists(), name
    for pattern in preflight._USEFUL:
        assert list(folder.glob(pattern)), pattern


# ---- display ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("environment", "platform", "state"),
    [
        ({}, "linux", "missing"),
        ({"DISPLAY": ""}, "linux", "missing"),
        ({"DISPLAY": ":0"}, "linux", "fine"),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", "fine"),
        ({"QT_QPA_PLATFORM": "offscreen"}, "linux", "fine"),
        ({}, "darwin", "fine"),
    ],
)
def test_display(environment: dict[str, str], platform: str, state: str) -> None:
    assert preflight.display(environment, platform).state == state


# ---- cameras ------------------------------------------------------------------------------------------


def _node(listing: Path, devices: Path, number: int, name: str, index: int) -> None:
    node = listing / f"video{number}"
    node.mkdir(parents=True)
    (node / "name").write_text(name + "\n")
    (node / "index").write_text(f"{index}\n")
    devices.mkdir(exist_ok=True)
    (devices / node.name).touch()


def test_linux_cameras_are_named_once_in_order(tmp_path: Path) -> None:
    listing, devices = tmp_path / "class", tmp_path / "dev"
    _node(listing, devices, 10, "Overhead camera", 0)
    _node(listing, devices, 2, "Side camera", 0)
    _node(listing, devices, 3, "Side camera", 1)
    found = preflight.linux_cameras(listing, devices)
    assert [(each.name, Path(each.path).name) for each in found] == [
        ("Side camera", "video2"),
        ("Overhead camera", "video10"),
    ]
    assert all(each.may_open for each in found)


def test_a_camera_whose_device_cannot_be_opened(tmp_path: Path) -> None:
    _node(tmp_path / "class", tmp_path / "dev", 0, "Overhead camera", 0)
    (tmp_path / "dev" / "video0").unlink()
    finding = preflight.camera(lambda: preflight.linux_cameras(tmp_path / "class", tmp_path / "dev"))
    assert finding.state == "warning"
    assert "Overhead camera" in finding.sentence
    assert "usermod" in finding.mend


def test_no_camera_is_a_warning_because_the_simulated_bench_remains(tmp_path: Path) -> None:
    assert preflight.linux_cameras(tmp_path / "none") == []
    assert preflight.camera(list).state == "warning"
    assert preflight.camera(lambda: [Camera("Overhead camera", "0")]).state == "fine"


# ---- data folder --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("free", "state"),
    [(0, "missing"), (199_999_999, "missing"), (200_000_000, "warning"), (2_000_000_000, "fine")],
)
def test_disk_room(tmp_path: Path, free: int, state: str) -> None:
    assert preflight.data_room(tmp_path, lambda _: free).state == state


def test_disk_room_of_this_disk_is_that_of_statvfs(tmp_path: Path) -> None:
    measured = os.statvfs(tmp_path)
    gigabytes = measured.f_bavail * measured.f_frsize / 1e9
    told = float(preflight.data_room(tmp_path / "later").sentence.split(" GB")[0])
    assert told == pytest.approx(gigabytes, abs=0.5)


def test_a_data_folder_that_takes_data(tmp_path: Path) -> None:
    assert preflight.data_writable(tmp_path).state == "fine"
    assert preflight.data_writable(tmp_path / "later" / "still").state == "fine"
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_the_data_folder(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("not a folder")
    assert preflight.data_writable(tmp_path / "data" / "inside").state == "missing"


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder closed even to root")
def test_a_folder_that_takes_no_files() -> None:
    finding = preflight.data_writable(Path("/proc/self"))
    assert finding.state == "missing"
    assert "Nothing can be written" in finding.sentence


# ---- sound and speech ---------------------------------------------------------------------------------


def test_a_sound_system_that_does_not_answer_is_told_in_time() -> None:
    findings = preflight.sound(seconds=0.001)
    assert [finding.state for finding in findings] == ["warning"]
    assert "did not answer" in findings[0].sentence


@pytest.mark.parametrize(
    ("outputs", "inputs", "states"),
    [
        ([], [], ["warning", "warning"]),
        (["Loudspeaker"], [], ["fine", "warning"]),
        (["a"], ["b"], ["fine", "fine"]),
    ],
)
def test_sound_devices(outputs: list[str], inputs: list[str], states: list[str]) -> None:
    assert [finding.state for finding in preflight.sound_findings(outputs, inputs)] == states


def test_speech_service() -> None:
    assert preflight.speech("linux", lambda _: None).state == "warning"
    assert preflight.speech("linux", lambda name: f"/usr/bin/{name}").state == "fine"
    assert preflight.speech("win32", lambda _: None).state == "fine"
