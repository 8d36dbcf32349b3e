"""How fast the reading climbed to its top, window by window, whatever the recipe says and whether a hold was found."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.record.run import FloatArray, Trace

WINDOW_C = 100.0
FROM_C = 100.0


def climb_rates(control: Trace) -> dict[str, float]:
    """Rates of the first rise through each whole window of 100 degC below the top.

    Returns lower edge [degC] as text to rate [K/h]. A window that holds a level, or a gap, is slow by that: to be
    compared with the same window of other runs only.
    """
    had = np.isfinite(control.temp_c)
    t, temp = control.t_s[had], control.temp_c[had]
    if t.size < 5:
        return {}
    top = int(np.argmax(temp))
    found: dict[str, float] = {}
    low = max(FROM_C, WINDOW_C * np.ceil(float(temp[0]) / WINDOW_C))
    while low + WINDOW_C <= temp[top]:
        start_s, end_s = (_first_at(t[: top + 1], temp[: top + 1], edge) for edge in (low, low + WINDOW_C))
        if end_s > start_s:
            found[f"{low:.0f}"] = WINDOW_C * 3600.0 / (end_s - start_s)
        low += WINDOW_C
    return found


def _first_at(t: FloatArray, temp: FloatArray, edge_c: float) -> float:
    """When a rising trace first reaches an edge, between two readings by a straight line."""
    after = int(np.argmax(temp >= edge_c))
    if after == 0:
        return float(t[0])
    share = (edge_c - temp[after - 1]) / (temp[after] - temp[after - 1])
    return float(t[after - 1] + share * (t[after] - t[after - 1]))
