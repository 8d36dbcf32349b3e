"""Findings on ramps and on what the controller was told: slow ramp, fast ramp, program differs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.program import ProgramStep, program_setpoints
from soakwitness.analysis.recipes.recipe import Ramp
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.findings.view import View, severity_of
from soakwitness.analysis.verification.results.verification import Finding, RampResult
from soakwitness.firmware_bridge.common.wording import PastLimit, Rate, Says, Temp, duration, duration_of

OFF_PACE = 0.2  # of the stated rate; common practice, no source
SAME_SETPOINT_C = 1.5
SHORTEST_STAND_S = 60.0
SETPOINT_PACE = 0.15
FULL_OUTPUT = 95.0


def find(view: View) -> list[Finding]:
    """All findings of this topic, in the order of the steps."""
    found = []
    for step in view.run.recipe.steps:
        if isinstance(step, Ramp) and step.number in view.ramps:
            found += _pace(view, step, view.ramps[step.number])
    return [*found, *_program(view)]


@dataclass(frozen=True)
class PaceCause:
    """What a record shows of why a ramp ran as it did, in a few words after its rate, and what to do about it."""

    words: str
    next: str


UNSEEN = {
    "slow ramp": PaceCause("", "Check the rate in the controller, the mains voltage and the elements."),
    "fast ramp": PaceCause("", "Check the rate that was typed into the controller."),
}
NO_MORE_POWER = PaceCause(
    " with the output full", "It could do no more: look at the charge, the mains voltage and the elements."
)
AS_TOLD = PaceCause(", as its setpoint did", "Check the rate that was typed into the controller.")


def cause_of_pace(view: View, code: str, ramp: RampResult) -> PaceCause:
    """Why a ramp was too slow or too fast, where output or setpoint show it."""
    if ramp.start_s is None or ramp.end_s is None or ramp.rate_c_per_h is None:
        return UNSEEN[code]
    if code == "slow ramp" and _full_between(view, ramp.start_s, ramp.end_s):
        return NO_MORE_POWER
    told, pace = _setpoint_pace(view, ramp.start_s, ramp.end_s), abs(ramp.rate_c_per_h)
    return AS_TOLD if told is not None and abs(told - pace) <= SETPOINT_PACE * pace else UNSEEN[code]


def _setpoint_pace(view: View, start_s: float, end_s: float) -> float | None:
    """Rate of the setpoint [K/h] in a time, over the middle of its way; None where it jumped, or is not on record."""
    run = view.run.record
    setpoint = run.signal("setpoint")
    if setpoint is None:
        return None
    inside = (run.t_s >= start_s) & (run.t_s <= end_s) & np.isfinite(setpoint)
    t, y = run.t_s[inside], setpoint[inside]
    if y.size < 2:
        return None
    way = np.abs(y - y[0]) / max(abs(float(y[-1] - y[0])), 1e-9)
    first, last = int(np.argmax(way >= 0.1)), int(np.argmax(way >= 0.9))
    took_s = float(t[last] - t[first])
    return abs(float(y[last] - y[first])) / took_s * 3600.0 if took_s >= SHORTEST_STAND_S else None


def _pace(view: View, step: Ramp, ramp: RampResult) -> list[Finding]:
    if ramp.rate_c_per_h is None:
        return []
    pace = abs(ramp.rate_c_per_h)
    for code, limit, broken in (
        ("slow ramp", step.min_rate_c_per_h, step.min_rate_c_per_h is not None and pace < step.min_rate_c_per_h),
        ("fast ramp", step.max_rate_c_per_h, step.max_rate_c_per_h is not None and pace > step.max_rate_c_per_h),
    ):
        if broken and limit is not None:
            cause = cause_of_pace(view, code, ramp)
            broke = Says.of(
                "ramp to {to} ran at {pace}{cause}, {word} {limit} is asked",
                to=Temp(step.to_c),
                pace=PastLimit(Rate(pace), Rate(limit), over=pace > limit),
                cause=cause.words,
                word="at least" if code == "slow ramp" else "at most",
                limit=Rate(limit),
            )
            return [
                Finding(
                    code,
                    severity_of("fail"),
                    step.number,
                    Says.of("The {what}.", what=broke),
                    Says(cause.next),
                    at_s=ramp.start_s,
                    until_s=ramp.end_s,
                    brief=broke,
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
            Says.of(
                "The ramp to {to} ran at {pace} where {stated} is written.",
                to=Temp(step.to_c),
                pace=Rate(pace),
                stated=Rate(stated),
            ),
            Says(
                "A controller that waits for the furnace stretches a ramp: look at full-power rates over the last runs."
                if slow
                else "Check the rate that was typed into the controller."
            ),
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


def stands_of(t_s: FloatArray, setpoint_c: FloatArray) -> tuple[Stand, ...]:
    """Where a setpoint [degC], NaN where nothing was read, stood still for a minute or more, in order of time [s]."""
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
    setpoint = view.run.record.signal("setpoint")
    if setpoint is None:
        return []
    stands = list(stands_of(view.run.record.t_s, setpoint))
    if not stands:
        return []
    found, rate, at = [], None, 0
    for step in program_setpoints(view.run.recipe):
        if step.hold_s is None:
            rate = step.rate_c_per_h
            continue
        match = next((k for k in range(at, len(stands)) if _near(view, stands[k], step)), None)
        if match is None:
            found.append(_differs(step, _wrong_level(step, stands, at)))
            continue
        found += _compare(view, step, stands[match], rate)
        at = match + 1
    return found


def _near(view: View, stand: Stand, step: ProgramStep) -> bool:
    """Whether the setpoint stood where the program says, or where the control sensor's calibration puts that."""
    hold = next(h for h in view.run.recipe.holds if h.number == step.number)
    set_to_c = view.run.chamber.errors.known_at(hold).set_to_c
    meant = [step.setpoint_c, *([] if set_to_c is None else [step.setpoint_c - hold.target_c + set_to_c])]
    return any(abs(stand.at_c - setpoint_c) <= SAME_SETPOINT_C for setpoint_c in meant)


