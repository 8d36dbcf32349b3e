"""Causes that show as a fall of the reading: a door, a power cut, a circuit that tripped for good."""

from __future__ import annotations

from statistics import median

from soakwitness.analysis.audit.causes.doses import SOFTER
from soakwitness.analysis.audit.causes.hardness_signs import soft_as_quenched
from soakwitness.analysis.audit.causes.heat_doses import furnace_dose, furnace_share
from soakwitness.analysis.audit.causes.in_furnace import climb_ratios
from soakwitness.analysis.audit.contrasts.case import Case, is_move
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.evidence.run_figures import DipFigures, RunFigures
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration, often, percent

LAST_S = 300.0
GAP_FALL_C = 15.0
DEEP_C = 40.0
LONG_S = 240.0
LOOK_S = 600.0
HOT_C = 400.0
BRAKED, BENT = 0.8, 2.5
AS_USUAL, FAR_SLOWER, WEAK = 0.9, 0.7, 0.8


def lone_dips(run: RunFigures) -> list[DipFigures]:
    """Dips of a run that neither loading nor pulling explains.

    Returns in order of time. Where no pull is marked, quick falls of the last five minutes, or once the last hold had
    its time, are taken for the pulling.
    """
    found = [d for d in run.dips if not is_move(run, d.start_s)]
    last = max((h for h in run.holds if h.found), key=lambda h: h.step, default=None)
    if run.pulls_s or any(p.pull_s is not None for p in run.pieces):
        return found
    if last is None:
        return [d for d in found if not d.quick]  # a moment's door makes no hold go missing
    enter = last.chamber_enter_s if last.chamber_enter_s is not None else last.enter_s
    leaves = [t for t in (last.leave_s, None if enter is None else enter + (last.chamber_s or 0.0)) if t is not None]
    ends = [max(leaves) - LAST_S] if leaves else []
    ends += [enter + last.required_s] if enter is not None else []
    return [d for d in found if not (d.quick and ends and d.start_s >= min(ends))]


def odd_falls(case: Case) -> list[DipFigures]:
    """Dips of the run in question that neither pulling nor loading explains.

    One that began with the loading counts where it went far deeper, or fell far longer, than when the good runs were
    loaded: the door stayed open, or the power went, just then.
    """
    run = case.run
    if run is None:
        return []
    lone = lone_dips(run)
    loaded = [d for r in case.good for d in r.dips if is_move(r, d.start_s)]
    deep, long_s = max((d.depth_c for d in loaded), default=0.0), max((d.fall_s for d in loaded), default=0.0)
    back_s = max((d.seconds for d in loaded), default=0.0)
    ratios = [ratio for _, ratio in climb_ratios(case)]
    weak = len(ratios) >= 3 and median(ratios) < WEAK  # it takes long to come back from any load
    loads = [] if weak else [*run.loads_s, *(p.load_s for p in run.pieces if p.load_s is not None)]
    found = [
        d
        for d in run.dips
        if d not in lone
        and any(-60.0 <= d.start_s - load <= 300.0 for load in loads)
        and (
            d.depth_c > max(2.0 * deep, deep + 25.0)
            or d.fall_s > max(3.0 * long_s, long_s + 240.0)
            or d.seconds > max(2.0 * back_s, back_s + 600.0)
        )
    ]
    return sorted([*lone, *found], key=lambda d: d.start_s)


def stood_open(case: Case, dip: DipFigures) -> bool:
    """Whether a long fall is that of an open door: within seconds, bent to a level, or slower than it cools by itself.

    Without heat a furnace falls on as it does every evening; behind an open door the heating goes on and brakes it.
    """
    if dip.quick or case.run is None:
        return dip.quick
    if any(-60.0 <= t - dip.start_s <= 60.0 for t in case.run.door_marks_s):
        return True
    rate = dip.depth_c / max(dip.fall_s, 1.0)
    own, bent = _cooling_c_per_s(case), dip.fall_c_per_s > BENT * rate
    heated = dip.output_pct is None or dip.output_pct > 60.0
    if dip.gap:
        return False
    # it cools the slower the colder it is: a rate on record from further down is a least one
    return bent or (own is not None and rate < BRAKED * own and heated)


