"""Reads one table of a TOML file key by key; every mistake names its line, key, value and what is allowed."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from soakwitness.firmware_bridge.errors import FurnaceFileError

LONGEST_TEXT = 1000
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")  # a tab may stand in a pattern
_HEADER = re.compile(r"\s*(\[{1,2})\s*([A-Za-z0-9_-]+)\s*\]")


class Source:
    """A file's name and lines, to say where a key stands."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self._lines = text.splitlines()

    def line_of(self, table: str, index: int, key: str | None) -> int | None:
        """Line (from 1) of a key in the ``index``-th (from 1) table of that name, else of the table's header."""
        at, seen, header = "", 0, None
        for number, line in enumerate(self._lines, 1):
            found = _HEADER.match(line)
            if found:
                at, seen = found[2], seen + (found[2] == table)
                if at == table and seen == index:
                    header = number
            elif at == table and seen == index and key and re.match(rf'\s*"?{re.escape(key)}"?\s*[=.]', line):
                return number
        return header


class Table:
    """One table, with its keys asked for by type; ``finish`` complains of the keys nobody asked for.

    ``index`` counts tables of an array from 1 and is 0 for a table that stands once.
    """

    def __init__(self, source: Source, name: str, values: Mapping[str, Any], index: int = 0) -> None:
        self.name = name
        self._source = source
        self._values = values
        self._index = index
        self._known: list[str] = []

    @property
    def title(self) -> str:
        """The table's header, with its place among several."""
        return f"[[{self.name}]] {self._index}" if self._index else f"[{self.name}]"

    def wrong(self, key: str | None, says: str) -> FurnaceFileError:
        """Make the error for one key (or for the table as a whole)."""
        line = self._source.line_of(self.name, max(self._index, 1 if self.name else 0), key)
        where = [self._source.name + (f", line {line}" if line else "")]
        if self.name:
            where.append(self.title)
        if key:
            where.append(f'key "{key}"')
        return FurnaceFileError(f"{', '.join(where)}: {says}")

    def has(self, key: str) -> bool:
        """Whether the file gives this key."""
        return key in self._values

    def value(self, key: str) -> Any:
        """Give the value as TOML gave it, None where absent; the key counts as known."""
        self._known.append(key)
        return self._values.get(key)

    def rest(self) -> dict[str, Any]:
        """Give all keys nobody asked for, and count them as known."""
        extra = {key: value for key, value in self._values.items() if key not in self._known}
        self._known.extend(extra)
        return extra

    def finish(self) -> None:
        """Complain of the first unknown key."""
        for key in self._values:
            if key not in self._known:
                known = ", ".join(sorted(set(self._known)))
                raise self.wrong(key, f"unknown.{_nearest(key, self._known)} Known here: {known}.")

    def required(self, key: str, allowed: str) -> Any:
        """Give the value of a key that must be there."""
        value = self.value(key)
        if value is None:
            raise self.wrong(key, f"missing. It needs {allowed}.")
        return value

    def text(self, key: str, allowed: str = "a text in quotes") -> str | None:
        """Give a text that is not empty, or None where absent."""
        value = self.value(key)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs {allowed}.")
        if len(value) > LONGEST_TEXT or _CONTROL.search(value):
            most = f"{allowed} on one line, at most {LONGEST_TEXT} characters and no control characters"
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs {most}.")
        return value

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        """Give one of several words; without a default the key must be there."""
        allowed = "one of " + ", ".join(f'"{word}"' for word in choices)
        value = self.value(key) if default is not None else self.required(key, allowed)
        if value is None and default is not None:
            return default
        if value not in choices or not isinstance(value, str):
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs {allowed}.{_nearest(value, choices)}")
        return value

    def perhaps(self, key: str, choices: Sequence[str]) -> str | None:
        """Give one of several words, also where it is written as a number; None where the key is absent."""
        value = self.value(key)
        if value is None:
            return None
        if isinstance(value, bool) or str(value) not in choices:
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs one of {', '.join(choices)}.")
        return str(value)

    def number(self, key: str, default: float | None = None, *, low: float = -math.inf, high: float = math.inf) -> Any:
        """Give a number within limits, or the default."""
        value = self.value(key)
        if value is None:
            return default
        allowed = "a number" + _between(low, high)
        if not _is_number(value) or not math.isfinite(value):
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs {allowed}, without quotes or unit.")
        if not low <= value <= high:
            raise self.wrong(key, f"{value} is not allowed; it needs {allowed}.")
        return float(value)

    def whole(self, key: str, default: int | None, low: int, high: int, more: str = "") -> Any:
        """Give a whole number within limits, or the default."""
        value = self.value(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs a whole number from {low} to {high}{more}.")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """Give true or false."""
        value = self.value(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs true or false, without quotes.")
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        """Give a list of numbers; one number stands for a list of one."""
        value = self.value(key)
        items = value if isinstance(value, list) else [] if value is None else [value]
        for item in items:
            if not _is_number(item):
                raise self.wrong(key, f"{shown(item)} is not allowed; it needs numbers in brackets, such as [32767].")
        return tuple(float(item) for item in items)

    def words(self, key: str, example: str) -> tuple[str, ...]:
        """Give a list of texts."""
        value = self.value(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.wrong(key, f"{shown(value)} is not allowed; it needs texts in brackets, such as {example}.")
        return tuple(value)


def _is_number(value: Any) -> bool:
    """Whether it is a number that a computer's arithmetic holds: a whole number in TOML may have any length."""
    if isinstance(value, int):
        return not isinstance(value, bool) and abs(value) < 10**300
    return isinstance(value, float)


def shown(value: Any) -> str:
    """Write a value as it stands in the file, cut short."""
    text = str(value).lower() if isinstance(value, bool) else str(value)
    if isinstance(value, str):
        text = f'"{value}"' if value.isprintable() else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."


def _nearest(value: Any, known: Sequence[str]) -> str:
    from difflib import get_close_matches  # only needed for a wrong file

    near = get_close_matches(str(value), known, 1) or get_close_matches(str(value).lower(), known, 1)
    return f' Did you mean "{near[0]}"?' if near else ""


def _between(low: float, high: float) -> str:
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f", at least {low:g}"
    if math.isinf(low):
        return f", at most {high:g}"
    return f" from {low:g} to {high:g}"
