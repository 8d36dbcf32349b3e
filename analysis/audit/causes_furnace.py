"""Causes in the furnace and its control: program, power, charge, door, mains."""

from __future__ import annotations

from statistics import median

from soakwitness.analysis.audit.case import Case, is_move
from soakwitness.analysis.audit.causes_soak import mass_of
from soakwitness.analysis.audit.hardness_signs import no_trouble_within_the_run, soft_as_quenched
from soakwitness.analysis.audit.statistics import compare
from soakwitness.analysis.audit.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.audit.words import kelvin, minutes, percent, temp
from soakwitness.analysis.condition.figures import DipFigures, RunFigures
from soakwitness.firmware_bridge.runfolder.format import often

SETPOINT_FLOOR_C = 1.5
SLOW = 0.9
HEAVY = 1.5
FULL_PCT = 95.0
GAP_FALL_C = 15.0


def program_edited(case: Case) -> Scale | None:
    """The logged setpoint is not what the recipe asks to be typed in."""
    scale = Scale()
    for hold in case.holds:
        if hold.setpoint_c is None or hold.program_c is None:
            continue
        off = hold.setpoint_c - hold.program_c
        good = [h.setpoint_c for h in case.good_holds(hold.step) if h.setpoint_c is not None]
        if abs(off) > SETPOINT_FLOOR_C:
            says = (
                f"In hold {hold.step} the setpoint stood at {temp(hold.setpoint_c)}, "
                f"the program is {temp(hold.program_c)}"
            )
            if good and abs(median(good) - hold.setpoint_c) <= SETPOINT_FLOOR_C:
                scale.speaks_for(HINT, f"{says}; but so it did in the good runs.")
            else:
                scale.speaks_for(STRONG + LIGHT if not scale.pro else HINT, f"{says}.")
    _hold_shortened(case, scale)
    if not scale.pro and case.has_finding("program differs") and case.good_share_with("program differs") < 0.5:
        scale.speaks_for(FAIR + HINT, case.finding_says("program differs"))
    if not scale.pro:
        return None
    no_trouble_within_the_run(case, scale, "under the same program")
    return scale


def _hold_shortened(case: Case, scale: Scale) -> None:
    """The setpoint left the hold earlier than the program says, and than it did in the good runs."""
    for hold in case.holds:
        if hold.setpoint_s is None or not hold.program_s or hold.setpoint_s > 0.9 * hold.program_s:
            continue
        good = [h.setpoint_s for h in case.good_holds(hold.step) if h.setpoint_s is not None]
        if not good or median(good) > 1.1 * hold.setpoint_s:
            scale.speaks_for(
                STRONG + LIGHT if not scale.pro else HINT,
                f"In hold {hold.step} the setpoint stood for {minutes(hold.setpoint_s)}, the program says "
                f"{minutes(hold.program_s)}.",
            )


def power_low(case: Case) -> Scale | None:
    """At full power the furnace climbs slower than it did in the good runs: mains, or an aged element."""
    scale = Scale()
    here, good = case.condition, case.good_condition
    ratios = _power_ratios(case)
    if len(ratios) >= 2 and median(ratios) < SLOW:
        scale.speaks_for(
            STRONG if len(good) >= 2 else FAIR + HINT,
            f"At full power it climbed at {percent(median(ratios))} of the good runs' rate ({len(ratios)} windows).",
        )
    if not scale.pro:
        _slow_ramps(case, scale, full_only=bool(ratios))
    if not scale.pro:
        return None
    if here is not None and here.output:
        for target, output in here.output.items():
            beside = compare(output, [g.output[target] for g in good if g.output and target in g.output], floor=2.0)
            if beside.spreads is not None and beside.good_median is not None and beside.spreads > 3:
                took = f"It took {output:.0f} % of the output to hold {temp(float(target))}"
                scale.speaks_for(HINT, f"{took}, else {beside.good_median:.0f} %.")
                break
    heavy = charge_ratio(case)
    if heavy is not None and heavy > HEAVY:
        scale.speaks_against(FAIR, f"The charge was {heavy:.1f} times as heavy as the good ones: it may be that.")
    scale.lacks("The mains voltage under load and the element's cold resistance.")
    return scale


def _power_ratios(case: Case) -> list[float]:
    if case.condition is None or not case.condition.full_power:
        return []
    ratios = []
    for window, rate in case.condition.full_power.items():
        good = [g.full_power[window] for g in case.good_condition if g.full_power and window in g.full_power]
        if good:
            ratios.append(rate / median(good))
    return ratios


def _slow_ramps(case: Case, scale: Scale, *, full_only: bool) -> None:
    """Ramps clearly slower than the good runs'; with the output full the furnace could not do more."""
    if case.run is None or not case.run.ramp_rates:
        return
    outputs = case.run.ramp_outputs or {}
    for step, rate in case.run.ramp_rates.items():
        good = [r.ramp_rates[step] for r in case.good if r.ramp_rates and step in r.ramp_rates]
        if not good or rate <= 0 or rate > 0.85 * median(good):
            continue
        says = f"In step {step} it climbed at {percent(rate / median(good))} of the good runs' rate"
        if outputs.get(step, 0.0) >= FULL_PCT:
            scale.speaks_for(STRONG, f"{says}, with the output full.")
            return
        if not outputs and not full_only:
            scale.speaks_for(FAIR + HINT, f"{says}.")
            scale.lacks("The logged output: a controller that was told to climb slower looks the same.")
            return