def _cooling_c_per_s(case: Case) -> float | None:
    """How fast this furnace cools by itself in the hottest window on record [K/s]."""
    known = [c.cooling for c in (*case.good_condition, *([case.condition] if case.condition else [])) if c.cooling]
    hottest = [max(c.items(), key=lambda item: float(item[0]))[1] for c in known]
    return median(hottest) / 3600.0 if hottest else None


def door_opened(case: Case) -> Scale | None:
    """The reading fell within seconds, or stood low behind a door, more than in the good runs; or a door was marked."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    falls = [d for d in odd_falls(case) if stood_open(case, d)]
    marks = [t for t in run.door_marks_s if run.holds and not is_move(run, t)]
    if not falls and not marks:
        return None
    good = [[d.depth_c for d in lone_dips(r) if d.quick] for r in case.good]
    if falls:
        deep = max(falls, key=lambda d: d.depth_c)
        deepest = max((depth for depths in good for depth in depths), default=0.0)
        more = len(falls) > max(map(len, good), default=0) or deep.depth_c > 1.5 * deepest
        weight = (STRONG if deep.depth_c >= 20.0 or len(falls) > 2 else FAIR) if more else HINT
        if any(d.fall_s >= LONG_S for d in falls):
            says = (
                f"For {duration(max(d.fall_s for d in falls))} it stood low by up to {{most}}, as behind an open door."
            )
        else:
            says = f"The reading fell within seconds {often(len(falls))}, by up to {{most}}, and came back."
        scale.speaks_for(weight, Says.of(says, most=Diff(deep.depth_c)))
        if not more:
            scale.speaks_against(FAIR, "The good runs have such dips too.")
    if marks:
        scale.speaks_for(LIGHT if falls else FAIR, f"A door was marked {often(len(marks))} while it was in use.")
    scale.dose = furnace_dose(case)
    soft_as_quenched(case, scale)
    return scale


def power_cut(case: Case) -> Scale | None:
    """The temperature sagged as the furnace cools by itself, or readings stopped and went on cooler."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    odd = [d for d in odd_falls(case) if d.depth_c >= GAP_FALL_C]
    sags = [d for d in odd if not d.quick and not stood_open(case, d)]
    over_gaps = [d for d in odd if d.gap]
    if sags or over_gaps:
        _sagged(max(sags or over_gaps, key=lambda d: d.depth_c), scale)
        if over_gaps:
            scale.speaks_for(HINT, "Readings stopped meanwhile and went on cooler.")
    _fell_in_a_gap(run, scale)
    resumed = [detail for _, event, detail in run.events if event == "resumed"]
    if resumed and not scale.pro:
        scale.speaks_for(LIGHT, "The recorder was started anew within the run.")
    if not scale.pro:
        return None
    if any(lone_dips(r) for r in case.good):
        scale.speaks_against(HINT, "Good runs have dips too.")
    scale.dose = furnace_dose(case)
    soft_as_quenched(case, scale)
    return scale


def _fell_in_a_gap(run: RunFigures, scale: Scale) -> None:
    """Readings stopped while it was hot and went on far cooler: the recorder was without power as well."""
    gaps = zip(run.gaps, run.gap_c, run.gap_end_c, strict=False)
    falls = [(a - b, end - start) for (start, end), a, b in gaps if a > HOT_C and a - b >= GAP_FALL_C * 2.0]
    if falls and not scale.pro:
        depth, seconds = max(falls)
        says = f"Readings stopped for {duration(seconds)} and went on {{depth}} cooler."
        scale.speaks_for(STRONG, Says.of(says, depth=Diff(depth)))


