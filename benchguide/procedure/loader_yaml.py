"""YAML text into plain values that remember their lines. Hostile text ends in problems, never in a traceback.

It reads the events of the parser and builds the tree itself, without recursion: this is where depth and size
are bounded and where aliases, tags and double keys are refused. Knows nothing of part maps or procedures.
"""

import math
import re
from collections.abc import Iterator
from typing import Any

from benchguide.procedure.problems import MAX_PROBLEMS, BadFile, Problem, Severity, shown

MAX_BYTES = 4_000_000
MAX_DEPTH = 32
MAX_NODES = 300_000

# YAML 1.2.2, chapter 10.3.2 (core schema): how an unquoted word becomes a value
_NULL = frozenset({"", "~", "null", "Null", "NULL"})
_BOOL = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_BASED = re.compile(r"0(?:o[0-7]{1,18}|x[0-9a-fA-F]{1,15})\Z")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]{1,60}|[0-9]{1,60}(?:\.[0-9]{0,60})?)(?:[eE][-+]?[0-9]{1,4})?\Z")
_ODD = re.compile(r"[-+]?\.(?:inf|Inf|INF)\Z|\.(?:nan|NaN|NAN)\Z")
_CONTROL = re.compile("[\x01-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")


class Spot:
    """Where a value stands: line and column from 1, and the spots of the values inside it."""

    __slots__ = ("below", "column", "key", "line")

    def __init__(self, line: int, column: int) -> None:
        self.line = line
        self.column = column
        self.key: tuple[int, int] | None = None
        self.below: dict[str | int, Spot] | None = None

    def find(self, keys: tuple[str | int, ...]) -> "Spot":
        """The spot of the value reached by `keys`, or of the nearest value round it that exists."""
        spot = self
        for key in keys:
            inner = spot.below.get(key) if spot.below else None
            if inner is None:
                break
            spot = inner
        return spot


class _Group:
    """A list or mapping that is still open."""

    __slots__ = ("data", "key", "key_at", "nested", "spot")

    def __init__(self, data: Any, spot: Spot) -> None:
        self.data = data
        self.spot = spot
        self.key: str | None = None
        self.key_at = (1, 1)
        self.nested = False


def is_text(word: str) -> bool:
    """True when the word, written without quotation marks, is read as a text."""
    return not (word in _NULL or word in _BOOL or any(p.match(word) for p in (_INT, _BASED, _FLOAT, _ODD)))


