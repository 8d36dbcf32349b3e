"""How a calibration ages: what the sensor may have drifted since, by hours hot and time, and when that is too much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.thermocouples.wire_life import ends_h, is_noble, is_thin
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, number

# Assumptions, from memory; no source was found. They hold until a second calibration of the same sensor life measures
# the drift itself.
BASE_METAL = (2.0, 2.0, 6.0)  # half-width at once, more per 100 h above 950 degC: thick and cool, thin or hot [K]
NOBLE = (0.5, 0.5, 0.5)
HOT_C = 1060.0  # held at up to 1050, a reading may be some kelvin higher
WHOLE_DAYS, WHOLE_HOURS = 365.0, 20.0  # the first part of the drift is there after so long, or so long above 800 degC
LEAST_DAYS, LEAST_HOURS = 30, 10.0  # two calibrations nearer than this tell of no drift
NEED_SHARE = 0.75  # of the tolerance of a hold that U may take; the furnace itself needs the rest
FEW_LEFT = 0.25  # of the hours: from there on those left are said with every U
BASE_MONTHS, NOBLE_MONTHS = 12, 24


@dataclass(frozen=True)
class Drift:
    """What a sensor may drift: half-width [K] after ``whole_days`` or ``whole_hours`` above 800 degC, then more.

    ``per_100_h_c`` counts hours above 950 degC [K]; after ``ends_h`` of them the calibration ends. ``measured``: by two
    calibrations of the same sensor life rather than assumed.
    """

    base_c: float
    per_100_h_c: float
    ends_h: float | None
    whole_days: float = WHOLE_DAYS
    whole_hours: float = WHOLE_HOURS
    measured: bool = False

    def half_width_c(self, since: Since) -> float:
        """Half-width of the drift [K]."""
        share = max(since.days / self.whole_days, since.hours_800 / self.whole_hours if self.whole_hours else 0.0)
        part = share if self.measured else min(1.0, share)
        return self.base_c * part + self.per_100_h_c * since.hours_950 / 100.0

    def says(self) -> Says:
        """In words: what U grows by from now on."""
        if self.measured:
            return Says.of(
                "U grows by the drift that two calibrations of this sensor life measured: ±{base} in {days} d or "
                "{hours} h above {warm}.",
                base=Diff(self.base_c),
                days=number(self.whole_days),
                hours=number(self.whole_hours),
                warm=Temp(800.0),
            )
        ends = Says("")
        if self.ends_h is not None:
            ends = Says.of(" It ends after {h} h of these.", h=number(self.ends_h))
        return Says.of(
            "U grows by a drift that is assumed (from memory, no source) until a second calibration measures it: "
            "±{base} within a year or {hours} h above {warm}, and {more} for 100 h above {hot}.{ends}",
            base=Diff(self.base_c),
            hours=number(self.whole_hours),
            warm=Temp(800.0),
            more=Diff(self.per_100_h_c),
            hot=Temp(950.0),
            ends=ends,
        )


@dataclass(frozen=True)
class Since:
    """What lies between a calibration and a day: days, hours above 800 and 950 degC, hottest reading [degC]."""

    days: int
    hours_800: float = 0.0
    hours_950: float = 0.0
    hottest_c: float | None = None


def assumed_drift(
    thermocouple: str | None,
    diameter_mm: float | None,
    hottest_c: float | None,
    given: dict[str, Any] | None = None,
) -> Drift:
    """Drift that is assumed of a wire; of an unknown type as of base metal, of an unknown diameter as of 3 mm.

    ``given`` are figures that a person set: ``base_c``, ``per_100_h_c``, ``ends_h``.
    """
    noble, thin = is_noble(thermocouple), is_thin(diameter_mm)
    steep = thin or (hottest_c is not None and hottest_c > HOT_C)
    base_c, slow, fast = NOBLE if noble else BASE_METAL
    drift = Drift(base_c, fast if steep else slow, ends_h(thermocouple, diameter_mm))
    return replace(drift, **given) if given else drift


def measured_drift(earlier: Correction, later: Correction, between: Since, assumed: Drift) -> Drift | None:
    """Drift that two calibrations of a sensor life show, with its uncertainty; None where they are too near."""
    if between.days < LEAST_DAYS and between.hours_800 < LEAST_HOURS:
        return None
    low, high = max(earlier.low_c, later.low_c), min(earlier.high_c, later.high_c)
    if low > high:
        return None
    grid = np.linspace(low, high, 9)
    moved = np.abs(later.correction_c(grid) - earlier.correction_c(grid))
    u = np.hypot(earlier.expanded_c(grid), later.expanded_c(grid)) / 2.0
    return replace(
        assumed,
        base_c=float(np.hypot(moved, u).max()),
        per_100_h_c=0.0,
        whole_days=float(max(between.days, LEAST_DAYS)),
        whole_hours=float(max(between.hours_800, LEAST_HOURS)),
        measured=True,
    )


def aged(correction: Correction, drift: Drift, since: Since) -> Correction:
    """A correction as it counts after a while: U grown by the drift; lapsed where the hours hot have ended it."""
    half_c = drift.half_width_c(since)
    grown = tuple(2.0 * float(np.hypot(u / 2.0, half_c / np.sqrt(3.0))) for u in correction.table_expanded_c)
    now = replace(correction, table_expanded_c=grown, ageing=_ageing_words(drift, since, half_c))
    if drift.ends_h is None or since.hours_950 <= drift.ends_h:
        return now
    hours = number(since.hours_950)
    yesterday = _plus(correction.done_on, since.days - 1)
    says = f"worn out: {hours} h above 950 °C, of {number(drift.ends_h)} h"
    return replace(now, due_on=min(now.due_on or yesterday, yesterday), lapse=says)


def hours_left(drift: Drift, since: Since) -> float | None:
    """Hours above 950 degC until a calibration ends; None where none ends it [h]."""
    return None if drift.ends_h is None else max(drift.ends_h - since.hours_950, 0.0)


def _ageing_words(drift: Drift, since: Since, half_c: float) -> Says | None:
    if half_c < 0.05:
        return None
    why = "measured by two calibrations" if drift.measured else "assumed"
    left = hours_left(drift, since)
    few = drift.ends_h is not None and left is not None and left < FEW_LEFT * drift.ends_h
    return Says.of(
        "±{half} {why} for drift in {days} d and {hours} h above {hot}{left}",
        hot=Temp(950.0),
        left=f", {number(left)} h left until it ends" if few and left is not None else "",
        half=Diff(half_c),
        why=why,
        days=str(since.days),
        hours=number(since.hours_950),
    )


@dataclass(frozen=True)
class Need:
    """What a hold of a recipe leaves to U: at which temperature [degC], with which tolerance [K], of which recipe."""

    target_c: float
    tolerance_c: float
    recipe: str

    @property
    def most_c(self) -> float:
        """Largest U that still leaves the furnace its share [K]."""
        return NEED_SHARE * self.tolerance_c


@dataclass(frozen=True)
class Due:
    """The day it falls due and why: ``need`` is the hold whose tolerance U reaches then, None: the longest allowed.

    ``unmet`` are holds that even the new U leaves nothing, ``outside`` those that no point brackets.
    """

    day: str
    months: int
    need: Need | None = None
    unmet: tuple[Need, ...] = ()
    outside: tuple[Need, ...] = ()


def due_day(
    correction: Correction,
    drift: Drift,
    needs: Sequence[Need],
    *,
    hours_a_day: tuple[float, float] = (0.0, 0.0),
    last: str,
    months: int,
    margin_c: float = 25.0,
) -> Due:
    """Day on which U reaches what the recipes need, at the latest ``last``.

    ``hours_a_day``: how long the sensor is above 800 and above 950 degC on an average day [h].
    """
    inside = [n for n in needs if correction.low_c - margin_c <= n.target_c <= correction.high_c + margin_c]
    outside = tuple(n for n in needs if n not in inside)

    def u_c(need: Need, days: int) -> float:
        at_c = min(max(need.target_c, correction.low_c), correction.high_c)
        since = Since(days, days * hours_a_day[0], days * hours_a_day[1])
        return float(np.hypot(correction.expanded_c(at_c) / 2.0, drift.half_width_c(since) / np.sqrt(3.0))) * 2.0

    unmet = tuple(n for n in inside if u_c(n, 0) > n.most_c)
    met = [n for n in inside if n not in unmet]
    whole = (date.fromisoformat(last) - date.fromisoformat(correction.done_on)).days
    for days in range(1, whole + 1):
        reached = next((n for n in met if u_c(n, days) > n.most_c), None)
        if reached is not None:
            return Due(_plus(correction.done_on, days), months, reached, unmet, outside)
        if drift.ends_h is not None and days * hours_a_day[1] > drift.ends_h:
            return Due(_plus(correction.done_on, days), months, None, unmet, outside)
    return Due(last, months, None, unmet, outside)


def _plus(day: str, days: int) -> str:
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()
