"""Reading a foreign log in pieces of bounded size: times, cells as they will stand in the run, what was wrong."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.layout import Layout
from soakwitness.analysis.importing.numbers import (
    CellsRead,
    Shapes,
    Style,
    is_like_a_number,
    settled,
    told_apart,
    two_ways,
)
from soakwitness.analysis.importing.settings import FARTHEST_S, ImportSettings
from soakwitness.analysis.importing.source import cells_of
from soakwitness.analysis.importing.tally import Tally
from soakwitness.analysis.importing.times import TimeReader
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import counted, duration

ROWS_AT_ONCE = 100_000
Progress = Callable[[float], None]  # told the share that is done, 0 to 1
LOOKING = 0.3  # share of the work that finding out the style is
READING = 0.6  # what is done once all is read; writing is the rest
Cells = npt.NDArray[Any]  # of str
Lines = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
ABSENT = "\ue000"  # a cell that its row is too short for
_PLAIN = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class RowBlock:
    """Some rows: times [s] as the file says them, lines, and the cells of each column (empty: no reading)."""

    time_s: FloatArray
    lines: Lines
    cells: tuple[Cells, ...]
    values: tuple[FloatArray, ...]


@dataclass(frozen=True)
class Written:
    """How the file writes the numbers of its columns and of its time; ``places`` after the sign, where all agree."""

    style: Style
    time: Style
    places: dict[str, int] = field(default_factory=dict)


class LogReader:
    """Reads a log block by block; ``times`` is known after the first block, ``tally`` is complete after the last."""

    def __init__(
        self,
        layout: Layout,
        settings: ImportSettings,
        progress: Progress | None = None,
        *,
        local_zone: str | None = None,
    ) -> None:
        self.layout = layout
        self._local_zone = local_zone
        self.settings = settings
        self.tally = Tally([choice.name for choice in settings.columns])
        self.times: TimeReader | None = None
        self._progress = progress
        self._last: tuple[float, int] | None = None
        self._names = [choice.name for choice in settings.columns]
        self._apart = settings.date is not None
        self.written = self._look()
        self._read = CellsRead(self.written.style)

    def blocks(self) -> Iterator[RowBlock]:
        """Yield the rows in order.

        Raises ImportFileError for a row that cannot be read, a time that goes back, a column without any number, or too
        many lines that say nothing.
        """
        for lines, table in self._tables(LOOKING, READING):
            block = self._block(table, lines)
            if block.time_s.size:
                yield block
        path = self.layout.path
        if self.tally.rows == 0:
            raise ImportFileError(f"{path}: there are column names but no row with a time below them.")
        for choice in self.settings.columns:
            if self.tally.readings[choice.name] == 0:
                odd = self.tally.first_odd.get(choice.name)
                says = f"the first cell, line {odd[0]}, is {odd[1]!r}" if odd else "all its cells are empty"
                raise ImportFileError(f"{path}: the column {choice.column!r} holds no number; {says}.")
        self.tally.stop_if_too_much(path, self.settings)
        if self.times is not None:
            self.times.finish(str(path))

    def _look(self) -> Written:
        """Go through all lines once to find out how numbers are written."""
        wanted = len(self.layout.places)
        first = 2 if self._apart else 1
        shapes = [Shapes() for _ in range(wanted)]
        for lines, table in self._tables(0.0, LOOKING):
            for kept, column in zip(shapes, table, strict=True):
                kept.add(column.tolist(), lines.tolist())
        together = Shapes()
        for one in shapes[first:]:
            together.counts.update(one.counts)
            for shape, hit in one.first.items():
                together.first[shape] = min(hit, together.first.get(shape, hit))
        style = self._settle(together, list(range(first, wanted)))
        time = Shapes() if self._apart else shapes[0]
        return Written(style, self._time_style(time, style), self._decimals(shapes[first:], style))

    def _settle(self, shapes: Shapes, places: Sequence[int]) -> Style:
        style, other = settled(shapes, self.settings.decimal)
        if other is None:
            return style
        columns: list[list[str]] = [[] for _ in places]
        for _, table in self._tables(LOOKING, LOOKING):
            for kept, place in zip(columns, places, strict=True):
                kept += table[place].tolist()
        told = told_apart(columns, style, other)
        if told is None:
            raise two_ways(str(self.layout.path), shapes, style)
        return told

    def _time_style(self, shapes: Shapes, style: Style) -> Style:
        """Times that are numbers are written like the others where that reads them; else in a style of their own."""
        total = sum(shapes.counts.values())
        if all(style.reads(shape) for shape in shapes.counts):
            return style
        best = shapes.best(None)[0]
        return best if sum(n for shape, n in shapes.counts.items() if best.reads(shape)) == total else style

    def _decimals(self, shapes: Sequence[Shapes], style: Style) -> dict[str, int]:
        """Places after the decimal sign, of each column in which at most one cell has another number of them."""
        found = {}
        for name, one in zip(self._names, shapes, strict=True):
            counts: dict[int, int] = {}
            for shape, n in one.counts.items():
                if style.reads(shape):
                    after = len(style.plain(shape).partition(".")[2])
                    counts[after] = counts.get(after, 0) + n
            usual = max(counts, key=lambda k: counts[k]) if counts else 0
            if sum(counts.values()) - counts.get(usual, 0) <= 1:
                found[name] = usual
        return found

    def _tables(self, begun: float, done: float) -> Iterator[tuple[Lines, tuple[Cells, ...]]]:
        """Line numbers and the cells of the wanted columns, in pieces; lines without anything are passed over."""
        layout, count = self.layout, len(self.layout.names)
        width, longest = len(layout.places), max(layout.places)
        numbers: list[int] = []
        kept: list[str] = []
        with layout.source.lines() as (lines, share):
            for at, line in enumerate(lines, 1):
                if at <= layout.skip or not line.strip():
                    continue
                cells = cells_of(line, layout.separator, count)
                if len(cells) > count and any(cell.strip() for cell in cells[count:]):
                    raise self._too_many(at, len(cells))
                numbers.append(at)
                if len(cells) > longest:
                    kept += [cells[p].strip() for p in layout.places]
                else:
                    kept += [cells[p].strip() if p < len(cells) else ABSENT for p in layout.places]
                if len(numbers) >= ROWS_AT_ONCE:
                    yield _table(numbers, kept, width)
                    numbers, kept = [], []
                    if self._progress is not None:
                        self._progress(begun + (done - begun) * share())
        if numbers:
            yield _table(numbers, kept, width)
        if self._progress is not None:
            self._progress(done)

    def _too_many(self, line: int, cells: int) -> ImportFileError:
        hint = ""
        if self.layout.separator == ",":
            hint = " Are there decimal commas? Then the file needs another separator, such as ;, or quotes."
        return ImportFileError(
            f"{self.layout.path}, line {line}: {counted(cells, 'cell')}, "
            f"but {counted(len(self.layout.names), 'column')}.{hint}"
        )

    def _block(self, table: tuple[Cells, ...], lines: Lines) -> RowBlock:
        wanted = list(table)
        when = np.where(wanted[0] == ABSENT, "", wanted[0])
        del wanted[0]
        if self._apart:
            day = np.where(wanted[0] == ABSENT, "", wanted[0])
            del wanted[0]
            when = np.array([f"{d} {time}".strip() for d, time in zip(day, when, strict=True)], object)
        absent = [column == ABSENT for column in wanted]
        columns = [np.where(gone, "", column) for gone, column in zip(absent, wanted, strict=True)]
        read = [[self._read[cell] for cell in column.tolist()] for column in columns]
        numbers = [np.array([value for _, value in pairs], np.float64) for pairs in read]
        texts = [np.array([text for text, _ in pairs], dtype=object) for pairs in read]
        has_number = np.any([np.isfinite(values) for values in numbers], axis=0)
        if self.times is None:
            self._begin(when, has_number, lines)
        if self.times is None:
            return RowBlock(np.empty(0), lines[:0], (), ())
        if self.times.numeric:
            when = np.array([self.written.time.plain(cell) for cell in when], object)
        time_s = self.times.read(when, lines, str(self.layout.path))
        kept = self._kept(time_s, when, has_number, lines)
        self.tally.rows += int(kept.size)
        for name, gone in zip(self._names, absent, strict=True):
            self.tally.count_short(name, lines[kept][gone[kept]])
        for name, column, values in zip(self._names, columns, numbers, strict=True):
            self._count(name, column[kept], values[kept], lines[kept])
        return RowBlock(time_s[kept], lines[kept], tuple(t[kept] for t in texts), tuple(v[kept] for v in numbers))

    def _begin(self, when: Cells, has_number: Mask, lines: Lines) -> None:
        """Find out from the first row with a number (else the first with a time) how times are written."""
        filled = when != ""
        first = np.flatnonzero(filled & has_number)
        if not first.size:
            first = np.flatnonzero(filled & np.array([any(c.isdigit() for c in cell) for cell in when], bool))
        if first.size:
            cell = str(when[first[0]])
            plain = self.written.time.plain(cell) if self.written.time.reads(cell) else cell
            place = f"{self.layout.path}, line {lines[first[0]]}"
            self.times = TimeReader(self.settings, plain, place, local_zone=self._local_zone)

    def _kept(self, time_s: FloatArray, when: Cells, has_number: Mask, lines: Lines) -> npt.NDArray[np.intp]:
        """Return places of the rows to keep: with a time, later than the row before; a repeated time is kept once."""
        known = np.isfinite(time_s)
        odd = np.flatnonzero(~known & has_number)
        if odd.size:
            raise ImportFileError(
                f"{self.layout.path}, line {lines[odd[0]]}: {str(when[odd[0]])!r} is no time"
                f"{self._as_said()}, but the row has readings. Correct or remove that line."
            )
        far = np.flatnonzero(np.abs(np.where(known, time_s, 0.0)) > FARTHEST_S)
        if far.size:
            raise ImportFileError(
                f"{self.layout.path}, line {lines[far[0]]}: {str(when[far[0]])!r} is no possible time."
            )
        self.tally.count_empty(lines[~known & (when != "")])
        places = np.flatnonzero(known)
        if not places.size:
            return places
        value = np.round(time_s[places], 3)  # what the run keeps
        before = np.concatenate(([-np.inf if self._last is None else self._last[0]], value[:-1]))
        back = np.flatnonzero(value < before)
        if back.size:
            raise self._goes_back(value, before, places, when, lines, int(back[0]))
        self._last = (float(value[-1]), int(lines[places[-1]]))
        later = value > before
        self.tally.count_repeated(lines[places[~later]])
        return places[later]

    def _as_said(self) -> str:
        how = self.settings.time_format
        return "" if how is None else f" of --time-format {how!r}"

    def _goes_back(
        self, value: FloatArray, before: FloatArray, places: npt.NDArray[np.intp], when: Cells, lines: Lines, at: int
    ) -> ImportFileError:
        hint = "Was the clock set? Split the file there, or remove the rows that stand twice."
        if before[at] - value[at] > 60.0:
            hint = "Are there several runs in this file, or was the clock set? Split the file there."
        return ImportFileError(
            f"{self.layout.path}, line {lines[places[at]]}: the time {str(when[places[at]])!r} is "
            f"{duration(float(before[at] - value[at]))} before the row above it. {hint}"
        )

    def _count(self, name: str, column: Cells, values: FloatArray, lines: Lines) -> None:
        """Count what was read of a column and what was not."""
        had = np.isfinite(values)
        self.tally.readings[name] += int(np.sum(had))
        odd = np.flatnonzero(~had & (column != ""))
        self.tally.count_odd(name, lines[odd], column[odd], [is_like_a_number(cell) for cell in column[odd]])


def _table(lines: Sequence[int], cells: Sequence[str], width: int) -> tuple[Lines, tuple[Cells, ...]]:
    columns = tuple(np.array(cells[k::width], dtype=object) for k in range(width))
    return np.array(lines, dtype=np.int64), columns
