"""Exif as another program reads it.

Source: exiftool (Debian libimage-exiftool-perl), which implements CIPA DC-008 / Exif 3.0; its
-validate option checks types and the fields that a JPEG must have. Tag names on the right are exiftool's.
"""

import io
import json
import shutil
import subprocess
from datetime import datetime, timedelta, timezone

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from benchguide.store.photos import KeptPhoto, PhotoFacts, PhotoShelf

pytestmark = pytest.mark.skipif(
    shutil.which("exiftool") is None, reason="exiftool is not installed (Debian: libimage-exiftool-perl)"
)

TAKEN = datetime(2025, 11, 25, 9, 13, 7, 123_456, tzinfo=timezone(timedelta(hours=5, minutes=45)))


def keep(folder, *, job="J-17", part="fan cover", grey=False, **options) -> KeptPhoto:
    buffer = io.BytesIO()
    image = Image.effect_mandelbrot((320, 240), (-2, -1.2, 1, 1.2), 60)
    (image if grey else image.convert("RGB")).save(buffer, "JPEG", **options)
    facts = PhotoFacts(TAKEN, job, "s-04", part, "as-found", "bench camera", {"size": "größer"})
    return PhotoShelf(folder).keep(buffer.getvalue(), facts)


def exiftool(path, *options) -> dict[str, object]:
    run = ["exiftool", "-json", "-a", *options, str(path)]
    return json.loads(subprocess.run(run, capture_output=True, text=True, check=True).stdout)[0]


def test_fields_read_back(tmp_path):
    kept = keep(tmp_path)
    read = exiftool(kept.path)
    expected = {
        "ImageDescription": "J-17 \u00b7 s-04 \u00b7 fan cover",
        "DateTimeOriginal": "2025:11:25 09:13:07",
        "CreateDate": "2025:11:25 09:13:07",
        "ModifyDate": "2025:11:25 09:13:07",
        "OffsetTime": "+05:45",
        "OffsetTimeOriginal": "+05:45",
        "OffsetTimeDigitized": "+05:45",
        "SubSecTimeOriginal": 123,
        "SubSecDateTimeOriginal": "2025:11:25 09:13:07.123+05:45",
        "ExifVersion": "0300",
        "ComponentsConfiguration": "Y, Cb, Cr, -",
        "FlashpixVersion": "0100",
        "ColorSpace": "sRGB",
        "ExifImageWidth": 320,
        "ExifImageHeight": 240,
    }
    assert {name: read.get(name) for name in expected} == expected
    assert str(read["Software"]).startswith("Benchguide ")
    assert len(str(read["ImageUniqueID"])) == 32


def test_user_comment_is_json(tmp_path):
    comment = exiftool(keep(tmp_path).path, "-UserComment")["UserComment"]
    if isinstance(comment, str):
        comment = json.loads(comment)
    assert comment == {
        "job": "J-17",
        "step": "s-04",
        "part": "fan cover",
        "purpose": "as-found",
        "source": "bench camera",
        "taken": "2025-11-25T09:13:07.123+05:45",
        "size": "größer",
    }


def test_negative_offset(tmp_path):
    buffer = io.BytesIO()
    Image.new("RGB", (64, 48)).save(buffer, "JPEG")
    taken = datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(timedelta(hours=-8)))
    kept = PhotoShelf(tmp_path).keep(buffer.getvalue(), PhotoFacts(taken, "J", "s", "p", "free", "x"))
    read = exiftool(kept.path)
    assert read["SubSecDateTimeOriginal"] == "1996:12:19 16:39:57.000-08:00"


@pytest.mark.parametrize(
    "case",
    [{}, {"job": "größer \u96fb\u6c60"}, {"progressive": True}, {"quality": 95, "subsampling": 0}],
    ids=["plain", "not ASCII", "progressive", "4:4:4"],
)
def test_validates_without_a_warning(tmp_path, case):
    read = exiftool(keep(tmp_path, **case).path, "-validate", "-warning", "-error")
    assert read["Validate"] == "OK"
    assert "Warning" not in read
    assert "Error" not in read


def test_camera_fields_stay(tmp_path):
    theirs = Image.Exif()
    theirs[0x010F], theirs[0x0110] = "Workshop", "Bench 1"
    theirs.get_ifd(0x8769)[0x829A] = IFDRational(1, 50)
    read = exiftool(keep(tmp_path, exif=theirs).path, "-validate", "-Make", "-Model", "-ExposureTime")
    assert (read["Make"], read["Model"], read["ExposureTime"]) == ("Workshop", "Bench 1", "1/50")
    assert read["Validate"] == "OK"
