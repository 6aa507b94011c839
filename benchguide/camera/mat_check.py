"""Judging what was read from the mat against what should lie there. Plain values in and out; sees no picture.

Verdicts are never kinder than the measurement: where the interval does not decide, it says "cannot tell".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

#: Two-sided 95 % of a normal distribution.
Z95 = 1.96

#: Head height in mm by thread, smallest and largest of the usual standards. Slotted cheese ISO 1207, slotted pan
#: ISO 1580, cheese hexalobular ISO 14580, pan hexalobular ISO 14583; below M1.6 and for shoulder screws estimated
#: from those in proportion. A countersunk head counts into the nominal length (ISO 225).
_HEADS = {
    "pan": {"M1": (0.4, 0.8), "M1.2": (0.4, 0.9), "M1.4": (0.5, 1.0), "M1.6": (0.6, 1.3), "M2": (0.7, 1.6),
            "M2.5": (0.9, 2.1), "M3": (1.1, 2.4), "M4": (1.5, 3.1)},
    "cheese": {"M1": (0.5, 0.8), "M1.2": (0.6, 1.0), "M1.4": (0.7, 1.1), "M1.6": (0.8, 1.25), "M2": (1.0, 1.55),
               "M2.5": (1.3, 1.85), "M3": (1.5, 2.4), "M4": (2.0, 3.1)},
}  # fmt: skip


class Verdict(StrEnum):
    """What a comparison says."""

    MATCHES = "matches"
    DIFFERS = "does not match"
    LONGER = "longer: stop"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with its reason in one sentence."""

    verdict: Verdict
    sentence: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What should lie in a cell."""

    count: int
    """All pieces, screws and other parts."""
    lengths_mm: tuple[tuple[float, float], ...] = ()
    """For every screw the shortest and longest overall length it may have."""
    others: int = 0
    """How many of the pieces are no screws (or are not known to be)."""


def overall_mm(nominal_mm: float, head: str, thread: str) -> tuple[float, float]:
    """Shortest and longest overall length (top of head to tip) of a screw with this nominal length, in mm.

    Nominal lengths are measured under the head, those of flat heads over all (ISO 225). The part map does not
    say how high a head is, so the range covers the usual standards.
    """
    if head == "flat":
        return nominal_mm - 0.1, nominal_mm + 0.1
    size = _diameter(thread)
    table = _HEADS["cheese" if head == "shoulder" else head if head in _HEADS else "pan"]
    low, high = table.get(f"M{size:g}", (0.35 * size, 0.85 * size))
    return nominal_mm + low - 0.1, nominal_mm + high + 0.1


def _diameter(thread: str) -> float:
    return float(thread.lstrip("MST"))


def judge_length(
    measured_mm: float | None,
    sigma_mm: float | None,
    expected_mm: float | tuple[float, float],
    max_mm: float | None = None,
    *,
    tolerance_mm: float = 0.25,
) -> Judged:
    """Compare one measured screw with the hole it is meant for.

    measured_mm, sigma_mm: overall length and its standard uncertainty; None where none could be measured.
    expected_mm: overall length that came out of this hole, as a value (give or take `tolerance_mm`) or a range.
    max_mm: overall length that the hole takes at most; without it, longer than expected means stop.
    Raises ValueError for values that are no lengths.
    """
    low, high = _range(expected_mm, tolerance_mm)
    top = high if max_mm is None else max_mm
    if not (
        math.isfinite(low) and math.isfinite(high) and 0 < low <= high and math.isfinite(top) and top > 0
    ):
        raise ValueError("Expected lengths must be positive numbers of millimetres, the shorter first.")
    if measured_mm is None or sigma_mm is None:
        return Judged(Verdict.CANNOT_TELL, "No length could be measured.")
    if not (math.isfinite(measured_mm) and math.isfinite(sigma_mm) and measured_mm > 0 and sigma_mm > 0):
        raise ValueError("A measured length and its uncertainty must be positive numbers of millimetres.")
    reach = Z95 * sigma_mm
    seen = f"{measured_mm:.1f} ± {reach:.1f} mm"
    if measured_mm - reach > top:
        return Judged(Verdict.LONGER, f"Stop: {seen} is longer than the {top:.1f} mm that belong here.")
    if measured_mm + reach < low or measured_mm - reach > high:
        way = "shorter" if measured_mm < low else "longer"
        return Judged(Verdict.DIFFERS, f"{seen} is {way} than what belongs here ({_words(low, high)}).")
    if measured_mm + reach > top or not low - reach <= measured_mm <= high + reach:
        return Judged(Verdict.CANNOT_TELL, f"{seen} is too near the limit of {top:.1f} mm to tell.")
    if reach > max(0.5, high - low):
        return Judged(Verdict.CANNOT_TELL, f"{seen} is too uncertain: bring the camera nearer.")
    return Judged(Verdict.MATCHES, f"{seen} fits what belongs here ({_words(low, high)}).")


def _range(expected: float | tuple[float, float], tolerance: float) -> tuple[float, float]:
    if isinstance(expected, tuple):
        return expected
    return expected - tolerance, expected + tolerance


def _words(low: float, high: float) -> str:
    return f"{low:.1f} to {high:.1f} mm"


def judge_cell(
    count: int | None, at_least: int, screws: Sequence[tuple[float | None, float | None]], expected: Expected
) -> Judged:
    """Compare one cell with what should lie in it.

    count: parts seen, or None where it cannot be told (touching, covered); at_least: what is certainly there.
    screws: overall length and standard uncertainty of every screw seen, None where there is none.
    """
    if count is None and at_least <= expected.count:
        return Judged(Verdict.CANNOT_TELL, "Parts touch or cannot be seen apart: spread them.")
    seen = at_least if count is None else count
    if seen != expected.count:
        more = "at least " if count is None else ""
        return Judged(Verdict.DIFFERS, f"{more}{seen} seen, {expected.count} should lie here.")
    if seen == 0:
        return Judged(Verdict.MATCHES, "Empty, as it should be.")
    measured = [(mm, sigma) for mm, sigma in screws if mm is not None and sigma is not None]
    if not expected.lengths_mm:
        return Judged(Verdict.MATCHES, f"{seen} seen, as many as should lie here.")
    if not measured:
        return Judged(
            Verdict.CANNOT_TELL, f"{seen} seen, as many as should lie here; no length was measured."
        )
    odd = _unplaced(measured, list(expected.lengths_mm))
    if odd is not None:
        return Judged(Verdict.DIFFERS, f"A screw of {odd:.1f} mm does not belong here.")
    return Judged(Verdict.MATCHES, f"{seen} seen, and the {len(measured)} measured lengths fit.")


def _unplaced(measured: Sequence[tuple[float, float]], ranges: list[tuple[float, float]]) -> float | None:
    """The length of a screw that fits none of the expected ones left over; None when all find a place.

    Intervals on a line: taking the shortest screw first and giving it the fitting range that ends first
    finds a full assignment whenever there is one of equal reach.
    """
    left = sorted(ranges, key=lambda pair: pair[1])
    for mm, sigma in sorted(measured):
        reach = Z95 * sigma
        place = next((r for r in left if r[0] <= mm + reach and mm - reach <= r[1]), None)
        if place is None:
            return mm
        left.remove(place)
    return None


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """Whether the mat was printed at 1:1, as far as anything tells."""

    state: str
    """`right`, `wrong` or `not checked`."""
    factor: float | None
    """Printed size over true size."""
    by: str
    """`ruler`, `page edges`, `card` or empty."""
    sentence: str

    @property
    def wrong(self) -> bool:
        """True when the print is known to be off."""
        return self.state == "wrong"


#: A ruler is read to about half a millimetre; half a percent of 100 mm.
RULER_TOLERANCE = 0.005
#: Page edges are cut and seen to about a millimetre.
EDGE_TOLERANCE = 0.015
#: Long edge of an ID-1 card (ISO/IEC 7810), a free gauge on every bench.
CARD_MM = 85.60


def scale_by_ruler(bar_read_mm: float, bar_mm: float = 100.0) -> ScaleCheck:
    """What a ruler laid on the scale bar says. Raises ValueError for readings that are none."""
    if not (math.isfinite(bar_read_mm) and 20 <= bar_read_mm <= 300):
        raise ValueError(
            "Give the length of the scale bar in millimetres as the ruler shows it, for example 99.5."
        )
    factor = bar_read_mm / bar_mm
    if abs(factor - 1) <= RULER_TOLERANCE:
        return ScaleCheck("right", factor, "ruler", "The scale bar is right by the ruler.")
    return ScaleCheck(
        "wrong", factor, "ruler",
        f"The mat is printed at {factor * 100:.1f} %: print it again at 100 %. Lengths are corrected by the ruler.",
    )  # fmt: skip


def scale_by_length(read_mm: float, true_mm: float = CARD_MM) -> ScaleCheck:
    """What a thing of known length says that was measured on the mat. Raises ValueError."""
    if not (math.isfinite(read_mm) and math.isfinite(true_mm) and read_mm > 0 and true_mm > 0):
        raise ValueError("Lengths must be positive numbers of millimetres.")
    factor = true_mm / read_mm
    if abs(factor - 1) <= EDGE_TOLERANCE:
        return ScaleCheck("right", factor, "card", "The known length is read right.")
    return ScaleCheck(
        "wrong", factor, "card",
        f"The mat seems to be printed at {factor * 100:.1f} %: check the scale bar with a ruler.",
    )  # fmt: skip