def read_text(data: bytes, file: str) -> str:
    """Bytes to text: UTF-8 only, no control characters, at most MAX_BYTES. Raises BadFile."""
    if len(data) > MAX_BYTES:
        raise BadFile([too_big(file)])
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _one(file, 1, 1, "not-utf-8", "", "the file is written in UTF-16", "Save it as UTF-8.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _place(data[: error.start].decode("utf-8", "replace"))
        byte = f"0x{data[error.start]:02x}"
        raise _one(
            file, line, column, "not-utf-8", byte, f"byte {error.start} is not UTF-8", "Save it as UTF-8."
        ) from None
    zero = text.find("\0")
    if zero >= 0:
        raise _one(
            file, *_place(text[:zero]), "control-character", "", f"there is a zero byte at character {zero}",
            "This is not a text file, or it is damaged; take it from a backup.",
        )  # fmt: skip
    control = _CONTROL.search(text)
    if control:
        raise _one(
            file, *_place(text[: control.start()]), "control-character", f"U+{ord(control[0]):04X}",
            "there is a control character", "Delete it.",
        )  # fmt: skip
    return text


def too_big(file: str) -> Problem:
    """The problem of a file over MAX_BYTES."""
    return Problem(
        file, 1, 1, Severity.ERROR, "too-big", "",
        f"the file is larger than {MAX_BYTES // 1_000_000} MB", "Divide it, or name another file.",
    )  # fmt: skip


def read_tree(text: str, file: str) -> tuple[Any, Spot, list[Problem]]:
    """Parse YAML text.

    Returns plain values (dict, list, str, int, float, bool, None), their spots, and the problems that leave
    the values usable (double keys, numbers that are none). Raises BadFile when the values are not usable.
    """
    builder = _Builder(file)
    events = _events(text, file)
    try:
        for event in events:
            builder.take(event)
    except BadFile as bad:
        raise BadFile([*builder.fatal, *builder.problems, *bad.problems]) from None
    if builder.fatal:
        raise BadFile([*builder.fatal, *builder.problems])
    if builder.root is None or builder.value is None:
        remedy = "Write a part map or a procedure into it; `benchguide schema` describes both."
        raise _one(file, 1, 1, "empty", "", "the file holds nothing", remedy)
    return builder.value, builder.root, builder.problems


class _Builder:
    """Builds values and spots from events. `fatal` problems make the values unusable."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.value: Any = None
        self.root: Spot | None = None
        self.problems: list[Problem] = []
        self.fatal: list[Problem] = []
        self._open: list[_Group] = []
        self._nodes = 0

    def take(self, event: Any) -> None:
        """Take the next parser event."""
        kind = type(event).__name__
        if kind == "ScalarEvent":
            self._add(event, self._scalar(event), None)
        elif kind == "MappingStartEvent":
            self._add(event, {}, _Group)
        elif kind == "SequenceStartEvent":
            self._add(event, [], _Group)
        elif kind in ("MappingEndEvent", "SequenceEndEvent"):
            self._open.pop()
        elif kind == "AliasEvent":
            remedy = "Write the value out at this place."
            self._fatal(event, "alias", shown(f"*{event.anchor}"), "aliases are not followed", remedy)
            self._add(event, None, None)
        elif kind == "DocumentStartEvent" and self.root is not None:
            remedy = "Keep one file for each part map or procedure; delete the `---` line and what follows."
            raise BadFile(
                [self._problem(event, "second-document", "", "a second document begins here", remedy)]
            )

    def _add(self, event: Any, value: Any, group: type[_Group] | None) -> None:
        self._nodes += 1
        if self._nodes > MAX_NODES:
            message = f"the file holds more than {MAX_NODES:,} values"
            raise BadFile([self._problem(event, "too-big", "", message, "Divide it.")])
        if getattr(event, "tag", None) is not None:
            remedy = "Delete the tag; values are read as they stand and nothing is ever executed."
            self._fatal(
                event,
                "tag",
                shown(str(event.tag).replace("tag:yaml.org,2002:", "!!", 1)),
                "tags are not accepted",
                remedy,
            )
        if event.anchor is not None and type(event).__name__ != "AliasEvent":
            remedy = "Delete it; nothing may refer to it."
            self._fatal(event, "anchor", shown(f"&{event.anchor}"), "anchors are not accepted", remedy)
        spot = self._place_value(event, value, group)
        if group is None:
            return
        if len(self._open) >= MAX_DEPTH:
            message = f"values are nested more than {MAX_DEPTH} deep"
            remedy = "Part maps and procedures need six levels; look for a bracket that is not closed."
            raise BadFile([self._problem(event, "too-deep", "", message, remedy)])
        spot.below = {}
        self._open.append(group(value, spot))

    def _place_value(self, event: Any, value: Any, group: type[_Group] | None) -> Spot:
        """Put the value where it belongs: the top, the next item of a list, a key or the value of a key."""
        mark = event.start_mark
        at = (mark.line + 1, mark.column + 1)
        if not self._open:
            self.root = Spot(*at)
            self.value = value
            return self.root
        owner = self._open[-1]
        if isinstance(owner.data, list):
            spot = Spot(*at)
            below = owner.spot.below
            assert below is not None
            below[len(owner.data)] = spot
            owner.data.append(value)
            return spot
        if owner.key is None:
            self._key(owner, event, at, group)
            return Spot(*at)
        spot = Spot(*(owner.key_at if group else at))
        spot.key = owner.key_at
        if owner.key not in owner.data:
            owner.data[owner.key] = value
            below = owner.spot.below
            assert below is not None
            below[owner.key] = spot
        owner.key = None
        return spot

    def _key(self, owner: _Group, event: Any, at: tuple[int, int], group: type[_Group] | None) -> None:
        key = str(event.value) if hasattr(event, "value") else ""
        if group is not None or not hasattr(event, "value"):
            self._fatal(
                event, "odd-key", "", "a key must be a single word", "Put a plain word before the colon."
            )
        if key in owner.data:
            first = owner.spot.below[key] if owner.spot.below else owner.spot
            line = (first.key or (first.line, 0))[0]
            message = f"the key stands twice in this group, first in line {line}"
            self._note(event, "double-key", shown(key), message, "Delete one of the two.")
        owner.key = key
        owner.key_at = at

    def _scalar(self, event: Any) -> Any:
        text: str = event.value
        if not event.implicit[0]:
            return text
        if text in _NULL:
            return None
        if text in _BOOL:
            return _BOOL[text]
        if _INT.match(text):
            return int(text)
        if _BASED.match(text):
            return int(text, 0)
        number = float(text) if _FLOAT.match(text) else None
        if _ODD.match(text) or (number is not None and not math.isfinite(number)):
            self._note(
                event, "not-a-number", shown(text), "this is not a finite number", "Write a number in digits."
            )
            return None
        return text if number is None else number

    def _problem(self, event: Any, rule: str, value: str, message: str, remedy: str) -> Problem:
        mark = event.start_mark
        line, column = mark.line + 1, mark.column + 1
        return Problem(self.file, line, column, Severity.ERROR, rule, value, message, remedy)

    def _fatal(self, event: Any, rule: str, value: str, message: str, remedy: str) -> None:
        if len(self.fatal) < MAX_PROBLEMS:
            self.fatal.append(self._problem(event, rule, value, message, remedy))

    def _note(self, event: Any, rule: str, value: str, message: str, remedy: str) -> None:
        if len(self.problems) < MAX_PROBLEMS:
            self.problems.append(self._problem(event, rule, value, message, remedy))


def _events(text: str, file: str) -> Iterator[Any]:
    # ruamel.yaml costs 40 ms to import, and a stored session is resumed without it
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError

    try:
        yield from YAML(typ="safe").parse(text)
    except BadFile:
        raise
    except MarkedYAMLError as error:
        raise BadFile([_syntax(error, text, file)]) from None
    except Exception:
        # A parser that meets hostile text may fail in ways it does not name; for a person it is all one.
        message = "the text cannot be read as YAML"
        raise _one(
            file, 1, 1, "yaml", "", message, "Look at the file in an editor that checks YAML."
        ) from None


def _syntax(error: Any, text: str, file: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    lines = text.splitlines()
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    message = str(error.problem or "the text cannot be read").strip()
    if error.context:
        begun = f" begun in line {error.context_mark.line + 1}" if error.context_mark else ""
        message = f"{message} {str(error.context).strip()}{begun}"
    remedy = _syntax_remedy(message, here[: max(column, 1)], here)
    # the parser quotes what it met, which may be megabytes long
    message = message if len(message) <= 200 else message[:199] + "…"
    value = shown(here.strip()) if here.strip() else ""
    return Problem(file, line, column, Severity.ERROR, "yaml", value, f"not valid YAML: {message}", remedy)


def _syntax_remedy(message: str, before: str, line: str) -> str:
    if "\t" in before:
        return "Indent with spaces; YAML does not allow tabs there."
    if "mapping values" in message:
        return "Put the text in quotation marks if it holds a colon, or mend the indentation."
    if "flow" in message:
        return "Close the bracket, or put a comma between the values."
    if "quoted scalar" in message or "end of stream" in message:
        return "Close the quotation mark; write a backslash twice or use single quotation marks."
    if "cannot start any token" in message:
        return "Put the text in quotation marks."
    return "Mend the indentation or the punctuation of this line and the one above it."


def _place(before: str) -> tuple[int, int]:
    """Line and column, from 1, of the character that follows `before`."""
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def _one(file: str, line: int, column: int, rule: str, value: str, message: str, remedy: str) -> BadFile:
    return BadFile([Problem(file, line, column, Severity.ERROR, rule, value, message, remedy)])
