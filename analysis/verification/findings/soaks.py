"""Findings on a hold's soak and temperature: short soak, long soak, overshoot, out of band, packet lag."""

from __future__ import annotations

from soakwitness.analysis.verification.findings.view import View, duration, range_words, severity_of
from soakwitness.analysis.verification.model import Finding, HoldResult, Severity
from soakwitness.analysis.verification.overshoot import level_part, overshoot
from soakwitness.firmware_bridge.runfolder.format import often

DIP_WORDS = {
    "door": ("it fell within seconds, as when the door is opened", "Keep the door shut during a hold."),
    "power": (
        "it fell for minutes, as a furnace does without power",
        "Look for a power cut, a tripped contactor or a program that was stopped.",
    ),
    "marked": ("a load, pull or door mark stands there", "Nothing, if the soak is long enough after it."),
    "gap": (
        "readings are missing in the fall, so a sensor or link that was away may have made it",
        "Look at the sensor's connector and at the events of that time.",
    ),
}
GOOD_PART = 0.25
LAG_WORTH_A_WARNING = 0.2  # of the required soak; common practice, no source


def find(view: View) -> list[Finding]:
    """All findings of this topic.

    Parameters
    ----------
    view : View
        The verification.

    Returns
    -------
    list of Finding
        In the order of the holds.
    """
    found: list[Finding] = []
    for hold in view.holds:
        if hold.found:
            found += [
                *_short(view, hold),
                *_long(view, hold),
                *_overshoot(view, hold),
                *_chamber_overshoot(view, hold),
                *_out_of_band(view, hold),
                *_lag(view, hold),
            ]
    return found


def _severity(hold: HoldResult, *names: str) -> Severity:
    """Severity of what a hold's requirements of these names came to."""
    return severity_of("fail" if set(names) & set(hold.unmet) else "not proven", judged=hold.judged)


def _lost_before(view: View, hold: HoldResult) -> bool:
    lost_s = view.scene.lost_s
    return lost_s is not None and hold.control_leave_s is not None and lost_s < hold.control_leave_s


def _where(hold: HoldResult) -> str:
    by = {"load": "at the load sensor", "packet estimate": "by the packet estimate", "control": "at the control sensor"}
    return by[hold.temperature_from or "control"]


def _short(view: View, hold: HoldResult) -> list[Finding]:
    soak = hold.soak_s
    if soak is None or soak.best >= hold.required_s:
        return []
    missing = hold.required_s - soak.best
    worst = [p for p in hold.pieces if p.soak_s.best < hold.required_s]
    who = f" (worst of {len(hold.pieces)} pieces: {min(worst, key=lambda p: p.soak_s.best).piece})" if worst else ""
    restarts = [d for d in hold.dips if d.effect == "new start"]
    why = f" A dip of {duration(restarts[0].end_s - restarts[0].start_s)} started it again." if restarts else ""
    return [
        Finding(
            "short soak",
            _severity(hold, "soak"),
            hold.step,
            f"The {view.hold_words(hold)} soaked {range_words(soak)} {_where(hold)}{who}, "
            f"{duration(missing)} short of {duration(hold.required_s)}.{why}",
            "Look at the load sensor first: it stopped reading in this hold."
            if _lost_before(view, hold)
            else f"Hold it {duration(missing)} longer next time, and decide what becomes of these pieces.",
            at_s=hold.enter_s,
            until_s=hold.leave_s,
            pieces=tuple(p.piece for p in worst if p.piece),
        )
    ]


def _long(view: View, hold: HoldResult) -> list[Finding]:
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
            f"The {view.hold_words(hold)} stood {range_words(longest)} at or above the lower edge, "
            f"{duration(longest.best - hold.at_most_s)} over the {duration(hold.at_most_s)} allowed.",
            "Look for grain growth and retained austenite before these pieces go on; pull earlier next time.",
            at_s=hold.enter_s,
            until_s=hold.leave_s,
        )
    ]


def _overshoot(view: View, hold: HoldResult) -> list[Finding]:
    if hold.overshoot_c is None:
        return []
    least = "at least " if hold.overshoot_is_at_least else ""
    above = f", {duration(hold.above_band_s)} above the band" if hold.above_band_s else ""
    limit = hold.max_overshoot_c
    if limit is not None and hold.overshoot_c > limit:
        return [
            Finding(
                "overshoot",
                _severity(hold, "overshoot"),
                hold.step,
                f"The {view.hold_words(hold)} went {least}{view.diff(hold.overshoot_c)} over its target{above}; "
                f"{view.diff(limit)} are allowed.",
                "Slow the last part of the ramp or add a short hold below the target.",
                at_s=hold.overshoot_at_s,
            )
        ]
    over = hold.overshoot_c - (hold.band_c[1] - hold.target_c)
    swings = any(h.number == hold.step and h.judge_by == "mean" for h in view.scene.recipe.holds)
    if limit is None and over > 0.0 and not _level_above(hold) and not swings:
        return [
            Finding(
                "overshoot",
                "warn" if hold.judged else "note",
                hold.step,
                f"The {view.hold_words(hold)} went {least}{view.diff(hold.overshoot_c)} over its target, "
                f"{view.diff(over)} above its band{above}.",
                "Slow the last part of the ramp, or state max_overshoot in the recipe.",
                at_s=hold.overshoot_at_s,
            )
        ]
    return []


