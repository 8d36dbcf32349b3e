"""Where the keys of a TOML text stand: the standard library's reader tells their values, not their lines."""

from __future__ import annotations

import re
import tomllib

Path = tuple[str | int, ...]  # ("step", 2, "to"): key "to" of the second [[step]]

_TEXT = re.compile(
    r'"""(?:\\.|(?!""")[^\\])*"{3,5}|'  # one or two quotes more may stand before the closing three
    r"'''(?:(?!''').)*'{3,5}|"
    r'"(?:\\.|[^"\\])*"|'
    r"'[^']*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN = re.compile(r"[^,\]}#\n]+")  # a number, a date, true or false
_SIGN = re.compile(r"=[ \t]*")
_BETWEEN = re.compile(r"[ \t]*")
_BETWEEN_LINES = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_CLOSE = (re.compile(r"\]"), re.compile(r"\]\]"))
_COMMA = re.compile("," + _BETWEEN_LINES.pattern)


def key_lines(text: str) -> dict[Path, int]:
    """Line (from 1) of each key and table; entries of a list count from 1. Empty where the text is no TOML."""
    scan = _Scan(text)
    try:
        scan.document()
    except (IndexError, ValueError, RecursionError):
        return {}
    return scan.lines


class _Scan:
    """Walks through a text that ``tomllib`` has read already; whatever it does not expect is a ValueError."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        self._text = text
        self._at = 0
        self._counted = (0, 1)  # up to this character, this line
        self._tables: dict[Path, int] = {}  # how many [[...]] of that name so far

    def document(self) -> None:
        """Keys and headers to the end of the text."""
        here: Path = ()
        self._match(_BETWEEN_LINES)
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                here = self._header()
            else:
                self._pair(here)
            self._match(_BETWEEN_LINES)

    def _header(self) -> Path:
        line, double = self._line(), self._text.startswith("[[", self._at)
        self._at += 2 if double else 1
        path: Path = ()
        *above, last = self._keys()
        for key in above:
            path = self._newest(self._note((*path, key), line))
        path = self._note((*path, last), line)
        self._match(_CLOSE[double])
        if double:
            self._tables[path] = self._tables.get(path, 0) + 1
            path = self._note(self._newest(path), line)
        return path

    def _newest(self, path: Path) -> Path:
        return (*path, self._tables[path]) if path in self._tables else path

    def _pair(self, here: Path) -> None:
        line = self._line()
        for key in self._keys():
            here = self._note((*here, key), line)
        self._match(_SIGN)
        self._value(here)

    def _value(self, path: Path) -> None:
        first = self._text[self._at]
        if first in "\"'":
            self._match(_TEXT)
        elif first == "[":
            self._several(path, "]")
        elif first == "{":
            self._several(path, "}")
        else:
            self._match(_PLAIN)

    def _several(self, path: Path, end: str) -> None:
        """The entries of a list, or the keys of a table on one line."""
        self._at += 1
        self._match(_BETWEEN_LINES)
        number = 0
        while self._text[self._at] != end:
            number += 1
            if end == "]":
                self._value(self._note((*path, number), self._line()))
            else:
                self._pair(path)
            self._match(_BETWEEN_LINES)
            if self._text[self._at] != end:
                self._match(_COMMA)
        self._at += 1

    def _keys(self) -> list[str]:
        """The parts of a key, quotes taken off; ends behind it."""
        keys = []
        while True:
            self._match(_BETWEEN)
            if self._text[self._at] in "\"'":
                keys.append(tomllib.loads(f"key = {self._match(_TEXT)}")["key"])
            else:
                keys.append(self._match(_BARE_KEY))
            self._match(_BETWEEN)
            if self._text[self._at] != ".":
                return keys
            self._at += 1

    def _note(self, path: Path, line: int) -> Path:
        self.lines.setdefault(path, line)
        return path

    def _match(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self._text, self._at)
        if found is None:
            raise ValueError(self._at)
        self._at = found.end()
        return found[0]

    def _line(self) -> int:
        counted, line = self._counted
        self._counted = self._at, line + self._text.count("\n", counted, self._at)
        return self._counted[1]
