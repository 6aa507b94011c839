"""The mat read back from rendered pictures of the printed page, and every way in which it cannot be read."""

import time
from dataclasses import replace

import numpy as np
import pytest

from benchguide.camera.mat_check import Expected, Verdict
from benchguide.camera.mat_layout import MatLayout, mat_layout
from benchguide.camera.mat_markers import NoMat
from benchguide.camera.mat_reading import measure_screw, read_cell, read_mat
from benchguide.camera.opencv import cv2
from tests.camera.mat_scene import Piece, Pinhole, Scene, View, make_scene, page_raster, photograph

VIEW = View(
    (1600, 900), 68.0, 208.0, (105, 74), (0.04, -0.06), 3.0, -0.06, 0.6, 2.0, 88, 0.3, 0.7, True, True
)


@pytest.fixture(scope="module")
def layout() -> MatLayout:
    return mat_layout("A5")


@pytest.fixture(scope="module")
def page(layout, tmp_path_factory) -> np.ndarray:
    from benchguide.window.print_mat import write_mat

    folder = tmp_path_factory.mktemp("mat")
    write_mat(layout, folder / "mat.pdf", "Test")
    return page_raster(folder / "mat.pdf", folder)


@pytest.fixture(scope="module")
def scene(layout, page) -> Scene:
    wanted = {"A3", "B2", "B3", "C4", "D6", "C1"}
    return make_scene(12, layout, page, VIEW, counts=(2, 4), screws_only=True, only=wanted)


@pytest.fixture(scope="module")
def bare(layout, page) -> np.ndarray:
    return photograph(np.random.default_rng(1), page, layout, VIEW, [])


@pytest.fixture(scope="module")
def reading(scene):
    return read_mat(scene.image)


def test_every_cell_is_counted(scene, reading):
    assert reading.paper == "A5"
    assert {name: cell.count for name, cell in reading.cells.items()} == {
        name: len(pieces) for name, pieces in scene.cells.items()
    }
    assert not reading.covered
    assert reading.px_per_mm > 4.9


def test_lengths_are_within_their_uncertainty(scene, reading):
    hole = Pinhole(VIEW)
    checked = 0
    for name, pieces in scene.cells.items():
        for piece in pieces:
            if piece.kind != "screw" or piece.seen_mm is None:
                continue
            at = hole.to_pixel(np.array([piece.x, piece.y, 0.5]))
            item = min(
                reading.cells[name].items, key=lambda i: np.hypot(i.spot[0] - at[0], i.spot[1] - at[1])
            )
            if item.length_mm is not None and item.sigma_mm is not None:
                assert abs(item.length_mm - piece.seen_mm) < max(0.3, 4 * item.sigma_mm)
                checked += 1
    assert checked >= 5


def test_an_empty_mat_is_empty(bare):
    reading = read_mat(bare)
    assert all(cell.count == 0 and cell.empty for cell in reading.cells.values())


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_it_may_lie_any_way_round(scene, reading, turns):
    turned = read_mat(np.ascontiguousarray(np.rot90(scene.image, turns)))
    assert {n: c.count for n, c in turned.cells.items()} == {n: c.count for n, c in reading.cells.items()}
    assert any("upside down" in note for note in turned.warnings) == (turns == 2)


def test_one_cell_alone_says_the_same(scene, reading):
    again = read_cell(scene.image, "B2", reading.plane)
    assert again == reading.cells["B2"]
    assert read_cell(scene.image, "B2").count == again.count
    with pytest.raises(ValueError, match="no cell 'Z9'"):
        read_cell(scene.image, "Z9", reading.plane)


def test_one_cell_alone_is_quick(scene, reading):
    best = 9.0
    for _ in range(3):
        start = time.process_time()
        read_cell(scene.image, "B2", reading.plane)
        best = min(best, time.process_time() - start)
    assert best < 0.2


def test_it_is_judged_against_the_ledger(scene):
    name = "B2"
    expected = {name: Expected(len(scene.cells[name])), "C1": Expected(9)}
    judged = read_mat(scene.image, expected=expected).cells
    assert judged[name].judged.verdict is Verdict.MATCHES
    assert judged["C1"].judged.verdict is Verdict.DIFFERS
    assert judged["A2"].judged.verdict is Verdict.MATCHES
    assert judged["D6"].judged.verdict is Verdict.DIFFERS  # parts where none should lie


def test_a_covered_marker_is_noticed(scene, reading):
    image = scene.image.copy()
    x, y = reading.plane.to_pixel(np.array(reading.plane.layout.markers[16].middle)).astype(int)
    image[y - 30 : y + 30, x - 30 : x + 30] = 90
    again = read_mat(image)
    assert again.covered == (16,)
    assert any("marker" in note for note in again.warnings)
    assert again.cells["B2"].count == reading.cells["B2"].count


def test_a_mat_that_is_cut_off_says_which_cells_are_missing(scene):
    again = read_mat(np.ascontiguousarray(scene.image[:, :900]))
    assert again.outside
    assert again.cells["A1"].count is not None
    assert again.cells["A6"].count is None
    assert "not wholly in the picture" in again.cells["A6"].reason


