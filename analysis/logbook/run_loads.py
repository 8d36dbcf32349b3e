"""What was in the furnace in a run altogether: mass with fixtures, or nothing."""

from __future__ import annotations

import math
import sqlite3
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.charges import WAITS_AT_MOST_S, next_run, pieces_in_run
from soakwitness.analysis.logbook.entries import check_run
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp, later
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import counted, joined

HEAVIEST_KG = 300.0


@dataclass(frozen=True)
class RunLoad:
    """One entry. ``kg``: everything in the furnace [kg]; ``fixtures_kg``: racks, plates and the like, a part of it.

    ``empty``: nobody put anything in. ``waits_for``: the furnace whose next run it is meant for.
    """

    entry: int
    run: str | None
    waits_for: str | None
    kg: float | None
    fixtures: str | None
    fixtures_kg: float | None
    empty: bool
    entered_utc: str
    entered_by: str


def enter_load(
    book: LogBook,
    *,
    stamp: Stamp,
    run: str | None = None,
    next_of: str | None = None,
    kg: float | None = None,
    fixtures: str | None = None,
    fixtures_kg: float | None = None,
    empty: bool = False,
) -> int:
    """Enter what a run held, for one that is on record or for the next one of a furnace.

    Raises LogBookError if a mass cannot be, one is on record already, or an empty furnace holds something.
    """
    if (run is None) == (next_of is None):
        raise LogBookError("Name the run, or the furnace whose next run it is for.")
    _check_mass(kg, fixtures_kg, empty)
    with book.writing(stamp):
        if run is not None:
            check_run(book, run)
        where = run or f"the next run of {next_of}"
        there = load_of_run(book, run) if run is not None else _waiting(book, next_of or "", stamp)
        if there is not None:
            says = f"What {where} held is on record already ({load_words(there)}), entry {there.entry}, by "
            says += f"{there.entered_by}. Strike that one first:"
            raise LogBookError(joined([says, NextCommand.of("piece", "strike", "load", str(there.entry))]))
        inside = pieces_in_run(book, run) if run is not None and empty else ()
        if inside:
            raise LogBookError(
                f"{run} cannot have been empty: {counted(len(inside), 'piece')} in it, {inside[0].piece}."
            )
        return book.insert(
            "run_loads",
            run=run,
            waits_for=next_of,
            kg=kg,
            fixtures=fixtures,
            fixtures_kg=fixtures_kg,
            empty=int(empty),
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def _check_mass(kg: float | None, fixtures_kg: float | None, empty: bool) -> None:
    for value, what in ((kg, "a charge"), (fixtures_kg, "fixtures")):
        if value is not None and not (math.isfinite(value) and 0.0 < value <= HEAVIEST_KG):
            grams = f" {value:g} g are {value / 1000:g} kg." if value > HEAVIEST_KG else ""
            raise LogBookError(
                f"{value:g} kg is not believable for {what}. It is in kilograms, up to {HEAVIEST_KG:g}.{grams}"
            )
    if kg is not None and fixtures_kg is not None and fixtures_kg > kg:
        raise LogBookError(
            f"Fixtures of {fixtures_kg:g} kg in a charge of {kg:g} kg: the charge's mass is that of blades and "
            f"fixtures together. Is {kg + fixtures_kg:g} kg meant?"
        )
    if empty and (kg is not None or fixtures_kg is not None):
        raise LogBookError(
            f"Empty, and yet {kg if kg is not None else fixtures_kg:g} kg in it: leave out one of the two."
        )


def load_of_run(book: LogBook, run: str) -> RunLoad | None:
    """What a run held, if that was entered."""
    row = book.row("SELECT * FROM run_loads WHERE run = ? AND struck_utc IS NULL", run)
    return None if row is None else _load(row)


def one_load(book: LogBook, entry: int) -> RunLoad:
    """One entry by its number."""
    row = book.row("SELECT * FROM run_loads WHERE entry = ?", entry)
    assert row is not None
    return _load(row)


def waiting_loads(book: LogBook) -> tuple[RunLoad, ...]:
    """Entries that wait for a furnace's next run."""
    return tuple(_load(r) for r in book.rows("SELECT * FROM run_loads WHERE run IS NULL AND struck_utc IS NULL"))


def _waiting(book: LogBook, furnace: str, stamp: Stamp) -> RunLoad | None:
    since = later(stamp.at_utc, -WAITS_AT_MOST_S)
    return next((w for w in waiting_loads(book) if w.waits_for == furnace and w.entered_utc > since), None)


def bind_loads(book: LogBook, *, stamp: Stamp) -> int:
    """Give entries that wait the next run of their furnace, where there is one now; return how many were bound."""
    bound = 0
    for load in waiting_loads(book):
        run = next_run(book, load.waits_for or "", load.entered_utc)
        if run is not None and load_of_run(book, run) is None:
            with book.writing(stamp):
                book.connection.execute("UPDATE run_loads SET run = ? WHERE entry = ?", (run, load.entry))
            bound += 1
    return bound


def load_words(load: RunLoad) -> str:
    """An entry as ``3.2 kg, of that fixtures 1.1 kg (rack)`` or ``empty``."""
    if load.empty:
        return f"empty, but for {load.fixtures}" if load.fixtures else "empty"
    parts = [f"{load.kg:g} kg" if load.kg is not None else "mass not known"]
    if load.fixtures_kg is not None or load.fixtures:
        mass = f" {load.fixtures_kg:g} kg" if load.fixtures_kg is not None else ""
        which = f" ({load.fixtures})" if load.fixtures else ""
        parts.append(f"with fixtures{mass}{which}")
    return ", ".join(parts)


def _load(row: sqlite3.Row) -> RunLoad:
    values = {name: row[name] for name in RunLoad.__dataclass_fields__}
    return RunLoad(**{**values, "empty": bool(row["empty"])})
