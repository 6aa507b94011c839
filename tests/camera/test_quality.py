"""Photos that are good, and the same ones spoilt in one way each."""

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from benchguide.camera.opencv import cv2
from benchguide.camera.photo_check_command import photo_check
from benchguide.camera.photo_file import read_kept, read_photo, write_photo
from benchguide.camera.quality import Best, PartShown, judge_photo, sharpest
from benchguide.camera.sharpness import sharpness

from .hand_streams import stream


@pytest.fixture(scope="module")
def good():
    """A bench with a device, 1280 pixels wide, with the softness and noise of a camera."""
    scene = next(stream(7, size=(1280, 720))).image
    return cv2().GaussianBlur(scene, (0, 0), 0.8)


def blurred(image, sigma):
    return cv2().GaussianBlur(image, (0, 0), sigma)


def shaken(image, length):
    kernel = np.zeros((length, length), np.float32)
    kernel[length // 2] = 1 / length
    return cv2().filter2D(image, -1, kernel)


def noisy(image, seed=1):
    rng = np.random.default_rng(seed)
    return np.clip(image + rng.normal(0, 2, image.shape), 0, 255).astype(np.uint8)


def faults(verdict):
    return [reason.fault for reason in verdict.reasons]


def test_a_good_photo_has_no_reason(good):
    verdict = judge_photo(good)
    assert verdict.good, verdict
    assert verdict.to_json()["verdict"] == "good"


@pytest.mark.parametrize("exposure", [0.55, 0.8, 1.15])
def test_exposure_and_noise_do_not_make_a_photo_poor(good, exposure):
    assert judge_photo(noisy(np.clip(good * exposure, 0, 255).astype(np.uint8))).good


def test_out_of_focus(good):
    assert faults(judge_photo(noisy(blurred(good, 3.5)))) == ["out-of-focus"]


def test_shaken(good):
    assert faults(judge_photo(noisy(shaken(good, 15)))) == ["shaken"]


def test_a_little_blur_is_seen_against_the_best_of_the_view(good):
    best = Best()
    best.see(sharpness(good))
    soft = noisy(blurred(good, 1.8))
    assert judge_photo(soft).good
    assert not judge_photo(soft, best=best).good
    best.forget()
    assert judge_photo(soft, best=best).good


def test_too_dark_and_covered(good):
    assert "dark" in faults(judge_photo((good * 0.2).astype(np.uint8)))
    assert faults(judge_photo(noisy(np.full((720, 1280, 3), 6, np.uint8)))) == ["covered"]


def test_burnt_out(good):
    assert faults(judge_photo(np.clip(good * 3.0 + 60, 0, 255).astype(np.uint8))) == ["burnt-out"]


def test_something_before_the_lens(good):
    assert faults(judge_photo(np.full((720, 1280, 3), 128, np.uint8))) == ["plain"]


def test_glare_counts_where_the_part_is(good):
    spoilt = good.copy()
    cv2().ellipse(spoilt, (320, 200), (60, 40), 0, 0, 360, (255, 255, 255), -1)
    over, beside = (0.2, 0.2, 0.15, 0.2), (0.6, 0.5, 0.3, 0.4)
    assert faults(judge_photo(spoilt, region=over, what="the connector")) == ["glare"]
    assert "the connector" in judge_photo(spoilt, region=over, what="the connector").sentence
    assert judge_photo(spoilt, region=beside).good


def test_glare_that_was_there_before_is_no_new_fault(good):
    spoilt = good.copy()
    cv2().ellipse(spoilt, (320, 200), (60, 40), 0, 0, 360, (255, 255, 255), -1)
    assert judge_photo(spoilt, before=spoilt).good
    assert faults(judge_photo(spoilt, before=good)) == ["glare"]


def test_a_part_out_of_focus_in_a_sharp_picture_is_named(good):
    """Only the place of the part is soft: the picture as a whole is sharp, and says nothing of it."""
    place = (0.5, 0.2, 0.2, 0.25)
    spoilt, (h, w) = good.copy(), good.shape[:2]
    rows, cols = slice(round(0.1 * h), round(0.55 * h)), slice(round(0.42 * w), round(0.78 * w))
    spoilt[rows, cols] = blurred(good, 5.0)[rows, cols]
    spoilt = noisy(spoilt)
    part, beside = PartShown("the cell plug", place), PartShown("the clamp", (0.1, 0.3, 0.2, 0.25))
    assert judge_photo(spoilt).good
    verdict = judge_photo(spoilt, parts=(part, beside))
    assert faults(verdict) == ["out-of-focus"]
    assert "the cell plug" in verdict.sentence
    assert "the clamp" not in verdict.sentence
    assert verdict.place == "the outline of the cell plug and the clamp"
    assert judge_photo(good, parts=(part, beside)).good


def test_glare_is_judged_over_each_part_and_the_glint_of_a_screw_is_none(good):
    plug, clamp = PartShown("the plug", (0.2, 0.2, 0.06, 0.08)), PartShown("the clamp", (0.6, 0.5, 0.1, 0.1))
    spoilt = good.copy()
    x, y = round(0.23 * good.shape[1]), round(0.24 * good.shape[0])
    cv2().circle(spoilt, (x, y), 3, (255, 255, 255), -1)
    assert judge_photo(spoilt, parts=(plug, clamp)).good
    cv2().circle(spoilt, (x, y), 16, (255, 255, 255), -1)
    assert judge_photo(spoilt, region=(0.1, 0.1, 0.8, 0.8)).good
    assert judge_photo(spoilt, parts=(plug, clamp)).sentence.startswith("Glare over the plug:")
    white = replace(plug, glare_before=judge_photo(spoilt, parts=(plug,)).glare)
    assert judge_photo(spoilt, parts=(white, clamp)).good


def test_a_black_part_in_good_light_is_no_dark_picture(good):
    dark = good.copy()
    rows, cols = slice(200, 320), slice(400, 560)
    dark[rows, cols] //= 8
    part = PartShown("the plug", (400 / good.shape[1], 200 / good.shape[0], 0.1, 0.1))
    assert "dark" not in faults(judge_photo(dark, parts=(part,)))
    assert "dark" in faults(judge_photo((good * 0.2).astype(np.uint8), parts=(part,)))


def test_frozen_comes_first(good):
    assert faults(judge_photo(good, frozen=True)) == ["frozen"]


def test_the_sharpest_of_a_burst(good):
    assert sharpest([blurred(good, 2), good, shaken(good, 9), blurred(good, 1.4)]) == 1


@pytest.mark.parametrize("shape", [(1, 1, 3), (720, 1280), (8, 200, 3)])
def test_what_is_no_photo_is_refused_in_one_sentence(shape):
    with pytest.raises(ValueError, match=r"\.$"):
        judge_photo(np.zeros(shape, np.uint8))


def test_the_command_marks_and_tells(good, tmp_path):
    photo, marked = tmp_path / "photo.png", tmp_path / "marked.jpg"
    cv2().imwrite(str(photo), noisy(shaken(good, 15)))
    text, fine = photo_check(photo, place=(100, 100, 300, 200), marked=marked, as_json=True)
    assert not fine
    assert json.loads(text)["reasons"][0]["fault"] == "shaken"
    assert read_photo(marked).shape == good.shape
    assert "shaken" in photo_check(photo)[0].lower()
    with pytest.raises(ValueError, match="not inside"):
        photo_check(photo, place=(1000, 0, 500, 20))


@pytest.mark.parametrize("mode", ["L", "RGBA", "CMYK", "P", "I;16", "1"])
def test_every_kind_of_picture_file_is_read(tmp_path, mode):
    path = tmp_path / ("a.jpg" if mode == "CMYK" else "a.png")
    ramp = np.linspace(0, 255, 64 * 48).reshape(48, 64)
    if mode == "I;16":
        Image.fromarray((ramp * 257).astype(np.uint16)).save(path)
    else:
        Image.fromarray(ramp.astype(np.uint8)).convert("RGB").convert(mode).save(path)
    image = read_photo(path)
    assert image.shape == (48, 64, 3)
    assert abs(float(image.mean()) - 127) < 12


def test_bad_files_end_in_one_sentence(tmp_path):
    whole = tmp_path / "whole.jpg"
    Image.new("RGB", (200, 100), "grey").save(whole)
    cases = {
        "cut.jpg": whole.read_bytes()[:300],
        "text.jpg": b"no picture at all",
        "empty.jpg": b"",
    }
    for name, data in cases.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(ValueError, match=rf"{name}.*\.$"):
            read_photo(tmp_path / name)
    for path in (tmp_path, tmp_path / "none.jpg"):
        with pytest.raises(ValueError, match=r"\.$"):
            read_photo(path)


def test_a_kept_photo_is_read_quickly_and_a_damaged_one_told(good, tmp_path):
    path = tmp_path / "kept.jpg"
    write_photo(path, good)
    assert np.abs(read_kept(path).astype(int) - read_photo(path)).mean() < 0.5
    whole = path.read_bytes()
    for name, data in (("cut.jpg", whole[: len(whole) // 2]), ("none.jpg", b"words"), ("empty.jpg", b"")):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(ValueError, match=r"take the photo again\.$"):
            read_kept(tmp_path / name)
    with pytest.raises(ValueError, match="is not there"):
        read_kept(tmp_path / "gone.jpg")
