"""Everything that happened, one entry a fact that a person would tell. The window and the page both show
it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from benchguide.review.lines import GATE_WORDS
from benchguide.review.record import Record
from benchguide.review.words import span
from benchguide.session import events as ev
from benchguide.session.moment import Moment
from benchguide.session.photo_faults import fault_words


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened. `said` is what a person wrote; `photo` is the hash of a photo or empty."""

    at: Moment
    by: str
    kind: str
    text: str
    said: str = ""
    step: str = ""
    photo: str = ""


def timeline_of(record: Record) -> tuple[Entry, ...]:
    """All entries, oldest first."""
    teller = _Teller(record)
    entries = []
    for fact in record.facts:
        tell = TELL.get(type(fact.what))
        if isinstance(fact.what, ev.StepEntered):
            teller.step = fact.what.step
        if tell:
            kind, text, said, step, photo = tell(teller, fact.what)
            entries.append(Entry(fact.at, fact.by, kind, text, said, step or teller.step, photo))
    return tuple(entries)


Told = tuple[str, str, str, str, str]


class _Teller:
    """Names looked up while telling."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.step = ""
        self.parts = record.state.job.device.by_id
        self.extras = {f.what.extra: f.what.what for f in record.facts if isinstance(f.what, ev.ExtraFound)}
        self.counted = {
            f.what.countdown: f.what for f in record.facts if isinstance(f.what, ev.CountdownStarted)
        }

    def part(self, name: str) -> str:
        part = self.parts.get(name)
        return part.name if part else name

    def line(self, step: str, line: str) -> str:
        plan = self.record.state.step_of(step)
        return next((x.text for x in plan.lines if x.id == line), line) if plan else line


def _told(kind: str, text: str, said: str = "", step: str = "", photo: str = "") -> Told:
    return kind, text, said, step, photo


def _countdown(t: _Teller, name: str) -> Told:
    found = t.counted.get(name)
    return _told(
        "countdown",
        f"{found.kind} time of {span(found.seconds)}" if found else name,
        "",
        found.step if found else "",
    )


def _rang(t: _Teller, e: ev.CountdownRang) -> Told:
    kind, text, said, step, photo = _countdown(t, e.countdown)
    return kind, f"The {text} was over", said, step, photo


def _stopped(t: _Teller, e: ev.CountdownStopped) -> Told:
    kind, text, _, step, photo = _countdown(t, e.countdown)
    return kind, f"The {text} was stopped early", e.reason, step, photo


def _waiver(t: _Teller, e: ev.WaiverGiven) -> Told:
    words = GATE_WORDS.get(e.gate.split(":", 1)[0], e.gate)
    return _told("waiver", f"{e.name} passed the hold point: {words}", e.reason, e.step)


def _photo(t: _Teller, e: ev.PhotoTaken) -> Told:
    faults = f", {', '.join(fault_words(fault) for fault in e.faults)}" if e.faults else ""
    return _told("photo", f"{e.purpose} photo{faults}", "", e.step, e.sha256)


def _compared(t: _Teller, e: ev.PhotosCompared) -> Told:
    if not e.aligned:
        return _told("compared", f"As-left beside as-found: cannot tell. {e.why}", "", e.step, e.as_left)
    count = len(e.candidates)
    what = (
        "no place stood out"
        if not count
        else "1 place may differ"
        if count == 1
        else f"{count} places may differ"
    )
    return _told("compared", f"As-left beside as-found: {what}", "", e.step, e.as_left)


def _mat(t: _Teller, e: ev.MatRead) -> Told:
    odd = [str(cell["cell"]) for cell in e.cells if cell["verdict"] == "disagree"]
    unsure = [str(cell["cell"]) for cell in e.cells if cell["verdict"] == "cannot tell"]
    lying = sum(int(str(cell["count"] or cell["at_least"])) for cell in e.cells)
    told = [f"{lying} counted"] if lying else [] if unsure else ["empty"]
    told += [f"differs from the ledger at {', '.join(odd)}"] if odd else []
    told += [f"cannot tell at {', '.join(unsure)}"] if unsure else []
    return _told("mat", f"Parts mat read: {'; '.join(told)}", "", e.step, e.photo)


def _way_back(t: _Teller, e: ev.WayBackLaid) -> Told:
    steps = "1 step" if len(e.steps) == 1 else f"{len(e.steps)} steps"
    return _told("way back", f"The way back was laid: {steps}, {e.why}")


def _off(t: _Teller, e: ev.PartTakenOff) -> Told:
    cell = f", cell {e.cell}" if e.cell else ""
    return _told("out", f"{e.pieces} x {t.part(e.part)} out, not planned{cell}", e.reason, e.step)


def _on(t: _Teller, e: ev.PartPutBack) -> Told:
    return _told("in", f"{e.pieces} x {t.part(e.part)} back in, without its step", e.reason, e.step)


def _extra(t: _Teller, e: ev.ExtraFound) -> Told:
    return _told("count", f"Found, belongs nowhere yet: {e.what} ({e.name})", e.reason, e.step)


def _extra_settled(t: _Teller, e: ev.ExtraSettled) -> Told:
    how = f"belongs to {t.part(e.part)}" if e.part else e.how.replace("-", " ")
    return _told("count", f"{t.extras.get(e.extra, e.extra)}: {how} ({e.name})", e.reason)


def _reconciled(t: _Teller, e: ev.CountReconciled) -> Told:
    what = e.what.replace("-", " ")
    return _told("count", f"{e.pieces} x {t.part(e.part)}: {what} ({e.name})", e.reason)


_WHY = {
    "next": "Step came up",
    "back": "Went back to the step",
    "again": "Step repeated",
    "chosen": "Step chosen",
    "laid": "Step came up, the way back was laid anew",
}

TELL: dict[type[ev.Event], Callable[[_Teller, Any], Told]] = {
    ev.SessionStarted: lambda t, e: _told("session", f"{e.person} began the job"),
    ev.SessionLeft: lambda t, e: _told("session", "The program was closed with the job open"),
    ev.SessionResumed: lambda t, e: _told(
        "session",
        "The job was resumed" if e.cause == "closed" else "The job was resumed after an interruption",
    ),
    ev.SessionFinished: lambda t, e: _told("session", "The record was closed"),
    ev.SessionAbandoned: lambda t, e: _told("session", f"The job was given up by {e.name}", e.reason),
    ev.StepEntered: lambda t, e: _told("step", _WHY.get(e.why, "Step came up"), "", e.step),
    ev.StepDone: lambda t, e: _told("done", "Step done", "", e.step),
    ev.StepSkipped: lambda t, e: _told("skipped", f"{e.name} skipped the step", e.reason, e.step),
    ev.StepTakenBack: lambda t, e: _told("taken back", "The step was taken back", "", e.step),
    ev.PartCameOff: lambda t, e: _told(
        "out", f"{e.pieces} x {t.part(e.part)} out" + (f", cell {e.cell}" if e.cell else ""), "", e.step
    ),
    ev.PartWentBack: lambda t, e: _told("in", f"{e.pieces} x {t.part(e.part)} back in", "", e.step),
    ev.PartTakenOff: _off,
    ev.PartPutBack: _on,
    ev.WayBackLaid: _way_back,
    ev.ExtraFound: _extra,
    ev.ExtraSettled: _extra_settled,
    ev.CountReconciled: _reconciled,
    ev.PhotoTaken: _photo,
    ev.PoorPhotoKept: lambda t, e: _told("photo", "The poor photo was kept on purpose", "", e.step, e.sha256),
    ev.PhotosCompared: _compared,
    ev.DifferenceAnswered: lambda t, e: _told("compared", f"Difference {e.number}: {e.answer}", "", e.step),
    ev.MatRead: _mat,
    ev.ScrewMeasured: lambda t, e: _told(
        "measured", f"Screw for {t.part(e.part)}: {e.verdict}. {e.told}", "", e.step
    ),
    ev.NoteAdded: lambda t, e: _told("note", "Note", e.text, e.step),
    ev.HoldBegan: lambda t, e: _told("hold", "Hold began", e.reason),
    ev.HoldEnded: lambda t, e: _told("hold", "Work went on"),
    ev.CountdownStarted: lambda t, e: _told(
        "countdown", f"{e.kind} time of {span(e.seconds)} began", "", e.step
    ),
    ev.CountdownRang: _rang,
    ev.CountdownStopped: _stopped,
    ev.LineAnswered: lambda t, e: _told("answer", f"{t.line(e.step, e.line)} - {e.answer}", "", e.step),
    ev.ReadingTaken: lambda t, e: _told("reading", f"{e.quantity}: {e.value:g} {e.unit}", "", e.step),
    ev.WaiverGiven: _waiver,
    ev.LastConfirmed: lambda t, e: _told("confirmed", "The last action was confirmed"),
    ev.PersonChanged: lambda t, e: _told(
        "handover", f"{e.was} handed over to {e.now}, {e.pieces_out} pieces out"
    ),
}
