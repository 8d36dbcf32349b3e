"""Causes in the furnace and its control: program, power, charge, door, mains."""

from __future__ import annotations

import re
from statistics import median

from soakwitness.analysis.audit.causes.doses import level as dose_of_level
from soakwitness.analysis.audit.causes.doses import short_soak, worst
from soakwitness.analysis.audit.causes.hardness_signs import soft_as_quenched
from soakwitness.analysis.audit.causes.heat_doses import furnace_dose, furnace_share, heat_dose, missing_near, soak_dose
from soakwitness.analysis.audit.causes.in_soak import SHORT_SHARE, mass_of, packet_ratio
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Dose
from soakwitness.analysis.audit.contrasts.statistics import compare
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence
from soakwitness.analysis.evidence.run_figures import FindingFigures, RunFigures
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, percent

SETPOINT_FLOOR_C = 1.5
SLOW = 0.9
HEAVY, VERY_HEAVY = 1.5, 2.0
THICK = 1.3
MOST_OF = 0.6
INTO_THE_CHARGE = 0.5  # of the heat at most, with an ordinary charge; common practice, no source
FULL_PCT = 95.0


def program_edited(case: Case) -> Scale | None:
    """The logged setpoint is not what the recipe asks to be typed in."""
    scale = Scale()
    for hold in case.holds:
        if hold.setpoint_c is None or hold.program_c is None:
            continue
        off = hold.setpoint_c - hold.program_c
        good = [h.setpoint_c for h in case.good_holds(hold.step) if h.setpoint_c is not None]
        if abs(off) > SETPOINT_FLOOR_C:
            says = f"In step {hold.step} the setpoint stood at {{at}}, the program is {{asked}}"
            figures = {"at": Temp(hold.setpoint_c), "asked": Temp(hold.program_c)}
            if good and abs(median(good) - hold.setpoint_c) <= SETPOINT_FLOOR_C:
                scale.speaks_for(HINT, Says.of(says + "; but so it did in the good runs.", **figures))
            else:
                scale.speaks_for(STRONG + LIGHT if not scale.pro else HINT, Says.of(says + ".", **figures))
    _hold_shortened(case, scale)
    otherwise = _differs_otherwise(case)
    if not scale.pro and otherwise is not None:
        unsure = (
            "stood for" in otherwise
            and _as_long_in_the_good_ones(case)
            or any(missing_near(case, h) > 60.0 for h in case.holds)
        )
        scale.speaks_for(HINT if unsure else FAIR + HINT, otherwise)
    if not scale.pro:
        return None
    scale.dose = _edited_dose(case)
    return scale


def _edited_dose(case: Case) -> Dose:
    """What a setpoint that stood elsewhere, or left too early, can have cost; what else happened is not its doing."""
    found = []
    for hold in case.holds:
        if hold.setpoint_c is not None and hold.program_c is not None:
            found.append(dose_of_level(hold.setpoint_c - hold.program_c))
        if hold.setpoint_s is not None and hold.program_s and hold.setpoint_s < 0.9 * hold.program_s:
            found.append(soak_dose(case, hold))
    if not found or all(d.low == d.high == 0.0 for d in found):
        return furnace_dose(case)
    return worst(found)


def _differs_otherwise(case: Case) -> str | None:
    """What the verification says of another program, and does not say of half the good runs with other figures."""
    for finding in case.run.findings if case.run else ():
        if finding.code != "program differs" or finding.severity == "note":
            continue
        kind = _kind(case.run, finding)
        alike = [any(_kind(r, f) == kind for f in r.findings) for r in case.good]
        if sum(alike) < 0.5 * len(alike) or not alike:
            return finding.says
    return None


def _kind(run: RunFigures | None, finding: FindingFigures) -> tuple[int | None, bool, str]:
    """What a finding says but for its figures: step, whether the setpoint stood too long, words before the figures."""
    hold = next((h for h in (run.holds if run else ()) if h.step == finding.step), None)
    longer = hold is not None and (hold.setpoint_s or 0.0) > (hold.program_s or 0.0)
    return finding.step, longer, re.split(r"\d", finding.says, maxsplit=1)[0]


def _as_long_in_the_good_ones(case: Case) -> bool:
    """Whether a setpoint only stood longer than the program says, as a controller that waits makes it."""
    for hold in case.holds:
        if hold.setpoint_s is None or not hold.program_s or hold.setpoint_s < 1.02 * hold.program_s:
            continue
        good = [h.setpoint_s for h in case.good_holds(hold.step) if h.setpoint_s is not None]
        if good and hold.setpoint_s < 1.2 * max(good):
            return True
    return False


