"""Why a hold is not there: missing, ended before it, or simply not on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.recipes.words import Unit, duration, temperature
from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.intervals import gaps
from soakwitness.analysis.verification.passing import longer_than_passing_s
from soakwitness.analysis.verification.scene import Scene

FALLEN_C = 5.0
LINGERED = 0.5


@dataclass(frozen=True)
class Absence:
    """Why one hold was not found: skipped, the furnace cooled before it, the record was cut before it, and so on.

    ``on_record`` False: the record does not cover it, so nothing is shown. ``lingered``: the trace went through the
    band without a stop, but slowly enough to have held for half of what is asked.
    """

    kind: Literal["missing", "ended", "cut", "not on record", "wrong unit"]
    says: str
    at_s: float | None = None
    lingered: bool = False

    @property
    def on_record(self) -> bool:
        """Whether the record shows that it was not done."""
        return self.kind in ("missing", "ended")

    @property
    def shown(self) -> bool:
        """Whether it is shown beyond doubt that the hold was not done."""
        return self.on_record and not self.lingered


def absence_of(scene: Scene, number: int, unit: Unit = "C") -> Absence:
    """Say why a hold was not found.

    Parameters
    ----------
    scene : Scene
        The verification.
    number : int
        Index among the recipe's holds.
    unit : str
        Unit of the sentence, ``C`` or ``F``.

    Returns
    -------
    Absence
        The reason.
    """
    hold, placed, trace = scene.recipe.holds[number], scene.placed, scene.chamber
    before = [p for p in placed[:number] if p is not None and p.edges is not None]
    after = [p for p in placed[number + 1 :] if p is not None and p.edges is not None]
    since = before[-1].edges.leave_s if before and before[-1].edges else scene.start_s
    until = after[0].edges.enter_s if after and after[0].edges else scene.end_s
    long = [g for g in gaps(trace, since, until) if g[1] - g[0] >= 0.8 * hold.required_s]
    if long:
        a, b = long[0]
        return Absence("not on record", f"there is a gap of {duration(b - a)} where it may have been", a)
    still = [s for s in scene.stood_still if s[0] < until and s[1] > since]
    if still:
        at_c = float(trace.temp_c[trace.between(still[0][0], still[0][0])[0]])
        says = f"the sensor stood at exactly {temperature(at_c, unit)} for {duration(round(still[0][1] - still[0][0]))}"
        return Absence("not on record", says, still[0][0])
    if not before and float(trace.temp_c[0]) >= hold.lower_c and _from_cold(scene, number):
        return Absence(
            "not on record", f"the record begins at {temperature(float(trace.temp_c[0]), unit)}", scene.start_s
        )
    if after:
        lingered = longer_than_passing_s(trace, hold, since, until) >= LINGERED * hold.required_s
        says = f"the furnace went on to {temperature(after[0].hold.target_c, unit)} without it"
        doubt = ", but so slowly that a hold this short would not show" if lingered else ""
        return Absence("missing", says + doubt, until, lingered)
    return _at_the_end(scene, number, since, bool(before and before[-1].edges and not before[-1].edges.left), unit)


def _from_cold(scene: Scene, number: int) -> bool:
    """Whether the recipe climbs to this hold from below."""
    return number == 0 or scene.recipe.holds[number].target_c > scene.recipe.holds[number - 1].target_c


def _at_the_end(scene: Scene, number: int, since_s: float, inside: bool, unit: Unit) -> Absence:
    trace, hold = scene.chamber, scene.recipe.holds[number]
    low, high = trace.between(since_s, scene.end_s)
    part = trace.temp_c[low:high]
    last = float(trace.temp_c[-1])
    if inside:
        return Absence("not on record", "the record ends in the hold before it", scene.end_s)
    if hold.cycle > 1 and not any(p is not None and p.hold.cycle == hold.cycle for p in scene.placed):
        return Absence(
            "not on record", f"this run shows round {hold.cycle - 1}; the next may be in another run", scene.end_s
        )
    hottest = float(part.max()) if part.size else last
    if part.size and hottest - last > max(FALLEN_C, 0.05 * (hottest - 20.0)):
        if hottest >= hold.lower_c and not any(p is not None for p in scene.placed):
            return Absence("missing", f"the furnace reached {temperature(hottest, unit)} but did not hold", scene.end_s)
        return Absence(
            "ended", f"it reached {temperature(hottest, unit)} and then cooled", _time_of_peak(trace, low, part)
        )
    return Absence("cut", f"the record ends at {temperature(last, unit)}, on the way", scene.end_s)


def _time_of_peak(trace: Readings, low: int, part: np.ndarray) -> float:
    return float(trace.t_s[low + int(part.argmax())])
