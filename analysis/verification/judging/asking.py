"""What one piece is asked for in one hold: soak, level, overshoot, too hot; with the figures that answer it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.figures import lost_in, unseen_s, window_of
from soakwitness.analysis.verification.measuring.dips import dips_of, door_dips
from soakwitness.analysis.verification.measuring.intervals import Mode
from soakwitness.analysis.verification.measuring.overshoot import Overshoot, level_part, overshoot
from soakwitness.analysis.verification.measuring.soak import Soak, Window, soak
from soakwitness.analysis.verification.measuring.too_hot import HotFigures, hot_figures
from soakwitness.analysis.verification.results.verification import Bounds, Dip
from soakwitness.analysis.verification.sensors.context import HoldOnTrace, VerificationContext, Work

Figure = Callable[[float], float]
LEAST_LEVEL_S = 60.0


@dataclass(frozen=True)
class Asked:
    """What one piece is asked for in one hold, on one basis, with the figures that answer it."""

    on: HoldOnTrace
    work: Work
    measure: Measure
    requirements: tuple[req.Requirement, ...]
    hidden_s: float
    peak: Overshoot | None
    hot: HotFigures | None
    ends: bool
    level_c: float | None = None


class Measure:
    """Soak of one piece as a function of the sensor error, remembered."""

    def __init__(self, work: Work, on: HoldOnTrace, window: Window, known_load: bool) -> None:
        self.window, self._allowed, self._hold, self._known = window, on.allowed, on.hold, known_load
        self._traces: dict[Mode, Readings] = {"low": work.low, "best": work.best, "high": work.high}
        self._seen: dict[tuple[Mode, float], Soak] = {}

    def full(self, mode: Mode, error_c: float) -> Soak:
        """Soak and whole time above the lower edge."""
        key = (mode, error_c)
        if key not in self._seen:
            if mode == "low" and not self._known:
                self._seen[key] = Soak(0.0, 0.0)
            else:
                trace = self._traces[mode]
                self._seen[key] = soak(
                    trace, self._hold, self.window, error_c=error_c, mode=mode, allowed=self._allowed
                )
        return self._seen[key]

    def at(self, mode: Mode) -> Figure:
        """Soak [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).soak_s

    def above(self, mode: Mode) -> Figure:
        """Whole time above the lower edge [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).above_s

    def longest(self, hidden_s: float) -> Bounds:
        """Whole time above the lower edge as read, dips or not, and what was not seen of it."""
        low, best, high = (self.full(mode, 0.0).above_s for mode in ("low", "best", "high"))
        return Bounds(min(low, best), best, max(high, best) + hidden_s)


def ask(context: VerificationContext, on: HoldOnTrace | None, work: Work, stay: Stay) -> Asked | None:
    """Everything that is asked of one piece; None where the hold is not there."""
    if on is None:
        return None
    window = window_of(context, on, stay, work)
    if context.doors_s and work.measured:
        window = replace(window, doors=door_dips(dips_in(context, on), context.doors_s))
    known_load = stay.load_s is not None or context.recipe.load == "cold"
    measure = Measure(work, on, window, known_load)
    hidden_s = unseen_s(context, on, stay)
    peak, hot, levels = _peak(on, work, stay), _hot(on, work, stay), _levels(context, on, work, stay)
    asked = [
        *_peak_asked(context, on, peak, known_load=known_load),
        *_hot_asked(on.allowed.noise_c, hot, known_load=known_load),
    ]
    if not work.limits_only:
        asked = [*_soak_asked(on, measure, stay, hidden_s), *_level_asked(on, work, stay, levels), *asked]
    if work.gone:  # the chamber alone shows no pass where a load sensor should have told
        asked.append(req.Requirement("load sensor", lambda _: False, lambda _: True))
    level_c = sum(levels) / 2.0 if levels is not None else None
    ends, shown = _ends(on, stay), peak[1] if peak else None
    return Asked(on, work, measure, tuple(asked), hidden_s, shown, hot[1] if hot else None, ends, level_c)


def dips_in(context: VerificationContext, on: HoldOnTrace) -> tuple[Dip, ...]:
    """Dips of the deciding trace in a hold."""
    if not on.inside_band:
        return ()
    return dips_of(
        on.trace,
        on.hold,
        on.edges,
        on.level.level_c,
        on.allowed,
        doors_s=context.doors_s,
        cooling=context.cooling,
    )


def _ends(on: HoldOnTrace, stay: Stay) -> bool:
    """Whether the record shows how the hold ended for a piece: it was left, or the piece was pulled."""
    return on.ended or (stay.pull_s is not None and stay.pull_s <= float(on.trace.t_s[-1]))


def _soak_asked(on: HoldOnTrace, measure: Measure, stay: Stay, hidden_s: float) -> list[req.Requirement]:
    """Least and greatest soak. What came before or after the record is not on record: it can show no shortage."""
    best = measure.at("high")
    high: Figure = (
        _unbounded if not _ends(on, stay) or not (on.began or stay.load_s is not None) else lambda e: best(e) + hidden_s
    )
    asked = [req.at_least("soak", measure.at("low"), high, on.hold.required_s)]
    if on.hold.at_most_s is not None:
        least, above = measure.above("low"), measure.above("high")
        most: Figure = (lambda e: above(e) + hidden_s) if _ends(on, stay) else _unbounded
        asked.append(req.at_most("longest soak", most, least, on.hold.at_most_s))
    return asked


def _unbounded(_: float) -> float:
    return float("inf")


def _level_asked(on: HoldOnTrace, work: Work, stay: Stay, levels: tuple[float, float] | None) -> list[req.Requirement]:
    """The level itself must not lie above the band: an overshoot excuses a peak, not a level.

    A record that ends inside the hold shows no fault of it.
    """
    if levels is None:
        return []
    hold, noise = on.hold, on.allowed.noise_c if work.measured else 0.0
    low, high = levels
    ends = _ends(on, stay)
    asked = [
        req.Requirement(
            "level", lambda e: high + noise - e <= hold.upper_c, lambda e: not ends or low - noise - e <= hold.upper_c
        )
    ]
    if hold.judge_by == "mean":
        asked.append(req.at_least("mean", lambda e: low - e, lambda e: high - e if ends else np.inf, hold.lower_c))
    return asked


def _levels(context: VerificationContext, on: HoldOnTrace, work: Work, stay: Stay) -> tuple[float, float] | None:
    """Level of the work while the piece was in the hold, low and high [degC]; None where that was too short.

    The sensor's own, or the blade's where it is estimated, and then from when the blade itself was there.
    """
    load_s, pull_s = _between(stay)
    start, end = max(on.level.start_s, load_s), min(on.level.end_s, pull_s)
    if work.measured and (start, end) == (on.level.start_s, on.level.end_s):
        return on.level.level_c, on.level.level_c
    found = []
    for trace in (work.low, work.high):
        there = start if work.measured else _there_s(trace, on.hold.lower_c, start, end)
        if there is None or end - there < LEAST_LEVEL_S:
            return None
        edges = replace(on.edges, enter_s=there, leave_s=end, left_upward=False, from_above=False)
        found.append(level_part(trace, on.hold, edges, on.allowed.noise_c, context.slope(on.number)).level_c)
    return min(found), max(found)


def _there_s(trace: Readings, lower_c: float, start_s: float, end_s: float) -> float | None:
    """When a blade's estimate first was in the band [s]; None where it never was."""
    low, high = trace.between(start_s, end_s)
    inside = np.flatnonzero(trace.temp_c[low:high] >= lower_c)
    return float(trace.t_s[low + int(inside[0])]) if inside.size else None


