"""What a person said need not be asked for again: of a piece, a run, a furnace, a sensor, or at all."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says


@dataclass(frozen=True)
class SetAside:
    """One entry. ``subject`` None: whatever this kind is about; ``until_day``: last local day on which it counts."""

    entry: int
    kind: str
    subject: str | None
    until_day: str | None
    why: str
    entered_utc: str
    entered_by: str

    def covers(self, kind: str, subject: str, day: str) -> bool:
        """Whether it says that this need not be asked for on a local day."""
        about = self.subject is None or self.subject.casefold() == subject.casefold()
        return self.kind == kind and about and (self.until_day is None or day <= self.until_day)


def set_aside(
    book: LogBook, kind: str, subject: str | None, *, why: str, stamp: Stamp, until_day: str | None = None
) -> int:
    """Enter that something need not be asked for, up to a local day where one is named.

    Raises LogBookError where no reason is given.
    """
    if not why.strip():
        raise LogBookError(Says.of("Say why it need not be asked for{why}.", why=Field("why", around=ASIDE)))
    with book.writing(stamp):
        return book.insert(
            "set_aside",
            kind=kind,
            subject=subject,
            until_day=until_day,
            why=why.strip(),
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def set_aside_entries(book: LogBook) -> tuple[SetAside, ...]:
    """Entries that stand, oldest first."""
    rows = book.rows("SELECT * FROM set_aside WHERE struck_utc IS NULL ORDER BY entry")
    return tuple(SetAside(**{name: row[name] for name in SetAside.__dataclass_fields__}) for row in rows)