def test_mirrored_negative_dark_and_absent_are_told_apart(bare):
    for image, word in [
        (bare[:, ::-1], "mirrored"),
        (255 - bare, "negative"),
        (bare // 40, "too dark"),
        (np.full_like(bare, 128), "No parts mat"),
        (bare[:40, :40], "too small"),
    ]:
        with pytest.raises(NoMat, match=word):
            read_mat(np.ascontiguousarray(image))


def test_two_mats_are_refused(bare, layout, page, tmp_path):
    with pytest.raises(NoMat, match="Two parts mats of one kind"):
        read_mat(np.hstack([bare, bare]))
    from benchguide.window.print_mat import write_mat

    write_mat(mat_layout("A4"), tmp_path / "a4.pdf", "Other")
    other = page_raster(tmp_path / "a4.pdf", tmp_path, 5.0)
    wide = cv2().copyMakeBorder(
        other, 0, max(0, 900 - other.shape[0]), 0, 0, cv2().BORDER_CONSTANT, value=(90,) * 3
    )
    top = cv2().copyMakeBorder(
        bare, 0, max(0, wide.shape[0] - 900), 0, 0, cv2().BORDER_CONSTANT, value=(90,) * 3
    )
    with pytest.raises(NoMat, match="A4 and A5"):
        read_mat(np.hstack([top, wide]))


def test_another_mat_than_the_expected_one(bare):
    with pytest.raises(NoMat, match="A4 mat is expected"):
        read_mat(bare, mat_layout("A4"))


@pytest.mark.parametrize(
    "wrong", [np.zeros((5, 5), np.uint8), np.zeros((99, 99, 4), np.uint8), np.zeros((99, 99, 3))]
)
def test_what_is_no_picture_is_refused(wrong):
    with pytest.raises(ValueError, match="three channels"):
        read_mat(wrong)


def test_a_print_at_the_wrong_scale_is_noticed_by_the_page(layout, page):
    far = replace(VIEW, distance=230.0)
    image = photograph(np.random.default_rng(2), page, layout, far, [], page_scale=0.94)
    scale = read_mat(image).scale
    assert scale.wrong
    assert scale.by == "page edges"
    assert scale.factor == pytest.approx(0.94, abs=0.01)
    right = read_mat(photograph(np.random.default_rng(2), page, layout, far, []))
    assert right.scale.state == "right"


def test_the_ruler_corrects_the_lengths(scene, reading):
    again = read_mat(scene.image, bar_mm=97.0)
    assert again.scale.wrong
    pairs = [
        (a.length_mm, b.length_mm)
        for name in reading.cells
        for a, b in zip(reading.cells[name].items, again.cells[name].items, strict=True)
        if a.length_mm is not None
    ]
    assert pairs
    assert all(b == pytest.approx(0.97 * a) for a, b in pairs)


def test_a_far_camera_gives_no_length_and_no_guess(layout, page):
    pieces = [Piece("screw", 45.0, 34.0, 0.4, "black", 2.0, 5.0, "pan", 3.9, 1.24)]
    far = replace(VIEW, distance=420.0, glare=False)
    reading = read_mat(photograph(np.random.default_rng(3), page, layout, far, pieces))
    assert reading.cells["A1"].empty is False
    assert reading.cells["A2"].empty is True
    assert all(item.length_mm is None for item in reading.cells["A1"].items)
    assert any("pixels a millimetre" in note for note in reading.warnings)


def test_glare_that_burns_a_cell_out_is_told(bare, reading):
    image = bare.copy()
    x, y = reading.plane.to_pixel(np.array(reading.plane.layout.cells["C3"].middle)).astype(int)
    cv2().circle(image, (int(x), int(y)), 60, (255, 255, 255), -1)
    found = read_mat(image).cells["C3"]
    assert found.count is None
    assert found.reason


@pytest.fixture(scope="module")
def near(layout) -> View:
    """The whole mat, measuring place and all, without glare."""
    return replace(VIEW, off=(0.02, -0.03), roll=1.0, glare=False)


def test_the_measuring_place(layout, page, near):
    box = layout.measuring
    screw = Piece("screw", *box.middle, 0.05, "steel", 1.6, 4.0, "pan", 3.1, 1.0)
    rng = np.random.default_rng(5)
    found = measure_screw(photograph(rng, page, layout, near, [screw]))
    assert found.length_mm == pytest.approx(screw.seen_mm, abs=0.25)
    # laid along the edge it is seen without slant, so that the true length is read
    assert found.length_mm == pytest.approx(screw.true_mm, abs=0.35)
    empty = measure_screw(photograph(rng, page, layout, near, []))
    assert empty.length_mm is None
    assert "empty" in empty.reason
    two = [screw, replace(screw, x=screw.x + 12)]
    assert "leave one" in measure_screw(photograph(rng, page, layout, near, two)).reason
    washer = Piece("washer", *box.middle, 0.0, "zinc", w=5.0, h=2.4)
    assert "no lying screw" in measure_screw(photograph(rng, page, layout, near, [washer])).reason


def test_touching_parts_are_told_as_touching(layout, page, near):
    box = layout.cells["C3"]
    x, y = box.middle
    pieces = [
        Piece("screw", x, y, 0.3, "steel", 1.6, 5.0, "pan", 3.1, 1.0),
        Piece("screw", x + 0.2, y + 2.3, 1.5, "zinc", 1.6, 4.0, "cheese", 3.0, 1.1),
    ]
    found = read_mat(photograph(np.random.default_rng(6), page, layout, near, pieces)).cells["C3"]
    assert found.count is None
    assert found.at_least >= 2
    assert "touch" in found.reason
    assert [item.kind for item in found.items] == ["touching"]
