"""`mat read` as people call it: text, JSON, marked picture, and one sentence for every bad file."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from benchguide.camera.decode import BadPicture
from benchguide.camera.mat_command import read_photo
from benchguide.camera.mat_layout import mat_layout
from benchguide.camera.mat_markers import NoMat
from benchguide.camera.opencv import cv2
from tests.camera.mat_scene import page_raster


@pytest.fixture(scope="module")
def photo(tmp_path_factory) -> Path:
    """The printed page itself with two dark bars on it, straight from above."""
    from benchguide.window.print_mat import write_mat

    folder = tmp_path_factory.mktemp("photo")
    write_mat(mat_layout("A5"), folder / "mat.pdf", "Test")
    page = page_raster(folder / "mat.pdf", folder, 7.0)
    picture = cv2().GaussianBlur(page, (0, 0), 0.7)
    box = mat_layout("A5").cells["A3"]
    for row in (6, 14):
        x, y = int((box.x + 5) * 7), int((box.y + row) * 7)
        # a head of 3 x 1 mm and a shank of 1.6 x 4 mm
        cv2().rectangle(picture, (x, y), (x + 6, y + 20), (60, 60, 60), -1)
        cv2().rectangle(picture, (x + 7, y + 5), (x + 34, y + 15), (60, 60, 60), -1)
    cv2().imwrite(str(folder / "photo.png"), cv2().GaussianBlur(picture, (0, 0), 0.6))
    return folder / "photo.png"


def test_json_names_every_cell_with_count_and_items(photo):
    doc = json.loads(read_photo(photo, as_json=True))
    cells = {cell["cell"]: cell for cell in doc["cells"]}
    assert set(cells) == set(mat_layout("A5").cells)
    assert cells["A3"]["count"] == 2
    assert [item["kind"] for item in cells["A3"]["items"]] == ["screw", "screw"]
    for item in cells["A3"]["items"]:
        assert item["length_mm"] == pytest.approx(5.0, abs=0.15)
        assert 0 < item["sigma_mm"] < 0.2
    assert all(cell["count"] == 0 and cell["items"] == [] for name, cell in cells.items() if name != "A3")
    assert doc["px_per_mm"] == pytest.approx(7.0, abs=0.05)
    assert doc["scale"]["state"] == "not checked"
    assert doc["markers"] == {"read": 10, "covered": [], "outside": []}


def test_text_and_marked_picture(photo, tmp_path):
    out = tmp_path / "marked.jpg"
    text = read_photo(photo, out=out, bar_mm=100.0)
    assert "A3  2: screw" in text
    assert "The scale bar is right by the ruler." in text
    marked = cv2().imread(str(out))
    assert marked.shape == cv2().imread(str(photo)).shape
    assert np.abs(marked.astype(int) - cv2().imread(str(photo)).astype(int)).max() > 60


def _file(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def test_bad_files_end_as_one_sentence(photo, tmp_path):
    whole = photo.read_bytes()
    for name, data in [
        ("text.jpg", b"no picture"),
        ("empty.jpg", b""),
        ("cut.png", whole[: len(whole) // 2]),
    ]:
        with pytest.raises(BadPicture) as caught:
            read_photo(_file(tmp_path / name, data))
        assert str(caught.value).startswith(str(tmp_path / name))
        assert "\n" not in str(caught.value)
    Image.new("RGB", (1, 1)).save(tmp_path / "one.png")
    with pytest.raises(NoMat, match="1 x 1 pixels"):
        read_photo(tmp_path / "one.png")
    with pytest.raises(ValueError, match="is not there"):
        read_photo(tmp_path / "none.jpg")


@pytest.mark.parametrize("mode", ["L", "CMYK", "P", "RGBA", "I;16"])
def test_other_colour_depths_are_read_or_refused_in_one_sentence(photo, tmp_path, mode):
    with Image.open(photo) as picture:
        if mode == "I;16":
            deep = Image.fromarray(np.asarray(picture.convert("L")).astype(np.uint16) * 257)
        else:
            deep = picture.convert(mode)
        target = tmp_path / ("photo.jpg" if mode == "CMYK" else "photo.png")
        deep.save(target)
    doc = json.loads(read_photo(target, as_json=True))
    if mode in ("L", "I;16"):
        # markers are read without colour, cells are not
        assert all(cell["count"] is None and cell["reason"] for cell in doc["cells"])
    else:
        assert next(c for c in doc["cells"] if c["cell"] == "A3")["count"] == 2


def test_the_orientation_tag_is_followed(photo, tmp_path):
    with Image.open(photo) as picture:
        exif = picture.getexif()
        exif[0x0112] = 3
        picture.convert("RGB").save(tmp_path / "turned.jpg", exif=exif, quality=95)
    text = read_photo(tmp_path / "turned.jpg")
    assert "upside down" in text
    assert "A3  2: screw" in text


def test_another_paper_than_expected(photo):
    with pytest.raises(NoMat, match="Letter mat is expected"):
        read_photo(photo, paper="Letter")
