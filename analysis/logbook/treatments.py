"""What was done to pieces without a run on record: quench, cold treatment, a temper in another oven, grinding."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import pieces_named
from soakwitness.analysis.record.moments import Stamp, moment_of
from soakwitness.firmware_bridge.common.wording import Says, Temp

KINDS = (
    "plate quench",
    "oil quench",
    "air quench",
    "cold treatment",
    "temper",
    "stress relief",
    "grinding",
    "finish grinding",
    "straightening",
    "other",
)
QUENCHES = ("plate quench", "oil quench", "air quench")


@dataclass(frozen=True)
class Treatment:
    """A treatment as entered. ``lowest_c`` and ``shown_c`` (what oven, bath or plates showed) [degC].

    ``not_done``: it was left out, and ``start_utc`` is when that was said. ``oven``: which oven or bath; ``second_c``:
    what a second thermometer in it showed [degC].
    """

    entry: int
    piece: str
    kind: str
    start_utc: str
    end_utc: str | None
    lowest_c: float | None
    shown_c: float | None
    removed_mm: float | None
    note: str
    entered_by: str
    not_done: bool = False
    oven: str | None = None
    second_c: float | None = None


def add_treatment(
    book: LogBook,
    names: Sequence[str],
    kind: str,
    *,
    start_utc: str,
    stamp: Stamp,
    end_utc: str | None = None,
    lowest_c: float | None = None,
    shown_c: float | None = None,
    removed_mm: float | None = None,
    note: str = "",
    not_done: bool = False,
    oven: str | None = None,
    second_c: float | None = None,
) -> tuple[int, ...]:
    """Enter a treatment of one or several pieces, or that it was left out (``not_done``).

    Raises LogBookError if a piece does not exist, the end is before the start, a temperature is impossible, or what was
    left out has a temperature or an end.
    """
    if kind not in KINDS:
        raise LogBookError(f"{kind!r} is no treatment known here. Use one of {', '.join(KINDS)}.")
    start_utc = moment_of(start_utc)
    end_utc = None if end_utc is None else moment_of(end_utc)
    if end_utc is not None and end_utc < start_utc:
        raise LogBookError(f"The end {end_utc} is before the start {start_utc}.")
    if not_done and any(value is not None for value in (end_utc, lowest_c, shown_c, removed_mm, oven, second_c)):
        raise LogBookError(f"A {kind} that was not done has no end, no oven and no temperature: leave them out.")
    for value in (lowest_c, shown_c, second_c):
        if value is not None and not -273.15 <= value <= 1600.0:
            raise LogBookError(Says.of("{temp} is not believable.", temp=Temp(value)))
    with book.writing(stamp):
        return tuple(
            book.insert(
                "treatments",
                piece=piece.id,
                kind=kind,
                start_utc=start_utc,
                end_utc=end_utc,
                lowest_c=lowest_c,
                shown_c=shown_c,
                removed_mm=removed_mm,
                not_done=int(not_done),
                oven=oven,
                second_c=second_c,
                note=note,
                entered_utc=stamp.at_utc,
                entered_by=stamp.by,
            )
            for piece in pieces_named(book, names)
        )


def treatments_of(book: LogBook, piece: str) -> tuple[Treatment, ...]:
    """Treatments of a piece that stand, in order."""
    rows = book.rows("SELECT * FROM treatments WHERE piece = ? AND struck_utc IS NULL ORDER BY start_utc, entry", piece)
    return tuple(_treatment(row) for row in rows)


def treatments_since(book: LogBook, pieces: Sequence[str], *, since_utc: str) -> dict[str, tuple[str, ...]]:
    """What was entered for pieces since a moment, such as the start of the run that they were hardened in.

    ``since_utc``: UTC text; a treatment counts from its own start. Returns for each of the pieces the kinds of its
    treatments (see ``KINDS``) that stand, in order; none: an empty tuple.
    """
    return {
        name: tuple(
            one.kind for one in treatments_of(book, name) if not one.not_done and one.start_utc >= moment_of(since_utc)
        )
        for name in pieces
    }


def left_out_since(book: LogBook, pieces: Sequence[str], *, since_utc: str) -> dict[str, tuple[str, ...]]:
    """What was entered as not done for pieces since a moment, and was not done later either.

    ``since_utc``: UTC text; an entry counts from its own start. Returns for each of the pieces the kinds (see
    ``KINDS``) whose last entry says so; none: an empty tuple.
    """
    found = {}
    for name in pieces:
        last = {one.kind: one.not_done for one in treatments_of(book, name) if one.start_utc >= moment_of(since_utc)}
        found[name] = tuple(kind for kind, not_done in last.items() if not_done)
    return found


def _treatment(row: sqlite3.Row) -> Treatment:
    values = {name: row[name] for name in Treatment.__dataclass_fields__}
    return Treatment(**{**values, "not_done": bool(row["not_done"])})
