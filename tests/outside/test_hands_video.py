"""The photo that is taken by itself, on real films: never one while something moves or a hand is in the picture.

Source: OpenCV's sample data (Apache-2.0) in the Debian package opencv-doc. vtest.avi: people walking through a hall,
for 80 seconds without a pause. cup.mp4 and box.mp4: a real hand that reaches in and holds a thing before the camera,
from the first picture to the last. What these films do not show, the scene without the hand, is made of themselves:
the bright end (80 %) of each pixel, as hand, cup and sleeve are darker than wall and cloth. Independent of the code
under test, OpenCV's background subtraction (Zivkovic 2004) tells that something moves.
"""

import gzip
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from benchguide.camera.hands import HandsClear, Seen
from benchguide.camera.opencv import cv2

FOLDER = Path("/usr/share/doc/opencv-doc")


def film(path: Path) -> tuple[list[np.ndarray], float]:
    """All pictures of a film, and how many a second."""
    capture = cv2().VideoCapture(str(path))
    pictures = []
    while True:
        there, picture = capture.read()
        if not there:
            return pictures, capture.get(cv2().CAP_PROP_FPS)
        pictures.append(picture)


def stored(name: str, tmp_path: Path) -> Path:
    path = FOLDER / name
    if not path.exists():
        pytest.fail(f"{path} is missing: install Debian's package opencv-doc (.ci/setup does).")
    if path.suffix != ".gz":
        return path
    unpacked = tmp_path / path.stem
    unpacked.write_bytes(gzip.decompress(path.read_bytes()))
    return unpacked


def repeated(picture: np.ndarray, count: int, seed: int) -> Iterator[np.ndarray]:
    """A picture that stays, with the noise of a sensor."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        yield np.clip(picture + rng.normal(0, 1.5, picture.shape), 0, 255).astype(np.uint8)


def test_no_photo_while_people_walk_through_the_picture(tmp_path: Path) -> None:
    pictures, fps = film(stored("examples/data/vtest.avi", tmp_path))
    assert len(pictures) > 700
    watcher, subtractor = HandsClear(), cv2().createBackgroundSubtractorMOG2(200, 16, False)
    watcher.arm(worked=True)
    moving, seen = 0, Counter[Seen]()
    for number, picture in enumerate(pictures):
        seen[watcher.see(picture, number / fps).seen] += 1
        changed = subtractor.apply(cv2().resize(picture, (320, 240)))
        moving += cv2().countNonZero(changed) > 0.005 * changed.size
    assert moving > 0.95 * len(pictures), "something moves all the time"
    assert seen[Seen.CLEAR] == 0
    assert seen[Seen.MOVING] > 0.95 * len(pictures)


@pytest.mark.parametrize("name", ["cup", "box"])
def test_no_photo_with_a_real_hand_in_it_and_one_when_it_is_gone(name: str, tmp_path: Path) -> None:
    pictures, fps = film(stored(f"opencv4/html/{name}.mp4.gz", tmp_path))
    assert len(pictures) > 200
    clear = np.percentile(np.stack(pictures[::4]), 80, axis=0).astype(np.uint8)
    shown = [
        *(("before", each) for each in repeated(clear, 30, 1)),
        *(("hand", each) for each in pictures),
        *(("held still", each) for each in repeated(pictures[120], 60, 2)),
        *(("gone", each) for each in repeated(clear, 60, 3)),
    ]
    watcher = HandsClear()
    watcher.arm()
    taken, since = [], 0.0
    for number, (what, picture) in enumerate(shown):
        at_s = number / fps
        if what == "gone" and not since:
            since = at_s
        if watcher.see(picture, at_s).seen is Seen.CLEAR:
            taken.append((what, at_s - since))
            assert watcher.still_clear(picture)
            assert not watcher.still_clear(pictures[60]), "a hand that comes back is seen"
    assert [what for what, _ in taken] == ["gone"]
    assert taken[0][1] <= 1.1, "the bar of the median of many"
