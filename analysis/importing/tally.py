"""What of a foreign log could not be read, counted; too much of it stops the import."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.settings import ImportSettings

FEW = 3  # so many lines of a kind never stop an import
SHOWN = 3
_Lines = npt.NDArray[np.int64]


@dataclass
class Lost:
    """Lines of one kind: how many, and the first of them."""

    count: int = 0
    first: list[int] = field(default_factory=list)

    def add(self, lines: _Lines) -> None:
        """Count lines."""
        self.count += int(lines.size)
        self.first += lines[: SHOWN - len(self.first)].tolist()

    def where(self) -> str:
        """``line 12``, ``lines 12, 13``, ``lines 12, 13, 14 and more``."""
        more = " and more" if self.count > len(self.first) else ""
        return f"line{'s' if self.count > 1 else ''} {', '.join(map(str, self.first))}{more}"


class Tally:
    """What was left out or could not be read, column by column and in all; filled while reading.

    ``not_a_number`` counts all cells that hold no number, ``spoilt`` those of them that begin as one: a word says that
    nothing was read, ``850.5 C?`` that the file is not understood.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self.rows = 0
        self.repeated = Lost()
        self.without_time = Lost()
        self.not_a_number = dict.fromkeys(names, 0)
        self.readings = dict.fromkeys(names, 0)
        self.spoilt = {name: Lost() for name in names}
        self.short = {name: Lost() for name in names}
        self.first_odd: dict[str, tuple[int, str]] = {}
        self._first_spoilt: dict[str, str] = {}

    def count_short(self, name: str, lines: _Lines) -> None:
        """Rows that end before this column."""
        self.short[name].add(lines)

    def count_empty(self, lines: _Lines) -> None:
        """Lines with neither a time nor a reading."""
        self.without_time.add(lines)

    def count_repeated(self, lines: _Lines) -> None:
        """Rows with the time of the row above."""
        self.repeated.add(lines)

    def count_odd(self, name: str, lines: _Lines, cells: npt.NDArray[Any], like: Sequence[bool]) -> None:
        """Cells that are neither empty nor a number; ``like`` tells which begin as one."""
        if not lines.size:
            return
        self.not_a_number[name] += int(lines.size)
        self.first_odd.setdefault(name, (int(lines[0]), str(cells[0])))
        spoilt = np.flatnonzero(like)
        if spoilt.size:
            self.spoilt[name].add(lines[spoilt])
            self._first_spoilt.setdefault(name, str(cells[spoilt[0]]))

    def stop_if_too_much(self, path: Path, settings: ImportSettings) -> None:
        """Refuse a file of which a share was not understood.

        Raises ImportFileError with the kind of lines, how many, the first of them, and the next step.
        """
        lines = self.rows + self.repeated.count + self.without_time.count
        for choice in settings.columns:
            name, spoilt, short = choice.name, self.spoilt[choice.name], self.short[choice.name]
            first = self._first_spoilt.get(name, "")
            filled = self.readings[name] + self.not_a_number[name]
            what = f"cells in the column {choice.column!r} begin as numbers and are none, the first {first!r}"
            _stop(path, spoilt, filled, what, "Say how numbers are written: --decimal.", settings)
            what = f"rows end before the column {choice.column!r}"
            _stop(path, short, self.rows, what, "Say what parts the cells: --separator.", settings)
        what = "lines hold neither a time nor a reading"
        _stop(path, self.without_time, lines, what, "Is it another table? Split the file there.", settings)
        what = "rows have the time of the row above"
        hint = "The times are too coarse, or in another unit (--time-unit): export them with seconds."
        _stop(path, self.repeated, lines, what, hint, settings)


def _stop(path: Path, lost: Lost, of: int, what: str, hint: str, settings: ImportSettings) -> None:
    if lost.count <= max(FEW, settings.unread_share * of):
        return
    percent = 100.0 * lost.count / of
    raise ImportFileError(
        f"{path}, {lost.where()}: {lost.count} of {of} {what}. {hint} If the rest is what you want: "
        f"--unread {min(100, int(percent) + 1)}."
    )
