"""The mat's layout: nothing overlaps, every marker has its white, and the ids tell the mats apart."""

import re
from itertools import combinations

import pytest

from benchguide.camera.mat_layout import (
    BAR_MM,
    MARKER_MM,
    PAPERS,
    QUIET_MM,
    Box,
    mat_layout,
    paper_for,
    paper_of,
)


def grown(box: Box, by: float) -> Box:
    return Box(box.x - by, box.y - by, box.w + 2 * by, box.h + 2 * by)


def overlap(a: Box, b: Box) -> bool:
    return a.x < b.x + b.w and b.x < a.x + a.w and a.y < b.y + b.h and b.y < a.y + a.h


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_overlaps_and_all_is_on_the_page(paper):
    mat = mat_layout(paper)
    x, y, length = mat.bar
    bar = Box(x, y - 1.8, length, 1.8)
    boxes = [*mat.cells.values(), *mat.markers.values(), mat.measuring, bar]
    assert not any(overlap(a, b) for a, b in combinations(boxes, 2))
    page = Box(0, 0, mat.width_mm, mat.height_mm)
    for box in boxes:
        # most printers leave 4.2 mm blank
        assert box.x >= 4.5
        assert box.y >= 4.5
        assert box.x + box.w <= page.w - 4.5
        assert box.y + box.h <= page.h - 4.5


@pytest.mark.parametrize("paper", PAPERS)
def test_every_marker_has_one_module_of_white_around_it(paper):
    mat = mat_layout(paper)
    x, y, length = mat.bar
    printed = [*mat.cells.values(), mat.measuring, Box(x, y - 1.8, length, 1.8)]
    for marker, box in mat.markers.items():
        others = [other for id_, other in mat.markers.items() if id_ != marker]
        assert not any(overlap(grown(box, QUIET_MM - 1e-9), other) for other in [*printed, *others])


@pytest.mark.parametrize("paper", PAPERS)
def test_cells_carry_the_names_that_part_maps_use(paper):
    mat = mat_layout(paper)
    assert len(mat.cells) == mat.rows * mat.columns
    assert all(re.fullmatch(r"[A-Z][0-9]{1,2}", name) for name in mat.cells)
    assert next(iter(mat.cells)) == "A1"
    assert len(mat.markers) >= 10
    assert all(box.w == MARKER_MM for box in mat.markers.values())
    assert mat.bar[2] == BAR_MM


def test_ids_tell_the_mats_apart():
    ids = [marker for paper in PAPERS for marker in mat_layout(paper).markers]
    assert len(ids) == len(set(ids))
    assert max(ids) < 50
    assert {paper_of(marker) for marker in mat_layout("A5").markers} == {"A5"}
    assert paper_of(49) is None


def test_the_smallest_paper_that_has_the_cells():
    assert paper_for({"A1", "D6"}) == "A5"
    assert paper_for({"A1", "F8"}) == "A4"
    with pytest.raises(ValueError, match="has the cell G1"):
        paper_for({"G1"})


def test_unknown_paper_is_one_sentence():
    with pytest.raises(ValueError, match="Choose one of A4, A5, Letter"):
        mat_layout("A3")
