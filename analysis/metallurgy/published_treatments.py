"""Published heat treatment figures of steels with open designations, each with its source, and a user's own file.

Figures are one a line in a CSV file: ``steel,also,what,low_c,high_c,hrc_low,hrc_high,note,source``, and where a file
wants them ``min_low,min_high,grade``. Rows of standards, handbooks and universities; sheets of producers, dealers' and
craft pages where two agree or where they disagree with the others, said as such. Nothing here predicts hardness; the
supplier's certificate counts.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Literal, cast, get_args

from soakwitness.analysis.errors import AnalysisError
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration_span, number, temperature

What = Literal[
    "composition",
    "preheat",
    "harden",
    "soak",
    "quench",
    "as quenched",
    "Ms",
    "cold treatment",
    "stress relief",
    "temper",
]
WHATS: tuple[What, ...] = get_args(What)
IN_WORDS: tuple[What, ...] = ("composition", "quench", "cold treatment")  # a note is the figure
COLUMNS = ("steel", "also", "what", "low_c", "high_c", "hrc_low", "hrc_high", "note", "source")
MORE_COLUMNS = ("min_low", "min_high", "grade")
OWN_FILE = "steels.csv"  # in the folder of the log book
SHEETS = "steel-sheets"  # beside it
CONFIRM = "Confirm with your supplier's certificate."
TEMPS_C = (-200.0, 1400.0)
HARDNESSES_HRC = (10.0, 72.0)


class SteelsError(AnalysisError):
    """A file of steels, or a figure, that cannot be used."""


@dataclass(frozen=True)
class SteelFigure:
    """One published figure with its source: temperatures [degC], hardness [HRC], minutes of soak, or words.

    ``grade`` says what the source is: a standard, a handbook, a producer's or dealer's sheet, dealers that agree.
    """

    steel: str
    what: What
    low_c: float | None = None
    high_c: float | None = None
    hrc_low: float | None = None
    hrc_high: float | None = None
    note: str = ""
    source: str = ""
    also: tuple[str, ...] = ()
    min_low: float | None = None
    min_high: float | None = None
    grade: str = ""


@dataclass(frozen=True)
class Steel:
    """A steel with its other designations and its figures."""

    name: str
    also: tuple[str, ...]
    figures: tuple[SteelFigure, ...]

    def of(self, what: What) -> tuple[SteelFigure, ...]:
        """Figures of one kind that have a temperature."""
        return tuple(f for f in self.all(what) if f.low_c is not None)

    def all(self, what: What) -> tuple[SteelFigure, ...]:
        """Figures of one kind."""
        return tuple(f for f in self.figures if f.what == what)


def published_steels() -> tuple[Steel, ...]:
    """Return the steels that come with the program.

    Returns temperatures [degC] and hardness [HRC] as published.
    """
    text = resources.files("soakwitness.analysis").joinpath("steels.csv").read_text(encoding="utf-8")
    return gathered(parse_figures(text, "steels.csv"))


def known_steels(own: Path | None = None) -> tuple[Steel, ...]:
    """Return the published steels and those of a user's own file; figures of one steel stand together.

    ``own``: the user's file; one that does not exist counts as empty. Returns temperatures [degC] and hardness [HRC].

    Raises SteelsError if the user's file cannot be used.
    """
    figures = [figure for steel in published_steels() for figure in steel.figures]
    if own is not None and own.exists():
        try:
            text = own.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise SteelsError(f"{own}: cannot be read ({error}).") from None
        figures += parse_figures(text, str(own))
    return gathered(figures)


def find_steel(name: str, steels: Iterable[Steel]) -> Steel | None:
    """Find a steel by any of its designations, without regard to case and spaces."""
    wanted = _keys(name)
    for steel in steels:
        if any(wanted & _keys(word) for word in (steel.name, *steel.also)):
            return steel
    return None


def also_words(steel: Steel) -> str:
    """Say a steel's other designations, and where they are from.

    Returns such as ``also, from memory: EN 1.4125; confirm``, empty where there are none. Those of a user's own file
    stand for themselves.
    """
    ours = {word for known in published_steels() if known.name == steel.name for word in known.also}
    remembered = ", ".join(word for word in steel.also if word in ours)
    own = ", ".join(word for word in steel.also if word not in ours)
    says = [f"also, from memory: {remembered}; confirm"] if remembered else []
    return "; ".join([*says, f"also {own}"] if own else says)


def parse_figures(text: str, source: str) -> list[SteelFigure]:
    """Read figures from the text of a file.

    ``text``: CSV with the header line of this module's note, temperatures [degC], hardness [HRC].

    Raises SteelsError with file, line, value and what is allowed.
    """
    reader = csv.DictReader(io.StringIO(text))
    if tuple(reader.fieldnames or ()) not in (COLUMNS, (*COLUMNS, *MORE_COLUMNS)):
        raise SteelsError(f"{source}, line 1: the header must be {','.join(COLUMNS)}.")
    return [_figure(row, f"{source}, line {reader.line_num}") for row in reader]


def checked(figure: SteelFigure, place: str) -> SteelFigure:
    """Refuse a figure that says nothing, has no source or no possible value.

    ``figure``: temperatures [degC], hardness [HRC].

    Raises SteelsError with the place, the value and what is allowed.
    """
    if not figure.steel.strip() or figure.what not in WHATS:
        raise SteelsError(f"{place}: steel {figure.steel!r}, what {figure.what!r}: what is one of {', '.join(WHATS)}.")
    if not figure.source.strip():
        raise SteelsError(f"{place}: the figure has no source. Say where it is published, or who told it.")
    if figure.what in IN_WORDS and not figure.note:
        raise SteelsError(f"{place}: {figure.what} without a note says nothing. Write it there, such as: oil or air.")
    if figure.low_c is None and figure.hrc_low is None and figure.min_low is None and figure.what not in IN_WORDS:
        raise SteelsError(f"{place}: give a temperature, a hardness, or both.")
    if not _rises(figure.low_c, figure.high_c, *TEMPS_C):
        low, high, least, most = (
            Temp(t) for t in (figure.low_c or 0.0, figure.high_c or figure.low_c or 0.0, *TEMPS_C)
        )
        says = "{place}: temperature {low} to {high}: must rise, from {least} to {most}."
        raise SteelsError(Says.of(says, place=place, low=low, high=high, least=least, most=most))
    if not _rises(figure.hrc_low, figure.hrc_high, *HARDNESSES_HRC):
        span = f"{number(figure.hrc_low or 0.0)} to {number(figure.hrc_high or figure.hrc_low or 0.0)}"
        allowed = " to ".join(number(edge) for edge in HARDNESSES_HRC)
        raise SteelsError(f"{place}: hardness {span} HRC: must rise, from {allowed}.")
    return figure


def _rises(low: float | None, high: float | None, least: float, most: float) -> bool:
    """Whether a range may be empty, or lies in order between two figures."""
    return low is None or least <= low <= (low if high is None else high) <= most


def figure_line(figure: SteelFigure) -> str:
    """Write a figure as one line of a user's file.

    ``figure``: temperatures [degC], hardness [HRC].
    """
    out = io.StringIO()
    numbers = [figure.low_c, figure.high_c, figure.hrc_low, figure.hrc_high]
    shown = ["" if value is None else f"{value:.6g}" for value in numbers]
    row = [figure.steel, "; ".join(figure.also), figure.what, *shown, figure.note, figure.source]
    csv.writer(out, lineterminator="\n").writerow(row)
    return out.getvalue()


def append_figure(path: Path, figure: SteelFigure) -> Path:
    """Add a figure to a user's own file, which is made where it is missing.

    ``figure``: temperatures [degC], hardness [HRC].

    Raises SteelsError if the figure or the file cannot be used; nothing is written then.
    """
    line = figure_line(checked(figure, "the new figure"))
    known_steels(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        old = path.read_text(encoding="utf-8-sig") if path.exists() else ""
        before = "" if old.endswith("\n") else "\n" if old else ",".join(COLUMNS) + "\n"
        with path.open("a", encoding="utf-8", newline="") as file:
            file.write(before + line)
    except OSError as error:
        raise SteelsError(f"{path}: cannot be written ({error.strerror}).") from None
    return path


def keep_sheet(folder: Path, sheet: Path) -> Path:
    """Copy a supplier's sheet beside a user's own file; one of the same name and content stands already.

    Raises SteelsError if it cannot be read or kept, or another one has its name.
    """
    kept = folder / SHEETS / sheet.name
    try:
        text = sheet.read_bytes()
        if kept.exists() and kept.read_bytes() == text:
            return kept
        kept.parent.mkdir(parents=True, exist_ok=True)
        with kept.open("xb") as file:
            file.write(text)
    except FileExistsError:
        raise SteelsError(f"{kept}: another sheet has this name. Give {sheet} a name of its own.") from None
    except OSError as error:
        raise SteelsError(f"{sheet}: cannot be kept as {kept} ({error.strerror}).") from None
    return kept


def figure_sentence(figure: SteelFigure, unit: Unit = "C") -> str:
    """Say a figure with its source.

    ``figure``: temperatures [degC], hardness [HRC].
    """
    parts = []
    if figure.low_c is not None:
        parts.append(span_words(figure, unit))
    if figure.hrc_low is not None:
        high = figure.hrc_high
        words = number(figure.hrc_low) if high == figure.hrc_low else f"{number(figure.hrc_low)} to {number(high or 0)}"
        parts.append(f"{'at least ' + number(figure.hrc_low) if high is None else words} HRC")
    if figure.min_low is not None:
        parts.append(duration_span(figure.min_low * 60.0, (figure.min_high or figure.min_low) * 60.0))
    parts += [figure.note] if figure.note else []
    grade = f"; {figure.grade}" if figure.grade else ""
    return f"{figure.what}: {', '.join(parts)} ({figure.source}{grade})."


def span_words(figure: SteelFigure, unit: Unit) -> str:
    """Write a figure's temperature or range.

    ``figure``: temperatures [degC].
    """
    low_c, high_c = figure.low_c or 0.0, figure.high_c
    if high_c is None or high_c == low_c:
        return temperature(low_c, unit)
    return f"{temperature(low_c, unit)} to {temperature(high_c, unit)}"


def gathered(figures: Sequence[SteelFigure]) -> tuple[Steel, ...]:
    """Put the figures of each steel together.

    ``figures``: temperatures [degC], hardness [HRC].
    """
    names = dict.fromkeys(figure.steel for figure in figures)
    return tuple(
        Steel(
            name,
            tuple(dict.fromkeys(word for f in figures if f.steel == name for word in f.also)),
            tuple(f for f in figures if f.steel == name),
        )
        for name in names
    )


def _figure(row: dict[str, str | None], place: str) -> SteelFigure:
    if None in row or any(value is None for value in row.values()):
        count = len([key for key in row if key is not None])
        raise SteelsError(f"{place}: the line must have {count} cells, commas inside a cell need quotes.")
    cells = {key: (value or "").strip() for key, value in row.items()}
    given = ("low_c", "high_c", "hrc_low", "hrc_high", *(key for key in ("min_low", "min_high") if key in cells))
    numbers = {key: _number(cells[key], key, place) for key in given}
    return checked(
        SteelFigure(
            steel=cells["steel"],
            what=cast(What, cells["what"]),
            note=cells["note"],
            source=cells["source"],
            grade=cells.get("grade", ""),
            also=tuple(word.strip() for word in cells["also"].split(";") if word.strip()),
            **numbers,
        ),
        place,
    )


def _number(cell: str, key: str, place: str) -> float | None:
    if not cell:
        return None
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise SteelsError(f"{place}, {key} = {cell!r}: must be a number or empty.")
    return value


def _keys(name: str) -> set[str]:
    """A designation with and without the name of its system before it."""
    words = name.upper().split()
    return {"".join(words), *words[-1:]}
