"""Charges: which pieces were in which run, where, and in what packet. Entered, or told by the run's own marks."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import check_run
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import find_piece, pieces_named
from soakwitness.analysis.logbook.striking import struck_runs
from soakwitness.analysis.record.moments import Stamp, later, moment_of
from soakwitness.firmware_bridge.common.surfaces import Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, Value, counted, joined

WAITS_AT_MOST_S = 48 * 3600.0  # a charge put together for the next run is not bound to one that starts later
RECENT_S = 15 * 60.0  # a run that began so shortly before still is "the next one"


@dataclass(frozen=True)
class Charged:
    """One piece in one run, or waiting for the next of ``waits_for``. ``entry`` 0: known only from a mark."""

    piece: str
    run: str | None
    charge: int | None = None
    place: str | None = None
    foil: bool | None = None
    heated_faces: int | None = None
    blades: int | None = None
    thickness_mm: float | None = None
    note: str = ""
    entry: int = 0
    entered_utc: str = ""
    entered_by: str = ""
    waits_for: str | None = None

    @property
    def charge_name(self) -> str | None:
        """What its charge is called wherever one reads of it: ``charge 1``; None where it is in none."""
        return None if self.charge is None else f"charge {self.charge}"


def charge_pieces(
    book: LogBook,
    names: Sequence[str],
    *,
    stamp: Stamp,
    run: str | None = None,
    next_of: str | None = None,
    number: int | None = None,
    place: str | None = None,
    foil: bool | None = None,
    heated_faces: int | None = None,
    blades: int | None = None,
    note: str = "",
) -> int:
    """Enter pieces that go into a run together: before it, during it, or afterwards.

    ``next_of``: else the furnace whose next run it is meant for. ``number``: which charge of the run, from 1; a new one
    where it is left out. A piece that was pulled and loaded again is entered a second time only with its number said.
    ``place``: of all, or slots of the rack for one after the other, such as 1-6. ``heated_faces``, ``blades``: heated
    faces of the packet (1 on the hearth, else 2); blades in one packet.

    Raises LogBookError if a piece or the run does not exist, or a piece is in that charge already, or in another one of
    the same run and ``number`` is left out.
    """
    if (run is None) == (next_of is None):
        raise LogBookError("Name the run the charge was in, or the furnace whose next run it is for.")
    _check_packet(heated_faces, blades)
    with book.writing(stamp):
        pieces = pieces_named(book, names)
        if run is not None:
            check_run(book, run)
        _check_not_empty(book, run)
        taken = _taken(book, run, next_of, stamp)
        again = number is not None
        number = max(taken, default=0) + 1 if number is None else number
        _check_inside(book, taken, [piece.id for piece in pieces], number, again, run or f"the next run of {next_of}")
        charge = taken.get(number) or _new_charge(book, run, next_of, number, stamp)
        for piece, its_place in zip(pieces, places_of(place, len(pieces)), strict=True):
            book.insert(
                "charge_pieces",
                charge=charge,
                piece=piece.id,
                place=its_place,
                foil=None if foil is None else int(foil),
                heated_faces=heated_faces,
                blades=blades,
                note=note,
                entered_utc=stamp.at_utc,
                entered_by=stamp.by,
            )
    return number


def _check_not_empty(book: LogBook, run: str | None) -> None:
    row = book.row("SELECT entry, entered_by FROM run_loads WHERE run = ? AND empty AND struck_utc IS NULL", run)
    if row is not None:
        says = (
            f"{run} was empty, says entry {row['entry']} by {row['entered_by']}. If something was in it, strike that:"
        )
        raise LogBookError(joined([says, NextCommand.of("piece", "strike", "load", str(row["entry"]))]))


def places_of(place: str | None, count: int) -> list[str | None]:
    """The place of each of several pieces: slots ``1-6`` are one for each in their order, words are the place of all.

    Raises LogBookError where there are more pieces than slots, or fewer.
    """
    ends = re.fullmatch(r"\s*(\d{1,3})\s*-\s*(\d{1,3})\s*", place or "")
    if ends is None or count == 1:
        return [place] * count
    slots = range(int(ends[1]), int(ends[2]) + 1)
    if len(slots) != count:
        raise LogBookError(
            f"Place {place} is {counted(len(slots), 'slot')} for {counted(count, 'piece')}: name one each."
        )
    return [str(slot) for slot in slots]


def _check_packet(heated_faces: int | None, blades: int | None) -> None:
    if heated_faces not in (None, 1, 2):
        raise LogBookError(f"{heated_faces} heated faces: a blade has 2, one that lies on the hearth has 1.")
    if blades is not None and not 1 <= blades <= 50:
        raise LogBookError(f"{blades} blades in one packet is not believable: 1 to 50.")


def _taken(book: LogBook, run: str | None, next_of: str | None, stamp: Stamp) -> dict[int, int]:
    """Charges of the run that there are, by their numbers."""
    rows = book.rows(
        "SELECT number, charge FROM charges WHERE run = ?1 OR (run IS NULL AND waits_for = ?2 AND entered_utc > ?3)",
        run,
        next_of,
        later(stamp.at_utc, -WAITS_AT_MOST_S),
    )
    return {row["number"]: row["charge"] for row in rows}


def _check_inside(
    book: LogBook, taken: dict[int, int], pieces: Sequence[str], number: int, again: bool, where: str
) -> None:
    """Refuse a piece that is in this charge, or in another of the run unless its second charge was asked for."""
    inside = [c for charge in taken.values() for c in _entered(book, "c.charge = ?", charge)]
    new = {piece.casefold() for piece in pieces}
    for c in inside:
        if c.piece.casefold() in new and (c.charge == number or not again):
            says: list[Value] = [f"{c.piece} is in charge {c.charge} of {where} already."]
            if not again:
                then = Field("charge", str(max(taken) + 1))
                says.append(Says.of("If it was pulled and loaded again, say so: {then}.", then=then))
            strike = NextCommand.of("piece", "strike", "charge", str(c.entry))
            raise LogBookError(joined([*says, "A wrong entry is struck through:", strike]))


def _new_charge(book: LogBook, run: str | None, next_of: str | None, number: int, stamp: Stamp) -> int:
    """Make a charge and return its key."""
    if number < 1:
        raise LogBookError(f"Charge {number}: charges of a run count from 1.")
    return book.insert(
        "charges", run=run, waits_for=next_of, number=number, entered_utc=stamp.at_utc, entered_by=stamp.by
    )


def bind_waiting(book: LogBook, *, stamp: Stamp) -> int:
    """Give charges that wait for a furnace's next run that run, where there is one now; return how many were bound.

    The next run is the first that began after the entry and within two days, or up to 15 minutes before the entry and
    was not over by then.
    """
    bound = 0
    for row in book.rows("SELECT * FROM charges WHERE run IS NULL"):
        run = next_run(book, row["waits_for"], row["entered_utc"])
        if run is not None:
            with book.writing(stamp):
                taken = book.row("SELECT max(number) AS n FROM charges WHERE run = ?", run)
                number = max(row["number"], 1 + ((taken["n"] or 0) if taken else 0))
                book.connection.execute(
                    "UPDATE charges SET run = ?, number = ? WHERE charge = ?", (run, number, row["charge"])
                )
            bound += 1
    return bound


def next_run(book: LogBook, furnace: str, entered_utc: str) -> str | None:
    """The run that something entered at a moment for a furnace's next run is meant for, if it is there by now."""
    row = book.row(
        "SELECT run FROM standing_runs WHERE furnace = ? AND started_utc BETWEEN ? AND ? "
        "AND (ended_utc IS NULL OR ended_utc > ?) ORDER BY started_utc LIMIT 1",
        furnace,
        later(entered_utc, -RECENT_S),
        later(entered_utc, WAITS_AT_MOST_S),
        entered_utc,
    )
    return None if row is None else str(row["run"])


