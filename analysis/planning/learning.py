"""What the last runs taught a plan: the lag that was planned beside the lag that a load sensor measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

FEWEST = 5  # runs from which on it is used
MOST = 20  # the newest of them
LEAST_SPREAD = 0.05
GUESS_SPREAD = 0.25  # of the logarithm; counts as three runs beside those there were


@dataclass(frozen=True)
class LagPair:
    """One run: the lag that its plan said, before anything learned was applied, and the measured one [s]."""

    run: str
    planned_s: float
    measured_s: float


@dataclass(frozen=True)
class Learned:
    """``runs`` took ``factor`` times the planned lag, their logarithms with standard deviation ``spread``."""

    runs: int
    factor: float
    spread: float

    @property
    def used(self) -> bool:
        """Whether there are enough of them."""
        return self.runs >= FEWEST


def learn(pairs: Sequence[LagPair]) -> Learned | None:
    """The middle of the newest pairs, and how far they lie about it; None without any."""
    logs = [math.log(one.measured_s / one.planned_s) for one in pairs if one.measured_s > 0.0 < one.planned_s][-MOST:]
    if not logs:
        return None
    middle = median(logs)
    squares = 3.0 * GUESS_SPREAD**2 + sum((log - middle) ** 2 for log in logs)
    spread = math.sqrt(squares / (3.0 + len(logs)) * (1.0 + 1.0 / len(logs)))
    return Learned(len(logs), math.exp(middle), max(spread, LEAST_SPREAD))
