"""The body of `benchguide compare`: every kind of file, what it answers, and the schema of its JSON."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from benchguide.camera.compare_command import BadComparison, parse_place, run_compare
from benchguide.camera.photo_file import read_photo
from tests.camera.device_scenes import Pair, pair

SCHEMA = {
    "type": "object",
    "additionalProperties": False,
    "required": ["aligned", "reason", "candidates", "places", "homography", "common"],
    "properties": {
        "aligned": {"type": "boolean"},
        "reason": {"type": "string"},
        "candidates": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["x", "y", "w", "h", "score", "kind"],
                "properties": {
                    "x": {"type": "integer", "minimum": 0},
                    "y": {"type": "integer", "minimum": 0},
                    "w": {"type": "integer", "minimum": 1},
                    "h": {"type": "integer", "minimum": 1},
                    "score": {"type": "number", "minimum": 0, "maximum": 1},
                    "kind": {"type": "string"},
                },
            },
        },
        "places": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["kind", "x", "y", "state", "measure", "reason"],
                "properties": {
                    "kind": {"type": "string"},
                    "x": {"type": ["number", "null"]},
                    "y": {"type": ["number", "null"]},
                    "state": {"enum": ["there", "missing", "turned", "lifted", "changed", "cannot tell"]},
                    "measure": {"type": ["number", "null"]},
                    "reason": {"type": "string"},
                },
            },
        },
        "homography": {"type": ["array", "null"], "minItems": 9, "maxItems": 9, "items": {"type": "number"}},
        "common": {"type": "number", "minimum": 0, "maximum": 1},
    },
}


@pytest.fixture(scope="module")
def scene() -> Pair:
    return pair(7101, 0)


@pytest.fixture(scope="module")
def files(scene: Pair, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("photos")
    found, left = folder / "as found é.jpg", folder / "as-left.png"
    Image.fromarray(scene.found[:, :, ::-1].copy()).save(found, quality=92)
    Image.fromarray(scene.left[:, :, ::-1].copy()).save(left)
    return found, left


def test_json_follows_its_schema_and_code_1_says_that_something_stands_out(files: tuple[Path, Path]) -> None:
    said = run_compare(*files, as_json=True, places=["screw,400,300,30"])
    data = json.loads(said.text)
    jsonschema.validate(data, SCHEMA)
    assert data["aligned"]
    assert data["candidates"]
    assert said.code == 1


def test_a_place_that_cannot_be_told_is_not_passed_as_nothing_found(files: tuple[Path, Path]) -> None:
    said = run_compare(files[0], files[0], places=["screw,3,3,30"])
    assert "cannot tell" in said.text
    assert said.code == 1


def test_the_same_file_twice_shows_nothing_and_says_that_this_is_no_proof(files: tuple[Path, Path]) -> None:
    said = run_compare(files[0], files[0])
    assert said.code == 0
    assert "no proof" in said.text


def test_the_marked_picture_has_the_size_of_as_left_and_shows_outlines(
    files: tuple[Path, Path], scene: Pair, tmp_path: Path
) -> None:
    marked = tmp_path / "marked.png"
    said = run_compare(*files, marked=marked)
    picture = read_photo(marked)
    assert picture.shape == scene.left.shape
    assert (picture != scene.left).any()
    assert "most likely first" in said.text
    assert "  1  " in said.text


def test_two_devices_end_with_code_1_and_one_sentence(files: tuple[Path, Path], tmp_path: Path) -> None:
    other = tmp_path / "other.png"
    Image.fromarray(pair(7002, 3).left[:, :, ::-1].copy()).save(other)
    said = run_compare(files[0], other, as_json=True)
    data = json.loads(said.text)
    jsonschema.validate(data, SCHEMA)
    assert (said.code, data["aligned"], data["candidates"]) == (1, False, [])
    assert "same device" in data["reason"]
    assert run_compare(files[0], other).text.startswith("Cannot tell. ")


# -- files


def _saved(tmp_path: Path, name: str, picture: Image.Image, **how: object) -> Path:
    path = tmp_path / name
    picture.save(path, **how)
    return path


def _colours() -> np.ndarray:
    """80 x 60, red on the left, blue on the right, so that a turn shows."""
    picture = np.zeros((60, 80, 3), np.uint8)
    picture[:, :40], picture[:, 40:] = (200, 20, 20), (20, 20, 200)
    return picture


def test_the_orientation_tag_is_honoured(tmp_path: Path) -> None:
    turned = Image.fromarray(_colours()).transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = 6  # the top of the picture is its right side (Exif 2.32, tag 274)
    path = _saved(tmp_path, "turned.jpg", turned, exif=exif, quality=95)
    picture = read_photo(path)
    assert picture.shape == (60, 80, 3)
    assert picture[30, 10, 2] > 150
    assert picture[30, 70, 0] > 150


@pytest.mark.parametrize("mode", ["CMYK", "L", "1", "P", "RGBA", "LA", "YCbCr"])
def test_other_colour_modes_are_read(tmp_path: Path, mode: str) -> None:
    name = "x.png" if mode in ("1", "P", "RGBA", "LA", "L") else "x.jpg"
    picture = read_photo(_saved(tmp_path, name, Image.fromarray(_colours()).convert(mode)))
    assert picture.shape == (60, 80, 3)
    assert picture.dtype == np.uint8
    assert picture[30, 10].tolist() != picture[30, 70].tolist() or mode in ("1",)


def test_sixteen_bit_grey_is_scaled_not_cut(tmp_path: Path) -> None:
    ramp = np.linspace(0, 65535, 80 * 60).reshape(60, 80).astype(np.uint16)
    picture = read_photo(_saved(tmp_path, "deep.png", Image.fromarray(ramp)))
    assert picture[0, 0, 0] == 0
    assert picture[-1, -1, 0] == 255
    assert 120 < picture[30, 0, 0] < 135


def test_what_is_transparent_lies_on_white(tmp_path: Path) -> None:
    clear = Image.new("RGBA", (8, 8), (0, 0, 0, 0))
    assert read_photo(_saved(tmp_path, "clear.png", clear))[0, 0].tolist() == [255, 255, 255]


def _png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size and ends within its first row."""
    import struct
    import zlib

    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    header = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    return header + struct.pack(">I", 90) + b"IDAT" + b"\0" * 20


