"""What someone with tongs in one hand needs to know: whose turn it is, who is where, not before, not after, undo.

Standard library only: it is asked in the recording process, with every reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.live.state import ClockState, PieceState
from soakwitness.firmware_bridge.marks.charges import Known, PieceStay
from soakwitness.firmware_bridge.marks.expecting import ChargeRow, Expected, Practice
from soakwitness.firmware_bridge.marks.undoing import undo_until_s, undoable
from soakwitness.firmware_bridge.runfolder.contents import Mark

Stands = Literal["waiting", "in", "out", "on the plates", "hand-warm"]


@dataclass(frozen=True)
class PieceThere:
    """One piece of this run's charges (``piece`` None: one that nobody named) and where it is since ``since_s`` [s].

    ``soak`` is how its soak stands in the hold at hand, while it is in.
    """

    piece: str | None
    charge: str | None
    slot: int | None
    stands: Stands
    since_s: float | None
    again: int = 1
    soak: PieceState | None = None

    @property
    def not_before_s(self) -> float | None:
        """The moment [s of the run] from which its soak is complete, to be sure where that is to be told."""
        if self.soak is None:
            return None
        return self.soak.from_s if self.soak.sure_from_s is None else self.soak.sure_from_s


@dataclass(frozen=True)
class TakenBack:
    """An entry that may be taken back without a reason until a moment [s of the run]."""

    mark: Mark
    until_s: float


@dataclass(frozen=True)
class AtTheFurnace:
    """How it stands with the pieces at ``t_s`` [s of the run].

    ``pieces`` in the order of loading and of the rack; ``slowest`` the one of those inside whose soak is furthest from
    complete; ``expected`` what comes next. ``not_before_s`` and ``not_after_s`` [s of the run] are those of the next
    piece that comes out, where the hold at hand is its last. ``pulled_s`` [s of the run] is when what is under way to
    the quench was pulled, ``plates_within_s`` [s] how long that may take. ``undo``: the newest entry first.
    """

    t_s: float
    pieces: tuple[PieceThere, ...]
    slowest: PieceThere | None
    expected: Expected
    not_before_s: float | None
    not_after_s: float | None
    pulled_s: float | None
    plates_within_s: float | None
    undo: tuple[TakenBack, ...]


def at_the_furnace(
    marks: Sequence[Mark],
    *,
    t_s: float,
    expected: Expected,
    practice: Practice = Practice(),  # noqa: B008 (frozen)
    known: Sequence[Known] = (),
    clock: ClockState | None = None,
    plates_within_s: float | None = None,
) -> AtTheFurnace:
    """Put together how it stands.

    ``marks``: those of the run so far; ``expected``: what the recorder says one press means now; ``known``: pieces that
    the log book has in this run; ``clock``: the soak clock's state, None without one.
    """
    row = ChargeRow.of(marks, practice, known)
    pieces = _pieces(row, expected, known, clock)
    inside = [piece for piece in pieces if piece.stands == "in" and piece.soak is not None]
    out_next = next((p for p in inside if p.piece in expected.pieces), inside[0] if inside else None)
    last_hold = clock is not None and clock.take_out and expected.act == "pull" and out_next is not None
    return AtTheFurnace(
        t_s=t_s,
        pieces=pieces,
        slowest=max(inside, key=_behind, default=None),
        expected=expected,
        not_before_s=out_next.not_before_s if last_hold and out_next is not None else None,
        not_after_s=out_next.soak.until_s if last_hold and out_next is not None and out_next.soak is not None else None,
        pulled_s=row.under_way[0].pull_s if practice.quenched and row.under_way else None,
        plates_within_s=plates_within_s,
        undo=tuple(TakenBack(mark, undo_until_s(mark, marks)) for mark in undoable(marks, t_s)),
    )


def _behind(piece: PieceThere) -> tuple[bool, float, float]:
    """What sorts pieces by how far they are from a complete soak."""
    soak = piece.soak
    assert soak is not None
    return (
        piece.not_before_s is None and not soak.complete,
        -1.0 if piece.not_before_s is None else piece.not_before_s,
        soak.required_s - soak.soak_s,
    )


def _pieces(
    row: ChargeRow, expected: Expected, known: Sequence[Known], clock: ClockState | None
) -> tuple[PieceThere, ...]:
    slots = {one.piece.casefold(): one.slot for one in known}
    labels = {one.piece.casefold(): one.charge for one in known}
    loading = set(expected.pieces) if expected.act == "load" and row.last is None else set()
    states = {} if clock is None else _states(clock)
    found = []
    for stay in row.latest:
        key = (stay.piece or "").casefold()
        waits = stay.piece in row.to_come or stay.piece in loading or (stay.pull_s is None and stay not in row.inside)
        stands, since_s = ("waiting", None) if waits else _stands(stay)
        soak = states.get(stay.piece) if stands == "in" else None
        charge = labels.get(key) or stay.charge
        found.append(PieceThere(stay.piece, charge, slots.get(key), stands, since_s, stay.again, soak))
    there = {piece.piece for piece in found}
    found += [
        PieceThere(one.piece, one.charge, one.slot, "waiting", None)
        for one in known
        if one.piece in row.to_come and one.piece not in there
    ]
    return tuple(found)


def _states(clock: ClockState) -> dict[str | None, PieceState]:
    """The soak of each piece by its name; under None that of a charge nobody named."""
    named: dict[str | None, PieceState] = {name: state for state in clock.pieces for name in state.pieces}
    nobody = next((state for state in clock.pieces if not state.pieces), None)
    return named if nobody is None else {None: nobody, **named}


def _stands(stay: PieceStay) -> tuple[Stands, float | None]:
    if stay.hand_warm_s is not None:
        return "hand-warm", stay.hand_warm_s
    if stay.plates_s is not None:
        return "on the plates", stay.plates_s
    if stay.pull_s is not None:
        return "out", stay.pull_s
    return "in", stay.load_s
