"""The colours of the two themes, as data. No Qt, no sizes; contrast.py measures them, theme.py applies them.

Everything is ink on ground with one violet accent. The four safety colours belong to caution panels alone:
sRGB values of RAL 3001, 2010, 1003 and 5005 as ISO 3864-4 and ISO 3864-2 name them, with the text colours
of ANSI Z535.4, save that orange takes black (white on it is 3.98:1 and fails WCAG).
"""

from dataclasses import dataclass

from benchguide.window import contrast


@dataclass(frozen=True, slots=True)
class Palette:
    """One set of colours, each `#rrggbb`."""

    name: str
    ground: str
    """Behind everything."""
    panel: str
    """Areas that hold content."""
    raised: str
    """Buttons and fields."""
    ink: str
    soft_ink: str
    """Less important text; still at least 4.5:1 everywhere."""
    edge: str
    """Borders that say "this can be used"; at least 3:1."""
    line: str
    """Hairlines between areas; decoration only."""
    accent: str
    accent_ink: str
    """Text on the accent."""
    tint: str
    """Ground of what is present or chosen."""
    picture: str = "#000000"
    """Behind camera pictures."""
    picture_ink: str = "#ffffff"
    danger: str = "#9b2423"
    danger_ink: str = "#ffffff"
    warning: str = "#d05d29"
    warning_ink: str = "#000000"
    caution: str = "#f9a800"
    caution_ink: str = "#000000"
    notice: str = "#005387"
    notice_ink: str = "#ffffff"


DARK = Palette(
    name="dark",
    ground="#121217",
    panel="#1c1b23",
    raised="#2a2934",
    ink="#f4f3f8",
    soft_ink="#bdbaca",
    edge="#8b8899",
    line="#3a3846",
    accent="#b69cff",
    accent_ink="#17092f",
    tint="#2b2347",
)
LIGHT = Palette(
    name="light",
    ground="#eeedf2",
    panel="#ffffff",
    raised="#f3f1f8",
    ink="#16151b",
    soft_ink="#4f4c5b",
    edge="#777385",
    line="#d0cdd8",
    accent="#5a2bc4",
    accent_ink="#ffffff",
    tint="#e9e1fb",
)
PALETTES = {palette.name: palette for palette in (DARK, LIGHT)}

_GROUNDS = ("ground", "panel", "raised", "tint")

#: Every pair of colours the window uses: what is drawn, on what, and the least contrast it needs.
PAIRS: tuple[tuple[str, str, float], ...] = (
    *(("ink", ground, contrast.INSTRUCTION) for ground in _GROUNDS),
    *(("soft_ink", ground, contrast.TEXT) for ground in _GROUNDS),
    *(("accent", ground, contrast.TEXT) for ground in _GROUNDS),
    *(("edge", ground, contrast.SHAPE) for ground in _GROUNDS),
    ("accent_ink", "accent", contrast.INSTRUCTION),
    ("picture_ink", "picture", contrast.INSTRUCTION),
    ("danger_ink", "danger", contrast.TEXT),
    ("warning_ink", "warning", contrast.TEXT),
    ("caution_ink", "caution", contrast.TEXT),
    ("notice_ink", "notice", contrast.TEXT),
)
