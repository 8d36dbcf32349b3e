"""How a foreign log is written: the separator, the line with the column names, where the wanted columns stand."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.numbers import is_like_a_number
from soakwitness.analysis.importing.source import Source, cells_of, open_source, stripped_cells

SEPARATORS = (",", ";", "\t", "|")
BLANKS = " "  # any number of them; tried last, since names and remarks hold blanks
HEADER_WITHIN = 100  # lines of remarks before the column names that are looked at
_POSITION = re.compile(r"#([1-9]\d{0,5})")


@dataclass(frozen=True)
class Layout:
    """How one file is written. ``header_line`` counts from 1, 0: the file has no column names.

    ``skip`` lines stand before the first row; ``places`` are those of the wanted columns, in the order asked for.
    """

    source: Source
    separator: str
    header_line: int
    skip: int
    names: tuple[str, ...]
    places: tuple[int, ...]

    @property
    def path(self) -> Path:
        """The log's file."""
        return self.source.path


@dataclass(frozen=True)
class _Head:
    """A line that may hold the column names, read with one separator; ``names`` False: the rows begin with it."""

    line: int
    separator: str
    cells: tuple[str, ...]
    names: bool = True


def find_layout(path: Path, wanted: Sequence[str], *, separator: str | None = None, times: int = 1) -> Layout:
    """Find out how a log is written, from the names of the wanted columns and from all its lines.

    ``wanted``: columns by name, or by position as ``#1``, ``#2``. ``times``: how many of the wanted columns, from the
    first, hold times. Returns the layout, with the place of each wanted column.

    Raises ImportFileError if the file is missing, empty or no text, or has no such column (the message lists those
    there are).
    """
    source = open_source(path)
    given = source.separator or separator
    lines = source.beginning
    for tried in [(given,)] if given else [SEPARATORS, (BLANKS,)]:
        heads = [head for sep in tried for head in _heads(lines, sep, wanted, times)]
        if heads:
            head = heads[0] if len(heads) == 1 else _best(source, heads, wanted, times)
            break
    else:
        head = _likely_head(lines, (given,) if given else SEPARATORS)
    places = _places(path, head, wanted)
    return Layout(
        source, head.separator, head.line + 1 if head.names else 0, head.line + head.names, head.cells, places
    )


def column_names(path: Path, *, separator: str | None = None) -> str:
    """List the columns that a log seems to have.

    Returns such as ``Columns in log.csv, line 3: 'Time', 'Temp1'.``.

    Raises ImportFileError if the file is missing, empty or no text.
    """
    source = open_source(path)
    given = source.separator or separator
    head = _likely_head(source.beginning, (given,) if given else SEPARATORS)
    return f"Columns in {path.name}, line {head.line + 1}: {_listed(head.cells)}."


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(name) for name in names[:40]) + (" and more" if len(names) > 40 else "")


def _heads(lines: Sequence[str], separator: str, wanted: Sequence[str], times: int) -> list[_Head]:
    """Lines that may hold the names, one for each way in which the wanted columns can be found."""
    if all(_POSITION.fullmatch(name) for name in wanted):
        return _head_by_place(lines, separator, wanted, times)
    found = []
    for at, line in enumerate(lines[:HEADER_WITHIN]):
        cells = stripped_cells(line, separator)
        if len(cells) > 1 and all(_place(cells, name) is not None for name in wanted):
            found.append(_Head(at, separator, tuple(cells)))
    return found


def _head_by_place(lines: Sequence[str], separator: str, wanted: Sequence[str], times: int) -> list[_Head]:
    """Columns are named by place only: the names are the lines of words right above the first row of numbers."""
    places = [int(name[1:]) - 1 for name in wanted]
    cut = [stripped_cells(line, separator) for line in lines[: HEADER_WITHIN + 1]]
    first = next((at for at, cells in enumerate(cut) if _is_row(cells, places, times)), None)
    if first is None:
        return []
    top = first
    while top > 0 and len(cut[top - 1]) > max(places):
        top -= 1
    return [_Head(top, separator, tuple(cut[top]), names=top < first)]


def _is_row(cells: Sequence[str], places: Sequence[int], times: int) -> bool:
    """Whether cells can be a row: long enough, something for the time, and a number among the others."""
    if len(cells) <= max(places):
        return False
    return any(is_like_a_number(cells[p]) for p in places[times:]) and all(cells[p] != "" for p in places[:times])


def _best(source: Source, heads: Sequence[_Head], wanted: Sequence[str], times: int) -> _Head:
    """The head below which most lines of the whole file can be rows; then the upper one, then the one with more."""
    places = [[_place(head.cells, name) or 0 for name in wanted] for head in heads]
    fits = [0] * len(heads)
    with source.lines() as (lines, _):
        for at, line in enumerate(lines):
            for k, head in enumerate(heads):
                if at > head.line:
                    cells = stripped_cells(line, head.separator, len(head.cells))
                    fits[k] += len(cells) >= len(head.cells) and _is_row(cells, places[k], times)
    return max(zip(fits, heads, strict=True), key=lambda hit: (hit[0], -hit[1].line, len(hit[1].cells)))[1]


def _likely_head(lines: Sequence[str], separators: Sequence[str]) -> _Head:
    """Guess the head: the first line with as many cells as most lines have."""
    best = (0, 0, separators[0])
    for sep in separators:
        counts = Counter(len(cells_of(line, sep)) for line in lines[:500] if line.strip())
        usual, often = counts.most_common(1)[0]
        if usual > 1 and often * usual > best[0]:
            place = next(k for k, line in enumerate(lines) if len(cells_of(line, sep)) == usual)
            best = (often * usual, place, sep)
    return _Head(best[1], best[2], tuple(stripped_cells(lines[best[1]], best[2])))


def _place(names: Sequence[str], wanted: str) -> int | None:
    if wanted in names:
        return list(names).index(wanted)
    position = _POSITION.fullmatch(wanted)
    return int(position[1]) - 1 if position and int(position[1]) <= len(names) else None


def _places(path: Path, head: _Head, wanted: Sequence[str]) -> tuple[int, ...]:
    places = []
    for name in wanted:
        place = _place(head.cells, name)
        if place is None:
            where = f"line {head.line + 1}" if head.names else "the first line"
            raise ImportFileError(f"{path}: no column {name!r}. Columns in {where}: {_listed(head.cells)}.")
        if head.cells.count(name) > 1:
            spots = ", ".join(f"#{k + 1}" for k, n in enumerate(head.cells) if n == name)
            raise ImportFileError(
                f"{path}: the column {name!r} is there more than once. Say which by position: {spots}."
            )
        places.append(place)
    return tuple(places)
