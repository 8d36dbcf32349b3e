"""What made a soak short and what cures it: more minutes help only a hold that was too short itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.findings.view import View
from soakwitness.analysis.verification.measuring.dips import POWER_FASTER, POWER_SLOWER
from soakwitness.analysis.verification.results.verification import HoldResult
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration

OFF_SHARE = 0.5  # of the lower tolerance: so far below its target a hold was set too low
EARLY_S = 60.0
BACK_C = 15.0  # heating again after a fall: the heat was cut, not the program over
DECIDE = "decide about these pieces"


def lost_before(view: View, hold: HoldResult) -> bool:
    """Whether the load sensor that decides stopped reading before the chamber left the hold."""
    load = next((s for s in view.run.loads if s.name == hold.measured_by), None)
    lost = load is not None and hold.control_leave_s is not None and load.last_s < hold.control_leave_s
    return lost and load is not None and load.last_s < view.run.end_s - 3.0 * view.run.chamber.readings.period_s


def is_short(hold: HoldResult) -> bool:
    """Whether a hold is told as a short soak."""
    soak = hold.soak_s
    return soak is not None and soak.best < hold.required_s and "soak" in (*hold.unmet, *hold.unproven)


def only_bounded(hold: HoldResult) -> bool:
    """Whether what is open of a hold rests on marks that were inferred from a dip."""
    return any(piece.bounds and piece.verdict == "not proven" for piece in hold.pieces)


def cure(view: View, hold: HoldResult, *, restarts: bool, as_typed: bool = True) -> Says:
    """What to do about a short soak, by what made it short; more minutes cure only a hold that was too short itself."""
    if lost_before(view, hold):
        return Says("Look at the load sensor first: it stopped reading in this hold.")
    if only_bounded(hold) and "soak" not in hold.unmet:
        return Says("Ask who was there: a mark with the time that somebody saw, in place of the inferred one, decides.")
    if not (hold.began and hold.ended):
        return Says("Record from the load to the pull: what was not recorded can be neither shown nor denied.")
    if hold.soak_s is not None and hold.soak_s.high >= hold.required_s and "soak" not in hold.unmet:
        return Says("See what would prove it; until then decide about these pieces.")
    if heat_cut(view, hold) is not None:
        return Says(f"Look for a power cut or a program that was stopped; {DECIDE}.")
    set_to_c = hold.shown_by.set_to_c if hold.measured_by == view.run.chamber.name else None
    level_c = hold.level_c if hold.level_c is not None else hold.target_c
    if set_to_c is not None and level_c < hold.target_c - OFF_SHARE * (hold.target_c - hold.band_c[0]):
        return Says.of(
            "Set the controller to {set_to}: then it is truly at {target}; {decide}.",
            set_to=Temp(set_to_c),
            target=Temp(hold.target_c),
            decide=DECIDE,
        )
    if hold.temperature_from == "control" and level_c < hold.band_c[0]:
        return Says.of(
            "Set it hotter: it stood {by} under its band, and no time there counts; {decide}.",
            by=Diff(hold.band_c[0] - level_c),
            decide=DECIDE,
        )
    if hold.enter_s is None:
        return Says(f"It was never there: a longer hold before it, a thinner packet or the right setting; {DECIDE}.")
    if restarts:
        return Says(f"Find out what the dip was, and let the soak begin again after such a one; {DECIDE}.")
    if not as_typed:
        return Says(f"Correct the program before the next load: soakwitness recipe program; {DECIDE}.")
    early_s = (hold.control_leave_s or 0.0) - hold.pull_s if hold.pull_s is not None else 0.0
    if early_s > EARLY_S:
        missing, early = duration(hold.required_s - _sure_s(hold)), duration(early_s)
        return Says(f"Leave it in {missing} longer: it came out {early} early; {DECIDE}.")
    return Says(f"{_more(view, hold)}, and {DECIDE}.")


def _sure_s(hold: HoldResult) -> float:
    """The soak that is sure [s], the best figure where nothing is sure."""
    soak = hold.soak_s
    return 0.0 if soak is None else soak.low if soak.low > 0.0 else soak.best


@dataclass(frozen=True)
class HeatCut:
    """What a furnace did without its heat, in words, and when it was heated again [s]."""

    says: Says
    again_s: float


def heat_cut(view: View, hold: HoldResult) -> HeatCut | None:
    """A hold that ended because its heat went off: it fell early, and was heated again without reaching the band."""
    run = view.run
    if hold.leave_s is None or hold.enter_s is None or hold.pull_s is not None:
        return None
    trace = run.chamber.readings
    leave_s = hold.control_leave_s if hold.control_leave_s is not None else hold.leave_s
    low, high = trace.between(leave_s, run.end_s)
    part = trace.temp_c[low:high]
    if leave_s - hold.enter_s >= hold.required_s or part.size < 10:
        return None
    bottom = np.minimum.accumulate(part)
    rise = np.flatnonzero((part - bottom > BACK_C) & (part < hold.band_c[0]))
    if not rise.size or bottom[rise[0]] < 0.5 * hold.target_c:
        return None
    lowest = int(part[: rise[0] + 1].argmin())
    if not _cools_by_itself(run, trace.t_s[low : low + lowest + 1], part[: lowest + 1]):
        return None
    again_s = float(trace.t_s[low + lowest])
    says = Says.of(
        "fell as it cools without heat for {off}, to {lowest}, and was heated again",
        off=duration(again_s - leave_s),
        lowest=Temp(float(part[lowest])),
    )
    return HeatCut(says, again_s)


def _cools_by_itself(run: GatheredRun, t_s: FloatArray, temp_c: FloatArray) -> bool:
    """Whether a fall is this furnace's own cooling, not a programmed one or a door."""
    if t_s.size < 2 or t_s[-1] <= t_s[0]:
        return False
    own = run.cooling.rate_c_per_s(float(temp_c.mean()))
    fell_c_per_s = float(temp_c[0] - temp_c[-1]) / float(t_s[-1] - t_s[0])
    return own is not None and POWER_SLOWER * own <= fell_c_per_s <= POWER_FASTER * own


def more_minutes(view: View, hold: HoldResult) -> Says:
    """What a lag asks for: nothing, or what the short soak already says, or the one number that makes the soak sure."""
    soak, extra_s = hold.soak_s, view.run.recipe.program.extra_s
    if is_short(hold):
        return Says("As for the short soak: it is counted from when the blade is there.")
    by_gap = soak is not None and soak.best >= hold.required_s and view.has_gap(hold)
    if soak is None or by_gap or hold.verdict == "pass" or not 0.0 < soak.low < hold.required_s:
        had = f", of which the program already adds {duration(extra_s)}" if extra_s else ""
        return Says.plain(f"Nothing: the soak is counted from when the blade is there{had}.")
    return Says.plain(f"{_more(view, hold)}, for the soak to be sure: it is counted from when the blade is there.")


def _more(view: View, hold: HoldResult) -> str:
    """How much longer to hold for the soak to be sure, beyond what the program already adds."""
    extra_s = view.run.recipe.program.extra_s
    with_that = f" (it already adds {duration(extra_s)})" if extra_s else ""
    return f"Let the program hold {duration(hold.required_s - _sure_s(hold))} longer{with_that}"
