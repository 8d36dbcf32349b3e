"""Figures of one hold beside its soak: the three in-band times, the dips, the lag behind the chamber."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import Edges, Readings, confirmed_crossing
from soakwitness.analysis.verification.intervals import Allowed, Mode, inside
from soakwitness.analysis.verification.model import Bounds, InBand
from soakwitness.analysis.verification.soak import Window, longest, window_limits
from soakwitness.analysis.verification.thinning import Thinner

if TYPE_CHECKING:
    from soakwitness.analysis.verification.holding import Ground
    from soakwitness.analysis.verification.pieces import Stay
    from soakwitness.analysis.verification.scene import Scene, Work

ERRORS = 9


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


def in_band_figures(
    trace: Readings, hold: Hold, ground: Ground, expanded_c: float, thinner: Thinner, hidden_s: float = 0.0
) -> InBand:
    """The three in-band times of a hold.

    Parameters
    ----------
    trace : Readings
        The trace that decides.
    hold : Hold
        The hold.
    ground : Ground
        Its edges and level part.
    expanded_c : float
        U [K].
    thinner : Thinner
        The trace thinned over the hold.
    hidden_s : float
        Time in the hold that a sensor which was lost did not see [s].

    Returns
    -------
    InBand
        Each with low, best and high [s]: extremes over the sensor error and over gaps.
    """
    edges, noise = ground.edges, ground.allowed.noise_c
    window = Window(
        ground.begin_s,
        ground.level.start_s,
        ground.level.end_s,
        edges.leave_s,
        ground.limit_s,
        edges.from_above,
        edges.left_upward,
        None,
        trace,
    )
    spare = expanded_c + noise + 0.01
    levels = ((hold.lower_c - spare, hold.lower_c + spare), (hold.upper_c - spare, hold.upper_c + spare))
    trace = thinner.at(levels)
    errors = np.linspace(-expanded_c, expanded_c, ERRORS) if expanded_c > 0.0 else np.zeros(1)
    best = _times(trace, hold, window, ground.allowed, 0.0, "best")
    low = np.min([_times(trace, hold, window, ground.allowed, float(e), "low") for e in errors], axis=0)
    high = np.max([_times(trace, hold, window, ground.allowed, float(e), "high") for e in errors], axis=0)
    three = [Bounds(min(float(a), b), b, max(float(c), b) + hidden_s) for a, b, c in zip(low, best, high, strict=True)]
    return InBand(*three)


def lag_of(scene: Scene, ground: Ground, work: Work, window: Window) -> Bounds | None:
    """Time from the chamber entering the band to the work doing so.

    Parameters
    ----------
    scene : Scene
        The verification.
    ground : Ground
        The hold on the trace that decides.
    work : Work
        Work temperature.
    window : Window
        Where the soak of this piece can lie.

    Returns
    -------
    Bounds or None
        Lag [s]; None where only one sensor is known, or where the work never reached the band.
    """
    control = scene.placed[scene.recipe.holds.index(ground.hold)]
    if control is None or control.edges is None or work.source == "control":
        return None
    since = max(control.edges.enter_s, window.start_s)
    if work.lag is not None:
        low, best, high, _ = work.lag(ground.hold.lower_c, since, control.edges.leave_s)
        if best is None or high is None or low is None:
            return None
        return Bounds(min(low, best), best, max(high, best))
    level, noise = ground.hold.lower_c, ground.allowed.noise_c
    times = [
        confirmed_crossing(work.best, level + d, upward=True, start_s=window.start_s, end_s=window.limit_s)
        for d in (-noise, 0.0, noise)
    ]
    if any(t is None for t in times):
        return None
    low, best, high = (float(t or 0.0) - since for t in times)
    return Bounds(min(low, best), best, max(high, best))


def lost_in(scene: Scene, ground: Ground) -> bool:
    """Tell whether the load sensor stopped reading within a hold that it decides.

    Parameters
    ----------
    scene : Scene
        The verification.
    ground : Ground
        The hold.

    Returns
    -------
    bool
        Whether it did.
    """
    return scene.lost_s is not None and ground.trace is scene.edges_on and not ground.ended


def unseen_s(scene: Scene, ground: Ground, stay: Stay | None) -> float:
    """Time in a hold that a lost load sensor did not see [s]: it may have been at temperature then.

    Parameters
    ----------
    scene : Scene
        The verification.
    ground : Ground
        The hold.
    stay : Stay or None
        The piece.

    Returns
    -------
    float
        Until the piece was pulled, else until the chamber left the hold and as long again as the load came late to it.
    """
    control = scene.placed[scene.recipe.holds.index(ground.hold)]
    if scene.lost_s is None or control is None or not lost_in(scene, ground):
        return 0.0
    edges = control.edges or Edges(control.stays[0].start_s, control.stays[-1].end_s)
    came_s = ground.edges.enter_s if ground.placed.edges is not None else scene.lost_s
    until = edges.leave_s + max(came_s - edges.enter_s, 0.0)
    if stay is not None and stay.pull_s is not None:
        until = min(until, stay.pull_s)
    loaded_s = stay.load_s if stay is not None and stay.load_s is not None else scene.lost_s
    return max(until - max(scene.lost_s, loaded_s), 0.0)
