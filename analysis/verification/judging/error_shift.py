"""One error of the whole trace: extremes of a figure over it, and the errors at which a requirement still stands."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

STEPS = 8
NEAREST_C = 0.05
GROW = 1.6


def extremes(low: Callable[[float], float], high: Callable[[float], float], expanded_c: float) -> tuple[float, float]:
    """Extremes of a figure over all errors within U.

    ``low``, ``high``: the figure at its worst and at its best for one error [K]. Returns smallest of ``low`` and
    largest of ``high`` over [-U, U], tried at its ends, its middle and in between.
    """
    if expanded_c <= 0.0:
        return low(0.0), high(0.0)
    errors = np.linspace(-expanded_c, expanded_c, 2 * STEPS + 1)
    return min(low(float(e)) for e in errors), max(high(float(e)) for e in errors)


def stands(met: Callable[[float], bool], most_c: float, expanded_c: float | None = None) -> tuple[float, float] | None:
    """Find the interval of errors around 0 in which a requirement is met.

    ``met``: whether it is met, gaps at their worst, if the sensor reads that much high [K]. ``expanded_c``: U [K]: an
    error of exactly U is tried itself, for it is what the verdict asks. Returns lowest and highest error [K], to 0.05 K
    on the safe side; None if it is not met at 0.
    """
    if not met(0.0):
        return None
    return -_reach(lambda e: met(-e), most_c, expanded_c), _reach(met, most_c, expanded_c)


def _reach(met: Callable[[float], bool], most_c: float, expanded_c: float | None) -> float:
    """Largest error, from 0 up, to which a requirement stays met without a break."""
    good, step = 0.0, 0.25
    while True:
        tried = min(good + step, most_c)
        if not met(tried):
            break
        if tried >= most_c:
            return most_c
        good, step = tried, min(step * GROW, 2.0)
    bad = tried
    while bad - good > NEAREST_C:
        middle = (good + bad) / 2.0
        good, bad = (middle, bad) if met(middle) else (good, middle)
    return expanded_c if expanded_c is not None and good < expanded_c < bad and met(expanded_c) else good
