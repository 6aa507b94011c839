"""The photo shelf: verified or not there at all, and the picture itself never changed."""

import os
import struct
import subprocess
import sys

import pytest
from PIL import Image

from benchguide.store import photos
from benchguide.store.photos import PhotoShelf, check_jpeg, hash_file
from benchguide.store.problems import PhotoNotKept, StoreProblem


def files_in(folder):
    return sorted(path for path in (folder / "photos").rglob("*") if path.is_file())


def test_a_kept_photo_is_there_under_its_hash(tmp_path, jpeg, facts):
    kept = PhotoShelf(tmp_path).keep(jpeg(640, 480), facts)
    assert (kept.width, kept.height, kept.size) == (640, 480, kept.path.stat().st_size)
    assert hash_file(kept.path) == kept.sha256
    assert files_in(tmp_path) == [tmp_path / "photos" / kept.sha256[:2] / f"{kept.sha256}.jpg"]
    assert PhotoShelf(tmp_path).path(kept.sha256) == kept.path


def test_the_picture_is_not_encoded_again(tmp_path, jpeg, facts):
    """Everything but the new segment is the same bytes in the same order."""
    original = jpeg(quality=90)
    stored = PhotoShelf(tmp_path).keep(original, facts).path.read_bytes()
    assert stored[:4] == b"\xff\xd8\xff\xe1"
    length = int.from_bytes(stored[4:6], "big")
    assert stored[:2] + stored[4 + length :] == original


def test_fields_of_the_camera_are_kept_beside_ours(tmp_path, jpeg, facts):
    theirs = Image.Exif()
    theirs[0x010F], theirs[0x0112], theirs[0x010E] = "Workshop", 6, "their words"
    theirs.get_ifd(0x8769)[0x829A] = 0.02
    kept = PhotoShelf(tmp_path).keep(jpeg(exif=theirs), facts)
    assert kept.path.read_bytes().count(b"Exif\0\0") == 1
    with Image.open(kept.path) as image:
        exif = image.getexif()
        assert (exif[0x010F], exif[0x0112]) == ("Workshop", 6)
        assert exif.get_ifd(0x8769)[0x829A] == pytest.approx(0.02)
        assert "J-17" in str(exif[0x010E])


def test_a_damaged_exif_block_of_the_camera_is_no_reason_to_lose_the_photo(tmp_path, jpeg, facts):
    plain = jpeg()
    bad = b"Exif\0\0MM\0*\xff\xff\xff\xff" + os.urandom(40)
    data = plain[:2] + b"\xff\xe1" + struct.pack(">H", len(bad) + 2) + bad + plain[2:]
    assert PhotoShelf(tmp_path).keep(data, facts).path.exists()


def test_the_same_photo_twice_is_one_file(tmp_path, jpeg, facts):
    shelf = PhotoShelf(tmp_path)
    assert shelf.keep(jpeg(), facts) == shelf.keep(jpeg(), facts)
    assert len(files_in(tmp_path)) == 1


def header(width, height):
    return b"\xff\xd8\xff\xc0\x00\x11\x08" + struct.pack(">HH", height, width) + b"\x03" + bytes(9)


