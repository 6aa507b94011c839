"""The printed mat, measured on its rendering by poppler: scale, markers, colour, labels."""

import subprocess
from pathlib import Path

import numpy as np
import pytest

from benchguide.bundled import procedures_folder
from benchguide.camera.mat_layout import FILL_RGB, MARKER_MM, PAPERS, mat_layout
from benchguide.camera.mat_markers import marker_modules
from benchguide.camera.mat_plane import fit_plane
from benchguide.procedure.shelf import Shelf
from benchguide.session.ledger import Ledger, take_off
from benchguide.window.print_labels import cell_labels, expected_cells, parts_of_job
from benchguide.window.print_mat import print_mat, write_mat

PPM = 20.0


def raster(pdf: Path, ppm: float = PPM, page: int = 1) -> np.ndarray:
    """Grey levels of one page, rendered by poppler at `ppm` pixels a millimetre."""
    out = subprocess.run(
        ["pdftoppm", "-gray", "-r", f"{ppm * 25.4:.4f}", "-f", str(page), "-l", str(page), str(pdf)],
        check=True, capture_output=True,
    ).stdout  # fmt: skip
    _, size, _, data = out.split(b"\n", 3)
    width, height = (int(n) for n in size.split())
    return np.frombuffer(data, np.uint8).reshape(height, width)


@pytest.fixture(scope="module")
def mats(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("mats")
    for paper in PAPERS:
        write_mat(mat_layout(paper), folder / f"{paper}.pdf", "Test")
    return {paper: folder / f"{paper}.pdf" for paper in PAPERS}


@pytest.fixture(scope="module")
def shelf() -> Shelf:
    return Shelf((procedures_folder(),))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_scale_bar_is_100_mm(mats, paper):
    page = raster(mats[paper])
    x, y, length = mat_layout(paper).bar
    line = page[round((y - 0.15) * PPM)] < 128
    # words stand on the same height on both sides; the bar is the longest unbroken run
    runs = np.split(np.flatnonzero(line), np.flatnonzero(np.diff(np.flatnonzero(line)) > 1) + 1)
    dark = max(runs, key=len)
    assert (dark[-1] - dark[0] + 1) / PPM == pytest.approx(100.0, abs=0.1)
    assert length == 100.0
    assert dark[0] / PPM == pytest.approx(x, abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
def test_every_module_of_every_marker_is_where_it_belongs(mats, paper):
    page = raster(mats[paper])
    for marker, box in mat_layout(paper).markers.items():
        for row, line in enumerate(marker_modules(marker)):
            for column, black in enumerate(line):
                x = (box.x + (column + 0.5) * MARKER_MM / 7) * PPM
                y = (box.y + (row + 0.5) * MARKER_MM / 7) * PPM
                assert (page[int(y), int(x)] < 128) == black, (marker, row, column)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_reader_finds_the_printed_page_at_its_true_scale(mats, paper):
    from benchguide.camera.mat_markers import one_mat

    page = raster(mats[paper], 8.0)
    markers = one_mat(page)
    assert markers.paper == paper
    assert set(markers.corners) == set(mat_layout(paper).markers)
    plane = fit_plane(markers, (page.shape[1], page.shape[0]))
    assert plane.px_per_mm((100.0, 70.0)) == pytest.approx(8.0, rel=0.001)
    assert plane.rms_mm < 0.03


def test_cells_are_filled_to_their_edges_and_nothing_is_printed_in_them(mats):
    page = raster(mats["A5"])
    fill = round(float(np.array(FILL_RGB) @ [0.299, 0.587, 0.114]))
    for box in [*mat_layout("A5").cells.values(), mat_layout("A5").measuring]:
        x, y = round(box.x * PPM), round(box.y * PPM)
        inside = page[y + 2 : y + round(box.h * PPM) - 2, x + 2 : x + round(box.w * PPM) - 2].astype(int)
        assert abs(inside - fill).max() <= 3
        middle = y + round(box.h * PPM / 2)
        assert page[middle, x - 3] > 240
        assert page[middle, x + round(box.w * PPM) + 3] > 240


def test_labels_say_which_parts_lie_where(shelf):
    entry = shelf.procedure("gloamreed-tuning-wheel")
    device, procedure = entry.device.model, entry.loaded.model
    labels = cell_labels(device, parts_of_job(device, procedure))
    screws = device.by_id["screws-back"]
    (line,) = labels[screws.cell].lines
    assert line.endswith(": 10 × M2 × 8")
    assert line[0].isalpha()
    assert all(label.lines for label in labels.values())


def test_printing_for_a_job_takes_the_smallest_paper_that_has_its_cells(shelf, tmp_path):
    small = shelf.procedure("gloamreed-tuning-wheel")
    assert print_mat(small.device.model, small.loaded.model, tmp_path / "a.pdf") == "A5"
    text = subprocess.run(
        ["pdftotext", str(tmp_path / "a.pdf"), "-"], check=True, capture_output=True, text=True
    ).stdout
    assert "10 × M2 × 8" in text
    assert "Parts mat A5" in text
    assert small.loaded.model.title in text


def test_a_cell_that_the_paper_lacks_is_refused(shelf, tmp_path):
    entry = next(e for e in shelf.procedures() if e.usable and e.loaded.model.device == "thrumwell")
    device = entry.device.model
    parts = [part.model_copy(update={"cell": "F8"}) if part.screws else part for part in device.parts]
    large = device.model_copy(update={"parts": tuple(parts)})
    with pytest.raises(ValueError, match=r"A5 mat has no cell [A-F][0-9]"):
        print_mat(large, entry.loaded.model, tmp_path / "a.pdf", "A5")
    assert not list(tmp_path.iterdir())
    with pytest.raises(ValueError, match="Choose one of"):
        print_mat(device, entry.loaded.model, tmp_path / "a.pdf", "A9")


def test_a_folder_that_is_not_there_is_one_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        write_mat(mat_layout("A5"), tmp_path / "none" / "a.pdf", "Test")


def test_what_the_ledger_says_becomes_what_the_reader_expects(shelf):
    entry = shelf.procedure("gloamreed-tuning-wheel")
    device = entry.device.model
    screws = device.by_id["screws-front"]
    ledger = take_off(Ledger(), screws.id, 2, screws.cell, "s1")
    ledger = take_off(ledger, "name-badge", 1, "A2", "s2")
    expected = expected_cells(device, ledger, mat_layout("A5"))
    assert expected[screws.cell].count == 2
    assert len(expected[screws.cell].lengths_mm) == 2
    low, high = expected[screws.cell].lengths_mm[0]
    assert low < 6 + 1.3 < high
    assert (expected["A2"].count, expected["A2"].others) == (1, 1)
    assert expected["D6"].count == 0
