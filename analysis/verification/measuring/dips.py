"""Dips below a hold's lower edge, and what each looks like where its shape and this furnace's own cooling tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.doors import DOOR_NEAR_S, DOOR_S
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.intervals import Allowed, inside
from soakwitness.analysis.verification.results.verification import Dip, Looks
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.states import ROOM_C

# What an opened door does to a sensor, against the furnace's own cooling: engineering guesses, no source.
DOOR_FASTER = 3.0
DOOR_FALL_S = 120.0
DOOR_BACK_S = 420.0
POWER_SLOWER, POWER_FASTER = 0.4, 1.6
POWER_S = 180.0
POWER_STRAIGHT = 0.25
ALIKE = 0.5
CYCLES = 3
UNDERSHOOT_S = 900.0
STANDS_OUT = 1.0  # a dip no deeper than the hold swings anyway tells no cause
NOISE_TIMES = 3.0
LEAST_C, CLEAR_TIMES = 4.0, 6.0
MOST_POINTS = 600


@dataclass(frozen=True)
class OwnCooling:
    """How this furnace cools by itself: the share of its heat above the room that it loses [1/s]; None: not known."""

    loss_per_s: float | None = None

    def rate_c_per_s(self, at_c: float) -> float | None:
        """Rate at a temperature [K/s, degC]."""
        return None if self.loss_per_s is None else self.loss_per_s * max(at_c - ROOM_C, 0.0)


def own_cooling(trace: Readings, after_s: float) -> OwnCooling:
    """The furnace's own cooling as the end of this run shows it: from ``after_s`` [s] on, falling without a break."""
    low, _ = trace.between(after_s, after_s)
    t, y = trace.t_s[low:], trace.temp_c[low:]
    every = max(1, t.size // MOST_POINTS)
    t, y = t[::every], y[::every]
    if t.size < 10 or t[-1] - t[0] < 300.0:
        return OwnCooling()
    stop = int(np.argmax(np.diff(y) > max(2.0, 5.0 * trace.resolution_c))) or y.size
    t, heat = t[:stop], y[:stop] - ROOM_C
    hot = heat > max(0.5 * heat[0], 20.0)
    if np.count_nonzero(hot) < 8 or t[hot][-1] - t[hot][0] < 120.0:
        return OwnCooling()
    slope = float(np.polyfit(t[hot], np.log(heat[hot]), 1)[0])
    return OwnCooling(-slope) if slope < 0.0 else OwnCooling()


def dips_of(
    trace: Readings,
    hold: Hold,
    edges: Edges,
    level_c: float,
    allowed: Allowed,
    *,
    doors_s: Sequence[float] = (),
    cooling: OwnCooling = OwnCooling(),  # noqa: B008 (frozen)
) -> tuple[Dip, ...]:
    """Dips between enter and leave that go below the edge by more than noise and resolution (at least 1 K), in order.

    ``level_c`` [degC] is the level they fall from, ``doors_s`` [s] when a door, load or pull was marked.
    """
    if hold.judge_by == "mean":
        return ()
    start, end = edges.enter_s, edges.leave_s
    spans = inside(trace, hold.lower_c, np.inf, start_s=start, end_s=end, mode="best", allowed=allowed)
    found: list[Dip] = []
    for a, b in zip(spans.end_s[:-1].tolist(), spans.start_s[1:].tolist(), strict=True):
        low, high = trace.between(a, b)
        lowest = float(trace.temp_c[low:high].min(initial=np.inf))
        if lowest < hold.lower_c - max(trace.back_c, allowed.noise_c):
            effect = "pause" if b - a <= hold.dip_s else "new start"
            found.append(Dip(a, b, lowest, effect))  # type: ignore[arg-type]
    usual_c = _usual_swing(trace, start, end, found) if found else 0.0
    shapes = [_Shape.of(trace, dip, level_c, start, usual_c) for dip in found]
    cycling = _cycles(trace, hold, start, end)
    looks = [
        _looks(shape, dip, edges, hold, allowed.noise_c, doors_s, cooling, cycling)
        for shape, dip in zip(shapes, found, strict=True)
    ]
    if looks.count("undershoot") > 1:  # a controller swings in once
        looks = ["not told" if look == "undershoot" else look for look in looks]
    return tuple(
        Dip(dip.start_s, dip.end_s, dip.lowest_c, dip.effect, look) for dip, look in zip(found, looks, strict=True)
    )


@dataclass(frozen=True)
class _Shape:
    """How one dip fell and came back: from, bottom, back [s]; depth [K]; a gap in it; fastest fall [K/s].

    ``overshot_before`` [K] and ``peak_c`` [degC] are the highest before it, over the level; ``usual_c`` [K] is how far
    the hold swings outside its dips.
    """

    from_s: float
    bottom_s: float
    back_s: float
    depth_c: float
    gap: bool
    fastest_c_per_s: float
    straight: bool
    overshot_before: float
    peak_c: float
    usual_c: float

    @staticmethod
    def of(trace: Readings, dip: Dip, level_c: float, since_s: float, usual_c: float) -> _Shape:
        low, high = trace.between(dip.start_s, dip.end_s)
        bottom = low + int(trace.temp_c[low:high].argmin())
        first, _ = trace.between(since_s, since_s)
        near = np.flatnonzero(trace.temp_c[first : bottom + 1] >= level_c - trace.back_c)
        left = first + (int(near[-1]) if near.size else 0)
        after = np.flatnonzero(trace.temp_c[bottom:] >= level_c - trace.back_c)
        back = bottom + int(after[0]) if after.size else trace.t_s.size - 1
        t, y = trace.t_s[left : bottom + 1], trace.temp_c[left : bottom + 1]
        rates = -np.diff(y) / np.diff(t) if t.size > 1 else np.zeros(1)
        smooth = _smooth_rate(t, y, max(10.0, 2.0 * trace.period_s))
        gap = bool(left < bottom and trace.gaps_in(left, bottom + 1).size)
        line = np.interp(t, [t[0], t[-1]], [y[0], y[-1]])
        depth = float(level_c - trace.temp_c[bottom])
        return _Shape(
            float(trace.t_s[left]),
            float(trace.t_s[bottom]),
            float(trace.t_s[back]),
            depth,
            gap,
            smooth if smooth > 0.0 else float(rates.max(initial=0.0)),
            bool(np.max(np.abs(y - line), initial=0.0) <= POWER_STRAIGHT * max(depth, 1e-9)),
            float(trace.temp_c[first : left + 1].max(initial=level_c) - level_c),
            float(trace.temp_c[first : left + 1].max(initial=level_c)),
            usual_c,
        )

    @property
    def mean_c_per_s(self) -> float:
        """Mean rate of the fall [K/s]."""
        return self.depth_c / max(self.bottom_s - self.from_s, 1e-9)


def _usual_swing(trace: Readings, start_s: float, end_s: float, dips: Sequence[Dip]) -> float:
    """From the lowest to the highest tenth of a hold's readings outside its dips [K]."""
    low, high = trace.between(start_s, end_s)
    t, y = trace.t_s[low:high], trace.temp_c[low:high]
    apart = np.ones(t.size, dtype=bool)
    for dip in dips:
        apart &= (t < dip.start_s) | (t > dip.end_s)
    return float(np.subtract(*np.quantile(y[apart], (0.9, 0.1)))) if apart.any() else 0.0


def _smooth_rate(t: FloatArray, y: FloatArray, window_s: float) -> float:
    """Fastest fall [K/s] over a window: a single noisy step is none."""
    if t.size < 2 or t[-1] - t[0] <= window_s:
        return float((y[0] - y[-1]) / max(t[-1] - t[0], 1e-9)) if t.size > 1 else 0.0
    ahead = np.interp(t + window_s, t, y)
    kept = t + window_s <= t[-1]
    return float(np.max((y - ahead)[kept], initial=0.0) / window_s)


def _looks(
    shape: _Shape,
    dip: Dip,
    edges: Edges,
    hold: Hold,
    noise_c: float,
    doors_s: Sequence[float],
    cooling: OwnCooling,
    cycling: bool,
) -> Looks:
    """Name a cause only where the shape speaks for it and against the others."""
    if any(-DOOR_NEAR_S <= shape.from_s - at <= DOOR_NEAR_S or shape.from_s <= at <= dip.end_s for at in doors_s):
        return "marked"
    if shape.gap:
        return "gap"
    below_c = hold.lower_c - dip.lowest_c
    if shape.depth_c < max(LEAST_C, CLEAR_TIMES * noise_c):
        return "noise" if below_c <= NOISE_TIMES * noise_c else "not told"
    if below_c <= NOISE_TIMES * noise_c and dip.end_s - dip.start_s <= 60.0:
        return "noise"
    if cycling:
        return "cycling"
    if shape.depth_c < STANDS_OUT * shape.usual_c:
        return "not told"
    own = cooling.rate_c_per_s(hold.target_c)
    fall_s, back_s = shape.bottom_s - shape.from_s, shape.back_s - shape.bottom_s
    quick = own is not None and shape.fastest_c_per_s >= DOOR_FASTER * own and fall_s <= DOOR_FALL_S
    if own is not None and quick and back_s <= DOOR_BACK_S:
        return "door"
    as_it_cools = own is not None and POWER_SLOWER * own <= shape.mean_c_per_s <= POWER_FASTER * own
    if as_it_cools and fall_s >= POWER_S and shape.straight and shape.overshot_before < 0.5 * shape.depth_c:
        return "power"
    # A controller swings about its setpoint, ever less: what follows a peak over the target is no deeper than that was.
    swings_in = shape.peak_c - hold.target_c >= hold.target_c - dip.lowest_c
    if (
        swings_in
        and shape.from_s - edges.enter_s <= UNDERSHOOT_S
        and shape.overshot_before > 3.0 * noise_c
        and own is not None
        and shape.mean_c_per_s < POWER_SLOWER * own
    ):
        return "undershoot"
    return "not told"


def _cycles(trace: Readings, hold: Hold, start_s: float, end_s: float) -> bool:
    """Whether the trace swings about its mean regularly: at least three swings of like length and size."""
    low, high = trace.between(start_s, end_s)
    t, y = trace.t_s[low:high], trace.temp_c[low:high]
    every = max(1, t.size // MOST_POINTS)
    t, y = t[::every], y[::every]
    if t.size < 12:
        return False
    y = y - float(y.mean())
    swing = 0.25 * (hold.below_c + hold.above_c)
    side = np.where(y > swing, 1, np.where(y < -swing, -1, 0))
    at = np.flatnonzero(side)
    turns = at[np.flatnonzero(np.diff(side[at]) > 0) + 1] if at.size else at  # from below to above, each swing once
    if turns.size < CYCLES + 1:
        return False
    length = np.diff(t[turns])
    peaks = np.array([y[a:b].max() for a, b in zip(turns[:-1], turns[1:], strict=True)])
    lows = np.array([y[a:b].min() for a, b in zip(turns[:-1], turns[1:], strict=True)])
    alike = np.ptp(length) <= ALIKE * np.median(length) and np.ptp(peaks - lows) <= ALIKE * np.median(peaks - lows)
    covered = float(length.sum()) >= 0.5 * float(t[-1] - t[0])
    return bool(alike and covered)


def door_dips(dips: Sequence[Dip], doors_s: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Dips (from, to) [s] of at most three minutes that a door, load or pull mark explains: the walls stay hot."""
    return tuple(
        (dip.start_s, dip.end_s) for dip in dips if dip.looks_like == "marked" and dip.end_s - dip.start_s <= DOOR_S
    )
