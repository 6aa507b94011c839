"""How the window looks: palette, type and sizes of one theme, and the one style sheet made from them.

Sizes follow from how far the person stands away (reading.py); nothing here is a fixed number of pixels.
Widgets that paint take a `Theme`; plain Qt widgets get their look from the sheet and a `role` property.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from string import Template

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette, QScreen
from PySide6.QtWidgets import QApplication, QWidget

from benchguide.procedure.words import SignalWord
from benchguide.window import reading
from benchguide.window.palette import DARK, LIGHT, PALETTES, Palette

__all__ = ["DARK", "LIGHT", "PALETTES", "Palette", "Sizes", "Theme", "apply_theme", "load_fonts", "set_role"]

FAMILY, MONO = "B612", "B612 Mono"

#: Nobody has said yet how far away they stand: an arm's length and a bit.
USUAL_CM = 70


@dataclass(frozen=True, slots=True)
class Sizes:
    """Type in points, everything else in device-independent pixels; all follow from distance and screen."""

    distance_cm: int
    instruction_pt: float
    """Capitals of 22 minutes of arc."""
    body_pt: float
    """Capitals of 16 minutes of arc; nothing is smaller."""
    heading_pt: float
    body_px: float
    """Height of the em of the body type."""
    target: int
    """Side of a 20 mm target."""

    @property
    def gap(self) -> int:
        """Space between things that belong together."""
        return max(4, round(self.body_px * 0.5))

    @property
    def radius(self) -> int:
        """Corners of panels and buttons."""
        return max(3, round(self.body_px * 0.35))

    @property
    def stroke(self) -> int:
        """Width of borders and drawn lines."""
        return max(1, round(self.body_px / 11))


def sizes_for(distance_cm: float, physical_dpi: float = 96.0, logical_dpi: float = 96.0) -> Sizes:
    """Sizes for a person `distance_cm` away (clamped to 40 to 300) from a screen of these dots per inch."""
    distance = reading.clamp_distance_cm(distance_cm)
    dpi = reading.believed_dpi(physical_dpi, logical_dpi)

    def points(arcmin: float) -> float:
        return reading.point_size(distance * 10, arcmin, dpi, logical_dpi)

    body = points(reading.REST_ARCMIN)
    return Sizes(
        distance,
        points(reading.INSTRUCTION_ARCMIN),
        body,
        points((reading.INSTRUCTION_ARCMIN + reading.REST_ARCMIN) / 2),
        body * logical_dpi / reading.POINTS_PER_INCH,
        reading.target_pixels(dpi),
    )


def sizes_on(screen: QScreen, distance_cm: float = USUAL_CM) -> Sizes:
    """Sizes for a person `distance_cm` away from this screen."""
    return sizes_for(distance_cm, screen.physicalDotsPerInch(), screen.logicalDotsPerInch())


@dataclass(frozen=True, slots=True)
class Theme:
    """A palette with sizes: all a widget needs to draw itself."""

    palette: Palette
    sizes: Sizes

    def colour(self, name: str) -> QColor:
        """A colour of the palette by its field name."""
        return _colour(getattr(self.palette, name))

    def signal(self, word: SignalWord) -> tuple[QColor, QColor]:
        """Ground and text colour of a signal word."""
        name = word.value.lower()
        return self.colour(name), self.colour(f"{name}_ink")

    def font(self, role: str = "body", bold: bool = False) -> QFont:
        """Type for `instruction`, `heading`, `heading-text`, `body`, or for figures `mono` and `clock`."""
        return _font(self.sizes, role, bold)


@lru_cache(maxsize=64)
def _colour(value: str) -> QColor:
    # painting asks for the same few hundreds of times a second; nobody changes what is handed out
    return QColor(value)


@lru_cache(maxsize=256)
def _font(s: Sizes, role: str, bold: bool) -> QFont:
    font = QFont(MONO if role in ("mono", "clock") else FAMILY)
    size = {"instruction": s.instruction_pt, "clock": s.instruction_pt}
    size |= {"heading": s.heading_pt, "heading-text": s.heading_pt}
    font.setPointSizeF(size.get(role, s.body_pt))
    font.setBold(bold or role == "heading")
    return font


def load_fonts() -> None:
    """Register the fonts shipped with the program; once is enough, twice does no harm."""
    if {FAMILY, MONO} <= set(QFontDatabase.families()):
        return
    for entry in files("benchguide.fonts").iterdir():
        if entry.name.endswith(".otf"):
            QFontDatabase.addApplicationFontFromData(entry.read_bytes())


def apply_theme(app: QApplication, theme: Theme) -> None:
    """Give the whole application this look. Painted widgets also need their own `set_theme`."""
    load_fonts()
    if app.style().objectName() != "fusion":
        app.setStyle("Fusion")
    app.setPalette(qt_palette(theme))
    app.setFont(theme.font())
    app.setStyleSheet(style_sheet(theme))


def set_role(widget: QWidget, role: str) -> None:
    """Name what a plain widget is for, so that the sheet can dress it; renews the look if it was shown."""
    if widget.property("role") == role:
        return
    fresh = widget.property("role") is None
    widget.setProperty("role", role)
    if not fresh or widget.testAttribute(Qt.WidgetAttribute.WA_WState_Polished):
        widget.style().unpolish(widget)
        widget.style().polish(widget)


def qt_palette(theme: Theme) -> QPalette:
    """The palette in Qt's own terms, for everything the sheet does not reach."""
    roles = {
        QPalette.ColorRole.Window: "ground",
        QPalette.ColorRole.Base: "panel",
        QPalette.ColorRole.AlternateBase: "raised",
        QPalette.ColorRole.Button: "raised",
        QPalette.ColorRole.ToolTipBase: "raised",
        QPalette.ColorRole.WindowText: "ink",
        QPalette.ColorRole.Text: "ink",
        QPalette.ColorRole.ButtonText: "ink",
        QPalette.ColorRole.ToolTipText: "ink",
        QPalette.ColorRole.BrightText: "ink",
        QPalette.ColorRole.PlaceholderText: "soft_ink",
        QPalette.ColorRole.Highlight: "accent",
        QPalette.ColorRole.HighlightedText: "accent_ink",
        QPalette.ColorRole.Accent: "accent",
        QPalette.ColorRole.Link: "accent",
        QPalette.ColorRole.LinkVisited: "accent",
        QPalette.ColorRole.Mid: "edge",
        QPalette.ColorRole.Dark: "line",
        QPalette.ColorRole.Midlight: "line",
        QPalette.ColorRole.Light: "raised",
    }
    palette = QPalette()
    for role, name in roles.items():
        palette.setColor(role, theme.colour(name))
    for role in (QPalette.ColorRole.WindowText, QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, role, theme.colour("soft_ink"))
    return palette


def style_sheet(theme: Theme) -> str:
    """The one style sheet of the application. Roles are set with `set_role`."""
    p, s = theme.palette, theme.sizes
    sheet = (files("benchguide.window") / "sheet.qss").read_text(encoding="utf-8")
    return Template(sheet).substitute(
        **{name: getattr(p, name) for name in Palette.__slots__},
        family=FAMILY,
        mono=MONO,
        instruction=f"{s.instruction_pt:.2f}pt",
        heading=f"{s.heading_pt:.2f}pt",
        body=f"{s.body_pt:.2f}pt",
        gap=f"{s.gap}px",
        half=f"{max(2, s.gap // 2)}px",
        radius=f"{s.radius}px",
        stroke=f"{s.stroke}px",
        thick=f"{s.stroke * 2}px",
        bar=f"{round(s.body_px)}px",
        knob=f"{round(s.target * 0.5)}px",
        knob_out=f"-{round(s.target * 0.2)}px",
        groove=f"{max(4, round(s.target * 0.1))}px",
        target=f"{s.target}px",
        large=f"{s.target - s.gap - 2 * s.stroke}px",
        line_height=f"{round(s.body_px * 1.5)}px",
        row=f"{round(s.body_px * 2)}px",
    )