def _chamber_overshoot(view: View, hold: HoldResult) -> list[Finding]:
    """The control sensor overshot although the deciding load sensor did not: something else in there may have."""
    scene = view.scene
    if hold.temperature_from != "load" or scene.edges_on is scene.chamber:
        return []
    step = next(h for h in scene.recipe.holds if h.number == hold.step)
    placed = scene.placed[scene.recipe.holds.index(step)]
    if placed is None or placed.edges is None:
        return []
    allowed = scene.allowed(scene.chamber, placed.edges.enter_s, placed.edges.leave_s, step)
    peak = overshoot(scene.chamber, step, level_part(scene.chamber, step, placed.edges, allowed.noise_c), allowed)
    limit = step.max_overshoot_c if step.max_overshoot_c is not None else step.above_c
    if peak is None or peak.overshoot_c <= limit + allowed.noise_c:
        return []
    return [
        Finding(
            "overshoot",
            "warn" if hold.judged else "note",
            hold.step,
            f"At the control sensor the {view.hold_words(hold)} went {view.diff(peak.overshoot_c)} over its target; "
            "the load sensor decides here, but a thinner piece follows the furnace more closely.",
            "Slow the last part of the ramp where thin pieces are in the same charge.",
            at_s=peak.at_s,
        )
    ]


def _level_above(hold: HoldResult) -> bool:
    return hold.level_c is not None and hold.level_c > hold.band_c[1]


def _mostly_there(hold: HoldResult) -> bool:
    """Whether a hold was at temperature for a good part of it: then what lies below are dips, however long."""
    if not hold.dips or hold.in_band_s is None or hold.enter_s is None or hold.leave_s is None:
        return False
    return hold.in_band_s.above_lower_edge.best >= GOOD_PART * (hold.leave_s - hold.enter_s)


def _out_of_band(view: View, hold: HoldResult) -> list[Finding]:
    low, high = hold.band_c
    band = f"{view.temp(low)} to {view.temp(high)}"
    level = hold.level_c if hold.level_c is not None else hold.target_c
    severity = _severity(hold, "level", "mean", "soak")
    if hold.enter_s is None or level > high or (level < low and not _mostly_there(hold)):
        if hold.enter_s is None and hold.temperature_from == "load" and level < low:
            level_says = (
                f"the load sensor {'stopped reading before it' if _lost_before(view, hold) else 'never'} reached"
            )
        else:
            level_says = f"stood at {view.temp(level)}, {'above' if level > high else 'below'}"
        return [
            Finding(
                "out of band",
                severity,
                hold.step,
                f"The {view.hold_words(hold)}: {level_says} its band of {band}.",
                "Check the sensor against a reference and what was typed into the controller.",
                at_s=hold.stays[0][0] if hold.stays else hold.enter_s,
                until_s=hold.stays[-1][1] if hold.stays else hold.leave_s,
            )
        ]
    if not hold.dips:
        return []
    lowest = min(hold.dips, key=lambda d: d.lowest_c)
    total = sum(d.end_s - d.start_s for d in hold.dips)
    by_estimate = hold.temperature_from == "packet estimate"
    looks = DIP_WORDS[lowest.looks_like]
    says = " A dip of the sensor is not one of the blade; the estimate carries it through." if by_estimate else ""
    return [
        Finding(
            "out of band",
            "note" if by_estimate or not hold.judged else "warn",
            hold.step,
            f"The {view.hold_words(hold)} was below its band {often(len(hold.dips))}, {duration(total)} in all, "
            f"down to {view.temp(lowest.lowest_c)}; {looks[0]}.{says}",
            looks[1],
            at_s=lowest.start_s,
            until_s=lowest.end_s,
        )
    ]


def _lag(view: View, hold: HoldResult) -> list[Finding]:
    lag = hold.lag_s
    if lag is None:
        if hold.never_reached:
            return [_never(view, hold)]
        return []
    heavy = lag.best > LAG_WORTH_A_WARNING * hold.required_s
    what = "packet eats" if hold.temperature_from == "packet estimate" else "load lagged the furnace by"
    guess = " (a model until an instrumented packet was run)" if hold.temperature_from == "packet estimate" else ""
    return [
        Finding(
            "packet lag",
            "warn" if heavy and hold.judged else "note",
            hold.step,
            f"The {what} {range_words(lag)} of the {duration(hold.required_s)} of the {view.hold_words(hold)}{guess}.",
            f"Count the soak from when the blade is there: add about {duration(lag.best)} to the program.",
            at_s=hold.control_enter_s,
        )
    ]


def _never(view: View, hold: HoldResult) -> Finding:
    share = round(100 * (hold.never_reached or 0.0))
    return Finding(
        "packet lag",
        "warn" if hold.judged else "note",
        hold.step,
        f"By the packet estimate the blade may never reach the band of the {view.hold_words(hold)} "
        f"({share} of 100 draws).",
        "Run one packet with a sensor in it and fit the model: soakwitness packet fit.",
        at_s=hold.control_enter_s,
    )
