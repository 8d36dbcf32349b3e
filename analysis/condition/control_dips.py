"""Falls of the control reading that came back, and times without a reading: doors, power cuts, broken sensors."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.condition.levels import mean_between
from soakwitness.analysis.evidence.run_figures import DipFigures
from soakwitness.analysis.record.run import FloatArray, Run, Trace

DIP_C = 8.0
UNDER_WAY_C = 1.5
SLOWEST_FALL_C_PER_S = 0.03
HOT_C = 200.0
BLANK_S = 30.0


def dips(
    run: Run, control: Trace, heated_s: tuple[float, float] | None, until_s: float = 0.0
) -> tuple[DipFigures, ...]:
    """Falls of the control reading below its level within the heated time.

    ``heated_s``: from the first hold's enter to the last hold's leave [s]. ``until_s``: until when pieces were in the
    furnace, where that is later [s]: what fell out of the last hold, as the furnace cools by itself, and came back
    before then, is found as well. Returns falls of 8 K and more that came back, each with its depth [K], length [s] and
    fastest fall [K/s].
    """
    if heated_s is None:
        return ()
    inside = (control.t_s >= heated_s[0]) & (control.t_s <= max(heated_s[1], until_s))
    t, temp = control.t_s[inside], control.temp_c[inside]
    had = np.isfinite(temp)
    t, temp = t[had], temp[had]
    if t.size < 5:
        return ()
    ceiling = np.minimum(np.maximum.accumulate(temp), np.maximum.accumulate(temp[::-1])[::-1])
    low = ceiling - temp
    found = (_dip(run, control, t, temp, low, part) for part in _stretches(low >= DIP_C))
    return tuple(d for d in found if d.start_s < heated_s[1] or not d.quick)


def _dip(run: Run, control: Trace, t: FloatArray, temp: FloatArray, low: FloatArray, part: slice) -> DipFigures:
    begin, end = max(part.start - 1, 0), min(part.stop, t.size - 1)
    while (
        begin > 0
        and temp[begin - 1] - temp[begin] > SLOWEST_FALL_C_PER_S * (t[begin] - t[begin - 1])
        and low[begin] > UNDER_WAY_C
    ):
        begin -= 1
    while end < t.size - 1 and temp[end + 1] > temp[end] and low[end] > UNDER_WAY_C:
        end += 1
    bottom = begin + int(np.argmin(temp[begin : end + 1]))
    steps = np.diff(t[begin : bottom + 1])
    fall = -np.diff(temp[begin : bottom + 1]) / steps if steps.size else np.zeros(1)
    output = run.signal("output")
    return DipFigures(
        start_s=float(t[begin]),
        seconds=float(t[end] - t[begin]),
        depth_c=float(low[part].max()),
        fall_c_per_s=float(fall.max()) if fall.size else 0.0,
        fall_s=float(t[bottom] - t[begin]),
        output_pct=None if output is None else mean_between(run.t_s, output, float(t[begin]), float(t[bottom])),
        gap=bool(steps.size and steps.max() > 3.0 * control.period_s),
    )


def blanks(control: Trace) -> tuple[tuple[float, float], ...]:
    """Times in the hot part in which rows were written without a reading: the sensor failed, not the record.

    Returns starts and ends [s].
    """
    t, temp = control.t_s, control.temp_c
    if not np.isfinite(temp).any():
        return ()
    filled = np.interp(t, t[np.isfinite(temp)], temp[np.isfinite(temp)])
    empty = np.isnan(temp) & (filled > HOT_C)
    found = [(float(t[part.start]), float(t[part.stop - 1])) for part in _stretches(empty)]
    return tuple((a, b) for a, b in found if b - a > max(BLANK_S, 3.0 * control.period_s))


def _stretches(flags: npt.NDArray[np.bool_]) -> list[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
