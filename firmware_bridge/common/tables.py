"""TOML files that a person writes, key by key: a mistake names file, line, table, key, value and what is allowed.

The error is that of the room whose file it is.
"""

from __future__ import annotations

import errno
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, NoReturn, TypedDict, Unpack, cast, overload

from soakwitness.firmware_bridge.common import tomllines
from soakwitness.firmware_bridge.common.units import Unit

LARGEST_FILE = 1_000_000  # bytes; a person does not write more
LONGEST_TEXT = 1000
_PART = r"(?:(?<![\w-])[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')[ \t]*\.[ \t]*"
_DEEP_KEY = re.compile(
    rf"(?:{_PART}){{20}}"
)  # no file here has more than three parts; the reader takes squares of them
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")  # a tab may stand in a pattern


def read_file(path: Path | str, error: type[Exception], *, kind: str, make: str = "") -> tuple[bytes, str]:
    """Bytes and text of a file; ``kind`` (a recipe, ...) and ``make``, how to come by one, are for the error."""
    make = f" {make}" if make else ""
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as problem:
        if problem.errno == errno.ENOENT:
            raise error(f"{path}: there is no such file.{make or ' Check the name and the folder.'}") from None
        if problem.errno == errno.EISDIR:
            raise error(f"{path} is a folder, not {kind} (*.toml).{make}") from None
        raise error(f"{path}: cannot be read ({problem.strerror}).{make}") from None
    if len(data) > LARGEST_FILE:
        raise error(f"{path}: over {LARGEST_FILE} bytes, this is not {kind}.{make}")
    try:
        return data, data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line, byte = data.count(b"\n", 0, problem.start) + 1, data[problem.start]
        says = f"not UTF-8 text (byte 0x{byte:02x}). Save the file as UTF-8."
        raise error(f"{path}, line {line}: {says}{make}") from None


def parse(text: str, name: str, error: type[Exception], *, hint: str = "") -> Table:
    """The whole of a file as its top table; ``hint`` goes with what is no TOML at all."""
    hint = f" {hint}" if hint else ""
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        line = text.count("\n", 0, deep.start()) + 1
        raise error(f"{name}, line {line}: a key of more than 20 parts ({deep[0][:20]}...).{hint}")
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{name}, {_placed(str(problem))}.{hint}") from None
    except RecursionError:
        raise error(f"{name}: brackets within brackets without end.{hint}") from None
    except ValueError:
        raise error(f"{name}: a number has more digits than can be read.{hint}") from None
    return Table(File(text, name, error), (), values)


def _placed(says: str) -> str:
    """What the reader says of a syntax error, its place first."""
    found = re.search(r" \(at line (\d+), column (\d+)\)$", says)
    if found:
        return f"line {found[1]}, column {found[2]}: not a valid TOML file: {says.removesuffix(found[0])}"
    return "end of the file: not a valid TOML file: " + says.removesuffix(" (at end of document)")


@dataclass(frozen=True)
class File:
    """A file's text (may be empty: then no line is named), its name in messages and its room's error."""

    text: str
    name: str
    error: type[Exception]

    @cached_property
    def lines(self) -> dict[tomllines.Path, int]:
        """Line of each key and table."""
        return tomllines.key_lines(self.text)


class KeyLimits(TypedDict, total=False):
    """Of a number. ``above``: ``low`` itself is refused; ``unit`` and ``more`` go into the error."""

    low: float
    high: float
    above: bool
    unit: str
    more: str


