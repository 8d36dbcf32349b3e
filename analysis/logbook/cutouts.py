"""Tests of a furnace's over-temperature cut-out, and times it cut by itself."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says, Temp

LOWEST_C, HIGHEST_C = 30.0, 1600.0
_CUT = Field("tripped-at", around=ASIDE)
SPREAD_C = 15.0  # a hand-set cut-out with its own sensor beside the control's; engineering guess, no source


@dataclass(frozen=True)
class CutOutTest:
    """One test. ``set_c``: what it is set to; ``tripped_c``: what the control sensor showed when it cut [degC].

    ``reached_c``: how hot it was let become without a cut [degC]. ``by_itself``: it cut in a run and nobody tested.
    """

    entry: int
    furnace: str
    done_on: str
    set_c: float
    tripped_c: float | None
    reached_c: float | None
    by_itself: bool
    run: str | None
    note: str
    entered_by: str

    @property
    def did_not_cut(self) -> bool:
        """Whether it let the furnace become clearly hotter than it is set to."""
        return self.reached_c is not None and self.reached_c - self.set_c > SPREAD_C


def add_cutout_test(
    book: LogBook,
    furnace: str,
    *,
    done_on: str,
    set_c: float,
    stamp: Stamp,
    tripped_c: float | None = None,
    reached_c: float | None = None,
    by_itself: bool = False,
    run: str | None = None,
    note: str = "",
) -> int:
    """Enter a test of a furnace's cut-out, or that it cut by itself.

    ``done_on``: local day, ISO 8601. Either ``tripped_c`` or ``reached_c``.

    Raises LogBookError if both or none of them is given, or a temperature is impossible.
    """
    if (tripped_c is None) == (reached_c is None):
        says = "Say where it cut{cut}, or how hot it was without a cut{hot}; one of the two."
        hot = Field("no-trip-up-to", around=ASIDE)
        raise LogBookError(Says.of(says, cut=_CUT, hot=hot))
    if by_itself and tripped_c is None:
        raise LogBookError(Says.of("It cut by itself: say what the furnace showed then{cut}.", cut=_CUT))
    for value in (set_c, tripped_c, reached_c):
        if value is not None and not LOWEST_C <= value <= HIGHEST_C:
            raise LogBookError(Says.of("A cut-out at {temp} is not believable.", temp=Temp(value)))
    with book.writing(stamp):
        return book.insert(
            "cutout_tests",
            furnace=furnace,
            done_on=done_on,
            set_c=set_c,
            tripped_c=tripped_c,
            reached_c=reached_c,
            by_itself=int(by_itself),
            run=run,
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def cutout_tests(book: LogBook, furnace: str) -> tuple[CutOutTest, ...]:
    """Tests of a furnace's cut-out that stand, in order of time."""
    rows = book.rows(
        "SELECT * FROM cutout_tests WHERE furnace = ? AND struck_utc IS NULL ORDER BY done_on, entry", furnace
    )
    return tuple(_test(row) for row in rows)


def _test(row: sqlite3.Row) -> CutOutTest:
    values = {name: row[name] for name in CutOutTest.__dataclass_fields__}
    return CutOutTest(**{**values, "by_itself": bool(row["by_itself"])})
