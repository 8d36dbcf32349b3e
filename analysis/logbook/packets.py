"""Measured packets: their files kept by digest, and which of them count from which day on."""

from __future__ import annotations

import hashlib
import sqlite3
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp, read_day
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined


@dataclass(frozen=True)
class MeasuredPacket:
    """A packet file that counts for runs which began on the local day ``since`` or later; else than ``foil``: bare."""

    entry: int
    name: str
    text: str
    since: str
    foil: bool
    note: str
    entered_utc: str
    entered_by: str


def keep_packet_file(book: LogBook, name: str, text: str) -> str:
    """Keep a packet file's text once; return its digest, the SHA-256 of the text."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    book.connection.execute(
        "INSERT OR IGNORE INTO packet_files (digest, name, text) VALUES (?, ?, ?)", (digest, name, text)
    )
    return digest


def packet_file(book: LogBook, digest: str) -> tuple[str, str]:
    """Name and text of a packet file that the log book keeps."""
    row = book.row("SELECT name, text FROM packet_files WHERE digest = ?", digest)
    if row is None:
        says = f"The log book has no packet file {digest[:12]}. Run:"
        raise LogBookError(joined([says, NextCommand.of("logbook", "rebuild")]))
    return row["name"], row["text"]


def keep_measured(
    book: LogBook, name: str, text: str, *, since: str, foil: bool, stamp: Stamp, note: str = ""
) -> MeasuredPacket:
    """Enter a measured packet: it counts where a recipe names none.

    ``since``: local day from which it counts, such as ``2026-11-25``: for runs that began on it or later. ``foil``:
    whether it is one of foil; else a bare blade.

    Raises LogBookError if it is entered from that day on already, or the day is none.
    """
    since = read_day(since)
    with book.writing(stamp):
        digest = keep_packet_file(book, name, text)
        twin = book.row(
            "SELECT entry FROM measured_packets WHERE packet_digest = ? AND since = ? AND struck_utc IS NULL",
            digest,
            since,
        )
        if twin is not None:
            raise LogBookError(f"{name} is kept from {since} on already (entry {twin['entry']}).")
        entry = book.insert(
            "measured_packets",
            packet_digest=digest,
            name=name,
            since=since,
            foil=int(foil),
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )
    return next(one for one in measured_packets(book) if one.entry == entry)


def measured_packets(book: LogBook) -> tuple[MeasuredPacket, ...]:
    """Measured packets that stand, in the order of the day from which they count."""
    rows = book.rows(
        "SELECT m.*, p.text FROM measured_packets m JOIN packet_files p ON p.digest = m.packet_digest "
        "WHERE m.struck_utc IS NULL ORDER BY m.since, m.entry"
    )
    return tuple(_measured(row) for row in rows)


def measured_packet_on(book: LogBook, day: str, *, foil: bool) -> MeasuredPacket | None:
    """Newest measured packet that counts on a local day, of foil or bare as asked."""
    found = [one for one in measured_packets(book) if one.since <= day and one.foil == foil]
    return found[-1] if found else None


def _measured(row: sqlite3.Row) -> MeasuredPacket:
    values = {name: row[name] for name in MeasuredPacket.__dataclass_fields__}
    return MeasuredPacket(**{**values, "foil": bool(row["foil"])})