def _sagged(worst: DipFigures, scale: Scale) -> None:
    words = f"The temperature sagged by {{depth}} over {duration(worst.seconds)}, as it cools by itself"
    says = Says.of(words, depth=Diff(worst.depth_c))
    if worst.output_pct is not None and worst.output_pct > 60:
        scale.speaks_for(STRONG, Says.of(f"{{says}}, with the output at {worst.output_pct:.0f} %.", says=says))
    elif worst.output_pct is not None and worst.output_pct < 5 and not worst.gap and worst.depth_c < DEEP_C:
        scale.speaks_for(FAIR + HINT, Says.of("{says}, with the output off.", says=says))
    else:
        scale.speaks_for(STRONG, Says.of("{says}.", says=says))


def tripped(case: Case) -> Scale | None:
    """From one moment on it cooled by itself though it was asked to heat, and it never came back."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    lost = run.heat_lost
    if lost is not None and (lost.output_pct is not None or lost.setpoint_c is not None):
        asked = (
            f"with the output at {lost.output_pct:.0f} %"
            if lost.output_pct is not None
            else "with the setpoint standing at {asked}"
        )
        says = f"From {{at}} on it cooled by itself, {asked}, and never came back."
        figures = {"at": Temp(lost.at_c), "asked": Temp(lost.setpoint_c if lost.setpoint_c is not None else 0.0)}
        scale.speaks_for(STRONG + LIGHT, Says.of(says, **figures))
        if run.pulls_s and min(run.pulls_s) - lost.at_s > LOOK_S:  # quenched from wherever it had cooled to
            scale.dose = furnace_dose(case).or_else(SOFTER)
    else:
        _cooled_with_pieces_inside(case, scale)
        if not scale.pro and lost is not None and run.pulls_s and min(run.pulls_s) - lost.at_s > LAST_S:
            waited = duration(min(run.pulls_s) - lost.at_s)
            says = f"From {{at}} on it cooled for good, and the pieces stayed inside for another {waited}."
            scale.speaks_for(STRONG + LIGHT, Says.of(says, at=Temp(lost.at_c)))
            scale.dose = SOFTER
    if not scale.pro:
        _slow_from_here(case, scale)
    if not scale.pro:
        return None
    scale.dose = scale.dose or furnace_dose(case)
    soft_as_quenched(case, scale)
    return scale


def _cooled_with_pieces_inside(case: Case, scale: Scale) -> None:
    """Nobody lets a furnace cool with blades inside that he means to pull hot."""
    came_back = odd_falls(case)
    for hold in case.holds[-1:]:
        share = furnace_share(case, hold)
        pulls = [f.pull_s for f in case.suspect_figures if f.pull_s is not None]
        if share is None or share >= 0.97 or hold.leave_s is None or not pulls or hold.output_pct == 0.0:
            continue
        waited = min(pulls) - hold.leave_s
        if waited > LAST_S and not any(d.seconds >= LONG_S and d.start_s > hold.leave_s - LOOK_S for d in came_back):
            says = f"It left step {hold.step} too early, and the pieces stayed inside for another {duration(waited)}."
            scale.speaks_for(FAIR + HINT, says)
            scale.dose = SOFTER


def _slow_from_here(case: Case, scale: Scale) -> None:
    """It climbed as usual up to one window and far slower from there on: part of the heating went out."""
    ratios = climb_ratios(case)
    for at in range(2, len(ratios) - 1):
        before, after = [r for _, r in ratios[:at]], [r for _, r in ratios[at:]]
        if min(before) >= AS_USUAL and max(after) <= FAR_SLOWER:
            says = "Up to {at} it climbed as in the good runs, from there on at {share} of their rate."
            scale.speaks_for(STRONG, Says.of(says, at=Temp(ratios[at][0]), share=percent(sum(after) / len(after))))
            return
