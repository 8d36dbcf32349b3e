"""Hardness tests of pieces: which scale, how many readings, on which side of which step."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Literal

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import piece_named
from soakwitness.analysis.logbook.places_on_blade import place_on_blade, spot_words
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading, check_readings, warnings_of
from soakwitness.analysis.record.moments import Stamp, moment_of

Side = Literal["before", "after"]
STEPS = ("delivery", "quench", "cold treatment", "temper", "second temper", "grinding", "finish")


@dataclass(frozen=True)
class HardnessEntry:
    """A hardness test as entered. ``stage`` such as ``after quench``; ``spot`` such as ``edge`` or ``spine``.

    ``along_pct``: where along the blade, from heel (0) to tip (100); ``across_pct``: from edge (0) to spine (100) [%].
    """

    entry: int
    piece: str
    measured_utc: str
    stage: str
    test: HardnessReading
    spot: str | None
    ground_off_mm: float | None
    tester: str | None
    note: str
    entered_by: str
    along_pct: float | None = None
    across_pct: float | None = None

    @property
    def as_quenched(self) -> bool:
        """Whether the piece had been quenched and nothing more."""
        return self.stage in ("after quench", "before cold treatment")

    @property
    def final(self) -> bool:
        """Whether the piece had had its tempers."""
        return self.stage.split(" ", 1)[1] in ("temper", "second temper", "grinding", "finish") and self.stage not in (
            "before temper",
            "before second temper",
        )


def add_hardness(
    book: LogBook,
    piece: str,
    test: HardnessReading,
    *,
    measured_utc: str,
    side: Side,
    step: str,
    stamp: Stamp,
    spot: str | None = None,
    ground_off_mm: float | None = None,
    tester: str | None = None,
    note: str = "",
    along_pct: float | None = None,
    across_pct: float | None = None,
) -> tuple[int, tuple[str, ...]]:
    """Enter a hardness test.

    ``test``: scale, load, readings, test block, spacing; its thickness is the piece's where it says none [mm].
    ``spot``: where on the piece, such as ``edge``, ``spine``, ``tip``. ``ground_off_mm``: what had been ground off the
    skin there [mm]. ``along_pct``, ``across_pct``: the place as shares of the blade, heel to tip and edge to spine [%];
    where no spot is told it is the word for that place.

    Raises LogBookError if the piece does not exist or the readings cannot be right.
    """
    if step not in STEPS:
        raise LogBookError(f"{step!r}: hardness is taken before or after one of {', '.join(STEPS)}.")
    check_readings(test)
    place = place_on_blade(along_pct, across_pct)
    if spot is None and place is not None:
        spot = spot_words(place)
    known = piece_named(book, piece)
    if test.thickness_mm is None:
        test = replace(test, thickness_mm=known.thickness_mm)
    with book.writing(stamp):
        entry = book.insert(
            "hardness",
            piece=known.id,
            measured_utc=moment_of(measured_utc),
            stage=f"{side} {step}",
            scale=test.scale,
            load_n=test.load_n,
            readings=json.dumps(test.readings),
            spot=spot,
            ground_off_mm=ground_off_mm,
            tester=tester,
            block_value=test.block_value,
            block_readings=json.dumps(test.block_readings),
            spacing_mm=test.spacing_mm,
            edge_mm=test.edge_mm,
            thickness_mm=test.thickness_mm,
            note=note,
            along_pct=along_pct,
            across_pct=across_pct,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )
    return entry, warnings_of(test)


def hardness_of(book: LogBook, piece: str) -> tuple[HardnessEntry, ...]:
    """Hardness tests of a piece that stand, in the order they were made."""
    rows = book.rows(
        "SELECT * FROM hardness WHERE piece = ? AND struck_utc IS NULL ORDER BY measured_utc, entry", piece
    )
    return tuple(_entry(row) for row in rows)


def _entry(row: sqlite3.Row) -> HardnessEntry:
    test = HardnessReading(
        readings=tuple(json.loads(row["readings"])),
        scale=row["scale"],
        load_n=row["load_n"],
        block_value=row["block_value"],
        block_readings=tuple(json.loads(row["block_readings"] or "[]")),
        spacing_mm=row["spacing_mm"],
        edge_mm=row["edge_mm"],
        thickness_mm=row["thickness_mm"],
    )
    return HardnessEntry(
        entry=row["entry"],
        piece=row["piece"],
        measured_utc=row["measured_utc"],
        stage=row["stage"],
        test=test,
        spot=row["spot"],
        ground_off_mm=row["ground_off_mm"],
        tester=row["tester"],
        note=row["note"],
        entered_by=row["entered_by"],
        along_pct=row["along_pct"],
        across_pct=row["across_pct"],
    )
