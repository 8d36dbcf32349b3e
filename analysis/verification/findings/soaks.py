"""Findings on a hold's soak and temperature: short soak, long soak, overshoot, out of band, packet lag."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.findings import heat
from soakwitness.analysis.verification.findings.view import WHERE, View, hold_words, range_words, severity_of
from soakwitness.analysis.verification.model import Dip, Finding, HoldResult, Looks, Severity
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, often

DIP_WORDS: dict[Looks, tuple[str, str]] = {
    "door": (
        "it fell far faster than this furnace cools and came back within minutes, as when the door is opened",
        "Keep the door shut during a hold.",
    ),
    "power": (
        "it fell as this furnace cools by itself, as without power",
        "Look for a power cut, a tripped contactor or a program that was stopped.",
    ),
    "cycling": (
        "it swings so all the time, as on/off control does",
        "A wider band, or a controller with a shorter cycle.",
    ),
    "undershoot": ("it came after the overshoot, as a controller swings in", "Slow the last part of the ramp."),
    "noise": ("no more than the readings scatter", "Nothing; a wider band or a quieter reading would not show it."),
    "marked": ("a load, pull or door mark stands there", "Nothing, if the soak is long enough after it."),
    "gap": (
        "readings are missing in the fall, so a sensor or link that was away may have made it",
        "Look at the sensor's connector and at the events of that time.",
    ),
    "not told": ("its cause is not told by the record", "Note what was done at that time, if anything."),
}
GOOD_PART = 0.25
LAG_WORTH_A_WARNING = 0.2  # of the required soak; common practice, no source
BACK_C = 15.0  # heating again after a fall: the heat was cut, not the program over


def find(view: View) -> list[Finding]:
    """All findings of this topic, in the order of the holds."""
    found: list[Finding] = []
    for hold in view.holds:
        if hold.found:
            found += [
                *_short(view, hold),
                *_long(hold),
                *heat.of_hold(view, hold),
                *_out_of_band(view, hold),
                *_lag(view, hold),
            ]
    return found


def _severity(hold: HoldResult, *names: str) -> Severity:
    """Severity of what a hold's requirements of these names came to."""
    return severity_of("fail" if set(names) & set(hold.unmet) else "not proven", judged=hold.judged)


def _lost_before(view: View, hold: HoldResult) -> bool:
    """Whether the load sensor that decides stopped reading before the chamber left the hold."""
    load = next((s for s in view.context.loads if s.name == hold.measured_by), None)
    lost = load is not None and hold.control_leave_s is not None and load.last_s < hold.control_leave_s
    return lost and load is not None and load.last_s < view.context.end_s - 3.0 * view.context.chamber.readings.period_s


def _short(view: View, hold: HoldResult) -> list[Finding]:
    soak = hold.soak_s
    if soak is None or soak.best >= hold.required_s or "soak" not in (*hold.unmet, *hold.unproven):
        return []
    missing = hold.required_s - soak.best
    worst = [p for p in hold.pieces if p.soak_s.best < hold.required_s]
    who = f" (worst of {len(hold.pieces)} pieces: {min(worst, key=lambda p: p.soak_s.best).piece})" if worst else ""
    restarts = [d for d in hold.dips if d.effect == "new start"]
    why = f" A dip of {duration(restarts[0].end_s - restarts[0].start_s)} started it again." if restarts else ""
    cut = _heat_cut(view, hold)
    after = f"{_more(view, hold)}, and decide what becomes of these pieces."
    if cut is not None:
        after = "Look for a power cut or a program that was stopped; decide what becomes of these pieces."
    if _lost_before(view, hold):
        after = "Look at the load sensor first: it stopped reading in this hold."
    return [
        Finding(
            "short soak",
            _severity(hold, "soak"),
            hold.step,
            Says.of(
                "The {hold} soaked {soak} {where}{who}, {missing} short of {asked}.{why}{cut}",
                hold=hold_words(hold),
                soak=range_words(soak),
                where=WHERE[hold.temperature_from or "control"],
                who=who,
                missing=duration(missing),
                asked=duration(hold.required_s),
                why=why,
                cut=cut or Says(""),
            ),
            Says.plain(after),
            at_s=hold.enter_s,
            until_s=hold.leave_s,
            pieces=tuple(p.piece for p in worst if p.piece),
        )
    ]


