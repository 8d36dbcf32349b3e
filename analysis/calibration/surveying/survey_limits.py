"""What a survey is held against: figures of common practice, each a setting, and whether they were met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.surveying.survey_hold import Strayed
from soakwitness.analysis.calibration.surveying.survey_period import CUT_MINUTES
from soakwitness.firmware_bridge.common.wording import Says, Temp, counted, duration, saying

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PRACTICE = "common practice, confirm in your edition"
# What makes a pass worth nothing: readings outside the survey period that speak against the band, which a pass over the
# period alone would hide; and a survey with too few sensors, or too short, which is none.
AGAINST_A_PASS = {"never above", "every sensor", "length", "sensors"}
GRID_MINUTES = 0.5  # what the grid of ten seconds and the end of the climb take of a hold of just so long
NO_SURVEY = {"length", "sensors"}


@dataclass(frozen=True)
class SurveyLimits:
    """What the survey is held against. Each figure is a setting; ``origin`` goes with every one of them.

    Bands of common pyrometry practice [K, half-widths], least length [min], slowest sampling [s], least sensors for a
    small chamber.
    """

    classes_c: tuple[float, ...] = (3.0, 6.0, 8.0, 10.0, 14.0, 28.0)
    least_minutes: float = 30.0
    slowest_s: float = 120.0
    least_sensors: int = 5
    drift_c_per_h: float = 12.0
    window_minutes: tuple[float, ...] = (30.0, 20.0, 10.0)
    origin: str = PRACTICE
    given: tuple[str, ...] = ()  # names of requirements whose figure the person gave

    def origin_of(self, name: str) -> str:
        """Where the figure of a requirement comes from."""
        return "given" if name in self.given else self.origin


@dataclass(frozen=True)
class SurveyRequirement:
    """One thing that a survey is expected to have had; a figure that is a setting, with its origin.

    ``value_c`` and ``limit_c`` are the temperatures in ``says`` [degC].
    """

    name: str
    met: bool | None
    says: Says
    origin: str
    value_c: float | None = None
    limit_c: float | None = None


def requirements(
    t_s: FloatArray,
    table_c: FloatArray,
    inside: BoolArray,
    strayed: Sequence[Strayed],
    *,
    target_c: float,
    band_c: float,
    with_u: int,
    limits: SurveyLimits,
) -> tuple[SurveyRequirement, ...]:
    """Say of each thing that is commonly expected of a survey whether it was so.

    ``table_c``: corrected readings of all sensors [degC], shape (sensors, n). ``target_c``, ``band_c``: middle of the
    band [degC] and its half-width [K]. Returns each in words with its figure and where that comes from.
    """
    lower_c, upper_c = target_c - band_c, target_c + band_c
    sensors = len(table_c)
    hottest = float(np.nanmax(table_c[:, : int(np.flatnonzero(inside)[-1]) + 1]))
    first = table_c[:, np.isfinite(table_c).all(axis=0)][:, :1]
    begun = bool(first.size and (first < lower_c).all())
    begun_words = (
        "recording began before any sensor reached the lower limit"
        if begun
        else "a sensor was at the lower limit when recording began"
    )
    minutes = float(t_s[inside][-1] - t_s[inside][0]) / 60.0
    least = duration(60.0 * limits.least_minutes)
    length_words = f"{duration(60.0 * minutes)} (a minute at either end is cut off), at least {least}"
    period_s = float(np.max(np.diff(t_s[inside]))) if inside.sum() > 1 else float("inf")
    enough = f"{counted(sensors, 'sensor')}, at least {limits.least_sensors} in a chamber under 0.085 m3"
    names = sorted({one.sensor for one in strayed})
    said = f"{', '.join(names)} failed or went astray in the hold" if names else "all read on through the whole hold"
    highest = Says.of("highest {hottest} at any time, upper limit {upper}", hottest=Temp(hottest), upper=Temp(upper_c))
    found: tuple[tuple[str, bool, str | Says], ...] = (
        ("length", minutes + CUT_MINUTES + GRID_MINUTES >= limits.least_minutes, length_words),
        ("sampling", period_s <= limits.slowest_s, f"every {duration(period_s)}, at most {duration(limits.slowest_s)}"),
        ("begun in time", begun, begun_words),
        ("never above", hottest <= upper_c, highest),
        ("sensors", sensors >= limits.least_sensors, enough),
    )
    temps = {"never above": (hottest, upper_c)}
    return (
        *(
            SurveyRequirement(name, met, saying(says), limits.origin_of(name), *temps.get(name, ()))
            for name, met, says in found
        ),
        SurveyRequirement("every sensor", not names, Says.plain(said), "else the survey period is not the whole hold"),
        SurveyRequirement(
            "corrections",
            with_u == sensors,
            Says.plain(f"U known of {with_u} of {sensors} sensors"),
            "needed to decide with U",
        ),
    )
