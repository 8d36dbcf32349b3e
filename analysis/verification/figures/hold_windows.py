"""Figures of one hold beside its soak: the three in-band times, the lag behind the chamber, what was not seen."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.measuring.intervals import Allowed, Mode, inside
from soakwitness.analysis.verification.measuring.soak import Window, longest, window_limits
from soakwitness.analysis.verification.results.verification import Bounds, InBand
from soakwitness.analysis.verification.rules.edges import confirmed_crossing
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work

ERRORS = 9


def window_of(on: HoldOnTrace, stay: Stay | None, work: Work | None) -> Window:
    """Where the soak of one piece can lie; without a piece, of whatever is in the furnace."""
    load_s = stay.load_s if stay is not None and stay.load_s is not None else -np.inf
    estimated = work is not None and not work.measured
    chamber_s = on.chamber.leaves_s
    leave_s = on.edges.leave_s
    if chamber_s is not None and not on.inside_band:  # a load that was not there by then has no hold
        leave_s = max(leave_s, chamber_s)
    pull_s = stay.pull_s if stay is not None else None
    loaded, pulled = (0.0, 0.0) if stay is None else (stay.within_s("load"), stay.within_s("pull"))
    return Window(
        start_s=max(on.begin_s, load_s, on.sensor.in_s),
        enter_s=on.edges.enter_s,
        level_start_s=on.level.start_s,
        level_end_s=on.level.end_s,
        leave_s=leave_s,
        limit_s=on.limit_s,
        from_above=on.edges.from_above,
        left_upward=on.edges.left_upward,
        pull_s=pull_s,
        edges_on=on.trace,
        chamber_leaves_s=chamber_s,
        climbs_on=on.chamber.climbs_on,
        follows={"low": work.low, "best": work.best, "high": work.high} if estimated and work else None,
        start_in=_by_mode(load_s, -loaded, max(on.begin_s, on.sensor.in_s)) if loaded else None,
        pull_in=_by_mode(pull_s, pulled) if pulled and pull_s is not None else None,
    )


def _by_mode(at_s: float, within_s: float, least_s: float = -np.inf) -> dict[Mode, float]:
    """A moment known within so much [s], where soak is shortest, best and longest; no earlier than another moment."""
    moments: dict[Mode, float] = {"low": at_s - within_s, "best": at_s, "high": at_s + within_s}
    return {mode: max(moment_s, least_s) for mode, moment_s in moments.items()}


def _times(
    trace: Readings, hold: Hold, window: Window, allowed: Allowed, error_c: float, mode: Mode
) -> tuple[float, float, float]:
    """Continuous, cumulative and above the lower edge [s] for one error and mode."""
    lower, upper = hold.lower_c + error_c, hold.upper_c + error_c
    start, end = window_limits(window, hold, error_c, mode, allowed.noise_c)
    band = inside(trace, lower, upper, start_s=start, end_s=end, mode=mode, allowed=allowed)
    above = inside(trace, lower, np.inf, start_s=start, end_s=end, mode=mode, allowed=allowed)
    sure = mode == "best"
    unbroken = longest(
        band, trace, 0.0, lower - allowed.noise_c if sure else None, upper + allowed.noise_c if sure else None
    )
    return unbroken, band.total_s, above.total_s


def in_band_figures(on: HoldOnTrace, expanded_c: float, hidden_s: float = 0.0) -> InBand:
    """The three in-band times of a hold, each with low, best and high [s]: extremes over U [K] and over gaps.

    ``hidden_s`` [s] is what a sensor that was lost did not see.
    """
    hold, trace, window = on.hold, on.trace, window_of(on, None, None)
    errors = np.linspace(-expanded_c, expanded_c, ERRORS) if expanded_c > 0.0 else np.zeros(1)
    best = _times(trace, hold, window, on.allowed, 0.0, "best")
    low = np.min([_times(trace, hold, window, on.allowed, float(e), "low") for e in errors], axis=0)
    high = np.max([_times(trace, hold, window, on.allowed, float(e), "high") for e in errors], axis=0)
    three = [Bounds(min(float(a), b), b, max(float(c), b) + hidden_s) for a, b, c in zip(low, best, high, strict=True)]
    return InBand(*three)


def lag_of(on: HoldOnTrace, work: Work, window: Window, *, load_known: bool) -> Bounds | None:
    """Time from the chamber entering the band to the work doing so [s].

    None where only one sensor is known, nobody knows when it went in, or where the work never reached the band.
    """
    chamber = on.chamber.edges
    if chamber is None or not on.chamber.inside_band or work.source == "control":
        return None
    if not np.isfinite(window.start_s) or not load_known:
        return None
    since = max(chamber.enter_s, window.start_s)
    if work.lag is not None:
        low, best, high, _ = work.lag(on.hold.lower_c, since, chamber.leave_s)
        if best is None or high is None or low is None:
            return None
        return Bounds(min(low, best), best, max(high, best))
    level, noise = on.hold.lower_c, on.allowed.noise_c
    times = [
        confirmed_crossing(work.best, level + d, upward=True, start_s=window.start_s, end_s=window.limit_s)
        for d in (-noise, 0.0, noise)
    ]
    if any(t is None for t in times):
        return None
    low, best, high = (float(t or 0.0) - since for t in times)
    if best < 0.0:  # it reads high, or was warm: it did not lag
        return None
    return Bounds(max(min(low, best), 0.0), best, max(high, best))


def unseen_s(on: HoldOnTrace, stay: Stay | None) -> float:
    """Time in a hold that a lost load sensor did not see [s]: it may have been at temperature then.

    Until the piece was pulled, else until the chamber left the hold and as long again as the load came late to it.
    """
    edges = on.chamber.edges
    if edges is None or not on.chamber.lost:
        return 0.0
    lost_s = on.sensor.last_s
    came_s = on.edges.enter_s if on.inside_band else lost_s
    until = edges.leave_s + max(came_s - edges.enter_s, 0.0)
    if stay is not None and stay.pull_s is not None:
        until = min(until, stay.pull_s)
    loaded_s = stay.load_s if stay is not None and stay.load_s is not None else lost_s
    return max(until - max(lost_s, loaded_s), 0.0)
