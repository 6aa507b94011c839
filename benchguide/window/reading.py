"""How large type and targets must be for a person who stands some way off. Pure arithmetic, no Qt.

Character height is the height of a capital letter, h = 2 D tan(a / 2) (ISO 9241-303: 20 to 22 minutes of
arc preferred, 16 the least). It does not choose fonts or colours; theme.py does.
"""

from math import radians, tan

#: Minutes of arc for the instruction and, at the least, for everything else (ISO 9241-303).
INSTRUCTION_ARCMIN = 22.0
REST_ARCMIN = 16.0

#: Cap height of B612 as a share of the em: OS/2 sCapHeight 1500 of 2000 units.
CAP_HEIGHT = 0.75

NEAREST_CM, FARTHEST_CM = 40, 300

#: Size of a target for a gloved finger, in mm.
TARGET_MM = 20.0

#: Screens report their size wrongly often enough; outside these dots per inch the report is not believed.
BELIEVED_DPI = (60.0, 400.0)

MM_PER_INCH = 25.4
POINTS_PER_INCH = 72.0


def clamp_distance_cm(distance_cm: float) -> int:
    """The setting "I stand N cm away", kept within 40 to 300 cm."""
    return round(min(max(distance_cm, NEAREST_CM), FARTHEST_CM))


def character_height_mm(distance_mm: float, arcmin: float) -> float:
    """Height in mm of `arcmin` minutes of arc at `distance_mm`. Raises ValueError unless both are above 0."""
    if distance_mm <= 0 or arcmin <= 0:
        raise ValueError("distance and angle must be above zero")
    return 2 * distance_mm * tan(radians(arcmin / 60) / 2)


def believed_dpi(reported: float, otherwise: float = 96.0) -> float:
    """The dots per inch a screen reports, or `otherwise` when the report cannot be true."""
    low, high = BELIEVED_DPI
    return reported if low <= reported <= high else otherwise


def pixels(mm: float, dpi: float) -> float:
    """Length in (device-independent) pixels of `mm` on a screen of `dpi` such pixels per inch."""
    return mm / MM_PER_INCH * dpi


def point_size(
    distance_mm: float, arcmin: float, physical_dpi: float = 96.0, logical_dpi: float = 96.0
) -> float:
    """Font size in points that gives capitals of `arcmin` on the glass at `distance_mm`.

    A toolkit turns points into pixels with `logical_dpi`; the glass has `physical_dpi` pixels to the inch.
    """
    em_mm = character_height_mm(distance_mm, arcmin) / CAP_HEIGHT
    return pixels(em_mm, physical_dpi) * POINTS_PER_INCH / logical_dpi


def target_pixels(physical_dpi: float) -> int:
    """Side of a 20 mm target in pixels."""
    return round(pixels(TARGET_MM, physical_dpi))
