"""How a piece in its packet followed the furnace in one run: its temperature and what each hold loses to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.packet.estimate import Lag, PacketEstimate, estimate, estimate_row
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.packet.rack import Beside
from soakwitness.analysis.packet_runs.fitting import Fit, fit_packet
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.holds.placing import Placed, place_holds
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.run_as_read import corrected
from soakwitness.analysis.verification.inputs.sensor_choice import chamber_trace
from soakwitness.analysis.verification.inputs.sensor_errors import errors_of
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.common.zones import local_day


class UnknownSensor(AnalysisError):
    """The run has no such sensor beside the chamber's."""


PULL_SEEN_S, PULL_DROP_C = 120.0, 60.0  # no furnace cools so fast that it is not one that was opened
NOT_HELD = Lag(None, None, None, 1.0)


@dataclass(frozen=True)
class HoldLag:
    """What the packet eats of one hold.

    ``number`` counts holds from 1, ``step`` is its step number; ``enter_s`` and ``leave_s`` [s] are the chamber's, None
    where the run has no such hold. ``lag`` runs from the chamber's entering (or the load mark) to the work's.
    """

    number: int
    step: int
    target_c: float
    required_s: float
    enter_s: float | None
    leave_s: float | None
    lag: Lag


@dataclass(frozen=True)
class Prediction:
    """Estimate of one run and the lag in each hold of its recipe; ``says`` is what a reader must know."""

    estimate: PacketEstimate
    holds: tuple[HoldLag, ...]
    chamber: str
    says: tuple[Says, ...]


def predict(
    run: Run,
    packet: PacketModel,
    *,
    recipe: Recipe | None = None,
    corrections: Mapping[str, Correction] | None = None,
    places: Mapping[str, PlaceDifference] | None = None,
    start_c: float = 20.0,
    where: Beside | None = None,
) -> Prediction:
    """Estimate the work temperature over a run.

    ``run``: the run; its first load mark tells when the packet went in. ``start_c``: temperature of the piece when it
    went in [degC]. ``where``: the packet's slot and what stood beside it, in place of ``packet``; None: it stood alone.

    Raises NotEnoughData without a usable chamber sensor.
    """
    trace = chamber_trace(run)
    chamber = _corrected(run, trace, corrections, places)
    load_s = first_mark(run, "load")
    if where is None:
        found = estimate(chamber.t_s, chamber.temp_c, packet=packet, load_t_s=load_s, start_c=start_c)
    else:
        each = estimate_row(chamber.t_s, chamber.temp_c, row=where.row, load_t_s=load_s, start_c=start_c)
        found = next(one for slot, one in enumerate(each) if slot == where.slot and one is not None)
    placed = place_holds(chamber, recipe) if recipe is not None else ()
    holds = recipe.holds if recipe is not None else ()
    says = list(found.says)
    if load_s is None and recipe is not None and recipe.load == "hot":
        says.append(
            Says.plain("loaded hot, but no load mark: the packet is taken to have gone in at the first reading")
        )
    return Prediction(
        found,
        tuple(_hold(n, hold, place, found) for n, (hold, place) in enumerate(zip(holds, placed, strict=True), start=1)),
        trace.name,
        tuple(says),
    )


def fit_run(
    run: Run,
    load: str,
    packet: PacketModel,
    *,
    corrections: Mapping[str, Correction] | None = None,
    places: Mapping[str, PlaceDifference] | None = None,
    where: Beside | None = None,
    progress: Callable[[], None] = lambda: None,
) -> Fit:
    """Fit a packet to a run in which a sensor rode in it.

    ``run``: the run; its first load and pull marks tell when the packet was in. ``load``: name or role of the sensor in
    the packet. ``packet``: what is known before: thickness [mm], foil, heated faces. ``where``: its slot and what stood
    beside it; None: it stood alone.

    Raises NotEnoughData if there is no such sensor, or it tells too little.
    """
    trace = run.trace(load)
    chamber = chamber_trace(run)
    if trace is None or trace.name == chamber.name:
        others = ", ".join(tr.name for tr in run.traces if tr.name != chamber.name) or "none"
        raise UnknownSensor(
            f"{load}: no sensor beside the chamber's ({chamber.name}) has this name. There is: {others}."
        )
    readings, work = (_corrected(run, one, corrections, places) for one in (chamber, trace))
    return fit_packet(
        readings.t_s,
        readings.temp_c,
        np.interp(readings.t_s, work.t_s, work.temp_c, left=np.nan, right=np.nan),
        packet=packet,
        load_t_s=first_mark(run, "load"),
        pull_t_s=_pulled_s(run, work),
        where=where,
        fitted_from=run.header.run,
        progress=progress,
    )


def _pulled_s(run: Run, work: Readings) -> float | None:
    """The pull mark after which the sensor cools: pieces may have been pulled before the one that carries it."""
    pulls = sorted(mark.t_s for mark in run.marks if mark.act == "pull" and not mark.struck)
    for at_s in pulls:
        before_c, after_c = np.interp([at_s, at_s + PULL_SEEN_S], work.t_s, work.temp_c)
        if before_c - after_c > PULL_DROP_C:
            return at_s
    return None


def first_mark(run: Run, act: str) -> float | None:
    """Time of the first mark of an act that was not struck out.

    Returns time [s].
    """
    return min((mark.t_s for mark in run.marks if mark.act == act and not mark.struck), default=None)


def _corrected(
    run: Run,
    trace: Trace,
    corrections: Mapping[str, Correction] | None,
    places: Mapping[str, PlaceDifference] | None,
) -> Readings:
    column = next((c for c in run.columns if c.name == trace.name), None)
    day = local_day(run.header.started_utc, run.header.zone)
    return corrected(trace, errors_of(column, corrections or {}, day, places))


def _hold(number: int, hold: Hold, place: Placed | None, found: PacketEstimate) -> HoldLag:
    edges = place.edges if place is not None else None
    if edges is None:
        return HoldLag(number, hold.number, hold.target_c, hold.required_s, None, None, NOT_HELD)
    lag = found.lag_s(hold.lower_c, edges.enter_s, max(edges.leave_s, edges.enter_s))
    return HoldLag(number, hold.number, hold.target_c, hold.required_s, edges.enter_s, edges.leave_s, lag)


def as_json(prediction: Prediction) -> dict[str, object]:
    """Prediction as plain data, ``soakwitness/packet/1``.

    ``prediction``: what was predicted, times in s and temperatures in degC.
    """
    found = prediction.estimate
    return {
        "schema": "soakwitness/packet/1",
        "t_s": found.t_s,
        "work_c": {"low": found.low_c, "best": found.best_c, "high": found.high_c},
        "holds": [
            {
                "target_c": hold.target_c,
                "lag_s": {"low": hold.lag.low_s, "best": hold.lag.best_s, "high": hold.lag.high_s},
                "never_reached": hold.lag.never_reached,
                "step": hold.step,
                "required_s": hold.required_s,
                "found": hold.enter_s is not None,
                "enter_s": hold.enter_s,
                "leave_s": hold.leave_s,
            }
            for hold in prediction.holds
        ],
        "biot": found.biot,
        "fitted": found.fitted,
        "thickness_mm": found.packet.thickness_mm,
        "foil": found.packet.foil,
        "load_t_s": found.load_t_s,
        "says": [str(says) for says in prediction.says],
    }
