"""Findings on heat over the limit: too hot from load to pull, overshoot of the work, overshoot of the chamber alone."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.metallurgy.equivalents import (
    TEMPER_BELOW_C,
    TEMPER_CONSTANT,
    equal_temper_time_h,
    temper_parameter,
)
from soakwitness.analysis.verification.findings.view import View, hold_words, level_above, where_words
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS
from soakwitness.analysis.verification.measuring.too_hot import hot_limit_c
from soakwitness.analysis.verification.results.verification import Finding, HoldResult, TooHot
from soakwitness.firmware_bridge.common.wording import Diff, PastLimit, Says, Temp, Value, duration

MOST_EQUAL_S = 3_600_000.0
WORTH_SAYING_C = 0.05
OPEN_C = 30.0  # a bare chamber so little over its limit leaves open how hot the work was; common practice, no source


def of_hold(view: View, hold: HoldResult) -> list[Finding]:
    """All findings of this topic for one hold."""
    return [*_too_hot(view, hold), *_overshoot(view, hold), *_chamber_overshoot(view, hold)]


def _too_hot(view: View, hold: HoldResult) -> list[Finding]:
    """Too hot from load to pull, whatever the recipe calls that minute; a hold that is not judged excuses none."""
    hot = hold.too_hot
    told = level_above(hold) and "level" in (*hold.unmet, *hold.unproven)
    if hot is None and "too hot" in hold.unproven and not told:
        return [_too_hot_or_not(view, hold)]
    if hot is None or (told and "too hot" not in hold.unmet):
        return []
    failed = "too hot" in hold.unmet
    inside = hold.enter_s is not None and hold.leave_s is not None and hold.enter_s <= hot.at_s <= hold.leave_s
    if inside and "overshoot" in hold.unmet:
        return []  # the same heat, told once
    if not failed and "too hot" not in hold.unproven:
        return []
    answer = ""
    if hold.temperature_from == "control" and hot.by_c < OPEN_C:
        answer = " A load sensor or a packet would tell whether the work was so hot"
        stated = hold.max_overshoot_c is not None
        answer += "." if stated else "; max_overshoot in the recipe, how far over its target it may go."
    return [
        Finding(
            "out of band",
            "fail" if failed else "warn",
            hold.step,
            Says.of(
                "Too hot around the {hold}: {reached} {where}, held over its limit of {limit}, "
                "for {over} in all.{temper}{answer}",
                hold=hold_words(hold),
                reached=Temp(hot.reached_c),
                where=where_words(view, hold),
                limit=Temp(hot.limit_c),
                over=duration(max(hot.over_s, 1.0)),
                temper=_as_temper(view, hold, hot),
                answer=answer,
            ),
            Says("Test the hardness of these pieces before they go on; check what was typed into the controller."),
            at_s=hot.at_s,
        )
    ]


def _too_hot_or_not(view: View, hold: HoldResult) -> Finding:
    """As read it stayed under its limit, and its sensor's error or a gap leaves open whether it did."""
    gap = view.has_gap(hold)
    brief = Says.of(
        "whether the work stayed under its limit of {limit} around the {hold} is left open by {what}",
        limit=Temp(hot_limit_c(view.recipe_hold(hold))),
        hold=hold_words(hold),
        what="a gap in its readings" if gap else "its sensor's error or its noise",
    )
    return Finding(
        "out of band",
        "warn",
        hold.step,
        Says.of("W{brief}.", brief=Says(brief.template.removeprefix("w"), brief.values)),
        Says("Find out why readings are missing there.")
        if gap
        else Says("Hold it a little lower, or know the sensor better: soakwitness calibrate."),
        at_s=hold.enter_s,
        until_s=hold.leave_s,
        brief=brief,
    )


