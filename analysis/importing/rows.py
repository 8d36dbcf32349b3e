"""Reading a foreign log in pieces of bounded size: times, cells as they will stand in the run, what was wrong."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, TextIO

import numpy as np
import numpy.typing as npt
import pandas as pd

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.layout import Layout
from soakwitness.analysis.importing.settings import FARTHEST_S, ImportSettings
from soakwitness.analysis.importing.times import TimeReader
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import counted, duration

ROWS_AT_ONCE = 100_000
Progress = Callable[[float], None]  # told the share that is done, 0 to 1
READING = 0.6  # share of the work that reading is; writing is the rest
Cells = npt.NDArray[Any]  # of str
Lines = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
_PLAIN = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class RowBlock:
    """Some rows: times [s] as the file says them, and the cells of each column (empty: no reading)."""

    time_s: FloatArray
    cells: tuple[Cells, ...]


@dataclass
class Tally:
    """What was left out or could not be read, column by column and in all; filled while reading."""

    rows: int = 0
    repeated: int = 0
    without_time: int = 0
    not_a_number: dict[str, int] = field(default_factory=dict)
    first_odd: dict[str, tuple[int, str]] = field(default_factory=dict)
    readings: dict[str, int] = field(default_factory=dict)


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
        self.tally = Tally()
        self.times: TimeReader | None = None
        self._progress = progress
        self._last: tuple[float, int] | None = None
        self._names = [choice.name for choice in settings.columns]
        for name in self._names:
            self.tally.readings[name] = self.tally.not_a_number[name] = 0

    def blocks(self) -> Iterator[RowBlock]:
        """Yield the rows in order.

        Raises ImportFileError for a row that cannot be read, a time that goes back, or a column without any number.
        """
        with (
            self.layout.path.open("rb") as raw,
            io.TextIOWrapper(raw, encoding=self.layout.encoding, errors="replace") as text,
        ):
            for table, first_line in self._tables(text):
                lines = np.arange(first_line, first_line + len(table), dtype=np.int64)
                block = self._block(table, lines)
                if block.time_s.size:
                    yield block
                if self._progress is not None:
                    self._progress(READING * raw.tell() / max(1, self.layout.size))
        if self.tally.rows == 0:
            raise ImportFileError(f"{self.layout.path}: there are column names but no row with a time below them.")
        for choice in self.settings.columns:
            if self.tally.readings[choice.name] == 0:
                odd = self.tally.first_odd.get(choice.name)
                says = f"the first cell, line {odd[0]}, is {odd[1]!r}" if odd else "all its cells are empty"
                raise ImportFileError(f"{self.layout.path}: the column {choice.column!r} holds no number; {says}.")

    def _tables(self, text: TextIO) -> Iterator[tuple[pd.DataFrame, int]]:
        """Raw cells of all columns and one to spare, with the line number of the first row."""
        for _ in range(self.layout.header_line):
            text.readline()
        line = self.layout.header_line + 1
        separator = self.layout.separator
        try:
            with pd.read_csv(
                text,
                header=None,
                names=list(range(len(self.layout.names) + 1)),
                index_col=False,
                dtype=str,
                sep=r"\s+" if separator == " " else separator,
                skipinitialspace=True,
                skip_blank_lines=False,
                na_filter=False,
                chunksize=ROWS_AT_ONCE,
            ) as chunks:
                while (table := _next(chunks)) is not None:
                    yield table, line
                    line += len(table)
        except pd.errors.EmptyDataError:
            return
        except pd.errors.ParserError as error:
            raise self._unparsed(str(error)) from None

    def _unparsed(self, error: str) -> ImportFileError:
        told = re.search(r"Expected \d+ fields in line (\d+), saw (\d+)", error)
        if not told:
            return ImportFileError(f"{self.layout.path}: the file cannot be read as a table ({error.strip()}).")
        return self._too_many(int(told[1]) + self.layout.header_line, int(told[2]))

    def _too_many(self, line: int, cells: int) -> ImportFileError:
        hint = ""
        if self.layout.separator == ",":
            hint = " Are there decimal commas? Then the file needs another separator, such as ;, or quotes."
        return ImportFileError(
            f"{self.layout.path}, line {line}: {counted(cells, 'cell')}, "
            f"but {counted(len(self.layout.names), 'column')}.{hint}"
        )

    def _block(self, table: pd.DataFrame, lines: Lines) -> RowBlock:
        spare = np.flatnonzero((table[len(self.layout.names)] != "").to_numpy())
        if spare.size:
            raise self._too_many(int(lines[spare[0]]), len(self.layout.names) + 1)
        wanted = [_stripped(table[place]) for place in self.layout.places]
        when = wanted.pop(0)
        if self.settings.date is not None:
            when = np.array([f"{day} {time}".strip() for day, time in zip(wanted.pop(0), when, strict=True)], object)
        columns = [self._plain(column) for column in wanted]
        numbers = [np.asarray(pd.to_numeric(pd.Series(column), errors="coerce"), np.float64) for column in columns]
        has_number = np.any([np.isfinite(values) for values in numbers], axis=0)
        if self.times is None:
            self._begin(when, has_number, lines)
        if self.times is None:
            return RowBlock(np.empty(0), ())
        time_s = self.times.read(self._plain(when) if self.times.numeric else when, lines, str(self.layout.path))
        kept = self._kept(time_s, when, has_number, lines)
        self.tally.rows += int(kept.size)
        parts = zip(self._names, columns, numbers, strict=True)
        return RowBlock(time_s[kept], tuple(self._cells(name, c[kept], v[kept], lines[kept]) for name, c, v in parts))

    def _begin(self, when: Cells, has_number: Mask, lines: Lines) -> None:
        """Find out from the first row with a number (else the first with a time) how times are written."""
        filled = when != ""
        first = np.flatnonzero(filled & has_number)
        if not first.size:
            first = np.flatnonzero(filled & np.array([any(c.isdigit() for c in cell) for cell in when], bool))
        if first.size:
            cell = str(when[first[0]])
            plain = str(self._plain(when[first[:1]])[0])
            place = f"{self.layout.path}, line {lines[first[0]]}"
            first_cell = plain if _is_number(plain) else cell
            self.times = TimeReader(self.settings, first_cell, place, local_zone=self._local_zone)

    def _kept(self, time_s: FloatArray, when: Cells, has_number: Mask, lines: Lines) -> npt.NDArray[np.intp]:
        """Return places of the rows to keep: with a time, later than the row before; a repeated time is kept once."""
        known = np.isfinite(time_s)
        odd = np.flatnonzero(~known & has_number)
        if odd.size:
            raise ImportFileError(
                f"{self.layout.path}, line {lines[odd[0]]}: {str(when[odd[0]])!r} is no time, but the row has readings."
                " Correct or remove that line."
            )
        far = np.flatnonzero(np.abs(np.where(known, time_s, 0.0)) > FARTHEST_S)
        if far.size:
            raise ImportFileError(
                f"{self.layout.path}, line {lines[far[0]]}: {str(when[far[0]])!r} is no possible time."
            )
        self.tally.without_time += int(np.sum(~known & (when != "")))
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
        self.tally.repeated += int(np.sum(~later))
        return places[later]

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

    def _cells(self, name: str, column: Cells, values: FloatArray, lines: Lines) -> Cells:
        """Return cells as they will stand in the run: the figures as written, or nothing."""
        had = np.isfinite(values)
        odd = np.flatnonzero(~had & (column != ""))
        self.tally.readings[name] += int(np.sum(had))
        if odd.size:
            self.tally.not_a_number[name] += int(odd.size)
            self.tally.first_odd.setdefault(name, (int(lines[odd[0]]), str(column[odd[0]])))
        cells = np.where(had, column, "")
        for k in np.flatnonzero(had & ~_plain_decimal(column)):
            cells[k] = f"{values[k]:.6f}".rstrip("0").rstrip(".")
        return cells

    def _plain(self, column: Cells) -> Cells:
        """Return cells with a decimal point and without signs between thousands."""
        if self.layout.decimal == "." and self.layout.thousands is None:
            return column
        text: pd.Series[str] = pd.Series(column, dtype=object)
        if self.layout.thousands is not None:
            text = text.str.replace(self.layout.thousands, "", regex=False)
        if self.layout.decimal != ".":
            text = text.str.replace(self.layout.decimal, ".", regex=False)
        return text.to_numpy(dtype=object)


def _next(chunks: Iterator[pd.DataFrame]) -> pd.DataFrame | None:
    """Next piece of the table; separators without end on every line are no matter."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.ParserWarning)
        return next(chunks, None)


def _stripped(column: pd.Series[Any]) -> Cells:
    return column.str.strip().to_numpy(dtype=object)


def _is_number(cell: str) -> bool:
    return bool(np.isfinite(pd.to_numeric(cell, errors="coerce")))


def _plain_decimal(column: Cells) -> Mask:
    """Tell which cells are plain decimals, not 1e3 and the like."""
    return np.array([_PLAIN.fullmatch(cell) is not None for cell in column], dtype=bool)