def _cut() -> bytes:
    data = io.BytesIO()
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (90, 90, 3), dtype=np.uint8)).save(data, "JPEG")
    return data.getvalue()[:2000]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is not a JPEG"),
        (b"hello, this is text", "is not a JPEG"),
        (_png_header(60000, 60000), "100 megapixels; take"),
        (_png_header(12000, 9000), "100 megapixels; take"),
        (_png_header(400, 300), "cut short or damaged"),
        (_cut(), "cut short or damaged"),
        (b"%PDF-1.4 not a picture", "is not a JPEG"),
    ],
)
def test_a_file_that_is_no_sound_picture_is_told_in_one_sentence(
    files: tuple[Path, Path], tmp_path: Path, data: bytes, says: str
) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(data)
    for order in ((bad, files[1]), (files[0], bad)):
        with pytest.raises(ValueError, match=says) as told:
            run_compare(*order)
        assert "\n" not in str(told.value)
        assert "bad.jpg" in str(told.value)


def test_missing_files_and_folders_are_told(files: tuple[Path, Path], tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="is not there"):
        run_compare(tmp_path / "none.jpg", files[1])
    with pytest.raises(ValueError, match="is a folder"):
        run_compare(files[0], tmp_path)


def test_a_picture_of_one_pixel_cannot_be_compared(files: tuple[Path, Path], tmp_path: Path) -> None:
    dot = _saved(tmp_path, "dot.png", Image.new("RGB", (1, 1)))
    said = run_compare(files[0], dot)
    assert said.code == 1
    assert "too small" in said.text


@pytest.mark.parametrize("name", ["marked.gif", "marked"])
def test_a_marked_picture_of_another_kind_is_refused(
    files: tuple[Path, Path], tmp_path: Path, name: str
) -> None:
    with pytest.raises(BadComparison, match=r"should end in \.jpg or \.png"):
        run_compare(*files, marked=tmp_path / name)


def test_a_place_that_cannot_be_written_is_told(files: tuple[Path, Path], tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="cannot be written"):
        run_compare(*files, marked=tmp_path / "no such folder" / "marked.jpg")


def test_places_are_read() -> None:
    plug = parse_place("connector, 10.5, 20, 60, 22, -3")
    assert (plug.kind, plug.x, plug.y, plug.w, plug.h, plug.angle) == ("connector", 10.5, 20, 60, 22, -3)
    assert parse_place("screw,1,2,3").h is None


@pytest.mark.parametrize(
    "text", ["", "screw", "screw,1,2", "screw,a,b,c", "screw,1,2,0", "screw,1,2,nan", ",1,2,3"]
)
def test_places_written_wrongly_are_told_with_the_form(text: str) -> None:
    with pytest.raises(BadComparison, match="--place"):
        parse_place(text)


@pytest.mark.parametrize("scale", [0, -3, 1e9, float("nan")])
def test_a_scale_that_cannot_be_is_refused(files: tuple[Path, Path], scale: float) -> None:
    with pytest.raises(BadComparison, match="px-per-mm"):
        run_compare(*files, px_per_mm=scale)
