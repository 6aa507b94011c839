"""What a procedure needs and what the checker says about it, in words. No widgets, no reading of files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from benchguide.procedure.device import Caution, DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.problems import Problem, Severity
from benchguide.procedure.procedure import Procedure, Supply
from benchguide.procedure.words import SignalWord
from benchguide.review.words import count, span, span_range


@dataclass(frozen=True, slots=True)
class Needs:
    """Everything a person should know and lay ready before the job."""

    time: str
    waits: str
    steps: int
    photos: int
    pieces: int
    tools: tuple[str, ...]
    supplies: tuple[str, ...]
    consumables: tuple[str, ...]
    cautions: tuple[Caution, ...]


def needs_of(device: DeviceMap, procedure: Procedure) -> Needs:
    """The need list; tools named in steps stand in it even where the list of the file forgot them."""
    tools = dict.fromkeys([*procedure.tools, *(s.tool for s in procedure.steps if s.tool)])
    photos = sum(needs_as_found(device, s) + needs_as_left(device, s) for s in procedure.steps)
    moved = {
        p
        for s in procedure.steps
        for p in s.parts
        if p in device.by_id and s.action in ("off", "open", "lift")
    }
    return Needs(
        time=span_range(*procedure.expected_s),
        waits=_waits(procedure),
        steps=len(procedure.steps),
        photos=photos,
        pieces=sum(device.by_id[p].pieces for p in moved),
        tools=tuple(device.tool_names.get(t, t) for t in tools),
        supplies=tuple(_supply(s) for s in procedure.supplies),
        consumables=tuple(_supply(s) for s in procedure.consumables),
        cautions=_cautions(device, procedure),
    )


def _waits(procedure: Procedure) -> str:
    """Heat, cure and soak times, each kind summed."""
    kinds: dict[str, int] = {}
    for step in procedure.steps:
        if step.wait:
            kinds[step.wait.kind.value] = kinds.get(step.wait.kind.value, 0) + step.wait.for_s
    return ", ".join(f"{kind} {span(seconds)}" for kind, seconds in kinds.items()) or "none"


def _supply(supply: Supply) -> str:
    number = f"{supply.count} x " if supply.count > 1 else ""
    return f"{number}{supply.name}" + (f" ({supply.note})" if supply.note else "")


def _cautions(device: DeviceMap, procedure: Procedure) -> tuple[Caution, ...]:
    """Cautions of device and job, each once, the gravest word first."""
    rank = {word: n for n, word in enumerate(SignalWord)}
    every = dict.fromkeys([*device.cautions, *procedure.cautions])
    return tuple(sorted(every, key=lambda caution: rank[caution.word]))


def row_words(device: str, loaded: Loaded[Procedure] | None, verdict: str) -> tuple[str, ...]:
    """The softer lines of a procedure in the list: its device; whether its steps are made; result of the check."""
    if loaded is not None and loaded.generated:
        device = f"{device} · made from the part map"
    return device, verdict


def made_words(loaded: Loaded[Procedure], device: DeviceMap) -> str:
    """Where the steps come from."""
    procedure = loaded.model
    if loaded.generated is None:
        return "Every step is written out in the file."
    target = device.by_id[procedure.target].name if procedure.target else ""
    return (
        f"The steps were made from the part map, for the way in to {target} and back; the file holds only what is "
        "special. `benchguide write-out` writes them into a file to edit."
    )


def check_words(problems: Sequence[Problem] | None, readable: bool, steps: int) -> str:
    """The result of the check in one sentence; `problems` is None while it runs."""
    if problems is None:
        return "Being checked."
    errors = sum(p.severity is Severity.ERROR for p in problems)
    if not readable:
        return f"Cannot be used: {count(errors or len(problems), 'error')} in the files."
    if errors:
        return f"Checked: {count(errors, 'error')} to be mended before it can be followed."
    if not steps:
        return "This procedure has no steps written out, so it cannot be followed yet."
    warnings = sum(p.severity is Severity.WARNING for p in problems)
    advice = len(problems) - warnings
    said = [count(warnings, "warning")] * bool(warnings) + [f"{advice} x advice"] * bool(advice)
    return f"Checked: no errors; {' and '.join(said)}." if said else "Checked: no findings."


def may_start(problems: Sequence[Problem] | None, readable: bool, steps: int) -> bool:
    """Whether a job may be started: readable, with steps, without an error found by the checker."""
    errors = any(p.severity is Severity.ERROR for p in problems or ())
    return readable and steps > 0 and not errors


def problem_lines(problems: Iterable[Problem]) -> list[str]:
    """Each finding as one line: file, place, what, remedy."""
    lines = []
    for p in problems:
        file = p.file.replace("\\", "/").rsplit("/", 1)[-1]
        value = f" ({p.value})" if p.value else ""
        lines.append(f"{p.severity.value}: {file}, line {p.line}: {p.message}{value}. {p.remedy}")
    return lines