class Table:
    """One table, its keys asked for by type; ``path`` is where it stands, tables of a list counted from 1.

    Either ``check_keys`` says at once which keys may stand here, or ``finish`` refuses the keys nobody asked for.
    """

    def __init__(self, file: File, path: tomllines.Path, values: Mapping[str, Any]) -> None:
        self.file = file
        self.path = path
        self.values = values
        self._known: list[str] = []

    @property
    def title(self) -> str:
        """The table's header, with its place among several."""
        name = ".".join(part for part in self.path if isinstance(part, str))
        last = self.path[-1] if self.path else ""
        return f"[[{name}]] {last}" if isinstance(last, int) else f"[{name}]"

    def refuse(self, key: str | None, why: str) -> NoReturn:
        """Raise the error for one key, or for the table as a whole."""
        lines = self.file.lines
        line = None if key is None else lines.get((*self.path, key))
        line = lines.get(self.path) if line is None else line
        where = [self.file.name, f"line {line}" if line else "", self.title if self.path else ""]
        if key is not None:
            where.append(f"{key} = {shown(self.values[key])}" if key in self.values else key)
        raise self.file.error(f"{', '.join(part for part in where if part)}: {why}")

    def check_keys(self, allowed: Sequence[str], elsewhere: Mapping[str, str] | None = None) -> None:
        """Refuse unknown keys; ``elsewhere`` maps keys to the place where they belong."""
        for key in self.values:
            if key in allowed:
                continue
            where = (elsewhere or {}).get(key)
            if where:
                self.refuse(key, f"this key belongs {where}; move it there.")
            self.refuse(key, f"unknown key.{_nearest(key, allowed)} Allowed here: {', '.join(allowed)}.")

    def finish(self) -> None:
        """Refuse the keys nobody asked for."""
        self.check_keys(sorted(set(self._known)))

    def has(self, key: str) -> bool:
        """Whether the file gives this key."""
        return key in self.values

    def value(self, key: str) -> Any:
        """The value as it was read, None where absent."""
        self._known.append(key)
        return self.values.get(key)

    def rest(self) -> dict[str, Any]:
        """All keys nobody asked for; they count as asked for from now on."""
        extra = {key: value for key, value in self.values.items() if key not in self._known}
        self._known.extend(extra)
        return extra

    def required(self, key: str, allowed: str) -> Any:
        """The value of a key that must be there."""
        value = self.value(key)
        if value is None:
            self.refuse(key, f"is missing; it needs {allowed}.")
        return value

    def table(self, key: str) -> Table | None:
        """The table below a key, None where absent."""
        value = self.value(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.refuse(key, f"must be one table: a line [{self._header(key)}] with its keys below.")
        return Table(self.file, (*self.path, key), value)

    def tables(self, key: str) -> list[Table]:
        """The tables of a list."""
        value = self.value(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            header = self._header(key)
            self.refuse(key, f"must be tables: a line [[{header}]], in double brackets, before the keys of each.")
        return [Table(self.file, (*self.path, key, number), item) for number, item in enumerate(value, 1)]

    def _header(self, key: str) -> str:
        return ".".join(str(part) for part in (*self.path, key) if isinstance(part, str))

    def text(self, key: str, allowed: str = "a text in quotes", *, exact: bool = False) -> str | None:
        """A text that is not empty, without blanks around it (``exact``: with them); None where absent."""
        value = self.value(key)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, f"must be {allowed}, not empty.")
        if len(value) > LONGEST_TEXT or _CONTROL.search(value):
            most = f"on one line, at most {LONGEST_TEXT} characters and no control characters"
            self.refuse(key, f"must be {allowed} {most}.")
        return value if exact else value.strip()

    @overload
    def choice(self, key: str, allowed: Sequence[str], default: None = None) -> str | None: ...
    @overload
    def choice(self, key: str, allowed: Sequence[str], default: str) -> str: ...
    @overload
    def choice(self, key: str, allowed: Sequence[str], *, needed: Literal[True]) -> str: ...
    def choice(
        self, key: str, allowed: Sequence[str], default: str | None = None, *, needed: bool = False
    ) -> str | None:
        """One of several words; ``needed``: it must be there."""
        value, words = self.value(key), f"one of {', '.join(shown(word) for word in allowed)}"
        if value is None and not needed:
            return default
        if value is None:
            self.refuse(key, f"is missing; it needs {words}.")
        if value not in allowed or not isinstance(value, str):
            self.refuse(key, f"must be {words}.{_nearest(value, allowed)}")
        return value

    def unit(self, *, needed: bool = False) -> Unit:
        """The unit of the file's temperatures: its key ``unit``, degC where absent."""
        choices = ("C", "F")
        word = self.choice("unit", choices, needed=True) if needed else self.choice("unit", choices, "C")
        return cast(Unit, word)

    def word_or_number(self, key: str, allowed: Sequence[str]) -> str | None:
        """One of several words, also where it is written as a number; None where absent."""
        value = self.value(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (str, int)) or shown(value).strip('"') not in allowed:
            self.refuse(key, f"must be one of {', '.join(allowed)}.")
        return str(value)

    @overload
    def number(self, key: str, default: float, **limits: Unpack[KeyLimits]) -> float: ...
    @overload
    def number(self, key: str, default: None = None, **limits: Unpack[KeyLimits]) -> float | None: ...
    def number(self, key: str, default: float | None = None, **limits: Unpack[KeyLimits]) -> float | None:
        """A finite number within limits, else the default."""
        value = self.value(key)
        if value is None:
            return default
        words = _in_words(limits)
        if not _is_number(value):
            self.refuse(key, f"must be a number{', ' if words else ''}{words}, without quotes or unit.")
        number, low = float(value), limits.get("low", -math.inf)
        inside = low <= number <= limits.get("high", math.inf) and not (limits.get("above") and number == low)
        if not inside or not math.isfinite(number):
            self.refuse(key, f"must be {words or 'a number'}.{limits.get('more', '')}")
        return number

    @overload
    def whole(self, key: str, low: int, high: int, default: int, more: str = "") -> int: ...
    @overload
    def whole(self, key: str, low: int, high: int, default: None = None, more: str = "") -> int | None: ...
    def whole(self, key: str, low: int, high: int, default: int | None = None, more: str = "") -> int | None:
        """A whole number within limits, else the default; ``more`` goes into the error."""
        value = self.value(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.refuse(key, f"must be a whole number from {low} to {high}{more}.")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self.value(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.refuse(key, "must be true or false, without quotes.")
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of numbers; one number stands for a list of one."""
        value = self.value(key)
        items = value if isinstance(value, list) else [] if value is None else [value]
        if not all(_is_number(item) for item in items):
            self.refuse(key, "must be numbers in brackets, such as [32767].")
        return tuple(float(item) for item in items)

    def words(self, key: str, example: str) -> tuple[str, ...]:
        """A list of texts."""
        value = self.value(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.refuse(key, f"must be texts in brackets, such as {example}.")
        return tuple(value)


def _is_number(value: object) -> bool:
    """Whether it is a number that a computer's arithmetic holds: a whole number in TOML may have any length."""
    if isinstance(value, int):
        return not isinstance(value, bool) and abs(value) < 10**300
    return isinstance(value, float)


def _in_words(limits: KeyLimits) -> str:
    """What is allowed; empty where everything is."""
    low, high, above = limits.get("low"), limits.get("high"), limits.get("above", False)
    bottom = "" if low is None else f"{'above' if above else 'from'} {low:.12g}"
    top = "" if high is None else f"to {high:.12g}" if bottom and not above else f"at most {high:.12g}"
    words = f"{bottom}{' and ' if above and top else ' ' if bottom and top else ''}{top}"
    return f"{words} {limits.get('unit', '')}".rstrip()


def shown(value: object) -> str:
    """A value as it stands in the file, cut short."""
    text = "".join(_pieces(value))
    return text if len(text) <= 60 else text[:57] + "..."


def _pieces(value: object) -> Iterator[str]:
    if isinstance(value, bool):
        yield "true" if value else "false"
    elif isinstance(value, str):
        yield '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in value[:100]) + '"'
    elif isinstance(value, list):
        yield "[" + ", ".join(shown(item) for item in value[:20]) + "]"
    elif isinstance(value, dict):
        yield "{" + ", ".join(f"{key} = {shown(item)}" for key, item in list(value.items())[:20]) + "}"
    elif isinstance(value, int) and abs(value) >= 10**300:
        yield hex(value)  # its decimal digits may be more than Python writes
    else:
        yield str(value)


def _nearest(value: object, known: Sequence[str]) -> str:
    from difflib import get_close_matches  # only needed for a wrong file

    word = shown(value).strip('"')
    near = get_close_matches(word, known, 1) or get_close_matches(word.lower(), known, 1)
    return f" Did you mean {near[0]}?" if near else ""
