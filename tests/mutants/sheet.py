"""A part map or procedure as rows of text that keep their identity while the file is edited. Only for tests.

An edit moves, drops, replaces or adds rows; afterwards the line of any row that is still there can be asked for.
It reads YAML values with ruamel.yaml alone and shares no code with the program's loader.
"""

import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

_KEY = re.compile(r"^(?:  - |    )([a-z_]+):")


class Row:
    """One line of a file. Two rows with the same text are still two rows."""

    __slots__ = ("text",)

    def __init__(self, text: str) -> None:
        self.text = text


def rows_of(text: str) -> list[Row]:
    """The rows of some lines."""
    return [Row(line) for line in text.splitlines()]


class Item:
    """One step or one part: its rows and the values they hold."""

    def __init__(self, rows: Iterable[Row], raw: dict[str, Any]) -> None:
        self.rows = list(rows)
        self.raw = raw

    def copy(self) -> "Item":
        return Item(self.rows, dict(self.raw))

    def twin(self) -> "Item":
        """The same once more, in rows of its own."""
        return Item([Row(row.text) for row in self.rows], dict(self.raw))

    def _span(self, key: str) -> tuple[int, int] | None:
        """From the row of a key to the row before the next key, remarks behind it left out."""
        start = next(
            (n for n, row in enumerate(self.rows) if (m := _KEY.match(row.text)) and m[1] == key), None
        )
        if start is None:
            return None
        end = start + 1
        while end < len(self.rows) and re.match(r"^     +\S", self.rows[end].text):
            end += 1
        return start, end

    def row(self, key: str, holding: str = "") -> Row:
        """The row of a key, or the row below it that holds a name."""
        span = self._span(key)
        if span is None:
            raise KeyError(key)
        if not holding:
            return self.rows[span[0]]
        name = re.compile(rf"(?<![\w-]){re.escape(holding)}(?![\w-])")
        return next(row for row in self.rows[span[0] : span[1]] if name.search(row.text))

    def drop(self, key: str) -> None:
        """Delete a key with its value; the first key of an item cannot be dropped."""
        span = self._span(key)
        if span:
            assert span[0] > 0, key
            del self.rows[span[0] : span[1]]
            self.raw.pop(key)

    def put(self, key: str, value: Any) -> Row:
        """Set a key, in one row, at its old place or behind the first key."""
        row = Row(f"    {key}: {json.dumps(value, ensure_ascii=False)}")
        span = self._span(key)
        if span and span[0] == 0:
            row = Row(f"  - {key}: {json.dumps(value, ensure_ascii=False)}")
        if span:
            self.rows[span[0] : span[1]] = [row]
        else:
            self.rows.insert(1, row)
        self.raw[key] = value
        return row

    def put_rows(self, key: str, lines: str, value: Any) -> list[Row]:
        """Set a key written over several rows."""
        made = rows_of(lines)
        span = self._span(key) or (1, 1)
        assert span[0] > 0
        self.rows[span[0] : span[1]] = made
        self.raw[key] = value
        return made


class Sheet:
    """A whole file: the rows before its list, and the items of the list (`steps` or `parts`)."""

    def __init__(self, head: list[Row], items: list[Item], raw: dict[str, Any], key: str) -> None:
        self.head = head
        self.items = items
        self.raw = raw
        self.key = key

    @classmethod
    def read(cls, text: str, key: str) -> "Sheet":
        """A file in the house style: items begin with two spaces and a dash, their keys stand in column five."""
        raw: dict[str, Any] = YAML(typ="safe").load(text)
        rows = rows_of(text)
        begin = next(n for n, row in enumerate(rows) if row.text.startswith(f"{key}:"))
        starts = [n for n, row in enumerate(rows) if n > begin and row.text.startswith("  - ")]
        values = raw[key]
        assert len(values) == len(starts), f"{len(values)} items, {len(starts)} dashes"
        ends = [*starts[1:], len(rows)]
        items = [Item(rows[a:b], value) for a, b, value in zip(starts, ends, values, strict=True)]
        return cls(rows[: starts[0]], items, raw, key)

    @classmethod
    def load(cls, path: Path, key: str) -> "Sheet":
        return cls.read(path.read_text("utf-8"), key)

    def copy(self) -> "Sheet":
        return Sheet(list(self.head), [item.copy() for item in self.items], dict(self.raw), self.key)

    def text(self) -> str:
        return "\n".join(row.text for row in self._rows()) + "\n"

    def _rows(self) -> Iterable[Row]:
        yield from self.head
        for item in self.items:
            yield from item.rows

    def line(self, wanted: Row) -> int:
        """Number of a row, from 1."""
        return next(number for number, row in enumerate(self._rows(), start=1) if row is wanted)

    def values(self) -> dict[str, Any]:
        """The file as plain values, as edited."""
        return {**self.raw, self.key: [item.raw for item in self.items]}

    def index(self, ident: str) -> int:
        """Number of the item of this name, from 0."""
        return next(number for number, item in enumerate(self.items) if item.raw["id"] == ident)

    def by_id(self, ident: str) -> Item:
        return self.items[self.index(ident)]

    def head_row(self, key: str, holding: str = "") -> Row:
        """The row of a key before the list, or the row below it that holds a name."""
        start = next(n for n, row in enumerate(self.head) if row.text.startswith(f"{key}:"))
        name = re.compile(rf"(?<![\w-]){re.escape(holding)}(?![\w-])")
        for row in self.head[start:]:
            if name.search(row.text.split(":", 1)[1] if row is self.head[start] else row.text):
                return row
        raise KeyError(holding)

    def swap_head(self, old: Row, text: str) -> Row:
        """Replace a row before the list."""
        made = Row(text)
        self.head[next(n for n, row in enumerate(self.head) if row is old)] = made
        return made
