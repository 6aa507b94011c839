"""A way in as lines for a person and as JSON data. Nothing is planned here."""

from typing import Any

from benchguide.procedure.device import Caution
from benchguide.procedure.planner import FLIP, TOOL_CHANGE, TakeOff, WayIn
from benchguide.procedure.planner_why import one_line

_NAMES_SHOWN = 12


def plan_doc(way_in: WayIn) -> dict[str, Any]:
    """JSON data of a way in: strings, whole numbers, true and false, lists and objects. Times in seconds."""
    return {
        "device": way_in.device.id,
        "target": way_in.target.id,
        "keep": [part.id for part in way_in.keep],
        "cautions": [_caution_doc(caution) for caution in way_in.device.cautions],
        "removals": [_removal_doc(n, removal) for n, removal in enumerate(way_in.removals, 1)],
        "stays": [part.id for part in way_in.stays],
        "tools": [{"id": tool, "name": name} for tool, name in way_in.tools],
        "time_s": list(way_in.time_s),
        "untimed": [part.id for part in way_in.untimed],
        "tool_changes": way_in.tool_changes,
        "flips": way_in.flips,
        "weights": {"tool_change": TOOL_CHANGE, "flip": FLIP},
        "cost": way_in.cost,
        "bound": way_in.bound,
        "tool_bound": way_in.tool_bound,
        "exact": way_in.exact,
    }


def _removal_doc(number: int, removal: TakeOff) -> dict[str, Any]:
    part = removal.part
    return {
        "number": number,
        "part": part.id,
        "name": part.name,
        "kind": part.kind.value,
        "pieces": part.pieces,
        "face": part.face.value,
        "tool": part.tool,
        "flips": removal.flips,
        "changes_tool": removal.changes_tool,
        "why": removal.why,
        "off_s": None if part.off_s is None else list(part.off_s),
        "cautions": [_caution_doc(caution) for caution in part.cautions],
    }


def _caution_doc(caution: Caution) -> dict[str, str]:
    return {"word": caution.word.value, "text": caution.text}


def plan_text(way_in: WayIn) -> str:
    """A way in as readable lines, cautions before the removal they belong to."""
    head = f"Way in to {one_line(way_in.target.name)}, {one_line(way_in.device.name)}"
    lines = [head, "", *_summary(way_in), ""]
    lines += [f"{caution.word.value}: {caution.text}" for caution in way_in.device.cautions]
    if way_in.device.cautions:
        lines.append("")
    lines.append(f"First the {way_in.removals[0].part.face.value} of the device is up.")
    for number, removal in enumerate(way_in.removals, 1):
        lines += _removal_lines(number, removal)
    lines += ["", *_closing(way_in)]
    return "\n".join(lines) + "\n"


def _summary(way_in: WayIn) -> list[str]:
    low, high = way_in.time_s
    count = len(way_in.removals)
    lines = [f"{count} {'part comes' if count == 1 else 'parts come'} off."]
    lines.append(f"Tools in order: {_names([name for _, name in way_in.tools]) or 'none, bare hands'}.")
    lines.append(
        f"{_plural(way_in.tool_changes, 'tool change')}, {_plural(way_in.flips, 'flip')} of the device."
    )
    if len(way_in.untimed) < count:
        lines.append(f"Expected time {_clock(low)} to {_clock(high)}.")
    if way_in.untimed:
        names = _names([part.name for part in way_in.untimed])
        lines.append(f"No time is stated for {len(way_in.untimed)} of {count}: {names}.")
    return lines


def _removal_lines(number: int, removal: TakeOff) -> list[str]:
    part = removal.part
    lines = [f"    Turn the device: {part.face.value} up."] if removal.flips else []
    lines += [f"    {caution.word.value}: {caution.text}" for caution in part.cautions]
    pieces = f" ({part.pieces} pieces)" if part.pieces > 1 else ""
    tool = "bare hands" if removal.tool_name is None else one_line(removal.tool_name)
    changed = " (change)" if removal.changes_tool else ""
    return [*lines, f"{number:>3} {one_line(part.name)}{pieces}, {removal.why}. Tool: {tool}{changed}."]


def _closing(way_in: WayIn) -> list[str]:
    lines = []
    if way_in.stays:
        lines.append(f"May stay fitted ({len(way_in.stays)}): {_names([p.name for p in way_in.stays])}.")
    if way_in.keep:
        lines.append(f"Told to stay, and stays: {_names([p.name for p in way_in.keep])}.")
    weights = f"tool change {TOOL_CHANGE}, flip {FLIP}"
    if way_in.exact:
        lines.append(f"Cost {way_in.cost} ({weights}); no possible order costs less.")
    else:
        lines.append(
            f"Cost {way_in.cost} ({weights}); no order costs less than {way_in.bound}, "
            f"so a better one could save at most {way_in.cost - way_in.bound}."
        )
    return lines


def _names(names: list[str]) -> str:
    shown = [one_line(name) for name in names[:_NAMES_SHOWN]]
    rest = len(names) - len(shown)
    return ", ".join(shown) + (f" and {rest} more" if rest else "")


def _plural(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _clock(seconds: int) -> str:
    """12:05 or 1:02:05, minutes and seconds without a sign of their own."""
    hours, rest = divmod(seconds, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{left:02} h" if hours else f"{minutes}:{left:02} min"
