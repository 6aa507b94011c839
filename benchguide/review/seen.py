"""What the camera saw, as rows of a record: comparisons and their answers, poor photos, the parts mat, screws.

Candidates stay candidates: where nothing stood out, or nothing could be told, that is said and no more.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchguide.review.lines import Line, PhotoLine
from benchguide.review.record import Record
from benchguide.session import events as ev
from benchguide.session.mat import AGREE
from benchguide.session.moment import Moment
from benchguide.session.photo_faults import fault_words

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One place that may differ: its boxes in pixels of as-left and as-found (x, y, w, h), and what was said of it."""

    number: int
    left: Box
    found: Box
    hint: str
    score: float
    answer: str = ""
    answered: Moment | None = None
    answered_by: str = ""


@dataclass(frozen=True, slots=True)
class ComparedLine(Line):
    """One comparison. `anew` is true when another as-left photo of the step was compared later."""

    as_found: str
    as_left: str
    aligned: bool
    why: str
    candidates: tuple[Candidate, ...]
    anew: bool = False

    @property
    def words(self) -> str:
        """What the comparison says."""
        if not self.aligned:
            return f"Cannot tell: {self.why}"
        count = len(self.candidates)
        if not count:
            return "No place stood out. That proves nothing."
        return "1 place may differ." if count == 1 else f"{count} places may differ."


@dataclass(frozen=True, slots=True)
class MatCell:
    """One cell of the mat beside the ledger. `counted` in words; `lengths` of the screws in it."""

    cell: str
    expected: int
    counted: str
    count: int | None
    at_least: int
    verdict: str
    told: str
    lengths: tuple[tuple[str, float, float], ...]

    @property
    def plain(self) -> bool:
        """Empty, and empty by the ledger."""
        return self.verdict == AGREE and not self.expected and not self.count


@dataclass(frozen=True, slots=True)
class MatLine(Line):
    """One reading of the parts mat."""

    photo: str
    paper: str
    cells: tuple[MatCell, ...]
    warnings: tuple[str, ...]

    @property
    def telling(self) -> tuple[MatCell, ...]:
        """Cells in which something lies, or should lie, or that cannot be told."""
        return tuple(cell for cell in self.cells if not cell.plain)


@dataclass(frozen=True, slots=True)
class MeasuredLine(Line):
    """One screw that was measured before it went in."""

    part: str
    length_mm: float
    sigma_mm: float
    verdict: str
    told: str


@dataclass(frozen=True, slots=True)
class PoorLine(Line):
    """A photo with faults and what became of it."""

    photo: PhotoLine
    kept: Moment | None
    kept_by: str
    retaken: bool

    @property
    def faults(self) -> str:
        """What is wrong with it, in words."""
        return ", ".join(fault_words(fault) for fault in self.photo.photo.faults)

    @property
    def became(self) -> str:
        """What became of it, in words."""
        if self.kept is not None:
            return f"kept on purpose by {self.kept_by}"
        return "a better one was taken after it" if self.retaken else "no better one was taken"


def comparisons_of(record: Record) -> tuple[ComparedLine, ...]:
    """Every comparison with the answers given to it, oldest first."""
    found: list[ComparedLine] = []
    newest: dict[str, int] = {}
    for fact in record.facts:
        what = fact.what
        if isinstance(what, ev.PhotosCompared):
            if what.step in newest:
                place = newest[what.step]
                found[place] = replace(found[place], anew=True)
            newest[what.step] = len(found)
            candidates = tuple(_candidate(n, each) for n, each in enumerate(what.candidates, start=1))
            found.append(
                ComparedLine(
                    fact.at,
                    fact.by,
                    what.step,
                    what.as_found,
                    what.as_left,
                    what.aligned,
                    what.why,
                    candidates,
                )
            )
        elif isinstance(what, ev.DifferenceAnswered) and what.step in newest:
            place = newest[what.step]
            said = [
                replace(c, answer=what.answer, answered=fact.at, answered_by=fact.by)
                if c.number == what.number
                else c
                for c in found[place].candidates
            ]
            found[place] = replace(found[place], candidates=tuple(said))
    return tuple(found)


def _candidate(number: int, each: dict[str, object]) -> Candidate:
    left = _box([each[name] for name in "xywh"])
    return Candidate(number, left, _box(each["found"]), str(each["hint"]), float(str(each["score"])))


def _box(numbers: object) -> Box:
    assert isinstance(numbers, list)
    x, y, w, h = (float(value) for value in numbers)
    return x, y, w, h


def poor_photos_of(record: Record) -> tuple[PoorLine, ...]:
    """Every photo in which something was found wrong."""
    kept = {f.what.sha256: f for f in record.facts if isinstance(f.what, ev.PoorPhotoKept)}
    return tuple(_poor(line, record.photos, kept) for line in record.photos if line.photo.faults)


def _poor(line: PhotoLine, photos: Sequence[PhotoLine], kept: dict[str, ev.Fact]) -> PoorLine:
    fact = kept.get(line.sha256)
    later = photos[photos.index(line) + 1 :]
    better = any((p.step, p.purpose) == (line.step, line.purpose) and not p.photo.faults for p in later)
    return PoorLine(
        line.at, line.by, line.step, line, fact.at if fact else None, fact.by if fact else "", better
    )


def mat_readings_of(record: Record) -> tuple[MatLine, ...]:
    """Every reading of the mat that was kept."""
    return tuple(
        MatLine(
            fact.at, fact.by, fact.what.step, fact.what.photo, fact.what.paper,
            tuple(_cells(fact.what.cells)), tuple(fact.what.warnings),
        )
        for fact in record.facts
        if isinstance(fact.what, ev.MatRead)
    )  # fmt: skip


def _cells(cells: Sequence[dict[str, object]]) -> Iterator[MatCell]:
    for each in cells:
        count = each["count"]
        at_least = int(str(each["at_least"]))
        counted = str(count) if count is not None else f"at least {at_least}" if at_least else "cannot tell"
        items = each["items"]
        assert isinstance(items, list)
        lengths = tuple(
            (str(item["kind"]), float(item["length_mm"]), float(item["sigma_mm"]))
            for item in items
            if item["length_mm"] is not None and item["sigma_mm"] is not None
        )
        yield MatCell(
            str(each["cell"]), int(str(each["expected"])), counted, None if count is None else int(str(count)),
            at_least, str(each["verdict"]), str(each["told"]), lengths,
        )  # fmt: skip


def measured_of(record: Record) -> tuple[MeasuredLine, ...]:
    """Every screw that was measured."""
    return tuple(
        MeasuredLine(
            fact.at, fact.by, fact.what.step, fact.what.part, fact.what.length_mm, fact.what.sigma_mm,
            fact.what.verdict, fact.what.told,
        )
        for fact in record.facts
        if isinstance(fact.what, ev.ScrewMeasured)
    )  # fmt: skip
