"""Few readings for many questions: a hold's trace thinned to what matters for the levels that are asked for."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.readings import Readings

BLOCK = 256
FAR_C = 60.0
SLIGHT_C = 0.01
SMALL = 2000
Levels = tuple[tuple[float, float], ...]


class Thinner:
    """A stretch of a trace in blocks whose range is known: where no level lies in it, two readings stand for a block.

    Every answer about such levels is the same as from all readings; one reading more is kept on either side.
    """

    def __init__(self, trace: Readings, start_s: float, end_s: float) -> None:
        low, high = trace.between(start_s, end_s)
        first = max(low - 1, 0)
        t, y = trace.t_s[first : high + 1], trace.temp_c[first : high + 1]
        gap = np.zeros(max(t.size - 1, 0), dtype=bool)
        gap[trace.gaps_in(first, high + 1)] = True
        self._whole = Readings(t, y, trace.resolution_c, trace.period_s, gap)
        self._blocks = t.size // BLOCK if t.size > SMALL else 0
        if not self._blocks:
            return
        body, starts = y[: self._blocks * BLOCK], np.arange(0, self._blocks * BLOCK, BLOCK)
        self._least, self._most = np.minimum.reduceat(body, starts), np.maximum.reduceat(body, starts)
        self._ends = np.ones(t.size, dtype=bool)
        self._ends[: body.size].reshape(-1, BLOCK)[:, 1:-1] = False
        # A gap within a block, not between two blocks, keeps it whole.
        inner = np.append(gap, False)[: self._blocks * BLOCK].reshape(-1, BLOCK)
        self._broken = inner[:, :-1].any(axis=1)

    def at(self, levels_c: Levels) -> Readings:
        """Readings that answer for levels within these ranges (lowest, highest) [degC]."""
        if not self._blocks:
            return self._whole
        whole = self._broken.copy()
        for low, high in levels_c:
            whole |= (self._least <= high) & (self._most >= low)
        if 2 * int(whole.sum()) > whole.size:
            return self._whole
        keep = self._ends.copy()
        keep[: self._blocks * BLOCK].reshape(-1, BLOCK)[whole] = True
        at = keep.nonzero()[0]
        trace = self._whole
        assert trace.thin is not None
        return Readings(trace.t_s[at], trace.temp_c[at], trace.resolution_c, trace.period_s, trace.thin[at[:-1]])


class Thinners:
    """Thinners of the traces that one hold looks at, each made once."""

    def __init__(self, start_s: float, end_s: float) -> None:
        self._start, self._end = start_s, end_s
        self._made: list[tuple[Readings, Thinner]] = []

    def of(self, trace: Readings) -> Thinner:
        """The thinner of a trace."""
        for known, thinner in self._made:
            if known is trace:
                return thinner
        self._made.append((trace, Thinner(trace, self._start, self._end)))
        return self._made[-1][1]


class EdgeThinner:
    """Readings for one lower edge, shifted by an error; edges below the hold's plateau share one thinning."""

    def __init__(self, thinner: Thinner, lower_c: float, noise_c: float) -> None:
        self._thinner, self._lower, self._spare = thinner, lower_c, noise_c + SLIGHT_C
        self._below: Readings | None = None

    def at(self, error_c: float) -> Readings:
        """Readings that answer for the edge at ``error_c``."""
        if error_c > 0.0:
            return self._cut(error_c, error_c)
        if self._below is None:
            self._below = self._cut(-FAR_C, 0.0)
        return self._below

    def _cut(self, least_c: float, most_c: float) -> Readings:
        low, high = self._lower + least_c - self._spare, self._lower + most_c + self._spare
        return self._thinner.at(((low, high),))
