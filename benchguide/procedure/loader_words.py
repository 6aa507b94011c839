"""Errors of the file models in plain words, at their line, with a remedy. It finds no errors of its own."""

import re
from collections.abc import Callable, Iterator, Mapping
from enum import StrEnum
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from benchguide.procedure.loader_yaml import Spot
from benchguide.procedure.problems import MAX_PROBLEMS, Problem, Severity, did_you_mean, shown

Loc = tuple[str | int, ...]
#: rule, message, remedy
Words = tuple[str, str, str]

_PATTERNS = {
    "id": "Use lower case letters, digits and hyphens only, at most 64, beginning with a letter or digit.",
    "thread": "Write a metric thread as `M1.6` or a tapping thread as `ST1.8`.",
    "cell": "Write one capital letter and a number of one or two digits, for example `B7`.",
}


def problems_of(error: ValidationError, model: type[BaseModel], spots: Spot, file: str) -> list[Problem]:
    """Every error of one validation as a problem; at most MAX_PROBLEMS."""
    found = []
    for item in error.errors(include_url=False)[:MAX_PROBLEMS]:
        loc: Loc = tuple(item["loc"])
        rule, message, remedy = _words(item, loc, model)
        missing = item["type"] == "missing"
        spot = spots.find(loc[:-1] if missing else loc)
        if item["type"] == "value_error":
            spot = _spot_named(spot, message)
        at = spot.key if spot.key and item["type"] == "extra_forbidden" else (spot.line, spot.column)
        value = shown(loc[-1]) if item["type"] == "extra_forbidden" else shown(item["input"])
        if missing or item["type"] == "value_error":
            value = ""
        found.append(Problem(file, *at, Severity.ERROR, rule, value, message, remedy))
    return found


def _spot_named(group: Spot, message: str) -> Spot:
    """The value of a group that a message names first (`time_s`, or "3 places"), else the group itself."""
    for quoted, counted in re.findall(r"`([a-z_]+)`|^\d+ ([a-z_]+)", message):
        found = (group.below or {}).get(quoted or counted)
        if found is not None:
            return found
    return group


def _words(item: Any, loc: Loc, model: type[BaseModel]) -> Words:
    kind: str = item["type"]
    context: Mapping[str, Any] = item.get("ctx", {})
    name = _name(loc)
    if kind == "missing":
        return _missing(loc, model, item["input"])
    if kind == "extra_forbidden":
        return _unknown_key(loc, model)
    if kind in ("enum", "literal_error"):
        return _unknown_word(name, item["input"], str(context.get("expected", "")))
    if kind == "value_error":
        message, _, remedy = str(context.get("error", item["msg"])).partition("; ")
        remedy = remedy or "Change one of the two."
        return "contradiction", message, remedy[0].upper() + remedy[1:].rstrip(".") + "."
    if kind == "string_pattern_mismatch":
        return "bad-name", f"{name} is not written as it must be", _pattern_remedy(loc)
    if kind in _SAID:
        return _SAID[kind](name, context, item["input"])
    return "bad-value", f"{name} cannot be used: {item['msg'].lower()}", "Change the value."


def _name(loc: Loc) -> str:
    """`count` for ("parts", 3, "screws", "count"); `item 2 of places` for a list item."""
    if not loc:
        return "the file"
    if isinstance(loc[-1], str):
        return f"`{loc[-1]}`"
    key = next((k for k in reversed(loc) if isinstance(k, str)), "list")
    return f"item {loc[-1] + 1} of `{key}`"


def _missing(loc: Loc, model: type[BaseModel], owner: Any) -> Words:
    if isinstance(loc[-1], int):
        length = _point_length(loc)
        return "too-short", f"{_name(loc)} is missing", f"Give {length} numbers in this list."
    group = _model_at(model, loc[:-1])
    told = group.model_fields[loc[-1]].description if group and loc[-1] in group.model_fields else None
    whose = owner.get("id") if isinstance(owner, dict) else None
    message = f"{_name(loc)} is missing" + (f" in {shown(whose)}" if isinstance(whose, str) else "")
    return "missing-key", message, f"Add `{loc[-1]}:`" + (f" ({told.strip().rstrip('.')})." if told else ".")


