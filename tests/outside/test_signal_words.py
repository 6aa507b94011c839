"""Signal words as ANSI Z535.4-2007 (4.14), Z535.6 and ISO 3864-2/-4 define them, measured on drawn panels."""

import pytest
from PySide6.QtGui import QColor, QImage

from benchguide.procedure.words import SignalWord
from benchguide.window.palette import DARK, LIGHT, Palette
from benchguide.window.theme import Theme, load_fonts, sizes_for
from benchguide.window.widgets.caution import CautionPanel

# word: (colour of the signal word panel, colour of word and symbol, safety alert symbol drawn)
# Red RAL 3001, orange RAL 2010, yellow RAL 1003, blue RAL 5005 in sRGB (ISO 3864-4; orange ISO 3864-2);
# symbol and text colours ANSI Z535.4: the symbol never stands before NOTICE.
STANDARD = {
    SignalWord.DANGER: ("#9b2423", "#ffffff", True),
    SignalWord.WARNING: ("#d05d29", "#000000", True),
    SignalWord.CAUTION: ("#f9a800", "#000000", True),
    SignalWord.NOTICE: ("#005387", "#ffffff", False),
}
BOTH = pytest.mark.parametrize("palette", [DARK, LIGHT], ids=lambda p: p.name)


def drawn(qtbot, palette: Palette, word: SignalWord) -> tuple[CautionPanel, QImage]:
    load_fonts()
    panel = CautionPanel(Theme(palette, sizes_for(70)), word, "Keep metal tools away.")
    qtbot.addWidget(panel)
    panel.resize(500, panel.heightForWidth(500))
    return panel, panel.grab().toImage()


def test_there_are_four_words_in_order_of_severity() -> None:
    assert [w.value for w in SignalWord] == ["DANGER", "WARNING", "CAUTION", "NOTICE"]
    assert set(STANDARD) == set(SignalWord)


@BOTH
@pytest.mark.parametrize("word", list(SignalWord), ids=lambda w: w.value)
def test_colours_and_symbol(qtbot, palette: Palette, word: SignalWord) -> None:
    ground, ink, symbol = STANDARD[word]
    panel, image = drawn(qtbot, palette, word)
    ratio = image.devicePixelRatio()
    band = round(panel._band() * ratio)
    colours = [image.pixelColor(x, band // 2).name() for x in range(image.width() // 2, image.width() - 8)]
    assert set(colours) == {ground}
    # the symbol is a filled triangle left of the word: near its foot most of its width is ink
    gap = panel.theme.sizes.gap
    foot = round(band / 2 + band * 0.72 * 0.36)
    left, right = 2 * gap, 2 * gap + round(band * 0.72)
    inked = sum(image.pixelColor(x, foot) == QColor(ink) for x in range(left, right))
    assert (inked > 0.7 * (right - left)) is symbol
    assert panel.has_symbol is symbol
    everything = {image.pixelColor(x, y).name() for x in range(image.width()) for y in range(band)}
    assert ink in everything


@BOTH
def test_message_stands_outside_the_colour(qtbot, palette: Palette) -> None:
    panel, image = drawn(qtbot, palette, SignalWord.WARNING)
    below = image.pixelColor(image.width() - 20, image.height() - 10)
    assert below == QColor(palette.panel)
    assert panel.accessibleName() == "WARNING: Keep metal tools away."


def test_no_other_colour_of_the_palette_is_a_safety_colour() -> None:
    safety = {"danger", "warning", "caution", "notice"}
    for palette in (DARK, LIGHT):
        used = {getattr(palette, name) for name in safety}
        others = {
            getattr(palette, name)
            for name in Palette.__slots__
            if name not in safety and name != "name" and not name.endswith("_ink")
        }
        assert not used & others


def test_only_the_caution_panel_asks_for_safety_colours() -> None:
    from importlib.resources import files

    window = files("benchguide.window")
    sources = [p for p in (window / "widgets").iterdir() if p.name.endswith(".py")] + [window / "sheet.qss"]
    for source in sources:
        text = source.read_text(encoding="utf-8")
        if source.name == "caution.py":
            assert ".signal(" in text
            continue
        assert ".signal(" not in text, source.name
        for name in ("danger", "warning", "caution", "notice"):
            assert f'colour("{name}' not in text, source.name
            assert f"${name}" not in text, source.name
