"""How a log writes its numbers: decimal sign and sign between thousands, decided over all cells of the file.

Cells are grouped by their shape, every digit but 0 written as 1, so that a file of any length leaves a few of them.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from statistics import median

from soakwitness.analysis.errors import ImportFileError

HOTTEST_READ = 3000.0  # no thermocouple reads so much, in either unit of common types; beyond it a point is decimal
_SHAPE = str.maketrans("23456789", "11111111")
_LIKE = re.compile(r"[-+]?[.,]?\d")
_PLAIN = re.compile(r"-?\d+(?:\.\d+)?")
KEPT_CELLS = 200_000
_GROUPS = (None, ",", ".", "'", "\u2019", "\u00a0", "\u202f", " ")


@dataclass(frozen=True)
class Style:
    """A way to write numbers."""

    decimal: str = "."
    thousands: str | None = None

    def plain(self, cell: str) -> str:
        """The cell with a decimal point and nothing between thousands."""
        if self.thousands is not None:
            cell = cell.replace(self.thousands, "")
        return cell if self.decimal == "." else cell.replace(self.decimal, ".")

    def reads(self, cell: str) -> bool:
        """Whether a cell is a number in this style."""
        return _reads(self, cell.translate(_SHAPE))

    def __str__(self) -> str:
        """In words: ``decimal comma, 1.040 for thousands``."""
        words = {".": "decimal point", ",": "decimal comma"}[self.decimal]
        return words if self.thousands is None else f"{words}, thousands as 1{self.thousands}040"


class CellsRead(dict[str, tuple[str, float]]):
    """What the run keeps of a cell, and its value: nothing and NaN where it is no number. Each is worked out once."""

    def __init__(self, style: Style) -> None:
        super().__init__()
        self._style = style

    def __missing__(self, cell: str) -> tuple[str, float]:
        text, value = "", math.nan
        if self._style.reads(cell):
            text = self._style.plain(cell)
            value = float(text)
            if not math.isfinite(value):
                text, value = "", math.nan
            elif not _PLAIN.fullmatch(text):  # 1e3, +5 and the like
                text = f"{value:.6f}".rstrip("0").rstrip(".")
        if len(self) < KEPT_CELLS:
            self[cell] = text, value
        return text, value


STYLES = tuple(Style(decimal, group) for group in _GROUPS for decimal in ".," if group != decimal)


def is_like_a_number(cell: str) -> bool:
    """Whether a cell begins as a number does, readable or not."""
    return _LIKE.match(cell) is not None


@lru_cache(maxsize=65536)
def _reads(style: Style, shape: str) -> bool:
    whole = r"\d+"
    if style.thousands is not None:
        whole = rf"(?:\d+|1\d{{0,2}}(?:{re.escape(style.thousands)}\d{{3}})+)"
    point = re.escape(style.decimal)
    return re.fullmatch(rf"[-+]?(?:{whole}(?:{point}\d*)?|{point}\d+)(?:[eE][-+]?\d+)?", shape) is not None


@dataclass
class Shapes:
    """How often each shape occurs among the cells that begin as numbers, and the first cell of each."""

    counts: Counter[str] = field(default_factory=Counter)
    first: dict[str, tuple[int, str]] = field(default_factory=dict)

    def add(self, cells: Sequence[str], lines: Sequence[int]) -> None:
        """Count cells of these lines."""
        shapes = [cell.translate(_SHAPE) for cell in cells]
        for shape, count in Counter(shapes).items():
            if is_like_a_number(shape):
                self.counts[shape] += count
                if shape not in self.first:
                    at = shapes.index(shape)
                    self.first[shape] = (lines[at], cells[at])

    def best(self, decimal: str | None) -> list[Style]:
        """The styles that read most of the cells, the one that supposes least first."""
        allowed = [style for style in STYLES if decimal in (None, style.decimal)]
        fits = [sum(n for shape, n in self.counts.items() if _reads(style, shape)) for style in allowed]
        return [style for style, fit in zip(allowed, fits, strict=True) if fit == max(fits)]

    def example(self, sign: str) -> tuple[int, str]:
        """The first cell that holds a sign."""
        return min(hit for hit in self.first.values() if sign in hit[1])


def settled(shapes: Shapes, decimal: str | None) -> tuple[Style, Style | None]:
    """The style, and the other one where the cells can be read in two: ``1,040`` alone may be 1.04 or 1040."""
    best = shapes.best(decimal)
    first = best[0]
    signed = [shape for shape in shapes.counts if _reads(first, shape) and first.decimal in shape]
    if first.thousands is not None or not signed:
        return first, None
    read = [shape for shape in shapes.counts if _reads(first, shape)]
    for other in best:
        if other.thousands == first.decimal and all(_reads(other, shape) for shape in read):
            return first, other
    return first, None


def told_apart(columns: Iterable[Sequence[str]], first: Style, other: Style) -> Style | None:
    """Decide between a decimal sign and one between thousands by what the values would be; None: they do not tell.

    A value that no thermocouple reads is none. Where some cells have the sign and others have none, the right way is
    the one in which neighbours are near each other: 999 and 1,001 differ by 2 or by 998.
    """
    says: set[Style] = set()
    for cells in columns:
        read = [cell for cell in cells if first.reads(cell) and other.reads(cell)]
        signed = [cell for cell in read if first.decimal in cell]
        if not signed:
            continue
        if (
            median(abs(float(other.plain(cell))) for cell in signed) > HOTTEST_READ
        ):  # a few may be 9.999, for no reading
            says.add(first)
        elif len(signed) < len(read):
            values = [[float(style.plain(cell)) for cell in read] for style in (first, other)]
            far = [sum(abs(b - a) for a, b in zip(v, v[1:], strict=False)) for v in values]
            if far[1] < far[0]:
                says.add(other)
    return says.pop() if len(says) == 1 else None


def two_ways(place: str, shapes: Shapes, first: Style) -> ImportFileError:
    """The refusal where nothing tells which way numbers are meant."""
    line, cell = shapes.example(first.decimal)
    small, large = first.plain(cell), cell.replace(first.decimal, "")
    word = {".": "point", ",": "comma"}
    other = "," if first.decimal == "." else "."
    return ImportFileError(
        f"{place}, line {line}: {cell!r} can be {small} or {large}, and the other cells do not tell. Say which sign is "
        f"the decimal one: --decimal {word[first.decimal]} for {small}, --decimal {word[other]} for {large}."
    )
