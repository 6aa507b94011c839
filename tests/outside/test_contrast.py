"""Contrast against WCAG 2.2 (SC 1.4.3, 1.4.6, 1.4.11) and the reference library wcag-contrast-ratio."""

from itertools import product

import pytest
import wcag_contrast_ratio

from benchguide.window.contrast import SHAPE, TEXT, channels, luminance, ratio
from benchguide.window.palette import DARK, LIGHT, PAIRS

# Two independent public implementations (PyPI wcag-contrast-ratio 0.9, coloraide) agree on these.
KNOWN = [
    ("#000000", "#ffffff", 21.0),
    ("#777777", "#ffffff", 4.4781),
    ("#767676", "#ffffff", 4.5422),
    ("#595959", "#ffffff", 7.0047),
    ("#949494", "#ffffff", 3.0335),
    ("#959595", "#ffffff", 2.9953),
    ("#808080", "#ffffff", 3.9494),
    ("#ff0000", "#ffffff", 3.9985),
    ("#0000ff", "#ffffff", 8.5925),
    ("#008000", "#ffffff", 5.1374),
    ("#ffff00", "#ffffff", 1.0738),
    ("#000000", "#ff0000", 5.2520),
    ("#0000ff", "#ff0000", 2.1489),
]
# Published with the documentation of contrast libraries.
PUBLISHED = [("#ff8100", "#64003a", 5.235369975583679), ("#e5e5e5", "#aabb00", 1.698093107780376)]
# Safety colours of ISO 3864-4 and ISO 3864-2 (RAL 1003, 3001, 2010, 5005 in sRGB).
SAFETY = [
    ("#f9a800", "#000000", 10.6290),
    ("#f9a800", "#ffffff", 1.9757),
    ("#9b2423", "#ffffff", 7.8642),
    ("#d05d29", "#000000", 5.2797),
    ("#d05d29", "#ffffff", 3.9775),
    ("#005387", "#ffffff", 8.1170),
]


@pytest.mark.parametrize(("one", "other", "expected"), KNOWN + SAFETY)
def test_known_pairs(one: str, other: str, expected: float) -> None:
    assert ratio(one, other) == pytest.approx(expected, abs=6e-5)
    assert ratio(other, one) == ratio(one, other)


@pytest.mark.parametrize(("one", "other", "expected"), PUBLISHED)
def test_published_pairs(one: str, other: str, expected: float) -> None:
    assert ratio(one, other) == pytest.approx(expected, rel=1e-12)


def test_published_luminance() -> None:
    assert luminance("#ff8100") == pytest.approx(0.36960513804637335, rel=1e-12)


def test_agrees_with_the_reference_library() -> None:
    colours = [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in product((0, 10, 11, 97, 200, 255), repeat=3)]
    for one, other in zip(colours, reversed(colours), strict=True):
        # the library splits at 0.03928 as WCAG long printed; no 8-bit value lies between the two thresholds
        assert ratio(one, other) == pytest.approx(
            wcag_contrast_ratio.rgb(channels(one), channels(other)), abs=6e-5
        )


@pytest.mark.parametrize("palette", [DARK, LIGHT], ids=lambda p: p.name)
@pytest.mark.parametrize(("ink", "ground", "least"), PAIRS, ids=lambda v: str(v))
def test_every_pair_in_use(palette, ink: str, ground: str, least: float) -> None:
    one, other = getattr(palette, ink), getattr(palette, ground)
    assert wcag_contrast_ratio.rgb(channels(one), channels(other)) >= least, (one, other)


@pytest.mark.parametrize("palette", [DARK, LIGHT], ids=lambda p: p.name)
def test_white_is_never_written_on_orange_or_yellow(palette) -> None:
    assert palette.warning_ink == palette.caution_ink == "#000000"
    assert ratio("#ffffff", palette.warning) < TEXT
    assert ratio("#ffffff", palette.caution) < SHAPE


@pytest.mark.parametrize("bad", ["", "#fff", "123456", "#12345g", "#1234567"])
def test_not_a_colour(bad: str) -> None:
    with pytest.raises(ValueError, match=r"#rrggbb|base 16"):
        ratio(bad, "#ffffff")
