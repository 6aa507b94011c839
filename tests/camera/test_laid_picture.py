"""The as-found photo laid into the live picture: where it shows nothing it is see-through, and nothing is lost."""

import numpy as np

from benchguide.camera.laid_picture import laid_picture, see_through


def test_what_is_laid_lies_where_the_homography_says_and_is_clear_elsewhere() -> None:
    photo = np.full((90, 160, 3), (10, 120, 240), np.uint8)
    plane = np.array([[1.0, 0, 40], [0, 1, 20], [0, 0, 1]])
    picture = laid_picture(see_through(photo), plane, 1.0, (320, 180), 320)
    assert picture.shape == (180, 320, 4)
    assert (picture[21:109, 41:199] == (10, 120, 240, 255)).all()
    outside = np.ones((180, 320), bool)
    outside[19:111, 39:201] = False
    assert (picture[outside] == 0).all()
    assert (picture[..., :3].max(axis=2) <= picture[..., 3]).all(), "colours are multiplied by alpha"


def test_a_shrunk_photo_and_a_smaller_picture_lie_at_the_same_place() -> None:
    photo = np.zeros((90, 160, 3), np.uint8)
    photo[40:50, 70:90] = 255
    picture = laid_picture(see_through(photo), np.eye(3), 0.5, (320, 180), 80)
    ys, xs = np.nonzero(picture[..., 0] > 128)
    assert (xs.min(), xs.max(), ys.min(), ys.max()) == (35, 44, 20, 24)