def _between(stay: Stay) -> tuple[float, float]:
    """From when to when a charge is inside [s]."""
    load_s = stay.load_s if stay.load_s is not None else -np.inf
    return load_s, stay.pull_s if stay.pull_s is not None else np.inf


def _peak(on: HoldOnTrace, work: Work, stay: Stay) -> tuple[Overshoot | None, Overshoot | None] | None:
    """Overshoot of the work at its lowest and at its highest, while a charge is inside."""
    between = _between(stay)
    if work.measured:
        peak = overshoot(on.trace, on.hold, on.level, on.allowed, between)
        return (peak, peak) if peak is not None else None
    low, high = (overshoot(trace, on.hold, on.level, on.allowed, between) for trace in (work.low, work.high))
    return low, high


def _peak_asked(
    context: VerificationContext,
    on: HoldOnTrace,
    peak: tuple[Overshoot | None, Overshoot | None] | None,
    *,
    known_load: bool,
) -> list[req.Requirement]:
    limit = on.hold.max_overshoot_c
    if limit is None or peak is None or peak[0] is None or peak[1] is None:
        return []
    low, high = peak[0], peak[1]
    noise = on.allowed.noise_c
    most_c = float("inf") if lost_in(context, on) else high.most_c + (0.0 if high.most_c > high.overshoot_c else noise)
    least: Figure = (lambda e: low.overshoot_c - noise - e) if known_load else (lambda _: -np.inf)
    return [req.at_most("overshoot", lambda e: most_c - e, least, limit, always=True)]


