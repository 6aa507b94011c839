"""What a supervisor should look at first: everything in a record that was not simply as planned.

It lists and names; it does not judge, score or compare people.
"""

from collections.abc import Iterable, Iterator

from benchguide.procedure.words import Answer
from benchguide.review.exceptional import Exceptional
from benchguide.review.exceptions_seen import differences, long_screws, mat_disagreements, poor_photos
from benchguide.review.record import Record
from benchguide.review.words import count, span
from benchguide.session import events as ev
from benchguide.session.apply import LONG_BREAK_US
from benchguide.session.state import Mark

#: holds longer than this stand among the exceptions (seconds)
LONG_HOLD_S = LONG_BREAK_US / 1_000_000

__all__ = ["Exceptional", "exceptions_of"]


def exceptions_of(record: Record) -> tuple[Exceptional, ...]:
    """All of them, the gravest kinds first, each kind in the order of the job."""
    rules = (
        _chain,
        _outcome,
        _left_out,
        _failed,
        _outside_limits,
        _waived,
        _photos_missing,
        poor_photos,
        differences,
        mat_disagreements,
        long_screws,
        _skipped,
        _accounted_for,
        _unplanned,
        _undone,
        _cut_short,
        _slow,
        _held,
        _taken_back,
        _handed_over,
        _clock,
    )
    return tuple(found for rule in rules for found in rule(record))


def _chain(record: Record) -> Iterator[Exceptional]:
    if not record.chain.verified:
        yield Exceptional("log differs", record.chain.why)


def _outcome(record: Record) -> Iterator[Exceptional]:
    if record.abandoned:
        reason, name = record.abandoned
        yield Exceptional("given up", f"The job was given up by {name}.", reason, at=record.state.ended)
    elif record.state.open:
        yield Exceptional("open", "The job is not finished; this record is as far as it has come.")


def _left_out(record: Record) -> Iterator[Exceptional]:
    if record.state.open:
        return
    parts = record.state.job.device.by_id
    for item in record.state.ledger.out:
        name = parts[item.part].name
        yield Exceptional(
            "left out", f"{item.pieces} x {name} still out of the device at the end.", step=item.step
        )


def _failed(record: Record) -> Iterator[Exceptional]:
    for line in record.answers:
        if line.plain or line.answer == Answer.NOT_PRESENT:
            continue
        before = f" (before that: {', '.join(line.before)})" if line.before else ""
        yield Exceptional("test", f"{line.text} - {line.answer}{before}", step=line.step, at=line.at)


def _outside_limits(record: Record) -> Iterator[Exceptional]:
    for line in record.readings:
        if line.within is False:
            later = ", measured again later" if line.replaced else ""
            yield Exceptional(
                "reading",
                f"{line.quantity} {line.value:g} {line.unit} is outside {line.limits}{later}.",
                step=line.step,
                at=line.at,
            )


def _waived(record: Record) -> Iterator[Exceptional]:
    for line in record.waivers:
        yield Exceptional(
            "waiver", f"{line.name} passed the hold point: {line.words}.", line.reason, line.step, line.at
        )


def _photos_missing(record: Record) -> Iterator[Exceptional]:
    waived = {w.gate for w in record.waivers}
    for line in record.steps:
        for purpose in line.missing:
            if f"{purpose}:{line.step.id}" not in waived:
                yield Exceptional("photo", f"There is no {purpose} photo of this step.", step=line.step.id)


def _skipped(record: Record) -> Iterator[Exceptional]:
    for line in record.skips:
        yield Exceptional("skipped", f"{line.name} skipped this step.", line.reason, line.step, line.at)


def _accounted_for(record: Record) -> Iterator[Exceptional]:
    parts = record.state.job.device.by_id
    for line in record.reconciled:
        what = "left out" if line.what == "left-out" else line.what
        yield Exceptional(
            "count",
            f"{line.pieces} x {parts[line.part].name}: {what} ({line.name}).",
            line.reason,
            line.step,
            line.at,
        )


def _unplanned(record: Record) -> Iterator[Exceptional]:
    """What came off, went back or was found without a step asking for it."""
    parts = record.state.job.device.by_id
    for fact in record.facts:
        event = fact.what
        if isinstance(event, ev.PartTakenOff | ev.PartPutBack):
            where = "taken off" if isinstance(event, ev.PartTakenOff) else "put back"
            told = f"{event.pieces} x {parts[event.part].name} {where}, which no step asked for."
            yield Exceptional("not planned", told, event.reason, event.step, fact.at)
        elif isinstance(event, ev.ExtraFound):
            told = f"Found, belonging nowhere: {event.what} ({event.name})."
            yield Exceptional("count", told, event.reason, event.step, fact.at)
        elif isinstance(event, ev.ExtraSettled):
            how = f"assigned to {parts[event.part].name}" if event.part else event.how.replace("-", " ")
            yield Exceptional("count", f"Found item {how} ({event.name}).", event.reason, at=fact.at)


def _undone(record: Record) -> Iterator[Exceptional]:
    if record.state.open:
        return
    left = [s for s in record.steps if s.mark is Mark.OPEN]
    if left:
        numbers = _ranges(s.number for s in left)
        yield Exceptional("not done", f"{count(len(left), 'step')} neither done nor skipped: {numbers}.")


def _cut_short(record: Record) -> Iterator[Exceptional]:
    for line in record.countdowns:
        if line.how == "stopped":
            ran = span(line.ran_s or 0.0)
            yield Exceptional(
                "countdown",
                f"The {line.kind} time was stopped after {ran} of {span(line.planned_s)}.",
                line.reason,
                line.step,
                line.at,
            )


def _slow(record: Record) -> Iterator[Exceptional]:
    """The longest overrun first."""
    for line in sorted(record.steps, key=lambda s: -s.over_s):
        if line.over_s:
            longest = line.step.time_s[1]
            yield Exceptional(
                "longer",
                f"Took {span(line.times.touch_s)} of touch time; {span(longest)} is the longest usual time.",
                step=line.step.id,
            )


def _held(record: Record) -> Iterator[Exceptional]:
    for line in record.holds:
        if line.seconds > LONG_HOLD_S:
            going = "" if line.ended else " and still going on"
            yield Exceptional(
                "hold", f"On hold for {span(line.seconds)}{going}.", line.reason, line.step, line.at
            )


def _taken_back(record: Record) -> Iterator[Exceptional]:
    for line in record.taken_back:
        yield Exceptional(
            "taken back", "The step had been declared done and was taken back.", "", line.step, line.at
        )


def _handed_over(record: Record) -> Iterator[Exceptional]:
    for line in record.handovers:
        pieces = count(line.pieces_out, "piece")
        yield Exceptional(
            "handover", f"{line.was} handed over to {line.now}, {pieces} out.", "", line.step, line.at
        )


def _clock(record: Record) -> Iterator[Exceptional]:
    steps = [s for s in record.steps if s.times.doubtful]
    if steps:
        numbers = _ranges(s.number for s in steps)
        yield Exceptional(
            "clock",
            f"Times of step {numbers} cross a restart of the machine, so only the wall clock could be used.",
        )


def _ranges(numbers: Iterable[int]) -> str:
    """3, 4, 5, 9 as "3 to 5, 9"."""
    groups: list[list[int]] = []
    for number in numbers:
        if groups and number == groups[-1][-1] + 1:
            groups[-1].append(number)
        else:
            groups.append([number])
    return ", ".join(str(g[0]) if len(g) == 1 else f"{g[0]} to {g[-1]}" for g in groups)