def _point_length(loc: Loc) -> int:
    return 4 if "box" in loc else 2


def _unknown_key(loc: Loc, model: type[BaseModel]) -> Words:
    group = _model_at(model, loc[:-1])
    known = list(group.model_fields) if group else []
    key = str(loc[-1])
    return "unknown-key", "this key is not known here", did_you_mean(key, known, _one_of(known, "Delete it"))


def _one_of(known: list[str], otherwise: str) -> str:
    return f"{otherwise}; known here are {', '.join(known)}." if known else f"{otherwise}."


def _unknown_word(name: str, given: Any, expected: str) -> Words:
    known = re.findall(r"'([^']*)'", expected)
    remedy = f"Use one of: {', '.join(known)}."
    if isinstance(given, str):
        exact = [word for word in known if word.lower() == given.strip().lower()]
        remedy = f"Write `{exact[0]}`." if exact else did_you_mean(given, known, remedy)
    return "unknown-word", f"{name} is none of the words it may be", remedy


def _pattern_remedy(loc: Loc) -> str:
    key = next((k for k in reversed(loc) if isinstance(k, str)), "id")
    return _PATTERNS.get(key, _PATTERNS["id"])


def _range(name: str, context: Mapping[str, Any], given: Any) -> Words:
    words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
    key = next((k for k in words if k in context), "ge")
    return "out-of-range", f"{name} is out of range", f"It must be {words[key]} {context.get(key, 0):g}."


def _number(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return "not-a-number", f"{name} must be a number", "Write digits with a decimal point and without a unit."


def _whole(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return "not-a-number", f"{name} must be a whole number", "Write digits without a unit or a decimal point."


def _text(name: str, context: Mapping[str, Any], given: Any) -> Words:
    single = not isinstance(given, dict | list)
    remedy = "Put it in quotation marks." if single and given is not None else "Write a text."
    return "not-a-text", f"{name} must be a text", remedy


def _long(name: str, context: Mapping[str, Any], given: Any) -> Words:
    most = context.get("max_length")
    unit = "characters" if isinstance(given, str) else "items"
    return "too-long", f"{name} is longer than {most} {unit}", "Shorten it."


def _short(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return "too-short", f"{name} is empty", "Fill it in or delete the key."


def _yes_no(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return "not-yes-or-no", f"{name} must be true or false", "Write `true` or `false`."


def _list(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return (
        "not-a-list",
        f"{name} must be a list",
        "Write the values in square brackets, or each on a line after a dash.",
    )


def _group(name: str, context: Mapping[str, Any], given: Any) -> Words:
    return "not-a-group", f"{name} must be a group of keys", "Write `key: value` lines, indented below it."


_SAID: dict[str, Callable[[str, Mapping[str, Any], Any], Words]] = {
    **dict.fromkeys(("greater_than", "greater_than_equal", "less_than", "less_than_equal"), _range),
    **dict.fromkeys(("float_parsing", "float_type", "finite_number"), _number),
    **dict.fromkeys(("int_parsing", "int_type", "int_from_float", "int_parsing_size"), _whole),
    **dict.fromkeys(("string_type", "string_sub_type", "string_unicode"), _text),
    **dict.fromkeys(("string_too_long", "too_long"), _long),
    **dict.fromkeys(("string_too_short", "too_short"), _short),
    **dict.fromkeys(("bool_parsing", "bool_type"), _yes_no),
    **dict.fromkeys(("tuple_type", "list_type"), _list),
    **dict.fromkeys(("model_type", "model_attributes_type", "dict_type"), _group),
}


def _model_at(model: type[BaseModel], loc: Loc) -> type[BaseModel] | None:
    """The model that describes the group at `loc`, if there is one."""
    current: type[BaseModel] | None = model
    for key in loc:
        if isinstance(key, int):
            continue
        if current is None or key not in current.model_fields:
            return None
        current = _model_in(current, key)
    return current


@cache
def _model_in(model: type[BaseModel], key: str) -> type[BaseModel] | None:
    return next(_models(model.model_fields[key].annotation), None)


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif not (isinstance(annotation, type) and issubclass(annotation, StrEnum)):
        for inner in get_args(annotation):
            yield from _models(inner)
