"""What a recipe asks of one piece in one hold: whether it is met as read, at true temperature, up to which error."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.verification.judging.error_shift import STEPS, stands
from soakwitness.analysis.verification.results.verification import Verdict

MOST_ERROR_C = 60.0
NEAREST_C = 0.02
ORDER: tuple[Verdict, ...] = ("pass", "not proven", "fail")


@dataclass(frozen=True)
class Requirement:
    """One thing that is asked, as a function of how much the sensor reads high [K].

    ``worst``: met with gaps and noise at their worst; ``best``: met at their best. ``always``: counts in a hold that is
    not judged, too.
    """

    name: str
    worst: Callable[[float], bool]
    best: Callable[[float], bool]
    always: bool = False


def at_least(name: str, low: Callable[[float], float], high: Callable[[float], float], limit: float) -> Requirement:
    """A figure must be at least its limit; ``low`` and ``high`` are the figure at its worst and at its best."""
    return Requirement(name, lambda e: low(e) >= limit, lambda e: high(e) >= limit)


def at_most(
    name: str,
    high: Callable[[float], float],
    low: Callable[[float], float],
    limit: float,
    *,
    always: bool = False,
) -> Requirement:
    """A figure must be at most its limit; ``high`` and ``low`` are the figure at its worst and at its best."""
    return Requirement(name, lambda e: high(e) <= limit, lambda e: low(e) <= limit, always)


def as_read(requirement: Requirement) -> Verdict:
    """Pass if met at no error with gaps at their worst, fail if unmet at their best, else not proven."""
    return "pass" if requirement.worst(0.0) else "not proven" if requirement.best(0.0) else "fail"


def at_true_temperature(requirements: Sequence[Requirement], expanded_c: float) -> Verdict:
    """Pass if all are met for every error within U [K], fail if no single error meets all of them, else not proven.

    Source: ILAC-G8:09/2019 and JCGM 106:2012: acceptance with a guard band of U on either side.
    """
    if all(_met_throughout(one, expanded_c) for one in requirements):
        return "pass"
    return "not proven" if any_error_meets(requirements, expanded_c) else "fail"


def _met_throughout(requirement: Requirement, expanded_c: float) -> bool:
    interval = stands(requirement.worst, expanded_c, expanded_c)
    return interval is not None and interval[0] <= -expanded_c and interval[1] >= expanded_c


def any_error_meets(requirements: Sequence[Requirement], expanded_c: float) -> bool:
    """Whether one error within U [K] meets all requirements at their best."""
    grid = [0.0] if expanded_c <= 0.0 else np.linspace(-expanded_c, expanded_c, 2 * STEPS + 1).tolist()
    tried = [[one.best(e) for one in requirements] for e in grid]
    if any(all(row) for row in tried):
        return True
    # The errors that meet one requirement may only touch those that meet another, between two that were tried.
    for place in range(len(grid) - 1):
        for k, one in enumerate(requirements):
            if tried[place][k] != tried[place + 1][k]:
                met, unmet = (grid[place], grid[place + 1]) if tried[place][k] else (grid[place + 1], grid[place])
                edge = _edge(one.best, met, unmet)
                if all(other.best(edge) for other in requirements):
                    return True
    return False


def _edge(met: Callable[[float], bool], good: float, bad: float) -> float:
    """The last error, between one that meets and one that does not, that meets [K]."""
    while abs(bad - good) > NEAREST_C:
        middle = (good + bad) / 2.0
        good, bad = (middle, bad) if met(middle) else (good, middle)
    return good


def interval_of(requirement: Requirement, expanded_c: float | None) -> tuple[float, float] | None:
    """Errors around 0 [K] in which a requirement stands with gaps at their worst; None if it does not at 0."""
    return stands(requirement.worst, MOST_ERROR_C, expanded_c)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Fail if any fails, else not proven if any is, else pass."""
    return max(verdicts, key=ORDER.index, default="pass")


def common(intervals: Iterable[tuple[float, float] | None]) -> tuple[float, float] | None:
    """Errors at which all stand; None if one is not met as read."""
    low, high = -MOST_ERROR_C, MOST_ERROR_C
    for interval in intervals:
        if interval is None:
            return None
        low, high = max(low, interval[0]), min(high, interval[1])
    return low, high


def with_lapsed(read: Verdict, old: Verdict) -> Verdict:
    """An overdue calibration proves nothing and still contradicts: it can stop a pass and excuses no failure."""
    if read == old == "pass":
        return "pass"
    return "fail" if read == old == "fail" else "not proven"
