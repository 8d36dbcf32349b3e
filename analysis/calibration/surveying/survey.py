"""Temperature uniformity survey: how even the work zone is over a stable period."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.surveying.survey_hold import Strayed, strayed_sensors
from soakwitness.analysis.calibration.surveying.survey_limits import (
    AGAINST_A_PASS,
    NO_SURVEY,
    SurveyLimits,
    SurveyRequirement,
    requirements,
)
from soakwitness.analysis.calibration.surveying.survey_period import stable_period
from soakwitness.analysis.calibration.surveying.uniform_time import UniformTime, time_to_uniform
from soakwitness.analysis.calibration.uncertainty.budget import BudgetRow
from soakwitness.analysis.calibration.uncertainty.decision import Decision, decide
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import duration, joined

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class SurveySensor:
    """One sensor's readings [degC, shape (n,)], what to add to them [K, shape (n,)], U of that [K], and its place."""

    name: str
    temp_c: FloatArray
    correction_c: FloatArray | float = 0.0
    expanded_c: float | None = None
    position: str | None = None
    says: str = "no correction known"
    rows: tuple[BudgetRow, ...] = ()  # of U

    @property
    def true_c(self) -> FloatArray:
        """Corrected readings [degC]."""
        return self.temp_c + self.correction_c


@dataclass(frozen=True)
class SurveyedSensor:
    """One sensor over the survey period [degC], times on the run's clock [s]."""

    name: str
    position: str | None
    highest_c: float
    highest_at_s: float
    lowest_c: float
    lowest_at_s: float
    mean_c: float
    spread_c: float
    approach_overshoot_c: float
    correction_c: float
    expanded_c: float | None
    says: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return dict(vars(self))


@dataclass(frozen=True)
class Evenness:
    """Extremes of all sensors [degC]: once as read, once corrected; ``with_u_c`` adds each sensor's U where known."""

    highest_c: float
    hottest: str
    hottest_at_s: float
    lowest_c: float
    coldest: str
    coldest_at_s: float
    target_c: float
    with_u_c: float | None = None

    @property
    def half_spread_c(self) -> float:
        """Half the distance between highest and lowest: +-x about the best centre [K]."""
        return (self.highest_c - self.lowest_c) / 2.0

    @property
    def about_target_c(self) -> float:
        """Largest distance from the target [K]."""
        return max(self.highest_c - self.target_c, self.target_c - self.lowest_c)

    @property
    def centring_c(self) -> float:
        """What to change the control setting by so that the spread is centred on the target [K]."""
        return self.target_c - (self.highest_c + self.lowest_c) / 2.0

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            **vars(self),
            "half_spread_c": self.half_spread_c,
            "about_target_c": self.about_target_c,
            "centring_c": self.centring_c,
        }