def pieces_in_run(book: LogBook, run: str, *, named: Sequence[str] | None = None) -> tuple[Charged, ...]:
    """Pieces of a run: those entered, then those that only its marks name, each once a charge.

    ``named`` are the pieces its marks name; left out, those that the log book has seen.
    """
    if named is None:
        sql = "SELECT DISTINCT piece FROM run_marks WHERE run = ? AND piece IS NOT NULL AND struck = 0 ORDER BY rowid"
        named = [row["piece"] for row in book.rows(sql, run)]
    entered = _entered(book, "c.run = ?", run)
    known = {c.piece.casefold() for c in entered}
    marked: list[Charged] = []
    for name in named:
        if name.casefold() not in known:
            known.add(name.casefold())
            piece = find_piece(book, name)
            marked.append(Charged(piece.id if piece else name, run, thickness_mm=piece.thickness_mm if piece else None))
    return (*entered, *marked)


def furnaces_waited_for(book: LogBook) -> tuple[str, ...]:
    """Furnaces for whose next run something is or was entered that came into none."""
    return tuple(row["waits_for"] for row in book.rows("SELECT DISTINCT waits_for FROM charges WHERE run IS NULL"))


def pieces_waiting(book: LogBook, furnace: str, started_utc: str) -> tuple[Charged, ...]:
    """Pieces that wait for the run which began then: what ``bind_waiting`` is going to give it."""
    start = moment_of(started_utc)
    waiting: list[Charged] = []
    for row in book.rows("SELECT * FROM charges WHERE run IS NULL AND waits_for = ? ORDER BY number", furnace):
        since, until = later(row["entered_utc"], -RECENT_S), later(row["entered_utc"], WAITS_AT_MOST_S)
        before = "SELECT 1 FROM standing_runs WHERE furnace = ? AND started_utc >= ? AND started_utc < ?"
        if since <= start <= until and book.row(before, furnace, since, start) is None:
            waiting += _entered(book, "c.charge = ?", row["charge"])
    return tuple(waiting)


