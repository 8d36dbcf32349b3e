"""How the soak stands at one moment, as frozen data: what the sentence, the page and the alarms go by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Source = Literal["load", "packet estimate", "control"]
Phase = Literal["before", "in", "above", "below"]
COLD_K = 100.0  # so far below the band a piece is no longer about to come out of its hold
Kind = Literal["too hot", "overshoot", "level", "missing", "short", "long"]


@dataclass(frozen=True)
class RecipeFault:
    """What no longer can be made good, in the hold that is this step of the recipe.

    ``by_c`` [K] is how far over its limit, its stated overshoot or its band it was, ``at_s`` [s] since when; ``had_s``
    the soak it had of ``asked_s`` [s], at least or at most.
    """

    kind: Kind
    step: int
    by_c: float = 0.0
    at_s: float = 0.0
    had_s: float = 0.0
    asked_s: float = 0.0


@dataclass(frozen=True)
class PieceState:
    """How pieces of one charge that heat alike stand in the hold at hand.

    ``source`` tells where their work temperature ``work_c`` [degC] comes from, ``short_c`` [K] is how far it is below
    the band. ``left_s`` [s] until the soak is complete by the best estimate, ``sure_in_s`` [s] until it is for a slow
    packet too, without the time that nothing was read; None: not to be told. ``dip_s`` [s] is the time below the band
    since it was in it last. ``troubles`` are what a verdict on them would already rest on. ``from_s`` and
    ``sure_from_s`` are the moments of the run [s] from which the soak is complete, by the best estimate and to be sure,
    also once they are past; ``until_s`` the moment at which it has been in band for as long as the recipe allows.
    """

    charge: int
    pieces: tuple[str, ...]
    source: Source
    work_c: float
    in_band: bool
    short_c: float
    soak_s: float
    dip_s: float
    required_s: float
    left_s: float | None
    sure_in_s: float | None
    complete: bool
    overdue: bool
    troubles: tuple[RecipeFault, ...] = ()
    from_s: float | None = None
    sure_from_s: float | None = None
    until_s: float | None = None

    @property
    def cold(self) -> bool:
        """Whether it has cooled in the furnace: nobody is told to take it out now."""
        return not self.in_band and self.short_c > COLD_K


@dataclass(frozen=True)
class ClockState:
    """How the soak stands at ``t_s`` [s].

    ``hold`` counts the holds from 1 (None: all are over), ``step`` is its step number; ``phase`` tells where the
    chamber stands to it, ``chamber_soak_s`` [s] how long; ``take_out`` whether the pieces come out after it.
    ``loaded`` False: nothing is in as far as marks and recipe tell. ``pieces`` are those that are in.
    ``place_c`` [K] is what counts for the work's place beside the chamber's sensor.
    """

    t_s: float
    chamber_c: float
    hold: int | None
    holds: int
    step: int | None
    target_c: float | None
    band_c: tuple[float, float] | None
    required_s: float | None
    phase: Phase
    chamber_soak_s: float
    take_out: bool
    loaded: bool
    all_out: bool
    pieces: tuple[PieceState, ...]
    place_c: float = 0.0

    @property
    def complete(self) -> bool:
        """Every piece that is in has its soak, is hot, and nothing is wrong: the alarm "soak complete" goes by it."""
        return bool(self.pieces) and all(p.complete and not p.troubles and not p.cold for p in self.pieces)

    @property
    def overdue(self) -> bool:
        """A piece has been in its band for longer than it should: what the alarm "soak overdue" goes by."""
        return any(piece.overdue for piece in self.pieces)

    @property
    def troubles(self) -> tuple[RecipeFault, ...]:
        """What no longer can be made good of a piece that is in: what the alarm "not to recipe" goes by."""
        return tuple(trouble for piece in self.pieces for trouble in piece.troubles)
