"""What a person saw of a piece without a hardness tester: file, fracture, magnet, foil, warp, cracks."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.hardness import STEPS, Side
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import pieces_named
from soakwitness.analysis.record.moments import Stamp, moment_of
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, joined

# what each look is answered with; warp and crack are answered in millimetres
RESULTS: dict[str, tuple[str, ...]] = {
    "file test": ("skates", "bites"),
    "fracture": ("fine", "coarse", "mixed"),
    "magnet": ("strong", "weak", "none"),
    "inside of the foil": ("clean", "coloured", "scale"),
}
MEASURED = ("warp", "crack")
KINDS = (*RESULTS, *MEASURED)
LARGEST_MM = {"warp": 50.0, "crack": 500.0}


@dataclass(frozen=True)
class Inspection:
    """One look. ``result``: a word of ``RESULTS``; ``mm``: off straight, or length of the crack [mm]; 0 is none found.

    ``stage`` such as ``after quench``; ``place``: where on the piece.
    """

    entry: int
    piece: str
    kind: str
    seen_utc: str
    stage: str | None
    result: str | None
    mm: float | None
    place: str | None
    note: str
    entered_by: str

    @property
    def says(self) -> str:
        """What was seen, as ``0.8 mm, tip`` or ``skates, edge``."""
        what = self.result or ""
        if self.kind in MEASURED:
            length = "seen, length not measured" if self.mm is None else f"{self.mm:g} mm"
            what = {"warp": "straight", "crack": "none found"}[self.kind] if self.mm == 0 else length
        return ", ".join(part for part in (what, self.place, self.stage) if part)


def add_inspection(
    book: LogBook,
    names: Sequence[str],
    kind: str,
    *,
    seen_utc: str,
    stamp: Stamp,
    side: Side | None = None,
    step: str | None = None,
    result: str | None = None,
    mm: float | None = None,
    place: str | None = None,
    note: str = "",
) -> tuple[int, ...]:
    """Enter one look at one or several pieces.

    Raises LogBookError if a piece does not exist, or the answer is none that this look can have.
    """
    _check(kind, result, mm)
    if step is not None and step not in STEPS:
        raise LogBookError(f"{step!r}: looks are taken before or after one of {', '.join(STEPS)}.")
    with book.writing(stamp):
        return tuple(
            book.insert(
                "inspections",
                piece=piece.id,
                kind=kind,
                seen_utc=moment_of(seen_utc),
                stage=None if step is None else f"{side} {step}",
                result=result,
                mm=mm,
                place=place,
                note=note,
                entered_utc=stamp.at_utc,
                entered_by=stamp.by,
            )
            for piece in pieces_named(book, names)
        )


def _check(kind: str, result: str | None, mm: float | None) -> None:
    if kind not in KINDS:
        raise LogBookError(f"{kind!r} is no look known here. Use one of {', '.join(KINDS)}.")
    if kind in RESULTS:
        if mm is not None:
            raise LogBookError(f"A {kind} is not told in millimetres. Say one of {', '.join(RESULTS[kind])}.")
        if result not in RESULTS[kind]:
            given = f"{result!r} is no answer of a {kind}" if result is not None else f"What did the {kind} show"
            raise LogBookError(f"{given}: {', '.join(RESULTS[kind])}?")
        return
    if result is not None:
        says = f"A {kind} is told in millimetres, not {result!r}: 0 for none,"
        raise LogBookError(Says.of("{says} {mm}.", says=says, mm=Field("mm", "0.8")))
    if mm is None and kind == "warp":
        raise LogBookError(joined(["How far is it off straight? In millimetres, 0 for straight:", Field("mm", "0.8")]))
    largest = LARGEST_MM[kind]
    if mm is not None and not (math.isfinite(mm) and 0.0 <= mm <= largest):
        raise LogBookError(f"A {kind} of {mm:g} mm is not believable. It is in millimetres, 0 to {largest:g}.")


def inspections_of(book: LogBook, piece: str) -> tuple[Inspection, ...]:
    """Looks at a piece that stand, in order."""
    rows = book.rows("SELECT * FROM inspections WHERE piece = ? AND struck_utc IS NULL ORDER BY seen_utc, entry", piece)
    return tuple(_inspection(row) for row in rows)


def _inspection(row: sqlite3.Row) -> Inspection:
    return Inspection(**{name: row[name] for name in Inspection.__dataclass_fields__})