def _heat_cut(view: View, hold: HoldResult) -> Says | None:
    """A hold that ended because its heat went off: it fell early, and was heated again without reaching the band."""
    context = view.context
    if hold.leave_s is None or hold.enter_s is None or any(p.pull_s is not None for p in hold.pieces):
        return None
    trace = context.chamber.readings
    leave_s = hold.control_leave_s if hold.control_leave_s is not None else hold.leave_s
    low, high = trace.between(leave_s, context.end_s)
    part = trace.temp_c[low:high]
    if leave_s - hold.enter_s >= hold.required_s or part.size < 10:
        return None
    bottom = np.minimum.accumulate(part)
    rise = np.flatnonzero((part - bottom > BACK_C) & (part < hold.band_c[0]))
    if not rise.size or bottom[rise[0]] < 0.5 * hold.target_c:
        return None
    lowest = int(part[: rise[0] + 1].argmin())
    off_s = float(trace.t_s[low + lowest]) - leave_s
    return Says.of(
        " The heat went off {at} into it and came back {off} later, at {lowest}: "
        "a power cut, or a program that was stopped and started again.",
        at=duration(leave_s - hold.enter_s),
        off=duration(off_s),
        lowest=Temp(float(part[lowest])),
    )


def _long(hold: HoldResult) -> list[Finding]:
    if hold.at_most_s is None:
        return []
    longest = hold.longest_s
    if longest is None or longest.best <= hold.at_most_s:
        return []
    return [
        Finding(
            "long soak",
            _severity(hold, "longest soak"),
            hold.step,
            Says.of(
                "The {hold} stood {long} at or above the lower edge, {over} over the {allowed} allowed.",
                hold=hold_words(hold),
                long=range_words(longest),
                over=duration(longest.best - hold.at_most_s),
                allowed=duration(hold.at_most_s),
            ),
            Says("Look for grain growth and retained austenite before these pieces go on; pull earlier next time."),
            at_s=hold.enter_s,
            until_s=hold.leave_s,
        )
    ]


def _mostly_there(hold: HoldResult) -> bool:
    """Whether a hold was at temperature for a good part of it: then what lies below are dips, however long."""
    if not hold.dips or hold.in_band_s is None or hold.enter_s is None or hold.leave_s is None:
        return False
    return hold.in_band_s.above_lower_edge.best >= GOOD_PART * (hold.leave_s - hold.enter_s)


def _out_of_band(view: View, hold: HoldResult) -> list[Finding]:
    low, high = hold.band_c
    level = hold.level_c if hold.level_c is not None else hold.target_c
    if hold.enter_s is None or level > high or (level < low and not _mostly_there(hold)):
        return [_beside(view, hold, level)]
    return _dips(hold) if hold.dips else []


def _beside(view: View, hold: HoldResult, level_c: float) -> Finding:
    """A hold that stood beside its band, or a load sensor that never came into it."""
    low, high = hold.band_c
    severity = _severity(hold, "level", "mean", "soak")
    if hold.enter_s is None and hold.temperature_from == "load" and level_c < low:
        says = Says(f"the load sensor {'stopped reading before it' if _lost_before(view, hold) else 'never'} reached")
    else:
        side = "above" if level_c > high else "below"
        says = Says.of("stood at {level}, {side}", level=Temp(level_c), side=side)
    return Finding(
        "out of band",
        severity,
        hold.step,
        Says.of(
            "The {hold}: {says} its band of {low} to {high}.",
            hold=hold_words(hold),
            says=says,
            low=Temp(low),
            high=Temp(high),
        ),
        Says("Check the sensor against a reference and what was typed into the controller."),
        at_s=hold.stays[0][0] if hold.stays else hold.enter_s,
        until_s=hold.stays[-1][1] if hold.stays else hold.leave_s,
    )


