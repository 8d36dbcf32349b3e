"""Work on furnaces: new elements, a new relay, another place. Kept as entered; a wrong entry is struck through."""

from __future__ import annotations

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.evidence.upkeep import PARTS, Upkeep
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says


def add_upkeep(book: LogBook, furnace: str, part: str, *, done_utc: str, stamp: Stamp, note: str = "") -> int:
    """Enter what was done to a furnace; return the entry's number.

    Raises LogBookError if the part is none, lies in the future, or the same work is entered at that moment already.
    """
    if part not in PARTS:
        raise LogBookError(f"{part!r} is no part known here. Use one of {', '.join(PARTS)}.")
    if done_utc > stamp.at_utc:
        at = Field("at", around=ASIDE)
        raise LogBookError(
            Says.of("{done} is still to come. Enter the work when it is done{at}.", done=done_utc, at=at)
        )
    with book.writing(stamp):
        twin = book.row(
            "SELECT entry FROM upkeep WHERE furnace = ? AND part = ? AND done_utc = ? AND struck_utc IS NULL",
            furnace,
            part,
            done_utc,
        )
        if twin is not None:
            raise LogBookError(f"{part} at {done_utc} is entered for {furnace} already (entry {twin['entry']}).")
        return book.insert(
            "upkeep",
            furnace=furnace,
            part=part,
            done_utc=done_utc,
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def upkeep_of(book: LogBook, furnace: str) -> tuple[Upkeep, ...]:
    """What was done to a furnace and stands, in the order of the work."""
    rows = book.rows("SELECT * FROM upkeep WHERE furnace = ? AND struck_utc IS NULL ORDER BY done_utc, entry", furnace)
    return tuple(Upkeep(**{name: row[name] for name in Upkeep.__dataclass_fields__}) for row in rows)