def _hold_shortened(case: Case, scale: Scale) -> None:
    """The setpoint left the hold earlier than the program says, and than it did in the good runs."""
    for hold in case.holds:
        if hold.setpoint_s is None or not hold.program_s or hold.setpoint_s > 0.9 * hold.program_s:
            continue
        if hold.setpoint_s + missing_near(case, hold) > 0.9 * hold.program_s:
            continue  # it may have stood there while nothing was read
        good = [h.setpoint_s for h in case.good_holds(hold.step) if h.setpoint_s is not None]
        if not good or median(good) > 1.1 * hold.setpoint_s:
            scale.speaks_for(
                STRONG + LIGHT if not scale.pro else HINT,
                f"In step {hold.step} the setpoint stood for {duration(hold.setpoint_s)}, the program says "
                f"{duration(hold.program_s)}.",
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
        _slow_climb(case, scale)
    if not scale.pro:
        return None
    if here is not None and here.output:
        for target, output in here.output.items():
            beside = compare(output, [g.output[target] for g in good if g.output and target in g.output], floor=2.0)
            if beside.spreads is not None and beside.good_median is not None and beside.spreads > 3:
                took = f"It took {output:.0f} % of the output to hold {{at}}, else {beside.good_median:.0f} %."
                scale.speaks_for(HINT, Says.of(took, at=Temp(float(target))))
                break
    heavy = charge_ratio(case)
    if heavy is not None and heavy > HEAVY and not (ratios and median(ratios) < _slowest(heavy)):
        scale.speaks_against(FAIR, f"The charge was {heavy:.1f} times as heavy as the good ones: it may be that.")
    _weigh_late(case, scale)
    scale.lacks("The mains voltage under load and the element's cold resistance.")
    return scale


def _slowest(heavy: float) -> float:
    """Share of the usual rate below which a charge so many times as heavy cannot bring a furnace."""
    return 1.0 / (1.0 + INTO_THE_CHARGE * (heavy - 1.0))


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


def _came_later_s(case: Case) -> float | None:
    """How much longer the climb took than in the good runs [s]; None where it is not known, or no hold was found."""
    own = case.run.climb if case.run is not None else None
    late_s = [
        100.0 * 3600.0 * (1.0 / rate - 1.0 / median(good))
        for window, rate in (own or {}).items()
        if (good := [r.climb[window] for r in case.good if r.climb and window in r.climb])
    ]
    known = bool(late_s) and bool(case.holds) and all(h.found for h in case.holds)
    return max(0.0, sum(late_s)) if known else None


def _weigh_late(case: Case, scale: Scale) -> None:
    """Enter what a slow climb can have cost: no more of a hold than the time by which the furnace came later."""
    scale.dose, late_s = furnace_dose(case), _came_later_s(case)
    if late_s is None:
        return
    hold = max(case.holds, key=lambda h: h.required_s)
    share = furnace_share(case, hold)
    missing_s = max(0.0, 1.0 - (share if share is not None else 1.0)) * hold.required_s
    most = short_soak(1.0 - late_s / max(hold.required_s, 1.0), hold.required_s)
    scale.dose = Dose(max(scale.dose.low, most.low), max(scale.dose.high, most.high), scale.dose.basis)
    if late_s < MOST_OF * missing_s:
        says = f"The hold came {duration(late_s)} later by that, and {duration(missing_s)} of it are missing."
        scale.speaks_against(FAIR, says)


def climb_ratios(case: Case) -> list[tuple[float, float]]:
    """How fast it climbed beside the good runs, window by window.

    Returns lower edge [degC] and ratio, from below; windows that end above the top are left out by themselves.
    """
    own = case.run.climb if case.run is not None else None
    found = []
    for window, rate in sorted((own or {}).items(), key=lambda item: float(item[0])):
        good = [r.climb[window] for r in case.good if r.climb and window in r.climb]
        if good:
            found.append((float(window), rate / median(good)))
    return found


def _slow_climb(case: Case, scale: Scale) -> None:
    """Slower in every window than the good runs, where no ramp of the recipe tells."""
    ratios = [ratio for _, ratio in climb_ratios(case)]
    if len(ratios) < 3 or max(ratios) > SLOW or any(h.setpoint_c is not None for h in case.holds):
        return
    scale.speaks_for(FAIR + HINT, f"From the start it climbed at {percent(median(ratios))} of the good runs' rate.")
    scale.lacks("The logged output: a controller that was told to climb slower looks the same.")


def charge_ratio(case: Case) -> float | None:
    """How much heavier the charge was than the good ones'.

    Returns ratio of the masses with fixtures where they were entered; else of the sums of thickness times blades over
    all pieces of each run; of their numbers where thicknesses are not known.
    """
    if case.run is None:
        return None
    weighed = case.evidence.charge_kg
    beside_kg = [weighed[r.run] for r in case.good if r.run in weighed]
    if case.run.run in weighed and beside_kg:
        return weighed[case.run.run] / median(beside_kg)
    here = _pieces_of(case, case.run.run)
    others = [pieces for r in case.good if (pieces := _pieces_of(case, r.run))]
    if not here or not others:
        return None
    masses = [mass_of(p) for p in here]
    beside = [[mass_of(p) for p in pieces] for pieces in others]
    if all(m is not None for m in masses) and all(m is not None for pieces in beside for m in pieces):
        return sum(m or 0.0 for m in masses) / median([sum(m or 0.0 for m in pieces) for pieces in beside])
    return len(here) / median([len(pieces) for pieces in beside])


def _pieces_of(case: Case, run: str) -> list[PieceEvidence]:
    """All pieces of a run, good or not; those that were looked at where no charge is on record."""
    looked_at = (*case.evidence.suspects, *case.evidence.siblings, *case.evidence.good)
    return list(case.evidence.charges.get(run, ())) or [p for p in looked_at if p.harden == run]


def overloaded(case: Case) -> Scale | None:
    """More steel than in the good runs, and the furnace felt it."""
    scale = Scale()
    heavy = charge_ratio(case)
    if heavy is None or heavy < HEAVY:
        return None
    weight = FAIR if heavy >= VERY_HEAVY else LIGHT
    scale.speaks_for(weight, f"The charge was {heavy:.1f} times as heavy as the good ones.")
    _felt_by_the_furnace(case, scale, _thick_packets(case))
    ratios = _power_ratios(case)
    if ratios and median(ratios) < _slowest(heavy):
        scale.speaks_against(FAIR, f"Climbing at {percent(median(ratios))} is more than such a charge brings about.")
    shares = [f.soak_share for f in case.suspect_figures if f.soak_share is not None]
    if shares and min(shares) >= SHORT_SHARE:
        scale.speaks_against(FAIR, "The pieces had their soak all the same.")
    if len(case.siblings) >= 2:
        scale.speaks_against(STRONG, f"{len(case.siblings)} other pieces of the same charge came out well.")
    soft_as_quenched(case, scale)
    scale.dose = heat_dose(case)
    return scale


def _thick_packets(case: Case) -> bool:
    """Whether the charge is heavy by thicker packets, each late by its own thickness, and not by more of them."""
    here = [p for p in (*case.suspects_here, *case.evidence.siblings) if case.run and p.harden == case.run.run]
    ratio = packet_ratio(here, case.evidence.good)
    counts = [len(_pieces_of(case, r.run)) for r in case.good]
    many = bool(counts) and len(_pieces_of(case, case.run.run) if case.run else here) > THICK * median(counts)
    return not many and ratio is not None and ratio > THICK


def _felt_by_the_furnace(case: Case, scale: Scale, thick: bool) -> None:
    """Signs of the furnace; lag and soak of the pieces are none where the packets are thicker."""
    signs = []
    ratios = _power_ratios(case)
    strong = bool(ratios) and median(ratios) < SLOW
    if strong:
        signs.append(f"it climbed at {percent(median(ratios))} of their rate")
    if case.run is not None and case.run.recovery_s is not None:
        beside = case.beside_good(case.run.recovery_s, lambda r: r.recovery_s, floor=45.0)
        usual = None if case.has_finding("loaded before recovery") else beside.good_median
        if usual is not None and beside.spreads is not None and beside.spreads > 2:
            signs.append(f"it took {duration(beside.value)} to recover, else {duration(usual)}")
            strong = strong or beside.value > 2 * usual
    lags = [f.lag_s for f in case.suspect_figures if f.lag_s is not None]
    good = [p.lag_s for r in case.good for p in r.pieces if p.lag_s is not None]
    if not thick and lags and good and max(lags) > median(good) + 60.0:
        signs.append(f"the pieces lagged {duration(max(lags))}, theirs {duration(median(good))}")
        strong = True
    shares = [f.soak_share for f in case.suspect_figures if f.soak_share is not None]
    if signs and not thick and shares and min(shares) < SHORT_SHARE:
        signs.append(f"a piece had {percent(min(shares))} of its soak")
    if signs:
        scale.speaks_for(FAIR if strong else LIGHT, f"The furnace felt it: {'; '.join(signs)}.")
    else:
        scale.speaks_against(LIGHT, "Nothing on record shows that the furnace felt it.")
    if thick and all(
        furnace_share(case, h) is not None and (furnace_share(case, h) or 0.0) >= SHORT_SHARE for h in case.holds
    ):
        scale.speaks_against(FAIR, "The furnace itself kept its time; the packets are thicker, and late by that.")
