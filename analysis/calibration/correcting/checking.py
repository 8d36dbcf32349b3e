"""Two calibrations of one sensor side by side: a narrow one is a check of the wide one, and confirms or contradicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

MARGIN_C = 25.0  # how far inside the range of the one in force another may end and still take its place


@dataclass(frozen=True)
class Apart:
    """Where two calibrations are farthest apart, by their U: reading [degC], what either adds and U of either [K]."""

    reading_c: float
    new_c: float
    old_c: float
    new_u_c: float
    old_u_c: float

    @property
    def apart_c(self) -> float:
        """How far apart they are [K]."""
        return self.new_c - self.old_c

    @property
    def contradicts(self) -> bool:
        """Whether they are farther apart than both U together allow (ISO/IEC 17043: |En| above 1)."""
        return abs(self.apart_c) > float(np.hypot(self.new_u_c, self.old_u_c))

    def says(self, old: Correction) -> Says:
        """In words, for a person."""
        verb = "contradicts" if self.contradicts else "confirms"
        return Says.of(
            "It {verb} the calibration of {day}: at {at} it adds {new} (U {new_u}), that one {old} (U {old_u}), "
            "{apart} apart, {allowed} allowed.",
            verb=verb,
            day=old.done_on,
            at=Temp(self.reading_c),
            new=Diff(self.new_c, signed=True),
            new_u=Diff(self.new_u_c),
            old=Diff(self.old_c, signed=True),
            old_u=Diff(self.old_u_c),
            apart=Diff(abs(self.apart_c)),
            allowed=Diff(float(np.hypot(self.new_u_c, self.old_u_c))),
        )


def kind_of(new: Correction, old: Correction | None, day: str) -> Literal["calibration", "check"]:
    """Whether a new correction takes the place of the one in force, or is a check of it.

    It takes its place where it reaches as far; or hotter, if it is at least half as wide, or all of it is hotter: then
    it could check nothing. One that ends colder never does: steel is hardened at the hot end. ``old``: the one that
    counts on ``day``, as it counts then; one that has lapsed is in force no more.
    """
    if old is None or old.overdue_on(day):
        return "calibration"
    as_far = new.low_c <= old.low_c + MARGIN_C and new.high_c >= old.high_c - MARGIN_C
    hotter = new.high_c > old.high_c + MARGIN_C
    wide = new.high_c - new.low_c >= 0.5 * (old.high_c - old.low_c)
    return "calibration" if as_far or (hotter and (wide or new.low_c > old.high_c)) else "check"


def compare_with(new: Correction, old: Correction) -> Apart | None:
    """Compare two corrections where both reach; None where that is nowhere."""
    low, high = max(new.low_c, old.low_c), min(new.high_c, old.high_c)
    if low > high:
        return None
    grid = np.linspace(low, high, 9)
    apart = np.abs(new.correction_c(grid) - old.correction_c(grid)) / np.hypot(
        new.expanded_c(grid), old.expanded_c(grid)
    )
    at_c = float(grid[int(np.argmax(apart))])
    return Apart(
        at_c,
        float(new.correction_c(at_c)),
        float(old.correction_c(at_c)),
        float(new.expanded_c(at_c)),
        float(old.expanded_c(at_c)),
    )