def _wrong_level(step: ProgramStep, stands: list[Stand], at: int) -> Says:
    rest = stands[at:] or stands
    nearest = min(rest, key=lambda s: abs(s.at_c - step.setpoint_c))
    return Says.of(
        "the setpoint never stood at {asked} for that hold; nearest {nearest}, {long}",
        asked=Temp(step.setpoint_c),
        nearest=Temp(nearest.at_c),
        long=duration(nearest.end_s - nearest.start_s),
    )


def _compare(view: View, step: ProgramStep, stand: Stand, rate_c_per_h: float | None) -> list[Finding]:
    """Length of the stand and slope of the way to it, against the program."""
    need, had = step.hold_s or 0.0, stand.end_s - stand.start_s
    spare = max(60.0, 0.05 * need)
    ends_on_record = stand.end_s < view.run.end_s - 2 * view.run.chamber.readings.period_s
    stood = "the setpoint stood for {had} where the program says {need}"
    if had < need - spare and ends_on_record:
        extra_s = view.run.recipe.program.extra_s
        with_lag = f" ({duration(extra_s).removesuffix(' min')} for the lag)" if extra_s else ""
        brief = Says(f"the setpoint stood for {duration_of(had, need)}{with_lag}")
        return [_differs(step, Says.of(stood, had=duration(had), need=duration(need)), stand, brief)]
    if rate_c_per_h is not None and stand.rate_c_per_h is not None:
        told = abs(stand.rate_c_per_h)
        waited = told < rate_c_per_h and _at_full_power(view, stand)
        if abs(told - rate_c_per_h) > SETPOINT_PACE * rate_c_per_h and not waited:
            says = Says.of(
                "the setpoint went at {told}, {asked} in the program", told=Rate(told), asked=Rate(rate_c_per_h)
            )
            return [_differs(step, says, stand)]
        # A controller that waits counts from when the furnace is there.
        there = stand.end_s - max(stand.start_s, _entered(view, step) or stand.start_s)
        if there > need + max(180.0, spare) and ends_on_record:
            return [_differs(step, Says.of(stood, had=duration(there), need=duration(need)), stand)]
    return []


def _entered(view: View, step: ProgramStep) -> float | None:
    return next((h.control_enter_s for h in view.holds if h.step == step.number), None)


def _at_full_power(view: View, stand: Stand) -> bool:
    """Whether the output was at its end on the way there: then the controller waited for the furnace."""
    return stand.way_from_s is not None and _full_between(view, stand.way_from_s, stand.start_s)


def _full_between(view: View, start_s: float, end_s: float) -> bool:
    """Whether the output, where it is on record, was at its end for most of a time."""
    run = view.run.record
    output = next((run.signal(c.name) for c in run.columns if c.kind == "signal" and c.unit == "%"), None)
    if output is None:
        return False
    low, high = np.searchsorted(run.t_s, (start_s, end_s))
    part = output[low:high]
    part = part[np.isfinite(part)]
    return bool(part.size) and float(np.quantile(part, 0.75)) >= FULL_OUTPUT


def _differs(step: ProgramStep, says: Says, stand: Stand | None = None, brief: Says | None = None) -> Finding:
    return Finding(
        "program differs",
        "warn",
        step.number,
        Says.of("What the controller followed is not the recipe's program: {says}.", says=says),
        Says("Compare the controller with: soakwitness recipe program."),
        at_s=stand.start_s if stand else None,
        until_s=stand.end_s if stand else None,
        brief=brief or says,
    )
