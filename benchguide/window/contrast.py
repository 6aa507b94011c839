"""Contrast between two colours after WCAG 2.2. Pure arithmetic on `#rrggbb` texts, no Qt, no palette."""

#: Least ratios: instruction text (SC 1.4.6), other text (SC 1.4.3), marks and borders (SC 1.4.11).
INSTRUCTION, TEXT, SHAPE = 7.0, 4.5, 3.0


def channels(colour: str) -> tuple[float, float, float]:
    """Red, green and blue from 0 to 1 of `#rrggbb`. Raises ValueError for anything else."""
    if len(colour) != 7 or colour[0] != "#":
        raise ValueError(f"{colour!r} is not a colour of the form #rrggbb")
    number = int(colour[1:], 16)
    return (number >> 16) / 255, (number >> 8 & 255) / 255, (number & 255) / 255


def luminance(colour: str) -> float:
    """Relative luminance, 0 for black to 1 for white (sRGB, IEC 61966-2-1)."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: str, other: str) -> float:
    """Contrast ratio from 1 to 21; the order of the colours does not matter."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)
