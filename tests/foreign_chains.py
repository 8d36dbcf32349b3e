"""A chamber with its ways, and a thermocouple on its input; by a hand that had not read the rules."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from soakwitness.analysis.thermocouples.reference_functions import emf_mv, seebeck_uv_per_c, temperature_c

FloatArray = npt.NDArray[np.float64]
STEP_S = 2.0
FULL_C = 1100.0  # errors that grow with temperature are stated for here


@dataclass(frozen=True)
class Chain:
    """A thermocouple on its input: what it shows for a tip at a temperature.

    The wire's error is ``plus_c`` x t/100 up to 100 degC and ``plus_c`` from there, ``slope_c`` x t/1100, and a hump of
    ``hump_c`` about 420 degC as type K has it; the input has a gain error and what somebody typed in as offset.
    """

    type: str
    plus_c: float = 0.0
    slope_c: float = 0.0
    hump_c: float = 0.0
    gain_percent: float = 0.0
    offset_c: float = 0.0
    terminals_c: float = 25.0

    def wire_error_c(self, tip_c: FloatArray) -> FloatArray:
        """Error of the wire alone, as a temperature."""
        hump = self.hump_c * np.exp(-(((tip_c - 420.0) / 120.0) ** 2))
        return np.asarray(self.plus_c * np.clip(tip_c / 100.0, 0.0, 1.0) + self.slope_c * tip_c / FULL_C + hump)

    def shown_c(self, tip_c: npt.ArrayLike, cold_junction_off_c: float = 0.0) -> FloatArray:
        """Shown before it is rounded; the cold junction is taken for so much warmer than it is."""
        tip = np.asarray(tip_c, dtype=float)
        wire_mv = emf_mv(tip, self.type) + self.wire_error_c(tip) * seebeck_uv_per_c(tip, self.type) * 1e-3
        at_terminals_mv = (wire_mv - emf_mv(self.terminals_c, self.type)) * (1.0 + self.gain_percent / 100.0)
        whole_mv = at_terminals_mv + emf_mv(self.terminals_c + cold_junction_off_c, self.type)
        return np.asarray(temperature_c(whole_mv, self.type) + self.offset_c)

    def error_c(self, tip_c: npt.ArrayLike) -> FloatArray:
        """Shown less true."""
        return np.asarray(self.shown_c(tip_c) - np.asarray(tip_c, dtype=float))

    def true_c(self, shown_c: npt.ArrayLike) -> FloatArray:
        """Temperature of the tip for which this is shown."""
        shown = np.asarray(shown_c, dtype=float)
        true: FloatArray = shown
        for _ in range(4):
            true = shown - self.error_c(true)
        return np.asarray(true)


@dataclass(frozen=True)
class Chamber:
    """Hold levels with the chamber's ways of getting and staying there."""

    levels_c: tuple[float, ...]
    hold_s: float
    rate_c_per_h: float
    hump_c: float
    creep_c: float
    swing_c: float  # half of peak to peak
    period_s: float

    def trace(self) -> tuple[FloatArray, tuple[tuple[float, float], ...]]:
        """Chamber on a grid of ``STEP_S``, and from when to when each level was held."""
        parts, spans, now_c, t_s = [], [], 22.0, 0.0
        for level in self.levels_c:
            climb_s = max(abs(level - now_c) / (self.rate_c_per_h if level > now_c else 200.0) * 3600.0, 120.0)
            parts.append(np.linspace(now_c, level, int(climb_s / STEP_S), endpoint=False))
            t_s += parts[-1].size * STEP_S
            within_s = np.arange(0.0, self.hold_s, STEP_S)
            arrival = self.hump_c * (within_s / 200.0) * np.exp(1.0 - within_s / 200.0)
            creep = self.creep_c * (np.exp(-within_s / 1500.0) - 1.0) * (1.0 - np.exp(-within_s / 60.0))
            parts.append(level + arrival + creep)
            spans.append((t_s, t_s + parts[-1].size * STEP_S))
            t_s += parts[-1].size * STEP_S
            now_c = float(parts[-1][-1])
        parts.append(now_c - (now_c - 300.0) * (1.0 - np.exp(-np.arange(0.0, 1800.0, STEP_S) / 5000.0)))
        chamber = np.concatenate(parts)
        turns = 2.0 * np.pi * np.arange(chamber.size) * STEP_S / self.period_s
        shape = np.sin(turns) + 0.15 * np.sin(2.0 * turns)
        heated = np.clip((chamber - 100.0) / 100.0, 0.0, 1.0)
        return np.asarray(chamber + self.swing_c * shape * heated), tuple(spans)


def lagged(trace_c: FloatArray, lag_s: float) -> FloatArray:
    """First-order lag of a sheath: after a step 1 - 1/e of it is seen one lag later."""
    share = 1.0 - np.exp(-STEP_S / lag_s)
    out, _ = lfilter([share], [1.0, share - 1.0], trace_c, zi=[(1.0 - share) * trace_c[0]])
    return np.asarray(out)


def rounded(value_c: FloatArray, step_c: float) -> FloatArray:
    """To the display's last digit."""
    return np.asarray(np.round(np.round(value_c / step_c) * step_c, 3))
