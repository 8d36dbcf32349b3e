"""What a plan is given and what it says, as frozen data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.planning.expected_chamber import ChamberCourse
from soakwitness.analysis.planning.furnace_known import FurnaceKnown, generic_furnace
from soakwitness.analysis.planning.learning import Learned
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.furnace.rack import Rack

FloatArray = npt.NDArray[np.float64]
SCHEMA = "soakwitness/plan/1"


@dataclass(frozen=True)
class PieceToPlan:
    """One piece in its packet. ``slot`` counts from 1; None: it stands alone, or lies on the hearth."""

    name: str
    packet: PacketModel
    slot: int | None = None
    place: str | None = None


@dataclass(frozen=True)
class PlanInputs:
    """All that a plan rests on.

    ``set_to_c`` is what the control sensor shows when a hold is truly at its target [degC], ``error_c`` the U of that
    [K], both by the hold's step, where something is known. ``refused`` says what on record is not used.
    """

    recipe: Recipe
    pieces: tuple[PieceToPlan, ...]
    furnace: FurnaceKnown = field(default_factory=generic_furnace)
    rack: Rack | None = None
    set_to_c: Mapping[int, float] = field(default_factory=dict)
    error_c: Mapping[int, float] = field(default_factory=dict)
    sensor_says: tuple[Says, ...] = ()
    packet_from: str = ""
    learned: Learned | None = None
    refused: tuple[Says, ...] = ()
    temper: Recipe | None = None


@dataclass(frozen=True)
class Span:
    """A time with its bounds [s]: 95 of 100 lie within."""

    low_s: float
    best_s: float
    high_s: float

    def plus(self, time_s: float) -> Span:
        """All of it later."""
        return Span(self.low_s + time_s, self.best_s + time_s, self.high_s + time_s)


@dataclass(frozen=True)
class PieceTimes:
    """One piece in one hold: times from when the display shows the chamber in the band, or from the load if later.

    ``lag`` is until it is in the band from when the chamber itself is; its sensor shows that later, and ``shown_lag``
    is what is left from then (below nought: it is there before). Out of the furnace from ``earliest_s`` on, at
    ``latest_s`` at the latest (None: the recipe states no most); ``soak`` is what it has at ``out_s``. ``never`` is the
    share of the draws that are not in the band within three hours.
    """

    piece: PieceToPlan
    lag: Span
    shown_lag: Span
    earliest_s: float
    latest_s: float | None
    out_s: float
    soak: Span
    never: float = 0.0

    @property
    def both(self) -> bool:
        """Whether the least soak and the most that is allowed can both be had."""
        return self.latest_s is None or self.earliest_s <= self.out_s <= self.latest_s


@dataclass(frozen=True)
class HoldPlan:
    """One hold: what is typed, and what is expected of it.

    ``setpoint_c`` and ``typed_s`` are typed; ``enter`` is when the chamber comes into the band, from the start;
    ``shown_c`` what the display shows then [degC]. ``decides`` says whose soak the minutes are for. ``loaded`` whether
    the charge goes in during it. ``below_share``: how much of it a furnace that swings may be below the band.
    """

    step: int
    target_c: float
    lower_c: float
    upper_c: float
    required_s: float
    at_most_s: float | None
    setpoint_c: float
    typed_s: float
    shown_c: float
    enter: Span
    decides: Literal["blade", "chamber"]
    loaded: bool
    pieces: tuple[PieceTimes, ...] = ()
    below_share: float = 0.0


@dataclass(frozen=True)
class ExpectedHeat:
    """What the chart shows: chamber and slowest blade, each low, likely and high [degC] over ``t_s`` [s]."""

    t_s: FloatArray
    chamber: tuple[FloatArray, FloatArray, FloatArray]
    blade: tuple[FloatArray, FloatArray, FloatArray] | None


@dataclass(frozen=True)
class Plan:
    """What to do, times from the start of the furnace [s].

    ``load`` is None where the charge is in from the start. ``out`` is when the first piece comes out; ``order`` names
    the pieces as they are pulled. ``together``: one moment suits all of them. ``saves_s`` is what one instrumented
    packet would save of the last hold; None where the lag is measured.
    """

    inputs: PlanInputs
    holds: tuple[HoldPlan, ...]
    load: Span | None
    out: Span
    order: tuple[str, ...]
    together: bool
    measured: bool
    saves_s: float | None
    likely: ChamberCourse
    expected: ExpectedHeat
    says: tuple[Says, ...] = ()

    @property
    def last(self) -> HoldPlan:
        """The hold that the pieces come out of."""
        return self.holds[-1]

    @property
    def both(self) -> bool:
        """Whether every piece can have its least soak and no more than the most."""
        return all(piece.both for hold in self.holds for piece in hold.pieces)


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """A plan as plain data, ``soakwitness/plan/1``: times in s from the start, temperatures in degC."""
    inputs = plan.inputs
    return {
        "schema": SCHEMA,
        "recipe": inputs.recipe.name,
        "recipe_digest": inputs.recipe.digest,
        "furnace": inputs.furnace.name,
        "furnace_from": {"source": inputs.furnace.source, "runs": inputs.furnace.runs},
        "packet": {"measured": plan.measured, "from": inputs.packet_from, "saves_s": plan.saves_s},
        "learned": None if inputs.learned is None else asdict(inputs.learned) | {"used": inputs.learned.used},
        "both": plan.both,
        "together": plan.together,
        "load_s": None if plan.load is None else asdict(plan.load),
        "take_out_s": asdict(plan.out),
        "order": list(plan.order),
        "holds": [_hold(hold) for hold in plan.holds],
        "says": [str(says) for says in plan.says],
    }


def _hold(hold: HoldPlan) -> dict[str, Any]:
    own = {name: getattr(hold, name) for name in HoldPlan.__dataclass_fields__ if name not in ("pieces", "enter")}
    return own | {"enter_s": asdict(hold.enter), "pieces": [_piece(one) for one in hold.pieces]}


def _piece(one: PieceTimes) -> dict[str, Any]:
    packet = one.piece.packet
    return {
        "piece": one.piece.name,
        "slot": one.piece.slot,
        "thickness_mm": packet.thickness_mm,
        "foil": packet.foil,
        "lag_s": asdict(one.lag),
        "shown_lag_s": asdict(one.shown_lag),
        "soak_s": asdict(one.soak),
        "earliest_s": one.earliest_s,
        "latest_s": one.latest_s,
        "out_s": one.out_s,
        "both": one.both,
        "never_reached": one.never,
    }
