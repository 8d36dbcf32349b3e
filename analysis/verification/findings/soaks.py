"""Findings on a hold's soak and temperature: short soak, long soak, overshoot, out of band, packet lag."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from soakwitness.analysis.metallurgy.equivalents import TEMPER_BELOW_C
from soakwitness.analysis.verification.findings import heat
from soakwitness.analysis.verification.findings.charge_and_quench import loading_dips, unmarked_load
from soakwitness.analysis.verification.findings.cures import (
    HeatCut,
    cure,
    heat_cut,
    is_short,
    lost_before,
    more_minutes,
)
from soakwitness.analysis.verification.findings.view import View, hold_words, range_words, severity_of, where_words
from soakwitness.analysis.verification.results.verification import Dip, Finding, HoldResult, Looks, Severity
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration, often

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
OFF_FOR_LONGER = " The computer was off for longer than is on record; the furnace may have held meanwhile."
GOOD_PART = 0.25
LAG_WORTH_A_WARNING = 0.2  # of the required soak; common practice, no source
LOADS_S = 120.0


def find(view: View, not_as_typed: Collection[int | None] = ()) -> list[Finding]:
    """All findings of this topic, in the order of the holds; ``not_as_typed``: steps of another program."""
    found: list[Finding] = []
    for hold in view.holds:
        if hold.found:
            found += [
                *_short(view, hold, as_typed=hold.step not in not_as_typed),
                *_long(hold),
                *heat.of_hold(view, hold),
                *_out_of_band(view, hold),
                *_lag(view, hold),
            ]
    return found


def _severity(hold: HoldResult, *names: str) -> Severity:
    """Severity of what a hold's requirements of these names came to."""
    return severity_of("fail" if set(names) & set(hold.unmet) else "not proven", judged=hold.judged)


def _short(view: View, hold: HoldResult, *, as_typed: bool) -> list[Finding]:
    soak = hold.soak_s
    if soak is None or not is_short(hold):
        return []
    worst = [p for p in hold.pieces if p.soak_s.best < hold.required_s]
    shortest = min(worst, key=lambda p: p.soak_s.best, default=None)
    who = "" if shortest is None else f" ({shortest.piece})"
    if shortest is not None and len(hold.pieces) > 1:
        who = f" (worst of {len(hold.pieces)} pieces: {shortest.piece})"
    restarts = [d for d in _own_dips(hold) if d.effect == "new start"]
    cut = heat_cut(view, hold)
    why = f" A dip of {duration(restarts[0].end_s - restarts[0].start_s)} started it again." if restarts else ""
    why += OFF_FOR_LONGER if soak.endless else ""
    return [
        Finding(
            "short soak",
            _severity(hold, "soak"),
            hold.step,
            Says.of(
                "The {hold} soaked {least}{soak} {where}{who}, {missing} short of {asked}.{why}{cut}",
                hold=hold_words(hold),
                least="" if hold.began and hold.ended else "at least ",
                soak=range_words(soak),
                where=where_words(view, hold),
                who=who,
                missing=duration(hold.required_s - soak.best),
                asked=duration(hold.required_s),
                why=why,
                cut=Says.of(
                    " Then the furnace {cut}: a power cut, or a program stopped and started again.", cut=cut.says
                )
                if cut is not None
                else Says(""),
            ),
            cure(view, hold, restarts=bool(restarts), as_typed=as_typed),
            at_s=hold.enter_s,
            until_s=hold.leave_s,
            pieces=tuple(p.piece for p in worst if p.piece),
            brief=_never_came(view, hold) or _broken_off(cut, restarts),
            moments=(("heated again", cut.again_s),) if cut is not None else (),
        )
    ]


def _never_came(view: View, hold: HoldResult) -> Says | None:
    """How far a load sensor came that stayed below the band for as long as the furnace held."""
    load = next((s for s in view.run.loads if s.name == hold.measured_by), None)
    if load is None or hold.enter_s is not None or not hold.stays or lost_before(view, hold):
        return None
    low, high = load.readings.between(hold.stays[0][0], hold.stays[-1][1])
    read_c = load.readings.temp_c[low:high] + hold.added_c
    if not np.isfinite(read_c).any() or float(np.nanmax(read_c)) >= hold.band_c[0]:
        return None
    return Says.of("the load sensor came to {peak}", peak=Temp(float(np.nanmax(read_c))))


def _broken_off(cut: HeatCut | None, restarts: list[Dip]) -> Says | None:
    """What broke a soak off, in few words."""
    if cut is not None:
        return Says.of("then the furnace {cut}", cut=cut.says)
    if not restarts:
        return None
    longest = max(restarts, key=lambda d: d.end_s - d.start_s)
    return Says.of(
        "{what} of {long} to {lowest} began it again",
        what="a power cut" if longest.looks_like == "power" else "a dip",
        long=duration(longest.end_s - longest.start_s),
        lowest=Temp(longest.lowest_c),
    )


def _own_dips(hold: HoldResult) -> list[Dip]:
    """Dips while the piece that the figures are of was inside: the loading of another charge is none of its."""
    load_s = hold.load_s if hold.load_s is not None else -np.inf
    pull_s = hold.pull_s if hold.pull_s is not None else np.inf
    return [d for d in hold.dips if d.start_s > load_s and d.end_s < pull_s]


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
            Says("A long temper softens a little: test the hardness; pull earlier next time.")
            if hold.target_c < TEMPER_BELOW_C
            else Says(
                "Look for grain growth and retained austenite before these pieces go on; pull earlier next time."
            ),
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
    return _dips(view, hold) if hold.dips else []


def _beside(view: View, hold: HoldResult, level_c: float) -> Finding:
    """A hold that stood beside its band, or a load sensor that never came into it."""
    low, high = hold.band_c
    severity = _severity(hold, "level", "mean", "soak")
    if hold.enter_s is None and hold.temperature_from == "load" and level_c < low:
        which = where_words(view, hold).removeprefix("at ")
        says = Says.plain(f"{which} {'stopped reading before it' if lost_before(view, hold) else 'never'} reached")
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
        _where_it_stands(view, hold, level_c),
        at_s=hold.stays[0][0] if hold.stays else hold.enter_s,
        until_s=hold.stays[-1][1] if hold.stays else hold.leave_s,
    )


def _where_it_stands(view: View, hold: HoldResult, level_c: float) -> Says:
    """Where to look; who set the controller off the recipe on purpose may know that the sensor is hot by its place."""
    offset_c = view.run.recipe.program.offset_c
    as_typed = offset_c != 0.0 and abs(level_c - hold.target_c - offset_c) <= hold.band_c[1] - hold.target_c
    if as_typed and hold.temperature_from == "control" and hold.shown_by.place is None:
        return Says.of(
            "It stands as the program's offset of {offset} puts it. If the work's place differs from the sensor's, say "
            "so with a figure: soakwitness place. An offset alone excuses nothing.",
            offset=Diff(offset_c, signed=True),
        )
    return Says("Check the sensor against a reference and what was typed into the controller.")


def _dips(view: View, hold: HoldResult) -> list[Finding]:
    """Dips below the band, what each looks like told together; those of noise alone are none worth telling.

    What may be the loading that nobody marked is told there.
    """
    loadings = [at for at, _ in loading_dips(view.run)] if unmarked_load(view.run) else []
    dips = [
        d
        for d in hold.dips
        if d.looks_like != "noise" and not any(d.start_s - LOADS_S <= at <= d.end_s for at in loadings)
    ]
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
            more_minutes(view, hold),
            at_s=hold.control_enter_s,
        )
    ]


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
