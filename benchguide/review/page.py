"""The record as one HTML page that needs nothing else: no network, no scripts, photos inside, prints on
A4 and Letter.

What it says comes from record.py, exceptions.py and timeline.py; how it looks is in templates/.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from benchguide.review.embed import Embedded, ShelfLike, embed
from benchguide.review.exceptions import exceptions_of
from benchguide.review.lines import PhotoLine, StepLine
from benchguide.review.pictures import picture_name
from benchguide.review.problems import Stopped
from benchguide.review.record import Record, iso
from benchguide.review.seen import (
    ComparedLine,
    PoorLine,
    comparisons_of,
    mat_readings_of,
    measured_of,
    poor_photos_of,
)
from benchguide.review.timeline import timeline_of
from benchguide.review.words import clock, count, day_and_time, span, span_range
from benchguide.session.state import Mark

if TYPE_CHECKING:
    from jinja2 import Environment

#: a page with more photos than this carries only the small ones, so that it stays readable (about 100 MB)
MOST_LARGE = 400

#: characters that HTML forbids or that only confuse a reader (controls, lone surrogates)
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Bar:
    """Touch time beside the plan, in percent of the widest bar of the table."""

    spent: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Marked:
    """A numbered outline on a photo, in percent of it."""

    label: str
    left: float
    top: float
    width: float
    height: float
    words: str


@dataclass(frozen=True, slots=True)
class Shown:
    """A photo as the page shows it: with the places that may differ, and what was wrong with it."""

    line: PhotoLine
    name: str
    step: StepLine | None
    image: Embedded
    marks: tuple[Marked, ...] = ()
    poor: PoorLine | None = None


def page(
    record: Record,
    shelf: ShelfLike,
    tell: Callable[[int, int], bool] | None = None,
    made: datetime | None = None,
) -> tuple[str, tuple[str, ...]]:
    """The page, and sentences about photos that could not be shown (also told in the page itself).

    `tell(done, of)` counts photos and may return False: then Stopped is raised. `made` is when the page
    was made.
    """
    steps = {line.step.id: line for line in record.steps}
    shown: list[Shown] = []
    with_large = len(record.photos) <= MOST_LARGE
    marks = _marks(record)
    poor = {line.photo.sha256: line for line in poor_photos_of(record)}
    for done, line in enumerate(record.photos, start=1):
        sha = line.sha256
        shown.append(
            Shown(
                line,
                picture_name(record, line),
                steps.get(line.step),
                embed(shelf, sha, with_large),
                tuple(marks.get(sha, ())),
                poor.get(sha),
            )
        )
        if tell and not tell(done, len(record.photos)):
            raise Stopped("The export was stopped.")
    made = made or datetime.now().astimezone()
    html = _environment().get_template("record.html.j2").render(_context(record, shown, made))
    troubles = tuple(f"{s.name}: {s.image.trouble}" for s in shown if s.image.trouble)
    return _FORBIDDEN.sub("\ufffd", html), troubles


@lru_cache(maxsize=1)
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("benchguide.review", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(span=span, day=day_and_time, clock=clock, iso=iso)
    return environment


def _context(record: Record, shown: list[Shown], made: datetime) -> dict[str, Any]:
    visited = [line for line in record.steps if line.visits or line.mark is not Mark.OPEN]
    return {
        "record": record,
        "state": record.state,
        "procedure": record.state.job.procedure,
        "device": record.state.job.device,
        "steps": {line.step.id: line for line in record.steps},
        "exceptions": exceptions_of(record),
        "entries": timeline_of(record),
        "bars": _bars(record.steps),
        "pairs": _pairs(record, shown),
        "shown": shown,
        "by_photo": {s.line.sha256: s for s in shown},
        "mats": mat_readings_of(record),
        "measured": measured_of(record),
        "tally": _tally(record),
        "visited": visited,
        "span_range": span_range,
        "count": count,
        "made": f"{made:%Y-%m-%d %H:%M} {made:%z}",
        "sealed": any(s.step.seals and s.mark is Mark.DONE for s in record.steps),
        "opened": any(s.mark is Mark.DONE and s.step.stage == "way-in" for s in record.steps),
    }


def _bars(steps: Iterable[StepLine]) -> dict[str, Bar]:
    listed = list(steps)
    widest = max((max(s.times.touch_s, float(s.step.time_s[1])) for s in listed), default=1.0) or 1.0
    return {
        s.step.id: Bar(
            round(100 * s.times.touch_s / widest, 2),
            round(100 * s.step.time_s[0] / widest, 2),
            round(100 * s.step.time_s[1] / widest, 2),
        )
        for s in listed
    }


@dataclass(frozen=True, slots=True)
class Beside:
    """One comparison under its pair of photos, with the labels of its outlines."""

    line: ComparedLine
    left: PhotoLine | None
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """Photos of the same parts: as-found and as-left side by side, others after them."""

    title: str
    steps: tuple[StepLine, ...]
    as_found: tuple[Shown, ...]
    as_left: tuple[Shown, ...]
    free: tuple[Shown, ...]
    compared: tuple[Beside, ...]


def _labels(record: Record) -> dict[int, tuple[str, ...]]:
    """The labels of each comparison's outlines: numbers, and with the number of the as-left photo before them where
    the same as-found photo stands beside several that differ."""
    lines = comparisons_of(record)
    photos = {line.sha256: line for line in record.photos}
    differing: dict[str, int] = {}
    for line in lines:
        differing[line.as_found] = differing.get(line.as_found, 0) + bool(line.candidates)
    found = {}
    for place, line in enumerate(lines):
        left = photos.get(line.as_left)
        before = f"{left.number}." if left and differing[line.as_found] > 1 else ""
        found[place] = tuple(f"{before}{candidate.number}" for candidate in line.candidates)
    return found


def _marks(record: Record) -> dict[str, list[Marked]]:
    """The outlines on each photo, by its hash."""
    photos = {line.sha256: line.photo for line in record.photos}
    labels = _labels(record)
    found: dict[str, list[Marked]] = {}
    for place, line in enumerate(comparisons_of(record)):
        for sha in (line.as_found, line.as_left):
            photo = photos.get(sha)
            if photo is None or photo.width < 1 or photo.height < 1:
                continue
            for label, candidate in zip(labels[place], line.candidates, strict=True):
                x, y, w, h = candidate.left if sha == line.as_left else candidate.found
                words = f"{candidate.hint}: {candidate.answer or 'not answered'}"
                across, down = 100 / photo.width, 100 / photo.height
                left, top, wide, high = (round(v, 2) for v in (x * across, y * down, w * across, h * down))
                found.setdefault(sha, []).append(Marked(label, left, top, wide, high, words))
    return found


def _pairs(record: Record, shown: list[Shown]) -> list[Pair]:
    """Steps that concern the same parts stand together: the removal with its as-found photo beside the
    refit.
    """
    names = record.state.job.device.by_id
    groups: dict[tuple[str, ...], list[StepLine]] = {}
    for line in record.steps:
        key = tuple(sorted(line.step.parts)) or (f"step {line.step.id}",)
        if line.photos or line.missing:
            groups.setdefault(key, []).append(line)
    pairs = []
    compared = _compared(record)
    for key, lines in groups.items():
        ids = {line.step.id for line in lines}
        of = [s for s in shown if s.line.step in ids]
        known = [names[k].name for k in key if k in names]
        pairs.append(
            Pair(
                ", ".join(known) or f"Step {lines[0].number}",
                tuple(lines),
                tuple(s for s in of if s.line.purpose == "as-found"),
                tuple(s for s in of if s.line.purpose == "as-left"),
                tuple(s for s in of if s.line.purpose == "free"),
                tuple(beside for beside in compared if beside.line.step in ids),
            )
        )
    return pairs


def _compared(record: Record) -> list[Beside]:
    photos = {line.sha256: line for line in record.photos}
    labels = _labels(record)
    return [
        Beside(line, photos.get(line.as_left), labels[place])
        for place, line in enumerate(comparisons_of(record))
    ]


def _tally(record: Record) -> dict[str, int]:
    marks = [line.mark for line in record.steps]
    return {
        "steps": len(marks),
        "done": sum(m is Mark.DONE for m in marks),
        "skipped": sum(m is Mark.SKIPPED for m in marks),
        "photos": len(record.photos),
        "as_found": sum(p.purpose == "as-found" for p in record.photos),
        "as_left": sum(p.purpose == "as-left" for p in record.photos),
        "longer": sum(line.over_s > 0 for line in record.steps),
        "poor": sum(bool(p.photo.faults) for p in record.photos),
        "differences": sum(len(line.candidates) for line in comparisons_of(record)),
        "pieces_out": record.state.ledger.pieces,
    }
