"""The theme: fonts that are shipped, one style sheet without fixed sizes, a look that can be changed."""

import re
from importlib.resources import files

import pytest
from PySide6.QtGui import QFontDatabase, QFontInfo, QFontMetricsF, QPalette
from PySide6.QtWidgets import QApplication, QLabel

from benchguide.procedure.words import SignalWord
from benchguide.window.theme import (
    DARK,
    FAMILY,
    LIGHT,
    MONO,
    Theme,
    apply_theme,
    load_fonts,
    set_role,
    sizes_for,
    sizes_on,
    style_sheet,
)

BOTH = pytest.mark.parametrize("palette", [DARK, LIGHT], ids=lambda p: p.name)


@pytest.fixture
def app(qapp):
    yield qapp
    qapp.setStyleSheet("")


def test_fonts_are_the_shipped_ones(app: QApplication) -> None:
    load_fonts()
    load_fonts()
    assert {FAMILY, MONO} <= set(QFontDatabase.families())
    theme = Theme(DARK, sizes_for(70))
    assert QFontInfo(theme.font()).family() == FAMILY
    assert QFontInfo(theme.font("mono")).family() == MONO


@pytest.mark.parametrize("role", ["body", "heading", "instruction", "mono", "clock"])
def test_figures_are_tabular(app: QApplication, role: str) -> None:
    load_fonts()
    metrics = QFontMetricsF(Theme(DARK, sizes_for(70)).font(role))
    assert len({metrics.horizontalAdvance(figure) for figure in "0123456789"}) == 1


@BOTH
def test_applied(app: QApplication, palette) -> None:
    theme = Theme(palette, sizes_for(90))
    apply_theme(app, theme)
    assert app.palette().color(QPalette.ColorRole.Window).name() == palette.ground
    assert app.font().family() == FAMILY
    assert app.font().pointSizeF() == pytest.approx(theme.sizes.body_pt, abs=0.1)
    assert app.styleSheet() == style_sheet(theme)


@BOTH
def test_sheet_has_no_gap_and_no_fixed_size(palette) -> None:
    assert "$" not in style_sheet(Theme(palette, sizes_for(70)))
    source = (files("benchguide.window") / "sheet.qss").read_text(encoding="utf-8")
    assert not re.findall(r"\d+(?:px|pt|em)", source)
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b", source)


def test_sheet_follows_the_distance() -> None:
    near, far = (style_sheet(Theme(DARK, sizes_for(cm))) for cm in (50, 200))
    assert near != far
    sizes = [float(s) for s in re.findall(r"font-size: ([\d.]+)pt", far)]
    assert min(sizes) == pytest.approx(sizes_for(200).body_pt, abs=0.01)


def test_sizes_of_a_real_screen(app: QApplication) -> None:
    sizes = sizes_on(app.primaryScreen(), 100)
    assert sizes.distance_cm == 100
    assert sizes.instruction_pt > sizes.heading_pt > sizes.body_pt
    assert min(sizes.gap, sizes.radius, sizes.stroke) >= 1


def test_role_changes_the_look_of_a_shown_widget(app: QApplication, qtbot) -> None:
    theme = Theme(DARK, sizes_for(70))
    apply_theme(app, theme)
    label = QLabel("Lift the plate.")
    qtbot.addWidget(label)
    label.show()
    before = label.fontMetrics().height()
    set_role(label, "instruction")
    assert label.fontMetrics().height() > before
    apply_theme(app, Theme(LIGHT, sizes_for(140)))
    assert label.fontMetrics().height() > 2 * before


def test_signal_colours_come_in_pairs() -> None:
    ground, ink = Theme(DARK, sizes_for(70)).signal(SignalWord.CAUTION)
    assert (ground.name(), ink.name()) == (DARK.caution, DARK.caution_ink)


class _FakeScreen:
    """A screen that reports these dots per inch of glass."""

    def __init__(self, physical: float) -> None:
        self._physical = physical

    def physicalDotsPerInch(self) -> float:
        return self._physical

    def logicalDotsPerInch(self) -> float:
        return 96.0


@pytest.mark.parametrize(
    ("reported", "true"), [(96.0, 96.0), (141.0, 141.0), (220.0, 220.0), (0.0, 96.0), (4000.0, 96.0)]
)
def test_a_large_key_is_20_mm_on_the_glass_both_ways(qtbot, reported: float, true: float) -> None:
    from benchguide.window.theme import sizes_on
    from benchguide.window.widgets.key_button import BigKey

    key = BigKey(None, Theme(DARK, sizes_on(_FakeScreen(reported), 70)), "M", "M")  # type: ignore[arg-type]
    qtbot.addWidget(key)
    for size in (key.sizeHint(), key.minimumSizeHint()):
        # 25.4 mm to the inch; half a pixel for rounding
        assert min(size.width(), size.height()) / true * 25.4 >= 20 - 0.5 / true * 25.4
