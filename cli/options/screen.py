"""The terminal that reads: its width, sentences and tables that fit it, and what may be emphasised on it."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from contextvars import ContextVar

import click

from soakwitness.firmware_bridge.common.surfaces import TERMINAL, Surface
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says

NARROWEST, WIDEST, NO_TERMINAL = 60, 100, 80
BREAKS_FROM = 14  # narrower columns hold one figure each and are not broken
POINT = re.compile(r"\s*(?:- |\d+[.:]? )?")  # what a line begins with and its continuation stands under
UNIT = re.compile(r"(?<=\d) (?=(?:°|%|s\b|min\b|h\b|mm\b))")


def screen_width() -> int:
    """Columns to write in: the terminal's own (``COLUMNS`` where it is set), 80 where there is none."""
    return min(max(shutil.get_terminal_size((NO_TERMINAL, 24)).columns, NARROWEST), WIDEST)


def known_width() -> int | None:
    """Columns of the terminal or of ``COLUMNS``; None where a file or a program reads, which wants a line a thing."""
    return screen_width() if os.environ.get("COLUMNS") or sys.stdout.isatty() else None


def wrapped(text: str, width: int, *, indent: str = "") -> list[str]:
    """A sentence in lines of at most ``width``, words whole, a number with its unit."""
    held = UNIT.sub("\N{NO-BREAK SPACE}", text)
    lines = textwrap.wrap(held, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def fitted(text: str, width: int | None = None, *, hang: int | None = None) -> list[str]:
    """A text in lines of the screen's width; what is too long goes on ``hang`` farther in, else under its own text."""
    wide = width or screen_width()
    lines = []
    for line in text.split("\n"):
        first = POINT.match(line)
        begin = first.end() if first is not None else 0
        blank = " " * (begin if hang is None else len(line) - len(line.lstrip()) + hang)
        lines += [line] if len(line) <= wide else wrapped(line, wide, indent=blank)
    return lines


def say(text: str = "", *, err: bool = False, hang: int | None = None, page: bool = False) -> None:
    """Print a text for people in the screen's width; whole lines where no screen is known and it is part of no page."""
    width = screen_width() if page else known_width()
    click.echo(text if width is None else "\n".join(fitted(text, width, hang=hang)), err=err)


# where it is read what a command says: a page of the book has other words for options and commands
read_on: ContextVar[Surface] = ContextVar("read_on", default=TERMINAL)


def say_words(says: Says, unit: Unit = "C", *, err: bool = False) -> None:
    """Print a sentence as it is read where the command was given."""
    say(says.text(unit, read_on.get()), err=err)


def say_all(lines: Iterable[str]) -> None:
    """Print lines for people, each in the screen's width."""
    for line in lines:
        say(line)


def table(rows: Sequence[Sequence[str]], *, indent: str = "", width: int | None = None) -> str:
    """Columns set straight, two blanks between them, no frame, no wider than ``width`` or a known screen.

    Where it is too wide, columns of words are broken; where that is not enough, each row becomes a sentence of its
    heads and cells.
    """
    if not rows:
        return ""
    wide = width or known_width()
    room = sys.maxsize if wide is None else wide - len(indent)
    widths = _narrowed(rows, room - 2 * (len(rows[0]) - 1))
    if widths is None:
        heads = rows[0]
        said = [", ".join(_told(heads, row)) for row in rows[1:]]
        return "\n".join(indent + line for one in said for line in wrapped(one, room, indent="  "))
    lines = (line for row in rows for line in _row_lines(row, widths))
    return "\n".join((indent + line).rstrip() for line in lines)


def _narrowed(rows: Sequence[Sequence[str]], room: int) -> list[int] | None:
    """Widths of the columns in ``room`` without the gaps; None where they cannot be had."""
    columns = list(zip(*rows, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    least = [_least(column, width) for column, width in zip(columns, widths, strict=True)]
    while sum(widths) > room:
        widest = max(range(len(widths)), key=lambda i: widths[i] if widths[i] > least[i] else 0)
        if widths[widest] <= least[widest]:
            return None
        widths[widest] -= 1
    return widths


def _least(column: Sequence[str], width: int) -> int:
    """How narrow a column of words may become."""
    if width <= BREAKS_FROM:
        return width
    return max(BREAKS_FROM, *(len(word) for cell in column for word in cell.split()))


def _row_lines(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    """One row, its words broken; what goes on is set two farther in."""
    cells = [[cell] if len(cell) <= w else wrapped(cell, w, indent="  ") for cell, w in zip(row, widths, strict=True)]
    deep = max(len(cell) for cell in cells)
    return [
        "  ".join((cell[k] if k < len(cell) else "").ljust(w) for cell, w in zip(cells, widths, strict=True)).rstrip()
        for k in range(deep)
    ]


def _told(heads: Sequence[str], row: Sequence[str]) -> Iterable[str]:
    """Cells with their heads; the first needs none, an empty one is left out."""
    for place, (head, cell) in enumerate(zip(heads, row, strict=True)):
        if cell and cell != "-":
            yield cell if place == 0 or not head else f"{head} {cell}"


def emphasised(text: str, colour: str) -> str:
    """Bold and coloured, where the reader wants colours (``NO_COLOR``); a pipe gets none from ``click.echo``."""
    return text if os.environ.get("NO_COLOR") else click.style(text, bold=True, fg=colour)


def said_first(text: str, mark: str, colour: str) -> list[str]:
    """A verdict's sentence in lines of the screen's width, emphasised up to its first ``mark``."""
    first, *rest = wrapped(text, screen_width())
    head, found, tail = first.partition(mark)
    return [emphasised(head + found, colour) + tail, *rest]
