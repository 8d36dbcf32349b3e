"""Whether anything was entered about a piece or a run since somebody looked: two hands at one piece lose nothing.

What was seen is counted: every entry, and every striking out of one. Entries are never deleted, so the count grows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import ABOUT_PIECE, KINDS
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says

ABOUT_RUN = ("disposition", "recipe", "load", "run", "confirmation")
_FEW = 3


@dataclass(frozen=True)
class Told:
    """One thing that was entered or struck: what it is called, its number, when and by whom."""

    kind: str
    entry: int
    utc: str
    by: str
    did: str


_SEEN = Field("seen", around=ASIDE)


def told_about(book: LogBook, name: str) -> tuple[Told, ...]:
    """All that was entered and struck about a piece or a run, in the order of time."""
    parts = [_part(kind, "piece = :name COLLATE NOCASE") for kind in ABOUT_PIECE]
    parts += [_part(kind, "run = :name") for kind in ABOUT_RUN]
    parts.append(_part("charge", "charge IN (SELECT charge FROM charges WHERE run = :name)"))
    sql = f"{' UNION ALL '.join(parts)} ORDER BY utc, entry"
    return tuple(Told(**dict(row)) for row in book.connection.execute(sql, {"name": name}))


def _part(kind: str, which: str) -> str:
    table = KINDS[kind]
    return (
        f"SELECT '{kind}' AS kind, entry, entered_utc AS utc, entered_by AS by, 'entered' AS did FROM {table} "
        f"WHERE {which} UNION ALL SELECT '{kind}', entry, struck_utc, struck_by, 'struck' FROM {table} "
        f"WHERE {which} AND struck_utc IS NOT NULL"
    )


def check_seen(book: LogBook, seen: Mapping[str, int]) -> None:
    """Refuse to enter anything where more is on record by now than was seen.

    ``seen``: how many entries and strikings somebody had seen of each piece or run, by its name. Asked inside the
    transaction that enters, nothing can come between.

    Raises LogBookError if there are more, and says which; or fewer, as after an older copy was put back.
    """
    for name, count in seen.items():
        now = told_about(book, name)
        if len(now) < count:
            fewer = f"of {count} entries that were shown there are {len(now)}. Nothing was entered. Look at it again."
            raise LogBookError(Says.of("{name}{seen}: {fewer}", name=name, seen=_SEEN, fewer=fewer))
        new = now[count:]
        if new:
            says = "; ".join(f"{one.by} {one.did} {one.kind} {one.entry} at {one.utc}" for one in new[-_FEW:])
            more = f" and {len(new) - _FEW} more" if len(new) > _FEW else ""
            since = f"since then {says}{more}. Nothing was entered. Look at it again, then enter it once more if it "
            since += "still holds."
            raise LogBookError(
                Says.of("{name} is not as it was shown{seen}: {since}", name=name, seen=_SEEN, since=since)
            )