def _hot(on: HoldOnTrace, work: Work, stay: Stay) -> tuple[HotFigures | None, HotFigures | None] | None:
    """What the work held over its limits, at its lowest and at its highest."""
    bare_s = on.hold.hot_s if work.source == "control" else None

    def held(trace: Readings) -> HotFigures | None:
        return hot_figures(
            trace,
            on.limits,
            on.number,
            _between(stay),
            bare_s=bare_s,
            allowed=on.allowed,
            lower_c=on.hold.lower_c,
            correction_c=on.correction_c,
        )

    if work.measured:
        both = held(on.trace)
        return (both, both) if both is not None else None
    return held(work.low), held(work.high)


def ask_absent(context: VerificationContext, number: int, work: Work, stay: Stay) -> tuple[req.Requirement, ...]:
    """What a hold that was not found still asks: a level nearer to it than to its neighbours is not over its limit."""
    sensor, hold = work.sensor, context.recipe.holds[number]
    correction_c = context.known(sensor, number).decides_with_c
    limits = context.limits(sensor, correction_c, sensor.placed_true if correction_c else sensor.placed)
    mine = [limit for limit in limits if limit.number == number and limit.of_missing]
    if not mine:
        return ()
    allowed = context.allowed(sensor.readings, mine[0].start_s, mine[-1].end_s, hold)
    figures = [
        hot_figures(
            trace,
            mine,
            number,
            _between(stay),
            bare_s=hold.hot_s if work.source == "control" else None,
            allowed=allowed,
            lower_c=hold.lower_c,
            correction_c=correction_c,
        )
        for trace in (work.low, work.high)
    ]
    known_load = stay.load_s is not None or context.recipe.load == "cold"
    return tuple(_hot_asked(allowed.noise_c, (figures[0], figures[1]), known_load=known_load))


def _hot_asked(
    noise: float, hot: tuple[HotFigures | None, HotFigures | None] | None, *, known_load: bool
) -> list[req.Requirement]:
    """Too hot is no pass; where nobody marked the loading, nobody knows whether a charge was inside then."""
    if hot is None or hot[0] is None or hot[1] is None:
        return []
    low, high = hot[0], hot[1]
    least: Figure = (lambda e: low.by_c - noise - e) if known_load else (lambda _: -np.inf)
    return [req.at_most("too hot", lambda e: high.most_c + noise - e, least, 0.0, always=True)]