def bad_photos(jpeg):
    whole = jpeg()
    return {
        "empty": (b"", "not a JPEG"),
        "png": (b"\x89PNG\r\n\x1a\n" + bytes(100), "not a JPEG"),
        "huge": (header(30_000, 30_000) + b"\xff\xda\x00\x02\xff\xd9", "30000 x 30000 pixels"),
        "cut in the scan": (whole[: len(whole) * 2 // 3], "cut off"),
        "cut in the header": (whole[:100], "cut off"),
        "no size": (header(0, 0) + b"\xff\xda\x00\x02\xff\xd9", "no size"),
        "noise": (b"\xff\xd8" + b"noise" * 100, "damaged in its header"),
        "only a start": (b"\xff\xd8", "cut off"),
    }


@pytest.mark.parametrize("name", list(bad_photos(lambda: b"\xff\xd8" * 50)))
def test_bad_photos_are_refused_in_one_sentence(tmp_path, jpeg, facts, name):
    data, words = bad_photos(jpeg)[name]
    with pytest.raises(PhotoNotKept, match=words) as caught:
        PhotoShelf(tmp_path).keep(data, facts)
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "photos").exists()


def test_damage_inside_is_found_when_asked(jpeg):
    whole = jpeg(progressive=False)
    scan = whole.index(b"\xff\xda")
    cut = whole[: scan + 200] + b"\xff\xc4\x00\x01" + whole[scan + 2000 : -2] + b"\xff\xd9"
    assert check_jpeg(cut) == (320, 240)
    with pytest.raises(PhotoNotKept, match="damaged inside"):
        check_jpeg(cut, thorough=True)
    assert check_jpeg(whole, thorough=True) == (320, 240)


@pytest.mark.skipif(sys.platform != "linux", reason="address-space limits are Linux here")
def test_a_huge_picture_is_refused_in_bounded_memory(tmp_path):
    (tmp_path / "x.jpg").write_bytes(header(30_000, 30_000) + b"\xff\xda\x00\x02\xff\xd9")
    code = (
        "import resource, sys\nfrom benchguide.store.photos import check_jpeg\n"
        "resource.setrlimit(resource.RLIMIT_AS, (300_000_000, 300_000_000))\n"
        "try:\n    check_jpeg(open(sys.argv[1], 'rb').read(), thorough=True)\n"
        "except Exception as told:\n    print(type(told).__name__)\n"
    )
    run = [sys.executable, "-c", code, str(tmp_path / "x.jpg")]
    out = subprocess.run(run, capture_output=True, text=True, check=True).stdout
    assert out.strip() == "PhotoNotKept"


def test_a_disk_that_gives_back_other_bytes(tmp_path, jpeg, facts, monkeypatch):
    monkeypatch.setattr(photos, "hash_file", lambda path, from_disk=False: "0" * 64)
    with pytest.raises(PhotoNotKept, match="other bytes"):
        PhotoShelf(tmp_path).keep(jpeg(), facts)
    assert files_in(tmp_path) == []


def test_disk_full_leaves_nothing_behind(small_disk, jpeg, facts, fill):
    shelf = PhotoShelf(small_disk)
    first = shelf.keep(jpeg(), facts)
    ballast = fill(small_disk)
    with pytest.raises(PhotoNotKept, match="disk is full"):
        shelf.keep(jpeg(640, 480, quality=95), facts)
    assert files_in(small_disk) == [first.path]
    ballast.unlink()
    assert shelf.keep(jpeg(640, 480), facts).path.exists()


def test_read_only_folder(tmp_path, jpeg, facts, read_only_view):
    folder = tmp_path / "data"
    (folder / "photos").mkdir(parents=True)
    with pytest.raises(PhotoNotKept, match="read-only"):
        PhotoShelf(read_only_view(folder)).keep(jpeg(), facts)
    assert files_in(folder) == []


def test_time_without_offset_and_text_without_end_are_refused(tmp_path, jpeg, facts):
    from dataclasses import replace

    shelf = PhotoShelf(tmp_path)
    with pytest.raises(PhotoNotKept, match="UTC offset"):
        shelf.keep(jpeg(), replace(facts, taken=facts.taken.replace(tzinfo=None)))
    with pytest.raises(PhotoNotKept, match="too long"):
        shelf.keep(jpeg(), replace(facts, extra={"note": "x" * 70_000}))
    assert not (tmp_path / "photos").exists()


def test_thumbnails_are_a_cache(tmp_path, jpeg, facts):
    shelf = PhotoShelf(tmp_path)
    kept = shelf.keep(jpeg(640, 480), facts)
    thumb = shelf.thumbnail(kept.sha256, 120)
    with Image.open(thumb) as image:
        assert image.size == (120, 90)
    stamp = thumb.stat().st_mtime_ns
    assert shelf.thumbnail(kept.sha256, 120).stat().st_mtime_ns == stamp
    for broken in (b"", b"garbage", thumb.read_bytes()[:300]):
        thumb.write_bytes(broken)
        with Image.open(shelf.thumbnail(kept.sha256, 120)) as image:
            image.load()
    kept.path.unlink()
    assert shelf.thumbnail(kept.sha256, 120) == thumb
    with pytest.raises(StoreProblem, match="missing"):
        shelf.thumbnail(kept.sha256, 60)
    assert hash_file(thumb)


def test_a_turned_photo_has_an_upright_thumbnail(tmp_path, jpeg, facts):
    turned = Image.Exif()
    turned[0x0112] = 6
    shelf = PhotoShelf(tmp_path)
    kept = shelf.keep(jpeg(640, 480, exif=turned), facts)
    with Image.open(shelf.thumbnail(kept.sha256, 100)) as image:
        assert image.size == (75, 100)


def test_half_written_photos_are_put_aside_not_deleted(tmp_path, jpeg, facts):
    shelf = PhotoShelf(tmp_path)
    kept = shelf.keep(jpeg(), facts)
    left = kept.path.parent / ".tmp-0123.jpg"
    left.write_bytes(b"half")
    assert [path.read_bytes() for path in shelf.sweep()] == [b"half"]
    assert files_in(tmp_path) == [kept.path]


def test_names_that_are_no_hash(tmp_path):
    for name in ("", "../x", "A" * 64, "a" * 63):
        with pytest.raises(ValueError, match="not a SHA-256"):
            PhotoShelf(tmp_path).path(name)


def test_random_bytes_raise_one_kind_of_error_only(jpeg):
    import random

    chance, whole = random.Random(7), jpeg()
    for _ in range(400):
        data = bytearray(whole)
        for _ in range(chance.randrange(1, 30)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        try:
            check_jpeg(
                bytes(data[: chance.randrange(len(data))] if chance.random() < 0.5 else data), thorough=True
            )
        except PhotoNotKept:
            continue
