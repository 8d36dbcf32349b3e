"""Soak of one piece in one hold as a function of how much its sensor reads high."""

from __future__ import annotations

from collections.abc import Callable

from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.soak import Soak, Window, soak
from soakwitness.analysis.verification.results.verification import Bounds
from soakwitness.analysis.verification.rules.windows import Mode
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace
from soakwitness.analysis.verification.sensors.work import Work

Figure = Callable[[float], float]


class SoakByError:
    """Soak of one piece as a function of the sensor error [K], remembered; none is sure where nobody knows the load."""

    def __init__(self, work: Work, on: HoldOnTrace, window: Window, known_load: bool) -> None:
        self._window, self._allowed, self._hold, self._known = window, on.allowed, on.hold, known_load
        self._traces: dict[Mode, Readings] = {"low": work.low, "best": work.best, "high": work.high}
        self._seen: dict[tuple[Mode, float], Soak] = {}

    def full(self, mode: Mode, error_c: float) -> Soak:
        """Soak and whole time above the lower edge."""
        key = (mode, error_c)
        if key not in self._seen:
            if mode == "low" and not self._known:
                self._seen[key] = Soak(0.0, 0.0)
            else:
                trace = self._traces[mode]
                self._seen[key] = soak(
                    trace, self._hold, self._window, error_c=error_c, mode=mode, allowed=self._allowed
                )
        return self._seen[key]

    def at(self, mode: Mode) -> Figure:
        """Soak [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).soak_s

    def above(self, mode: Mode) -> Figure:
        """Whole time above the lower edge [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).above_s

    def longest(self, hidden_s: float) -> Bounds:
        """Whole time above the lower edge as read, dips or not, and what was not seen of it."""
        low, best, high = (self.full(mode, 0.0).above_s for mode in ("low", "best", "high"))
        return Bounds(min(low, best), best, max(high, best) + hidden_s)
