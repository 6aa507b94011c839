"""The judgement of photos against real photographs whose fault is known.

The photographs lie in the Debian package opencv-doc (OpenCV's sample data, Apache-2.0): text_defocus.jpg and
text_motion.jpg and licenseplate_motion.jpg are the published samples of out-of-focus and motion-blurred photographs
used by OpenCV's deblurring tutorials; board.jpg is a photograph of a circuit board.
"""

from pathlib import Path

import pytest

from benchguide.camera.opencv import cv2
from benchguide.camera.photo_file import read_photo
from benchguide.camera.quality import judge_photo
from benchguide.camera.sharpness import sharpness

SAMPLES = Path("/usr/share/doc/opencv-doc/examples/data")


def sample(name):
    path = SAMPLES / name
    assert path.exists(), f"{path} is missing: .ci/setup installs the Debian package opencv-doc."
    return read_photo(path)


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("text_defocus.jpg", "out-of-focus"),
        ("text_motion.jpg", "shaken"),
        ("licenseplate_motion.jpg", "shaken"),
    ],
)
def test_real_spoilt_photographs_are_told_as_what_they_are(name, fault):
    assert [reason.fault for reason in judge_photo(sample(name)).reasons] == [fault]


@pytest.mark.parametrize("name", ["board.jpg", "aloeL.jpg", "ela_original.jpg"])
def test_real_sharp_photographs_are_good(name):
    assert judge_photo(sample(name)).good


def test_steepness_falls_with_every_step_of_blur():
    """Pertuz, Puig, Garcia, Pattern Recognition 46(5) 2013: a focus measure falls with defocus of one scene."""
    board = sample("board.jpg")
    values = [sharpness(board).all_ways]
    values += [sharpness(cv2().GaussianBlur(board, (0, 0), sigma)).all_ways for sigma in (0.7, 1, 1.5, 2, 3)]
    assert values == sorted(values, reverse=True)
    assert values[-1] < 0.6 * values[0]
