"""One thing that a recipe asks for: whether it is met as read, at true temperature, and up to which sensor error."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from soakwitness.analysis.verification.model import Basis, SensorErrors, Verdict
from soakwitness.analysis.verification.shift import extremes, stands

MOST_ERROR_C = 60.0
ORDER: tuple[Verdict, ...] = ("pass", "not proven", "fail")


@dataclass(frozen=True)
class Outcome:
    """How one requirement came out. ``stands_c`` None: not met as read."""

    name: str
    as_read: Verdict
    at_true_temperature: Verdict
    stands_c: tuple[float, float] | None = None

    def on(self, basis: Basis) -> Verdict:
        """The verdict on one basis."""
        return self.as_read if basis == "reading" else self.at_true_temperature


def judged(
    name: str,
    worst: Callable[[float], float],
    best: Callable[[float], float],
    limit: float,
    *,
    at_least: bool,
    expanded_c: float | None,
) -> Outcome:
    """Judge one figure against its limit.

    Parameters
    ----------
    name : str
        The requirement.
    worst, best : callable
        The figure with gaps at their worst and at their best, for a sensor that reads that much high [K].
    limit : float
        The limit, in the unit of the figure [s or degC].
    at_least : bool
        The figure must be at least, else at most, the limit.
    expanded_c : float or None
        U [K]; None where nothing is known.

    Returns
    -------
    Outcome
        Both verdicts and the errors at which it stands.

    References
    ----------
    ILAC-G8:09/2019 and JCGM 106:2012: acceptance with a guard band of U on either side.
    """

    def met(value: float) -> bool:
        return value >= limit if at_least else value <= limit

    as_read: Verdict = "pass" if met(worst(0.0)) else "not proven" if met(best(0.0)) else "fail"
    interval = stands(lambda e: met(worst(e)), MOST_ERROR_C, expanded_c)
    if expanded_c is None:
        return Outcome(name, as_read, "not proven", interval)
    if interval is not None and interval[0] <= -expanded_c and interval[1] >= expanded_c:
        return Outcome(name, as_read, "pass", interval)
    low, high = extremes(best, best, expanded_c)
    at_true: Verdict = "not proven" if met(high if at_least else low) else "fail"
    return Outcome(name, as_read, at_true, interval)


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


def basis_of(errors: SensorErrors, decide_on: Basis | None) -> Basis:
    """What the verdict rests on: the recipe's word, else the true temperature where U is known, else the reading."""
    if decide_on is not None:
        return decide_on
    return "true temperature" if errors.known else "reading"
