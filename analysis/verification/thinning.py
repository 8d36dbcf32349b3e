"""Few readings for many questions: a hold's trace thinned to what matters for the levels that are asked for."""

from __future__ import annotations

from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.intervals import thinned

FAR_C = 60.0
SLIGHT_C = 0.01


class Thinner:
    """Readings for one lower edge, shifted by an error.

    Levels far below a hold's plateau leave few readings, and one thinning serves them all; levels near the plateau are
    thinned one by one.
    """

    def __init__(self, trace: Readings, lower_c: float, noise_c: float, start_s: float, end_s: float) -> None:
        self._trace, self._lower, self._noise = trace, lower_c, noise_c
        self._start, self._end = start_s, end_s
        self._below: Readings | None = None
        low, high = trace.between(start_s, end_s)
        self._small = high - low < 5000

    def at(self, error_c: float) -> Readings:
        """Readings that answer for the edge at ``error_c``."""
        if self._small:
            return self._trace
        if error_c <= 0.0:
            if self._below is None:
                self._below = self._cut(-FAR_C, 0.0)
            return self._below
        return self._cut(error_c, error_c)

    def _cut(self, least_c: float, most_c: float) -> Readings:
        low = self._lower + least_c - self._noise - SLIGHT_C
        high = self._lower + most_c + self._noise + SLIGHT_C
        return thinned(self._trace, self._start, self._end, ((low, high),))