def charge_ratio(case: Case) -> float | None:
    """How much heavier the charge was than the good ones'.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    float or None
        Ratio of the sums of thickness times blades; of the numbers of pieces where thicknesses are not known.
    """
    if case.run is None:
        return None
    here = [p for p in (*case.evidence.suspects, *case.evidence.siblings) if p.harden == case.run.run]
    others = [[p for p in case.evidence.good if p.harden == r.run] for r in case.good]
    others = [pieces for pieces in others if pieces]
    if not here or not others:
        return None
    masses = [mass_of(p) for p in here]
    beside = [[mass_of(p) for p in pieces] for pieces in others]
    if all(m is not None for m in masses) and all(m is not None for pieces in beside for m in pieces):
        return sum(m or 0.0 for m in masses) / median([sum(m or 0.0 for m in pieces) for pieces in beside])
    return len(here) / median([len(pieces) for pieces in beside])


def overloaded(case: Case) -> Scale | None:
    """More steel than in the good runs, and the furnace felt it."""
    scale = Scale()
    heavy = charge_ratio(case)
    if heavy is None or heavy < HEAVY:
        return None
    scale.speaks_for(FAIR, f"The charge was {heavy:.1f} times as heavy as the good ones.")
    _felt_by_the_furnace(case, scale)
    soft_as_quenched(case, scale)
    return scale


def _felt_by_the_furnace(case: Case, scale: Scale) -> None:
    signs = []
    ratios = _power_ratios(case)
    if ratios and median(ratios) < 0.95:
        signs.append(f"it climbed at {percent(median(ratios))} of their rate")
    if case.run is not None and case.run.recovery_s is not None:
        beside = case.beside_good(case.run.recovery_s, lambda r: r.recovery_s, floor=45.0)
        if beside.spreads is not None and beside.spreads > 2:
            signs.append(f"it took {minutes(case.run.recovery_s)} to recover")
    lags = [f.lag_s for f in case.suspect_figures if f.lag_s is not None]
    good = [p.lag_s for r in case.good for p in r.pieces if p.lag_s is not None]
    if lags and good and max(lags) > median(good) + 60.0:
        signs.append(f"the pieces lagged {minutes(max(lags))}, theirs {minutes(median(good))}")
    shares = [f.soak_share for f in case.suspect_figures if f.soak_share is not None]
    if shares and min(shares) < 0.97:
        signs.append(f"a piece had {percent(min(shares))} of its soak")
    if signs:
        scale.speaks_for(FAIR, f"The furnace felt it: {'; '.join(signs)}.")
    else:
        scale.speaks_against(LIGHT, "Nothing on record shows that the furnace felt it.")


def lone_dips(run: RunFigures) -> list[DipFigures]:
    """Dips of a run that neither loading nor pulling explains.

    Parameters
    ----------
    run : RunFigures
        The run.

    Returns
    -------
    list of DipFigures
        In order of time.
    """
    return [d for d in run.dips if not is_move(run, d.start_s)]


def door_opened(case: Case) -> Scale | None:
    """The reading fell within seconds and came back, or a door was marked, more than in the good runs."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    falls = [d for d in lone_dips(run) if d.quick]
    marks = [t for t in run.door_marks_s if run.holds and not is_move(run, t)]
    if not falls and not marks:
        return None
    good = [sum(d.quick for d in lone_dips(r)) for r in case.good]
    if falls:
        deep = max(falls, key=lambda d: d.depth_c)
        more = not good or len(falls) > median(good)
        weight = (STRONG if deep.depth_c >= 20.0 or len(falls) > 2 else FAIR) if more else HINT
        says = f"The reading fell within seconds {often(len(falls))}, by up to {kelvin(deep.depth_c)}, and came back."
        scale.speaks_for(weight, says)
        if not more:
            scale.speaks_against(FAIR, "The good runs have such dips too.")
    if marks:
        scale.speaks_for(
            LIGHT if falls else FAIR,
            f"A door was marked {often(len(marks))} while it was in use.",
        )
    soft_as_quenched(case, scale)
    return scale


def power_cut(case: Case) -> Scale | None:
    """The temperature sagged as the furnace cools by itself, or readings stopped and went on cooler."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    sags = [d for d in lone_dips(run) if not d.quick and d.depth_c >= GAP_FALL_C]
    over_gaps = [d for d in lone_dips(run) if d.gap and d.depth_c >= GAP_FALL_C]
    if sags or over_gaps:
        worst = max(sags or over_gaps, key=lambda d: d.depth_c)
        says = f"The temperature sagged by {kelvin(worst.depth_c)} over {minutes(worst.seconds)}, as it cools by itself"
        if worst.output_pct is not None and worst.output_pct > 60:
            scale.speaks_for(STRONG, f"{says}, with the output at {worst.output_pct:.0f} %.")
        elif worst.output_pct is not None and worst.output_pct < 5 and not worst.gap:
            scale.speaks_for(FAIR + HINT, f"{says}, with the output off.")
        else:
            scale.speaks_for(STRONG, f"{says}.")
        if over_gaps:
            scale.speaks_for(HINT, "Readings stopped meanwhile and went on cooler.")
    resumed = [detail for _, event, detail in run.events if event == "resumed"]
    if resumed and not scale.pro:
        scale.speaks_for(LIGHT, "The recorder was started anew within the run.")
    if not scale.pro:
        return None
    if any(lone_dips(r) for r in case.good):
        scale.speaks_against(HINT, "Good runs have dips too.")
    soft_as_quenched(case, scale)
    return scale