def _dips(hold: HoldResult) -> list[Finding]:
    """Dips below the band, what each looks like told together; those of noise alone are none worth telling."""
    dips = [d for d in hold.dips if d.looks_like != "noise"]
    if not dips:
        return []
    lowest = min(dips, key=lambda d: d.lowest_c)
    by_estimate = hold.temperature_from == "packet estimate"
    also = " A dip of the sensor is not one of the blade; the estimate carries it through." if by_estimate else ""
    alike = [d for d in dips if d.looks_like == lowest.looks_like]
    looks, advice = DIP_WORDS[lowest.looks_like]
    other = "" if len(alike) == len(dips) else f" ({len(dips) - len(alike)} of them otherwise)"
    return [
        Finding(
            "out of band",
            "note" if by_estimate or not hold.judged else "warn",
            hold.step,
            Says.of(
                "The {hold} was below its band {often}, {long} in all, down to {lowest}; {looks}{other}.{also}",
                hold=hold_words(hold),
                often=often(len(dips)),
                long=duration(_length(dips)),
                lowest=Temp(lowest.lowest_c),
                looks=looks,
                other=other,
                also=also,
            ),
            Says(advice),
            at_s=lowest.start_s,
            until_s=lowest.end_s,
        )
    ]


def _length(dips: list[Dip]) -> float:
    return sum(d.end_s - d.start_s for d in dips)


def _lag(view: View, hold: HoldResult) -> list[Finding]:
    lag = hold.lag_s
    if lag is None:
        return [_never(hold)] if hold.never_reached else []
    heavy = lag.best > LAG_WORTH_A_WARNING * hold.required_s
    estimated = hold.temperature_from == "packet estimate"
    guess = " (a model until an instrumented packet was run)" if estimated and not hold.fitted else ""
    return [
        Finding(
            "packet lag",
            "warn" if heavy and hold.judged and hold.verdict != "pass" else "note",
            hold.step,
            Says.of(
                "The {what} {lag} of the {asked} of the {hold}{guess}.",
                what="packet eats" if estimated else "load lagged the furnace by",
                lag=range_words(lag),
                asked=duration(hold.required_s),
                hold=hold_words(hold),
                guess=guess,
            ),
            _more_minutes(view, hold),
            at_s=hold.control_enter_s,
        )
    ]


def _more_minutes(view: View, hold: HoldResult) -> Says:
    """One number: how much longer the program must hold, net of what it already adds, so that the soak is sure."""
    soak, extra_s = hold.soak_s, view.context.recipe.program.extra_s
    short_s = 0.0 if soak is None else hold.required_s - soak.low
    if hold.verdict == "pass" or short_s <= 0.0:
        had = f", of which the program already adds {duration(extra_s)}" if extra_s else ""
        return Says.plain(f"Nothing: the soak is counted from when the blade is there{had}.")
    return Says.plain(f"{_more(view, hold)}: the soak counts from the blade.")


def _more(view: View, hold: HoldResult) -> str:
    """How much longer to hold for the soak to be sure, beyond what the program already adds."""
    extra_s = view.context.recipe.program.extra_s
    short_s = hold.required_s - (hold.soak_s.low or hold.soak_s.best) if hold.soak_s is not None else 0.0
    with_that = f" (it already adds {duration(extra_s)})" if extra_s else ""
    return f"Let the program hold {duration(short_s)} longer{with_that}"


def _never(hold: HoldResult) -> Finding:
    share = round(100 * (hold.never_reached or 0.0))
    advice = "Hold longer, or run a thinner piece: the measured packet does not get there in time."
    if not hold.fitted:
        advice = "Run one packet with a sensor in it and fit the model: soakwitness packet fit."
    return Finding(
        "packet lag",
        "warn" if hold.judged else "note",
        hold.step,
        Says.of(
            "By the packet estimate the blade may never reach the band of the {hold} ({share} of 100 draws).",
            hold=hold_words(hold),
            share=str(share),
        ),
        Says(advice),
        at_s=hold.control_enter_s,
    )
