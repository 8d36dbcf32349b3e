"""Soak of one piece in one hold as a function of how much its sensor reads high."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.soak import Soak, Window, soak
from soakwitness.analysis.verification.results.verification import Bounds
from soakwitness.analysis.verification.rules.windows import Mode
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work

Figure = Callable[[float], float]


class SoakByError:
    """Soak of one piece as a function of the sensor error [K], remembered; none is sure where nobody knows the load.

    ``loose_s`` [s] is by how much an estimate may come earlier or later, as its load was only inferred.
    """

    def __init__(self, work: Work, on: HoldOnTrace, window: Window, known_load: bool, *, loose_s: float = 0.0) -> None:
        self._window, self._allowed, self._hold, self._known = window, on.allowed, on.hold, known_load
        self._later_s: dict[Mode, float] = {"low": -loose_s, "best": 0.0, "high": loose_s}
        self._traces: dict[Mode, Readings] = {"low": work.low, "best": work.best, "high": work.high}
        self._seen: dict[tuple[Mode, float], Soak] = {}
        # A pull that nobody saw ends no soak alone: the piece may have stayed.
        stayed = None if window.pull_in is None else replace(window, pull_s=None, pull_in=None)
        self._stayed = None if stayed is None else SoakByError(work, on, stayed, known_load, loose_s=loose_s)

    def full(self, mode: Mode, error_c: float) -> Soak:
        """Soak and whole time above the lower edge."""
        key = (mode, error_c)
        if key not in self._seen:
            self._seen[key] = Soak(0.0, 0.0) if mode == "low" and not self._known else self._soak(mode, error_c)
        return self._seen[key]

    def _soak(self, mode: Mode, error_c: float) -> Soak:
        found = soak(self._traces[mode], self._hold, self._window, error_c=error_c, mode=mode, allowed=self._allowed)
        later_s = self._later_s[mode]
        if not later_s or not found.above_s:
            return found
        return Soak(max(found.soak_s + later_s, 0.0), max(found.above_s + later_s, 0.0))

    def at(self, mode: Mode) -> Figure:
        """Soak [s] as a function of the error."""
        by = self._stayed if mode == "high" and self._stayed is not None else self
        return lambda error_c: by.full(mode, error_c).soak_s

    def above(self, mode: Mode) -> Figure:
        """Whole time above the lower edge [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).above_s

    def longest(self, hidden_s: float) -> Bounds:
        """Whole time above the lower edge as read, dips or not, and what was not seen of it."""
        low, best, high = (self.full(mode, 0.0).above_s for mode in ("low", "best", "high"))
        return Bounds(min(low, best), best, max(high, best) + hidden_s)
