"""Measure one run on which every hold was gathered: each piece in each hold, the ramps, the cooling in the quench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from soakwitness.analysis.verification.figures.cooling_time import cooling_time
from soakwitness.analysis.verification.figures.figures_in_hold import FiguresInHold, Hot, bare_s, between_s, figures_of
from soakwitness.analysis.verification.figures.hold_windows import lag_of
from soakwitness.analysis.verification.figures.measured_ramps import measure_ramps
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.measuring.overshoot import Overshoot, overshoot
from soakwitness.analysis.verification.measuring.too_hot import hot_figures
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.results.verification import Bounds, RampResult
from soakwitness.analysis.verification.sensors.gathered_run import (
    GatheredHold,
    GatheredRun,
    MissingInHold,
    WorkInHold,
)
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work


@dataclass(frozen=True)
class MeasuredWork:
    """One piece in one hold by one work temperature: as read, with a calibration in force, with an overdue one.

    ``placed``: as read and with the place difference alone, where one is known.
    ``lag_s`` behind the chamber [s], ``pull_c`` the work at its pull, corrected as the hold is [degC];
    ``never_reached``: the share of packet draws that never reach the band, None where nothing was estimated.
    """

    stay: Stay
    work: Work
    known: KnownError
    read: FiguresInHold | None
    true: FiguresInHold | None
    placed: FiguresInHold | None
    lapsed: FiguresInHold | None
    asks_lapsed: bool
    lag_s: Bounds | None = None
    pull_c: float | None = None
    never_reached: float | None = None

    @property
    def deciding(self) -> FiguresInHold | None:
        """The figures on the basis that the verdict rests on."""
        if self.known.basis == "true temperature":
            return self.true
        return self.read if self.known.place is None else self.placed


@dataclass(frozen=True)
class MissingFigures:
    """What one piece was held over the limits of a hold that is not there; ``noise_c`` [K] is that of a reading."""

    known: KnownError
    hot: Hot
    noise_c: float
    known_load: bool


@dataclass(frozen=True)
class MeasuredHold:
    """One hold, measured: its works as they were gathered, or what was too hot where it is not there.

    ``chamber_peak``: the chamber's own overshoot, whoever was in, where another work temperature tells the hold.
    """

    gathered: GatheredHold
    works: tuple[MeasuredWork, ...]
    missing: tuple[MissingFigures, ...]
    chamber_peak: Overshoot | None


@dataclass(frozen=True)
class MeasuredRun:
    """One run, measured: every hold in the recipe's order, every ramp by its step, the cooling in the quench [s]."""

    gathered: GatheredRun
    holds: tuple[MeasuredHold, ...]
    ramps: Mapping[int, RampResult]
    cooling_s: Bounds | None


def measure(gathered: GatheredRun) -> MeasuredRun:
    """Measure every hold and ramp of a run."""
    holds = tuple(_measured(gathered, hold) for hold in gathered.holds)
    return MeasuredRun(gathered, holds, measure_ramps(gathered), cooling_time(gathered))


def _measured(run: GatheredRun, hold: GatheredHold) -> MeasuredHold:
    return MeasuredHold(
        hold,
        works=tuple(_work(run, hold, one) for one in hold.works),
        missing=tuple(m for m in (_too_hot(run, hold, one) for one in hold.missing) if m is not None),
        chamber_peak=_chamber_peak(hold),
    )


def _work(run: GatheredRun, hold: GatheredHold, one: WorkInHold) -> MeasuredWork:
    measured: dict[int, FiguresInHold] = {}

    def figures(on: HoldOnTrace | None) -> FiguresInHold | None:
        """Bases that share a hold share its figures."""
        if on is None:
            return None
        if id(on) not in measured:
            known_load = _known_load(run, one.stay)
            measured[id(on)] = figures_of(
                on, one.work, one.stay, known_load=known_load, doors_s=run.doors_s, cooling=run.cooling
            )
        return measured[id(on)]

    bare = MeasuredWork(
        one.stay,
        one.work,
        one.known,
        figures(one.read),
        figures(one.true),
        figures(one.placed),
        figures(one.lapsed),
        one.asks_lapsed,
    )
    return bare if bare.deciding is None else _beside(run, hold, bare, bare.deciding)


def _beside(run: GatheredRun, hold: GatheredHold, bare: MeasuredWork, deciding: FiguresInHold) -> MeasuredWork:
    """With what is measured on the deciding basis alone."""
    on, work, stay = deciding.on, bare.work, bare.stay
    marked = hold.alone or any(s.load_s is not None for s in run.stays)
    pull_c = None
    if stay.pull_s is not None and work.best.t_s[0] <= stay.pull_s <= work.best.t_s[-1]:
        pull_c = work.best.at(stay.pull_s) + on.correction_c
    return replace(
        bare,
        lag_s=lag_of(on, work, deciding.window, load_known=run.recipe.load != "hot" or marked),
        pull_c=pull_c,
        never_reached=work.lag(on.hold.lower_c, on.edges.enter_s, on.edges.leave_s)[3] if work.lag else None,
    )


def _known_load(run: GatheredRun, stay: Stay) -> bool:
    """Whether it is known when a piece went in."""
    return stay.load_s is not None or run.recipe.load == "cold"


def _too_hot(run: GatheredRun, hold: GatheredHold, one: MissingInHold) -> MissingFigures | None:
    """What a piece was held over the limits of a hold that is not there; None where none of them counts."""
    if one.allowed is None:
        return None
    low, high = (
        hot_figures(
            trace,
            one.limits,
            hold.number,
            between_s(one.stay),
            bare_s=bare_s(hold.hold, one.work),
            allowed=one.allowed,
            lower_c=hold.hold.lower_c,
            correction_c=one.correction_c,
        )
        for trace in (one.work.low, one.work.high)
    )
    return MissingFigures(one.known, (low, high), one.allowed.noise_c, _known_load(run, one.stay))


def _chamber_peak(hold: GatheredHold) -> Overshoot | None:
    on = hold.chamber
    if on is None or not on.inside_band or all(one.work.source == "control" for one in hold.works):
        return None
    return overshoot(on.trace, on.hold, on.level, on.allowed)
