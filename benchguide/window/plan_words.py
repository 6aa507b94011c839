"""A way in, and the parts it can be planned to, in words for the plan screen. No widgets, no planning."""

from __future__ import annotations

from collections.abc import Collection

from benchguide.procedure.device import DeviceMap, Part
from benchguide.procedure.planner import WayIn
from benchguide.procedure.planner_why import CannotReach, one_line
from benchguide.review.words import count, span_range
from benchguide.window.records_rows import Row
from benchguide.window.widgets.marks import described, screw_letters, screw_size

#: more names than this are counted, not listed
MOST_NAMES = 40

#: what each rule of `CannotReach` says, for a reader who does not know the keys of the file
RULES = {
    "held_by": "Rule held_by: what holds a part in place comes off before it.",
    "under": "Rule under: what lies over a part comes off before it.",
    "isolation": "Rule isolates: energy is isolated before any other connector is opened.",
    "stored": "Rule stores: stored energy is measured before a part with conductors comes off.",
    "target": "Rule keep: a part cannot both come off and stay.",
    "loop": "The part map contradicts itself; it has to be mended first.",
    "unknown": "The part map names a part that it does not have; it has to be mended first.",
}


def found_by(part: Part, text: str) -> bool:
    """Whether every word of a search stands somewhere in the part's names."""
    hay = " ".join((part.name, part.id, part.kind.value, *part.serves)).casefold()
    return all(word in hay for word in text.casefold().split())


def part_rows(
    device: DeviceMap, text: str, target: str, keep: Collection[str], way_in: WayIn | None
) -> list[Row]:
    """The parts that a search finds, in the order of the part map, with what the plan says of each."""
    letters = screw_letters(device)
    numbers = {t.part.id: n for n, t in enumerate(way_in.removals, 1)} if way_in else {}
    rows = []
    for part in device.parts:
        if not found_by(part, text):
            continue
        state = _state_words(part.id, target, keep, numbers, way_in is not None)
        size = f"{letters[part.id]}: {screw_size(part)}" if part.screws else part.kind.value
        rows.append(Row(part.id, one_line(part.name), "", (f"{state} · {size}" if state else size,)))
    return rows


def _state_words(
    part: str, target: str, keep: Collection[str], numbers: dict[str, int], planned: bool
) -> str:
    if part in keep:
        return "must stay"
    if part == target:
        return f"to be reached, {numbers[part]}" if part in numbers else "to be reached"
    if part in numbers:
        return f"comes off, {numbers[part]}"
    return "stays" if planned else ""


def removal_rows(way_in: WayIn) -> list[Row]:
    """One row for each removal, in order, and a row before it where the device is turned over."""
    letters = screw_letters(way_in.device)
    first = way_in.removals[0].part
    rows = [Row("turn-0", f"First the {first.face.value} of the device is up.", "")]
    for number, removal in enumerate(way_in.removals, 1):
        part = removal.part
        if removal.flips:
            rows.append(Row(f"turn-{number}", f"Turn the device over: {part.face.value} up.", ""))
        cautions = [f"{c.word.value}: {c.text}" for c in part.cautions]
        tool = removal.tool_name or "bare hands"
        told = f"Tool: {one_line(tool)}" + (" (change)" if removal.changes_tool else "")
        size = (f"{letters[part.id]}: {described(part)}",) if part.screws else ()
        time = span_range(*part.off_s) if part.off_s else "no time stated"
        why = f"{removal.why[0].upper()}{removal.why[1:]}."
        rows.append(Row(part.id, one_line(part.name), time, (*cautions, *size, why, told), str(number)))
    return rows


def summary(way_in: WayIn) -> str:
    """The figures of a way in, in one line that breaks between figures only."""
    timed = len(way_in.removals) - len(way_in.untimed)
    parts = [
        count(len(way_in.removals), "part comes off", "parts come off"),
        count(way_in.tool_changes, "tool change"),
        count(way_in.flips, "flip"),
        f"expected {span_range(*way_in.time_s)}" if timed else "no time is stated",
    ]
    return " · ".join(part.replace(" ", "\u00a0") for part in parts)


def plan_rows(way_in: WayIn) -> list[Row]:
    """The whole way in: cautions and tools, the removals in order, what stays, how good the order is."""
    tools = ", ".join(one_line(name) for _, name in way_in.tools) or "none, bare hands"
    cautions = tuple(f"{c.word.value}: {c.text}" for c in way_in.device.cautions)
    rows = [Row("cautions", "Cautions for the whole device", "", cautions)] if cautions else []
    rows += [Row("tools", "Tools in order", "", (tools,)), *removal_rows(way_in)]
    if way_in.stays:
        rows.append(Row("stays", f"May stay fitted ({len(way_in.stays)})", "", (_names(way_in.stays),)))
    if way_in.keep:
        rows.append(Row("kept", "Told to stay, and stays", "", (_names(way_in.keep),)))
    if way_in.untimed:
        rows.append(Row("untimed", "Not in the expected time: none is stated", "", (_names(way_in.untimed),)))
    return [*rows, Row("order", "How good this order is", "", (_quality(way_in),))]


def _quality(way_in: WayIn) -> str:
    if way_in.exact:
        return "No possible order needs fewer tool changes and flips."
    return f"A better order could save at most {way_in.cost - way_in.bound}, counting a tool change 1 and a flip 2."


def _names(parts: Collection[Part]) -> str:
    names = [one_line(part.name) for part in parts]
    rest = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {rest} more" if rest > 0 else "")


def refusal(error: CannotReach) -> tuple[str, str]:
    """Why the part cannot be reached as asked, and the rule that forbids it."""
    return str(error), RULES.get(error.rule, f"Rule {error.rule}.")