def _as_temper(view: View, hold: HoldResult, hot: TooHot) -> Says:
    """How long a temper's heat over its limit would take at its target: minutes too hot count for hours."""
    if hold.target_c >= TEMPER_BELOW_C or hold.measured_by is None:
        return Says("")
    trace = next(s for s in view.run.sensors if s.name == hold.measured_by).readings
    load_s = hold.load_s if hold.load_s is not None else -np.inf
    pull_s = hold.pull_s if hold.pull_s is not None else np.inf
    low, high = trace.between(max(load_s, hot.at_s), pull_s)
    temp_c = trace.temp_c[low:high] + hold.added_c
    over = np.flatnonzero(temp_c > hot.limit_c)
    if over.size < 2:
        return Says("")
    # The time over the limit alone, its breaks left out.
    step_s = np.minimum(np.diff(trace.t_s[low:high][over]), GAP_PERIODS * trace.period_s)
    at_s = np.concatenate(([0.0], np.cumsum(step_s)))
    equal_s = equal_temper_time_h(hold.target_c, temper_parameter(at_s, temp_c[over])) * 3600.0
    equal = f"over {duration(MOST_EQUAL_S)}" if equal_s > MOST_EQUAL_S else duration(equal_s)
    return Says.of(
        " That tempers as {equal} at {target} do (Hollomon-Jaffe, C = {constant}).",
        equal=equal,
        target=Temp(hold.target_c),
        constant=f"{TEMPER_CONSTANT:g}",
    )


def _beside(over_c: float, limit_c: float | None) -> Value:
    """An overshoot [K] beside what is allowed."""
    if limit_c is None or over_c <= limit_c:
        return Diff(over_c)
    return PastLimit(Diff(over_c), Diff(limit_c), over=True)


def _overshoot(view: View, hold: HoldResult) -> list[Finding]:
    if hold.overshoot_c is None:
        return []
    limit = hold.max_overshoot_c
    words: dict[str, Value] = {
        "hold": hold_words(hold),
        "over": Says.of(
            "{least}{by}", least="at least " if hold.overshoot_is_at_least else "", by=_beside(hold.overshoot_c, limit)
        ),
        "above": f", {duration(hold.above_band_s)} above the band" if hold.above_band_s else "",
    }
    if limit is not None and hold.overshoot_c > limit:
        return [
            Finding(
                "overshoot",
                "fail" if "overshoot" in hold.unmet else "warn",
                hold.step,
                Says.of(
                    "The {hold} went {over} over its target{above}; {limit} are allowed.", limit=Diff(limit), **words
                ),
                Says("Slow the last part of the ramp or add a short hold below the target."),
                at_s=hold.overshoot_at_s,
            )
        ]
    over = hold.overshoot_c - (hold.band_c[1] - hold.target_c)
    swings = view.recipe_hold(hold).judge_by == "mean"
    told = hold.too_hot is not None and "too hot" in (*hold.unmet, *hold.unproven)
    if over > WORTH_SAYING_C and not level_above(hold) and not swings and not told:
        advice = "Slow the last part of the ramp" + (
            ", or state max_overshoot in the recipe." if limit is None else "."
        )
        return [
            Finding(
                "overshoot",
                "warn" if hold.judged else "note",
                hold.step,
                Says.of("The {hold} went {over} over its target, {by} above its band{above}.", by=Diff(over), **words),
                Says(advice),
                at_s=hold.overshoot_at_s,
            )
        ]
    return []


def _chamber_overshoot(view: View, hold: HoldResult) -> list[Finding]:
    """The chamber went over the limit although the blade is known to have stayed below: something else may have not."""
    measured = view.judged.measured.holds[view.number(hold)]
    on, peak = measured.gathered.chamber, measured.chamber_peak
    if hold.temperature_from not in ("load", "packet estimate"):
        return []
    if on is None or peak is None:
        return []
    limit = hold.max_overshoot_c if hold.max_overshoot_c is not None else on.hold.above_c
    if peak.overshoot_c <= limit + on.allowed.noise_c:
        return []
    return [
        Finding(
            "overshoot",
            "warn" if hold.judged else "note",
            hold.step,
            Says.of(
                "At the control sensor the {hold} went {over} over its target; the {what} decides here, "
                "but a thinner piece follows the furnace more closely.",
                hold=hold_words(hold),
                over=Diff(peak.overshoot_c),
                what="load sensor" if hold.temperature_from == "load" else "blade's estimate",
            ),
            Says("Slow the last part of the ramp where thin pieces are in the same charge."),
            at_s=peak.at_s,
        )
    ]
