"""The alignment against a published homography, on a real pair of photographs.

Views 1 and 3 of the graffiti wall and the homography between them: K. Mikolajczyk and C.
Schmid, "A performance evaluation of local descriptors", IEEE PAMI 27(10), 2005, data of the
Visual Geometry Group, Oxford; shipped in Debian's package opencv-doc (Apache-2.0) as
graf1.png, graf3.png and H1to3p.xml. The views differ by about 40 degrees.
"""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from benchguide.camera.align import align

DATA = Path("/usr/share/doc/opencv-doc/examples/data")

# H1to3p.xml, as published
PUBLISHED = np.array(
    [
        [7.6285898e-01, -2.9922929e-01, 2.2567123e02],
        [3.3443473e-01, 1.0143901e00, -7.6999973e01],
        [3.4663091e-04, -1.4364524e-05, 1.0000000e00],
    ]
)


def _file(name: str) -> Path:
    path = DATA / name
    if not path.is_file():
        pytest.fail(f"{path} is missing: install Debian's package opencv-doc (.ci/setup does).")
    return path


def _views() -> tuple[np.ndarray, np.ndarray]:
    return cv2.imread(str(_file("graf1.png"))), cv2.imread(str(_file("graf3.png")))


def test_the_values_above_are_those_of_the_file() -> None:
    path = DATA / "H1to3p.xml"
    text = (
        path.read_text() if path.is_file() else gzip.decompress(_file("H1to3p.xml.gz").read_bytes()).decode()
    )
    data = re.search(r"<data>(.*?)</data>", text, re.S)
    assert data is not None
    np.testing.assert_allclose(np.array(data.group(1).split(), float).reshape(3, 3), PUBLISHED, rtol=1e-7)


def test_the_published_homography_is_found() -> None:
    first, third = _views()
    found = align(first, third)
    assert found.aligned, found.reason
    assert found.homography is not None
    grid = np.array([[x, y] for x in range(40, 800, 40) for y in range(40, 640, 40)], float)
    true = cv2.perspectiveTransform(grid.reshape(1, -1, 2), PUBLISHED)[0]
    inside = (true > 0).all(1) & (true[:, 0] < third.shape[1]) & (true[:, 1] < third.shape[0])
    flat = cv2.perspectiveTransform(grid.reshape(1, -1, 2), found.homography)[0]
    off = np.hypot(*(flat - true).T)[inside]
    assert off.mean() < 3
    assert off.max() < 10


def test_the_way_back_is_its_inverse() -> None:
    first, third = _views()
    found = align(third, first)
    assert found.aligned, found.reason
    assert found.homography is not None
    grid = np.array([[x, y] for x in range(250, 600, 50) for y in range(150, 550, 50)], float)
    true = cv2.perspectiveTransform(grid.reshape(1, -1, 2), np.linalg.inv(PUBLISHED))[0]
    flat = cv2.perspectiveTransform(grid.reshape(1, -1, 2), found.homography)[0]
    assert np.hypot(*(flat - true).T).mean() < 3


def test_two_different_real_scenes_are_not_laid_over_each_other() -> None:
    first, _ = _views()
    board = cv2.imread(str(_file("board.jpg")))
    assert not align(first, board).aligned
