"""Which act is expected next and of which piece: what one press of anything means, and what a page offers first.

One idea of it for the recorder, the terminal and the page, out of the marks as ``charges`` reads them.

- Pieces that are quenched come out one by one, in the order of the rack, and each goes to the plates before the next.
  Pieces that are not (a temper) come out together.
- A load speaks of the whole charge, and so does a pull where nobody named the pieces. What goes in again is named.
- Loaded cold, a first press in a warm furnace (over 200 degC) is a pull, and a charge without names may always give one
  more piece. Else a load is expected once nothing that was loaded is in any more.
- What has come out of a round that another one follows, or of a furnace that was loaded cold, is expected hand-warm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.marks.charges import Charges, Known, PieceStay, drop_unnamed, read_charges
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

Loading = Literal["cold", "hot", "unknown"]
WARM_C = 200.0


@dataclass(frozen=True)
class Practice:
    """How a recipe wants its pieces handled.

    ``loading``: how it loads: ``cold`` (one charge rides the ramp), ``hot`` (into the hot furnace) or ``unknown``.
    ``quenched``: each piece goes from the furnace into the quench. ``rounds``: how often the pieces go in.
    """

    loading: Loading = "unknown"
    quenched: bool = True
    rounds: int = 1

    @property
    def cold_since_s(self) -> float | None:
        """Since when a charge without a load mark is in [s of the run]."""
        return 0.0 if self.loading == "cold" else None


@dataclass(frozen=True)
class Expected:
    """The act that is expected next: the ``pieces`` it is about, in the order of the rack, as far as they have names.

    ``names`` are those that its mark names; none where the whole charge is meant.
    """

    act: Act
    pieces: tuple[str, ...] = ()
    names: tuple[str, ...] = ()


def expected_next(
    marks: Iterable[Mark],
    *,
    practice: Practice = Practice(),  # noqa: B008 (frozen)
    known: Sequence[Known] = (),
    temp_c: float | None = None,
) -> Expected:
    """The act that is expected next, and of which piece.

    ``marks``: marks of this run so far; struck ones do not count. ``known``: pieces that the log book has in this run.
    ``temp_c``: temperature of the chamber [degC].
    """
    row = ChargeRow.of(marks, practice, known)
    if row.under_way and practice.quenched:
        names = _names(row.under_way)
        return Expected("plates", names, names if row.last is not None and row.last.pieces else ())
    if practice.loading == "cold" and row.last is None and (temp_c is None or temp_c < WARM_C):
        return Expected("load", _names(row.inside) or row.waiting)
    if row.inside:
        return _pull(row, practice)
    if practice.loading == "cold" and practice.quenched and not _names(row.stays):
        return Expected("pull")
    goes_on = not row.waiting and max((s.again for s in row.stays), default=1) < practice.rounds
    if row.cooling and not row.waiting and (goes_on or practice.loading == "cold"):
        return Expected("hand-warm", _names(row.cooling))
    again = _names(row.latest) if goes_on else ()
    return Expected("load", row.waiting or again, again)


def names_meant(act: str, marks: Iterable[Mark], *, practice: Practice, known: Sequence[Known] = ()) -> tuple[str, ...]:
    """Whom a key or a contact of one act speaks of: the next piece that comes out, or the one under way to the plates.

    None where the whole charge is meant.
    """
    row = ChargeRow.of(marks, practice, known)
    if act == "pull" and row.inside:
        return _pull(row, practice).names
    if act == "plates" and row.last is not None and row.last.pieces:
        return _names(row.under_way)
    return ()


def _pull(row: ChargeRow, practice: Practice) -> Expected:
    names = _names(row.inside)
    if practice.quenched and names:
        return Expected("pull", names[:1], names[:1])
    return Expected("pull", names)


def _names(stays: Iterable[PieceStay]) -> tuple[str, ...]:
    return tuple(stay.piece for stay in stays if stay.piece is not None)


@dataclass(frozen=True)
class ChargeRow:
    """The stays of a run in the order of loading, each charge in the order of its rack.

    ``to_come`` are names that the log book has in a charge that no mark has begun, ``next_charge`` those of the first
    such charge; ``last`` is the last load, pull or plates mark that counted.
    """

    stays: tuple[PieceStay, ...]
    to_come: tuple[str, ...]
    next_charge: tuple[str, ...]
    last: Mark | None

    @staticmethod
    def of(marks: Iterable[Mark], practice: Practice, known: Sequence[Known]) -> ChargeRow:
        """Read it out of the marks so far."""
        read = read_charges(marks, known=known, cold_since_s=practice.cold_since_s)
        moved = [mark for mark in read.counted if mark.act in ("load", "pull", "plates")]
        return ChargeRow(_in_row(read, known), read.to_come, _next_charge(read, known), moved[-1] if moved else None)

    @property
    def inside(self) -> tuple[PieceStay, ...]:
        """Stays that last, as far as it is known that they began: by a mark, or because one of the charge came out."""
        begun = {(s.charge, s.load_s) for s in self.stays if s.pull_s is not None}
        there = [s for s in self.stays if s.pull_s is None and s.piece not in self.to_come]
        return tuple(s for s in there if s.load_s is not None or (s.piece and (s.charge, s.load_s) in begun))

    @property
    def waiting(self) -> tuple[str, ...]:
        """Names of the charge that goes in next, as far as the log book knows it."""
        inside = {s.piece for s in self.inside}
        there = (s for s in self.stays if s.pull_s is None and s.piece not in self.to_come)
        return tuple(name for name in _names(there) if name not in inside) or self.next_charge

    @property
    def under_way(self) -> tuple[PieceStay, ...]:
        """What was pulled last and is not on the plates, while nothing came after it."""
        if self.last is None or self.last.act != "pull":
            return ()
        return tuple(s for s in self.stays if s.pull_s == self.last.t_s and s.plates_s is None)

    @property
    def latest(self) -> tuple[PieceStay, ...]:
        """The last stay of every piece."""
        return tuple({s.piece or f" {number}": s for number, s in enumerate(self.stays)}.values())

    @property
    def cooling(self) -> tuple[PieceStay, ...]:
        """What is out and was not marked hand-warm."""
        return tuple(s for s in self.latest if s.pull_s is not None and s.hand_warm_s is None)


def _in_row(read: Charges, known: Sequence[Known]) -> tuple[PieceStay, ...]:
    """Stays in the order of loading, those of one charge by their slots, as far as the log book knows them."""
    slots = {one.piece.casefold(): one.slot for one in known}
    charges: dict[tuple[str | None, float | None], int] = {}
    for stay in read.stays:
        charges.setdefault((stay.charge, stay.load_s), len(charges))

    def place(stay: PieceStay) -> tuple[int, float]:
        return charges[stay.charge, stay.load_s], _or_last(slots.get((stay.piece or "").casefold()))

    return tuple(sorted(drop_unnamed(read.stays), key=place))


def _next_charge(read: Charges, known: Sequence[Known]) -> tuple[str, ...]:
    """Names of the first charge that no mark has begun, in its row."""
    waiting = [one for one in known if one.piece in read.to_come]
    first = [one for one in waiting if one.charge == waiting[0].charge]
    return tuple(one.piece for one in sorted(first, key=lambda one: _or_last(one.slot)))


def _or_last(slot: int | None) -> float:
    return math.inf if slot is None else slot
