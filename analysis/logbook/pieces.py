"""Pieces: what each blade is, whose it is, and how to find it again."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, joined
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder import names


@dataclass(frozen=True)
class Piece:
    """One blade as the log book knows it. ``entry`` numbers the facts that stand.

    ``coupon``: a scrap that goes with the charge to be tested, and no blade.
    """

    id: str
    steel: str | None = None
    lot: str | None = None
    thickness_mm: float | None = None
    stamp: str | None = None
    customer: str | None = None
    order: str | None = None
    note: str = ""
    entry: int = 0
    entered_utc: str = ""
    entered_by: str = ""
    coupon: bool = False


def spelled_out(given: Sequence[str]) -> tuple[str, ...]:
    """Names with ranges such as ``B-041..B-052`` or ``B-041..052`` written out.

    Raises LogBookError if a range goes down or is longer than 1,000, or a name holds blanks or signs that a shell or
    file trips over.
    """
    try:
        return names.spelled_out(given)
    except RunFolderError as error:
        raise LogBookError(str(error)) from None


def add_pieces(book: LogBook, pieces: Sequence[Piece], *, stamp: Stamp) -> None:
    """Enter pieces.

    Raises LogBookError if a piece of that name stands already (upper and lower case count as the same), or a thickness
    is no thickness.
    """
    with book.writing(stamp):
        for piece in pieces:
            old = find_piece(book, piece.id)
            if old is not None:
                says = (
                    f"{piece.id}: there is a piece {old.id} already, entered by {old.entered_by} at {old.entered_utc}."
                )
                then = "Take another name, or change what is known of it:"
                raise LogBookError(joined([says, then, NextCommand.of("piece", "change")]))
            book.connection.execute("INSERT OR IGNORE INTO pieces (piece) VALUES (?)", (piece.id,))
            _insert(book, piece, stamp)


def change_piece(book: LogBook, piece: str, *, why: str, stamp: Stamp, **facts: object) -> Piece:
    """Enter better facts of a piece; the old ones are struck through and stay.

    ``facts``: ``steel``, ``lot``, ``thickness_mm``, ``stamp_text`` (what is stamped on it), ``customer``, ``order``,
    ``coupon``, ``note``; None leaves a fact as it is.
    """
    if not why.strip():
        raise LogBookError(Says.of("Say why the piece is changed{why}.", why=Field("why", around=ASIDE)))
    old = piece_named(book, piece)
    if "stamp_text" in facts:
        facts["stamp"] = facts.pop("stamp_text")
    new = replace(old, **{name: value for name, value in facts.items() if value is not None})  # type: ignore[arg-type]
    with book.writing(stamp):
        book.connection.execute(
            "UPDATE piece_facts SET struck_utc = ?, struck_by = ?, struck_why = ? WHERE entry = ?",
            (stamp.at_utc, stamp.by, why.strip(), old.entry),
        )
        _insert(book, new, stamp)
    return piece_named(book, piece)


def _insert(book: LogBook, piece: Piece, stamp: Stamp) -> None:
    if piece.thickness_mm is not None and not 0.1 <= piece.thickness_mm <= 100:
        raise LogBookError(
            f"{piece.id}: a thickness of {piece.thickness_mm:g} mm is not believable. It is in millimetres, 0.1 to 100."
        )
    book.insert(
        "piece_facts",
        piece=piece.id,
        steel=piece.steel,
        lot=piece.lot,
        thickness_mm=piece.thickness_mm,
        stamp=piece.stamp,
        customer=piece.customer,
        customer_order=piece.order,
        note=piece.note,
        coupon=int(piece.coupon),
        entered_utc=stamp.at_utc,
        entered_by=stamp.by,
    )


def find_piece(book: LogBook, name: str) -> Piece | None:
    """Piece of that name that stands, or None; upper and lower case count as the same."""
    row = book.row("SELECT * FROM piece_facts WHERE piece = ? AND struck_utc IS NULL", name)
    return None if row is None else _piece(row)


def piece_named(book: LogBook, name: str) -> Piece:
    """Piece of that name.

    Raises LogBookError if there is none; names those that begin alike.
    """
    piece = find_piece(book, name)
    if piece is None:
        alike = book.rows(
            "SELECT piece FROM piece_facts WHERE struck_utc IS NULL AND substr(piece, 1, 3) = substr(?, 1, 3) "
            "COLLATE NOCASE ORDER BY piece LIMIT 6",
            name,
        )
        hint = f" Alike: {', '.join(row['piece'] for row in alike)}." if alike else ""
        raise LogBookError(joined([f"{name}: no such piece.{hint} Look with:", NextCommand.of("piece", "find")]))
    return piece


def pieces_named(book: LogBook, names: Sequence[str]) -> tuple[Piece, ...]:
    """Pieces of these names, ranges written out."""
    return tuple(piece_named(book, name) for name in spelled_out(names))


_EXACT = {"customer": "customer", "order": "customer_order", "steel": "steel", "lot": "lot", "stamp": "stamp"}
HAYSTACK = " || char(10) || ".join(["piece", *(f"ifnull({column}, '')" for column in _EXACT.values()), "note"])


def search(
    book: LogBook, text: str = "", *, limit: int = 200, skip: int = 0, exact: dict[str, str] | None = None
) -> tuple[Piece, ...]:
    """Pieces in which a text occurs: name, stamp, customer, order, steel, lot or note; the newest entered first.

    ``text``: words that must all occur, in any of these places. ``exact``: ``customer``, ``order``, ``steel``, ``lot``,
    ``stamp`` or ``batch`` that must be just so (case apart). ``skip``: so many of the first are left out.
    """
    where, values = _where(text, exact or {})
    rows = book.rows(
        f"SELECT * FROM piece_facts WHERE {where} ORDER BY entered_utc DESC, piece LIMIT ? OFFSET ?",
        *values,
        limit,
        skip,
    )
    return tuple(_piece(row) for row in rows)


def count_pieces(book: LogBook, text: str = "", *, exact: dict[str, str] | None = None) -> int:
    """How many pieces ``search`` finds in all."""
    where, values = _where(text, exact or {})
    row = book.row(f"SELECT count(*) AS n FROM piece_facts WHERE {where}", *values)
    return 0 if row is None else int(row["n"])


def _where(text: str, exact: dict[str, str]) -> tuple[str, list[object]]:
    clauses, values = ["struck_utc IS NULL"], list[object]()
    for name, value in exact.items():
        in_batch = "piece IN (SELECT piece FROM batch_pieces WHERE batch = ? AND struck_utc IS NULL)"
        clauses.append(in_batch if name == "batch" else f"{_EXACT[name]} = ? COLLATE NOCASE")
        values.append(value)
    for word in text.split():
        clauses.append(f"instr(lower({HAYSTACK}), lower(?)) > 0")
        values.append(word)
    return " AND ".join(clauses), values


def _piece(row: sqlite3.Row) -> Piece:
    return Piece(
        id=row["piece"],
        steel=row["steel"],
        lot=row["lot"],
        thickness_mm=row["thickness_mm"],
        stamp=row["stamp"],
        customer=row["customer"],
        order=row["customer_order"],
        note=row["note"],
        entry=row["entry"],
        entered_utc=row["entered_utc"],
        entered_by=row["entered_by"],
        coupon=bool(row["coupon"]),
    )
