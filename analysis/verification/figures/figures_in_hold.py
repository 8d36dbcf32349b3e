"""Figures of one piece in one hold, by one work temperature on one basis: what it is judged by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.figures.hold_windows import in_band_figures, unseen_s, window_of
from soakwitness.analysis.verification.figures.soak_by_error import SoakByError
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.measuring.dips import OwnCooling, dips_of, door_dips
from soakwitness.analysis.verification.measuring.overshoot import Overshoot, level_part, overshoot
from soakwitness.analysis.verification.measuring.soak import Window
from soakwitness.analysis.verification.measuring.too_hot import HotFigures, hot_figures
from soakwitness.analysis.verification.results.verification import Dip, InBand
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work

LEAST_LEVEL_S = 60.0

Hot = tuple[HotFigures | None, HotFigures | None]
Peak = tuple[Overshoot | None, Overshoot | None]


@dataclass(frozen=True)
class FiguresInHold:
    """What one piece got in one hold; of each pair the work at its lowest and at its highest.

    ``hidden_s`` [s] is what a lost load sensor did not see of it; ``levels_c`` [degC] its level while the piece was in,
    None where that was too short; ``begins`` and ``ends``: the record shows how the hold began
    and ended for it; ``known_load``: it is known when it went in.
    """

    on: HoldOnTrace
    work: Work
    window: Window
    soak: SoakByError
    hidden_s: float
    dips: tuple[Dip, ...]
    peak: Peak | None
    hot: Hot | None
    levels_c: tuple[float, float] | None
    begins: bool
    ends: bool
    known_load: bool

    @property
    def shown_peak(self) -> Overshoot | None:
        """The overshoot that people are shown: the work at its highest."""
        return self.peak[1] if self.peak else None

    @property
    def shown_hot(self) -> HotFigures | None:
        """What was too hot, as people are shown: the work at its highest."""
        return self.hot[1] if self.hot else None

    def in_band(self, expanded_c: float) -> InBand:
        """The three in-band times of whatever is in the furnace, extremes over U [K]."""
        return in_band_figures(self.on, expanded_c, unseen_s(self.on, None))


def figures_of(
    on: HoldOnTrace, work: Work, stay: Stay, *, known_load: bool, doors_s: Sequence[float], cooling: OwnCooling
) -> FiguresInHold:
    """Measure one piece in one hold on the sensor of its work temperature."""
    dips = dips_in(on, doors_s, cooling)
    window = window_of(on, stay, work)
    if doors_s and work.measured:
        window = replace(window, doors=door_dips(dips, doors_s))
    return FiguresInHold(
        on,
        work,
        window,
        SoakByError(work, on, window, known_load, loose_s=0.0 if work.measured else stay.within_s("load")),
        hidden_s=unseen_s(on, stay),
        dips=dips,
        peak=_peak(on, work, stay),
        hot=_hot(on, work, stay),
        levels_c=_levels(on, work, stay),
        begins=on.began or stay.load_s is not None,
        ends=on.ended or (stay.pull_s is not None and stay.pull_s <= on.sensor.last_s and not stay.within_s("pull")),
        known_load=known_load,
    )


def dips_in(on: HoldOnTrace, doors_s: Sequence[float], cooling: OwnCooling) -> tuple[Dip, ...]:
    """Dips of a trace in a hold."""
    if not on.inside_band:
        return ()
    return dips_of(on.trace, on.hold, on.edges, on.level.level_c, on.allowed, doors_s=doors_s, cooling=cooling)


def between_s(stay: Stay) -> tuple[float, float]:
    """From when to when a charge is inside [s]."""
    load_s = stay.load_s if stay.load_s is not None else -np.inf
    return load_s, stay.pull_s if stay.pull_s is not None else np.inf


def _peak(on: HoldOnTrace, work: Work, stay: Stay) -> Peak | None:
    """Overshoot of the work while a charge is inside."""
    between = between_s(stay)
    if work.measured:
        peak = overshoot(on.trace, on.hold, on.level, on.allowed, between)
        return (peak, peak) if peak is not None else None
    low, high = (overshoot(trace, on.hold, on.level, on.allowed, between) for trace in (work.low, work.high))
    return low, high


def _hot(on: HoldOnTrace, work: Work, stay: Stay) -> Hot | None:
    """What the work held over its limits."""

    def held(trace: Readings) -> HotFigures | None:
        return hot_figures(
            trace,
            on.limits,
            on.number,
            between_s(stay),
            bare_s=bare_s(on.hold, work),
            allowed=on.allowed,
            lower_c=on.hold.lower_c,
            correction_c=on.correction_c,
        )

    if work.measured:
        both = held(on.trace)
        return (both, both) if both is not None else None
    return held(work.low), held(work.high)


def bare_s(hold: Hold, work: Work) -> float | None:
    """How long a bare chamber reading may be over its limit [s]; None where the work itself is known."""
    return hold.hot_s if work.source == "control" else None


def _levels(on: HoldOnTrace, work: Work, stay: Stay) -> tuple[float, float] | None:
    """Level of the work while the piece was in the hold.

    The sensor's own, or the blade's where it is estimated, and then from when the blade itself was there.
    """
    load_s, pull_s = between_s(stay)
    start, end = max(on.level.start_s, load_s), min(on.level.end_s, pull_s)
    if work.measured and (start, end) == (on.level.start_s, on.level.end_s):
        return on.level.level_c, on.level.level_c
    found = []
    for trace in (work.low, work.high):
        there = start if work.measured else _there_s(trace, on.hold.lower_c, start, end)
        if there is None or end - there < LEAST_LEVEL_S:
            return None
        edges = replace(on.edges, enter_s=there, leave_s=end, left_upward=False, from_above=False)
        found.append(level_part(trace, on.hold, edges, on.allowed.noise_c, on.slope_c_per_h).level_c)
    return min(found), max(found)


def _there_s(trace: Readings, lower_c: float, start_s: float, end_s: float) -> float | None:
    """When a blade's estimate first was in the band [s]; None where it never was."""
    low, high = trace.between(start_s, end_s)
    inside = np.flatnonzero(trace.temp_c[low:high] >= lower_c)
    return float(trace.t_s[low + int(inside[0])]) if inside.size else None