def runs_of_piece(book: LogBook, piece: str) -> tuple[Charged, ...]:
    """Runs a piece was in, entered or told by marks, in the order of their start; waiting charges last.

    Runs that were struck out are left out.
    """
    struck = struck_runs(book)
    entered = [c for c in _entered(book, "p.piece = ?", piece) if c.run not in struck]
    known = {c.run for c in entered}
    marked = [
        Charged(piece, row["run"])
        for row in book.rows("SELECT DISTINCT run FROM run_marks WHERE piece = ? AND struck = 0", piece)
        if row["run"] not in known and row["run"] not in struck
    ]
    starts = {
        row["run"]: row["started_utc"]
        for c in (*entered, *marked)
        for row in book.rows("SELECT run, started_utc FROM runs WHERE run = ?", c.run)
    }
    return tuple(sorted((*entered, *marked), key=lambda c: (c.run is None, starts.get(c.run or "", ""))))


def _entered(book: LogBook, where: str, value: object) -> list[Charged]:
    rows = book.rows(
        "SELECT p.*, c.run, c.number, c.waits_for, f.thickness_mm FROM charge_pieces p JOIN charges c USING (charge) "
        "LEFT JOIN piece_facts f ON f.piece = p.piece AND f.struck_utc IS NULL "
        f"WHERE {where} AND p.struck_utc IS NULL ORDER BY c.number, p.entry",
        value,
    )
    return [_charged(row) for row in rows]


def _charged(row: sqlite3.Row) -> Charged:
    return Charged(
        piece=row["piece"],
        run=row["run"],
        charge=row["number"],
        place=row["place"],
        foil=None if row["foil"] is None else bool(row["foil"]),
        heated_faces=row["heated_faces"],
        blades=row["blades"],
        thickness_mm=row["thickness_mm"],
        note=row["note"],
        entry=row["entry"],
        entered_utc=row["entered_utc"],
        entered_by=row["entered_by"],
        waits_for=row["waits_for"] if row["run"] is None else None,
    )
