"""Findings on ramps and on what the controller was told: slow ramp, fast ramp, program differs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.model import Ramp
from soakwitness.analysis.recipes.program import ProgramStep, program_setpoints
from soakwitness.analysis.runs import FloatArray, Run
from soakwitness.analysis.verification.findings.view import View, duration, severity_of
from soakwitness.analysis.verification.model import Finding, RampResult

OFF_PACE = 0.2  # of the stated rate; common practice, no source
SAME_SETPOINT_C = 1.5
SHORTEST_STAND_S = 60.0
SETPOINT_PACE = 0.15
FULL_OUTPUT = 95.0


def find(view: View) -> list[Finding]:
    """All findings of this topic.

    Parameters
    ----------
    view : View
        The verification.

    Returns
    -------
    list of Finding
        In the order of the steps.
    """
    found = []
    for step in view.scene.recipe.steps:
        if isinstance(step, Ramp) and step.number in view.ramps:
            found += _pace(view, step, view.ramps[step.number])
    return [*found, *_program(view)]


def _pace(view: View, step: Ramp, ramp: RampResult) -> list[Finding]:
    if ramp.rate_c_per_h is None:
        return []
    pace = abs(ramp.rate_c_per_h)
    rate = f"{view.diff(pace)} an hour"
    for code, limit, broken in (
        ("slow ramp", step.min_rate_c_per_h, step.min_rate_c_per_h is not None and pace < step.min_rate_c_per_h),
        ("fast ramp", step.max_rate_c_per_h, step.max_rate_c_per_h is not None and pace > step.max_rate_c_per_h),
    ):
        if broken and limit is not None:
            word = "at least" if code == "slow ramp" else "at most"
            return [
                Finding(
                    code,
                    severity_of("fail"),
                    step.number,
                    f"The ramp to {view.temp(step.to_c)} ran at {rate}, {word} {view.diff(limit)} an hour is asked.",
                    "Check the rate in the controller, the mains voltage and the elements.",
                    at_s=ramp.start_s,
                    until_s=ramp.end_s,
                )
            ]
    stated = step.rate_c_per_h
    if stated is None or abs(pace - stated) <= OFF_PACE * stated:
        return []
    slow = pace < stated
    return [
        Finding(
            "slow ramp" if slow else "fast ramp",
            "note",
            step.number,
            f"The ramp to {view.temp(step.to_c)} ran at {rate} where {view.diff(stated)} an hour is written.",
            "A controller that waits for the furnace stretches a ramp: look at full-power rates over the last runs."
            if slow
            else "Check the rate that was typed into the controller.",
            at_s=ramp.start_s,
            until_s=ramp.end_s,
        )
    ]


@dataclass(frozen=True)
class Stand:
    """A time in which the setpoint stood still: from, to [s], where [degC], slope [K/h] and begin of the way to it."""

    start_s: float
    end_s: float
    at_c: float
    rate_c_per_h: float | None
    way_from_s: float | None = None


def setpoint_of(run: Run) -> FloatArray | None:
    """The logged setpoint [degC], shape (n,), or None.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    ndarray or None
        The signal called ``setpoint``, else the first signal with a temperature's unit.
    """
    for column in run.columns:
        if column.kind == "signal" and (column.name == "setpoint" or column.unit in ("C", "F")):
            return run.signal(column.name)
    return None


def stands_of(t_s: FloatArray, setpoint_c: FloatArray) -> tuple[Stand, ...]:
    """Find where a setpoint stood still.

    Parameters
    ----------
    t_s : ndarray
        Times [s], shape (n,).
    setpoint_c : ndarray
        Setpoint [degC], shape (n,), NaN where nothing was read.

    Returns
    -------
    tuple of Stand
        In order of time; stands of less than a minute are left out.
    """
    seen = np.isfinite(setpoint_c)
    t, y = t_s[seen], setpoint_c[seen]
    if t.size < 2:
        return ()
    begins = np.concatenate(([0], np.flatnonzero(np.abs(np.diff(y)) > 1e-6) + 1))
    ends = np.concatenate((begins[1:] - 1, [t.size - 1]))
    long = np.flatnonzero(t[ends] - t[begins] >= SHORTEST_STAND_S)
    stands: list[Stand] = []
    for k in long:
        start, at = float(t[begins[k]]), float(y[begins[k]])
        rate, since = None, None
        if stands and start - stands[-1].end_s >= SHORTEST_STAND_S:
            since = stands[-1].end_s
            rate = (at - stands[-1].at_c) / (start - since) * 3600.0
        stands.append(Stand(start, float(t[ends[k]]), at, rate, since))
    return tuple(stands)


def _program(view: View) -> list[Finding]:
    setpoint = setpoint_of(view.scene.run)
    if setpoint is None:
        return []
    stands = list(stands_of(view.scene.run.t_s, setpoint))
    if not stands:
        return []
    found, rate, at = [], None, 0
    for step in program_setpoints(view.scene.recipe):
        if step.hold_s is None:
            rate = step.rate_c_per_h
            continue
        match = next((k for k in range(at, len(stands)) if _near(stands[k], step)), None)
        if match is None:
            found.append(_differs(view, step, _wrong_level(view, step, stands, at)))
            continue
        found += _compare(view, step, stands[match], rate)
        at = match + 1
    return found


def _near(stand: Stand, step: ProgramStep) -> bool:
    return abs(stand.at_c - step.setpoint_c) <= SAME_SETPOINT_C


def _wrong_level(view: View, step: ProgramStep, stands: list[Stand], at: int) -> str:
    rest = stands[at:] or stands
    nearest = min(rest, key=lambda s: abs(s.at_c - step.setpoint_c))
    return (
        f"the setpoint never stood at {view.temp(step.setpoint_c)} for that hold; nearest {view.temp(nearest.at_c)}, "
        f"{duration(nearest.end_s - nearest.start_s)}"
    )


def _compare(view: View, step: ProgramStep, stand: Stand, rate_c_per_h: float | None) -> list[Finding]:
    """Length of the stand and slope of the way to it, against the program."""
    need, had = step.hold_s or 0.0, stand.end_s - stand.start_s
    spare = max(60.0, 0.05 * need)
    ends_on_record = stand.end_s < view.scene.end_s - 2 * view.scene.chamber.period_s
    if had < need - spare and ends_on_record:
        return [
            _differs(
                view, step, f"the setpoint stood for {duration(had)} where the program says {duration(need)}", stand
            )
        ]
    if rate_c_per_h is not None and stand.rate_c_per_h is not None:
        told = abs(stand.rate_c_per_h)
        waited = told < rate_c_per_h and _at_full_power(view, stand)
        if abs(told - rate_c_per_h) > SETPOINT_PACE * rate_c_per_h and not waited:
            return [
                _differs(
                    view,
                    step,
                    f"the setpoint went at {view.diff(told)} an hour, {view.diff(rate_c_per_h)} in the program",
                    stand,
                )
            ]
        # A controller that waits counts from when the furnace is there.
        there = stand.end_s - max(stand.start_s, _entered(view, step) or stand.start_s)
        if there > need + max(180.0, spare) and ends_on_record:
            says = f"the setpoint stood for {duration(there)} where the program says {duration(need)}"
            return [_differs(view, step, says, stand)]
    return []


def _entered(view: View, step: ProgramStep) -> float | None:
    return next((h.control_enter_s for h in view.holds if h.step == step.number), None)


def _at_full_power(view: View, stand: Stand) -> bool:
    """Whether the output was at its end on the way there: then the controller waited for the furnace."""
    run = view.scene.run
    output = next((run.signal(c.name) for c in run.columns if c.kind == "signal" and c.unit == "%"), None)
    if output is None or stand.way_from_s is None:
        return False
    low, high = np.searchsorted(run.t_s, (stand.way_from_s, stand.start_s))
    part = output[low:high]
    part = part[np.isfinite(part)]
    return bool(part.size) and float(np.quantile(part, 0.75)) >= FULL_OUTPUT


def _differs(view: View, step: ProgramStep, says: str, stand: Stand | None = None) -> Finding:
    return Finding(
        "program differs",
        "warn",
        step.number,
        f"What the controller followed is not the recipe's program: {says}.",
        "Compare the controller with: soakwitness recipe program.",
        at_s=stand.start_s if stand else None,
        until_s=stand.end_s if stand else None,
    )
