"""How long a sensor was hot in a run, as it read: what ages a thermocouple."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.record.run import Run, Trace

STRAY_C = 1350.0  # a broken base-metal sensor reads higher than any furnace here; such readings heat nothing


@dataclass(frozen=True)
class HoursHot:
    """Hours above 800 and above 950 degC, and the hottest reading [degC], None without one."""

    sensor: str
    hours_800: float
    hours_950: float
    hottest_c: float | None


def hours_hot(run: Run) -> tuple[HoursHot, ...]:
    """How long each sensor of a run was hot; between two readings it is as hot as the cooler one."""
    return tuple(_of(trace) for trace in run.traces)


def _of(trace: Trace) -> HoursHot:
    good = np.isfinite(trace.temp_c) & (trace.temp_c < STRAY_C)
    t_s, temp_c = trace.t_s[good], trace.temp_c[good]
    if t_s.size < 2:
        return HoursHot(trace.name, 0.0, 0.0, float(temp_c[0]) if t_s.size else None)
    cooler, lasts_s = np.minimum(temp_c[1:], temp_c[:-1]), np.diff(t_s)
    above = [float(lasts_s[cooler >= limit].sum()) / 3600.0 for limit in (800.0, 950.0)]
    return HoursHot(trace.name, above[0], above[1], float(temp_c.max()))
