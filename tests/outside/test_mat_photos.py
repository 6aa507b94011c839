"""The mat's geometry and counting on real photographs (Debian package opencv-doc, and scikit-image's own data).

`singlemarkersoriginal.jpg` is a hand-held phone photo of the printed sheet `singlemarkerssource.png` (2200 x 1700
px, 200 dpi). The corners on sheet and photo are those of OpenCV's own test data for it. A plain homography through
OpenCV's unrefined corners leaves 0.444 mm, through its refined ones 0.275 mm (root mean square). The size at which
the sheet was really printed is not documented: this checks relative geometry, not absolute scale.

`coins` of scikit-image (Brooklyn Museum coins from Pompeii): 24 coins in four rows of six, counted by eye.
"""

from pathlib import Path

import numpy as np
import pytest

from benchguide.camera.mat_blobs import find_blobs, judge_shape
from benchguide.camera.mat_corners import refined
from benchguide.camera.mat_layout import Box, mat_layout
from benchguide.camera.mat_markers import NoMat, marker_modules
from benchguide.camera.mat_paper import Patch
from benchguide.camera.mat_plane import Plane, fit_points
from benchguide.camera.mat_reading import read_mat
from benchguide.camera.opencv import cv2

FOLDER = Path("/usr/share/doc/opencv-doc/opencv4/html")

# Upper left corner pixel, upper right, lower right, lower left of each marker.
SHEET = {
    40: [(1264, 1237), (1463, 1237), (1463, 1436), (1264, 1436)],
    98: [(1608, 919), (1807, 919), (1807, 1118), (1608, 1118)],
    62: [(690, 1047), (491, 1047), (491, 848), (690, 848)],
    23: [(976, 445), (1175, 445), (1175, 644), (976, 644)],
    124: [(1693, 243), (1693, 442), (1494, 442), (1494, 243)],
    203: [(391, 206), (590, 206), (590, 405), (391, 405)],
}
PHOTO = {
    40: [(359, 310), (404, 310), (410, 350), (362, 350)],
    98: [(427, 255), (469, 256), (477, 289), (434, 288)],
    62: [(233, 273), (190, 273), (196, 241), (237, 241)],
    23: [(298, 185), (334, 186), (335, 212), (297, 211)],
    124: [(425, 163), (430, 186), (394, 186), (390, 162)],
    203: [(195, 155), (230, 155), (227, 178), (190, 178)],
}


def photo(name: str) -> np.ndarray:
    path = FOLDER / name
    if not path.exists():
        pytest.skip("the photographs of Debian's opencv-doc are not installed")
    return cv2().imread(str(path))


def fitted(mm: np.ndarray, px: np.ndarray) -> Plane:
    size = (640, 480)
    start, _ = cv2().findHomography(mm, px - np.array([319.5, 239.5]))
    matrix, k1 = fit_points(start / start[2, 2], size, mm, px)
    return Plane(mat_layout("Letter"), matrix, k1, size, 0.0)


def test_a_real_photo_of_a_printed_sheet_fits_its_print_original():
    grey = cv2().cvtColor(photo("singlemarkersoriginal.jpg"), cv2().COLOR_BGR2GRAY)
    mm = np.array([corner for quad in SHEET.values() for corner in quad], float) * 25.4 / 200
    px = np.concatenate([refined(grey, np.array(quad, float)) for quad in PHOTO.values()])
    off = np.linalg.norm(fitted(mm, px).to_mm(px) - mm, axis=1)
    assert np.sqrt((off**2).mean()) < 0.275
    assert off.max() < 0.6


def test_a_marker_left_out_is_found_where_it_was_printed():
    grey = cv2().cvtColor(photo("singlemarkersoriginal.jpg"), cv2().COLOR_BGR2GRAY)
    quads = {marker: refined(grey, np.array(quad, float)) for marker, quad in PHOTO.items()}
    for out in SHEET:
        mm = (
            np.array([c for marker, quad in SHEET.items() if marker != out for c in quad], float) * 25.4 / 200
        )
        px = np.concatenate([quad for marker, quad in quads.items() if marker != out])
        found = fitted(mm, px).to_mm(quads[out])
        true = np.array(SHEET[out], float) * 25.4 / 200
        assert np.linalg.norm(found.mean(0) - true.mean(0)) < 1.2
        sides = np.linalg.norm(found - np.roll(found, 1, 0), axis=1)
        # 199 px at 200 dpi
        assert sides.mean() == pytest.approx(199 * 25.4 / 200, rel=0.03)


def test_a_photo_with_other_markers_is_no_mat():
    for name in ("singlemarkersoriginal.jpg", "choriginal.jpg", "gboriginal.png"):
        with pytest.raises(NoMat, match="No parts mat"):
            read_mat(photo(name))


def test_markers_are_those_of_the_published_dictionary():
    """OpenCV writes id 0 of DICT_5X5_50 with these inner modules (first
    entry of the table in its predefined_dictionaries.hpp, from memory: 162, 217, 94)."""
    bits = f"{162:08b}{217:08b}{94:08b}"[:24]
    inner = "".join("0" if black else "1" for row in marker_modules(0)[1:6] for black in row[1:6])
    assert inner[:24] == bits


def test_coins_on_a_photograph_are_counted():
    data = pytest.importorskip("skimage.data")
    grey = data.coins().astype(np.float32)
    cv, ppm = cv2(), 4.0
    # the photograph is darker below: compare with its ground, what is left when everything coin-sized is taken away
    floor = cv.GaussianBlur(cv.morphologyEx(grey, cv.MORPH_OPEN, np.ones((75, 75), np.uint8)), (0, 0), 10)
    cover = np.clip((grey - floor) / 120, 0, 1).astype(np.float32)
    picture = np.repeat(grey.astype(np.uint8)[..., None], 3, 2)
    h, w = cover.shape
    blobs = [
        blob
        for blob in find_blobs(Patch(Box(0, 0, w / ppm, h / ppm), ppm, ppm, cover, picture, 0.0, 0.0))
        if blob.area_mm2 > 25
    ]
    assert len(blobs) == 24
    kinds = [judge_shape(blob, ppm, 0.0).kind for blob in blobs]
    # round things are screws on their heads to the mat; none may be taken for a lying screw
    assert kinds.count("standing screw") >= 20
    assert kinds.count("screw") == 0