@dataclass(frozen=True)
class Survey:
    """Everything a survey found."""

    target_c: float
    target_from: str
    band_c: float
    start_s: float
    end_s: float
    sensors: tuple[SurveyedSensor, ...]
    as_read: Evenness
    corrected: Evenness
    recovery_s: tuple[tuple[float, float | None], ...]
    requirements: tuple[SurveyRequirement, ...]
    decision_as_read: Decision
    decision: Decision | None
    strayed: tuple[Strayed, ...] = ()
    limits: SurveyLimits = field(default_factory=SurveyLimits)
    uniform: UniformTime | None = None

    @property
    def no_survey(self) -> tuple[str, ...]:
        """What it has too little of to be a survey at all: ``length``, ``sensors``."""
        return tuple(name for name in self.not_met if name in NO_SURVEY)

    @property
    def not_met(self) -> tuple[str, ...]:
        """Names of what was asked of the survey and is not met."""
        return tuple(r.name for r in self.requirements if r.met is False)

    @property
    def verdict(self) -> str:
        """Verdict with U where every U is known, else as read; no pass of what is no survey."""
        verdict = (self.decision or self.decision_as_read).verdict
        return "not proven" if verdict == "pass" and AGAINST_A_PASS & set(self.not_met) else verdict

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON and the log book."""
        fits = [band for band in self.limits.classes_c if self.corrected.about_target_c <= band]
        return {
            "target_c": self.target_c,
            "target_from": self.target_from,
            "band_c": self.band_c,
            "start_s": self.start_s,
            "end_s": self.end_s,
            "minutes": (self.end_s - self.start_s) / 60.0,
            "verdict": self.verdict,
            "decided": "with U" if self.decision else "as read: U of some sensor is not known",
            "sensors": [s.as_dict() for s in self.sensors],
            "as_read": self.as_read.as_dict(),
            "corrected": self.corrected.as_dict(),
            "recovery_s": [{"door_s": at, "recovery_s": took} for at, took in self.recovery_s],
            "requirements": [dict(vars(r)) | {"says": str(r.says)} for r in self.requirements],
            "not_met": list(self.not_met),
            "strayed": [one.as_dict() for one in self.strayed],
            "uniform": None if self.uniform is None else self.uniform.as_dict(),
            "decision_as_read": self.decision_as_read.as_dict(),
            "decision": None if self.decision is None else self.decision.as_dict(),
            "bands": {
                "values_c": list(self.limits.classes_c),
                "narrowest_that_holds_c": fits[0] if fits else None,
                "origin": self.limits.origin,
            },
        }


def survey(
    t_s: FloatArray,
    sensors: Sequence[SurveySensor],
    *,
    band_c: float,
    target_c: float | None = None,
    setpoint_c: FloatArray | None = None,
    doors_s: Sequence[float] = (),
    limits: SurveyLimits | None = None,
) -> Survey:
    """Survey a run.

    ``sensors``: two or more, each with readings of shape (n,). ``target_c``: target [degC]; without it the setpoint's,
    else the middle of all readings. Returns figures over the longest stable period (near the target or setpoint, where
    there is one).

    Raises NotEnoughData if there is no stable period of all sensors.
    """
    limits = limits or SurveyLimits()
    start_s, end_s = _period(t_s, sensors, band_c, _wanted(t_s, target_c, setpoint_c), limits)
    inside = (t_s >= start_s) & (t_s <= end_s)
    target, target_from = _target(target_c, setpoint_c, sensors, inside)
    figures = tuple(_figures(t_s, sensor, inside, target) for sensor in sensors)
    as_read = _evenness(t_s, {s.name: s.temp_c for s in sensors}, inside, target, {})
    known = {s.name: s.expanded_c for s in sensors if s.expanded_c is not None}
    corrected = _evenness(t_s, {s.name: s.true_c for s in sensors}, inside, target, known)
    strayed = strayed_sensors(t_s, {s.name: s.true_c for s in sensors}, (start_s, end_s), target, band_c)
    largest_u = max(known.values()) if len(known) == len(sensors) else None
    return Survey(
        target_c=target,
        target_from=target_from,
        band_c=band_c,
        start_s=start_s,
        end_s=end_s,
        sensors=figures,
        as_read=as_read,
        corrected=corrected,
        recovery_s=tuple((at, _recovery(t_s, sensors, at, target, band_c)) for at in doors_s),
        requirements=requirements(
            t_s,
            np.array([s.true_c for s in sensors]),
            inside,
            strayed,
            target_c=target,
            band_c=band_c,
            with_u=len(known),
            limits=limits,
        ),
        decision_as_read=_decision(as_read, 0.0, target, band_c, guard=0.0),
        decision=None if largest_u is None else _decision(corrected, largest_u, target, band_c, guard=1.0),
        strayed=strayed,
        limits=limits,
        uniform=time_to_uniform(t_s, {s.name: s.true_c for s in sensors}, target, band_c, end_s),
    )


def _period(
    t_s: FloatArray,
    sensors: Sequence[SurveySensor],
    band_c: float,
    wanted_c: FloatArray | None,
    limits: SurveyLimits,
) -> tuple[float, float]:
    """Survey period [s]; where there is none, whether leaving one sensor out would give one."""

    def of(chosen: Sequence[SurveySensor]) -> tuple[float, float]:
        return stable_period(
            t_s,
            [s.temp_c for s in chosen],
            spread_c=4.0 * band_c + 4.0,
            drift_c_per_h=limits.drift_c_per_h,
            windows_minutes=limits.window_minutes,
            wanted_c=wanted_c,
        )

    try:
        return of(sensors)
    except NotEnoughData as error:
        for sensor in sensors if len(sensors) > 2 else ():
            try:
                start_s, end_s = of([s for s in sensors if s is not sensor])
            except NotEnoughData:
                continue
            hint = f"Without {sensor.name} there are {duration(end_s - start_s)}: look at that sensor."
            raise NotEnoughData(joined([error.says, hint])) from None
        raise


def _wanted(t_s: FloatArray, target_c: float | None, setpoint_c: FloatArray | None) -> FloatArray | None:
    """Target at each time [degC]; None where nothing says."""
    if target_c is not None:
        return np.full(t_s.size, target_c)
    if setpoint_c is None or not np.isfinite(setpoint_c).any():
        return None
    known = np.isfinite(setpoint_c)
    return np.asarray(np.interp(t_s, t_s[known], setpoint_c[known]))


def _target(
    target_c: float | None, setpoint_c: FloatArray | None, sensors: Sequence[SurveySensor], inside: BoolArray
) -> tuple[float, str]:
    """Target [degC] and where it comes from."""
    if target_c is not None:
        return target_c, "given"
    if setpoint_c is not None and np.isfinite(setpoint_c[inside]).any():
        return float(np.nanmedian(setpoint_c[inside])), "setpoint of the run"
    everything = np.concatenate([s.temp_c[inside] for s in sensors])
    middle = (np.nanmax(everything) + np.nanmin(everything)) / 2.0
    return float(middle), "middle of all readings; give --target"


def _figures(t_s: FloatArray, sensor: SurveySensor, inside: BoolArray, target: float) -> SurveyedSensor:
    """Figures of one sensor, corrected."""
    true = np.where(inside, sensor.true_c, np.nan)
    high, low = int(np.nanargmax(true)), int(np.nanargmin(true))
    before = sensor.true_c[: int(np.flatnonzero(inside)[-1]) + 1]
    return SurveyedSensor(
        name=sensor.name,
        position=sensor.position,
        highest_c=float(true[high]),
        highest_at_s=float(t_s[high]),
        lowest_c=float(true[low]),
        lowest_at_s=float(t_s[low]),
        mean_c=float(np.nanmean(true)),
        spread_c=float(true[high] - true[low]),
        approach_overshoot_c=float(np.nanmax(before) - target),
        correction_c=float(np.nanmean(np.broadcast_to(sensor.correction_c, t_s.shape)[inside])),
        expanded_c=sensor.expanded_c,
        says=sensor.says,
    )


def _evenness(
    t_s: FloatArray, traces: Mapping[str, FloatArray], inside: BoolArray, target: float, known: Mapping[str, float]
) -> Evenness:
    """Hottest and coldest reading of all."""
    names = list(traces)
    table = np.array([np.where(inside, traces[name], np.nan) for name in names])
    hot = np.unravel_index(int(np.nanargmax(table)), table.shape)
    cold = np.unravel_index(int(np.nanargmin(table)), table.shape)
    with_u = None
    if len(known) == len(names):
        u = np.array([known[name] for name in names])
        worst = np.maximum(np.nanmax(table, axis=1) + u - target, target - np.nanmin(table, axis=1) + u)
        with_u = float(worst.max())
    return Evenness(
        highest_c=float(table[hot]),
        hottest=names[hot[0]],
        hottest_at_s=float(t_s[hot[1]]),
        lowest_c=float(table[cold]),
        coldest=names[cold[0]],
        coldest_at_s=float(t_s[cold[1]]),
        target_c=target,
        with_u_c=with_u,
    )


def _decision(even: Evenness, expanded_c: float, target: float, band_c: float, *, guard: float) -> Decision:
    """Decide on the reading farthest from the target."""
    high, low = even.highest_c - target, even.lowest_c - target
    worst = high if abs(high) >= abs(low) else low
    return decide(worst, expanded_c, lower=-band_c, upper=band_c, guard=guard)


def _recovery(
    t_s: FloatArray, sensors: Sequence[SurveySensor], at_s: float, target: float, band_c: float
) -> float | None:
    """Time from a door's opening until every sensor is back in the band and stays there a minute [s]."""
    after = np.flatnonzero(t_s >= at_s)
    if not after.size:
        return None
    inside = np.all([np.abs(s.true_c[after] - target) <= band_c for s in sensors], axis=0)
    if inside.all():
        return 0.0
    out = int(np.argmax(~inside))
    for back in np.flatnonzero(inside[out:]) + out:
        minute = (t_s[after] >= t_s[after[back]]) & (t_s[after] <= t_s[after[back]] + 60.0)
        if inside[minute].all():
            return float(t_s[after[back]] - at_s)
    return None
