"""Causes in the soak itself: too short, too cold, too hot, eaten by the packet, loaded too early, not on record."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from soakwitness.analysis.audit.causes.doses import NEVER_HELD, UNSEEN, too_long
from soakwitness.analysis.audit.causes.doses import level as dose_of_level
from soakwitness.analysis.audit.causes.hardness_signs import soft_as_quenched
from soakwitness.analysis.audit.causes.heat_doses import (
    furnace_share,
    heat_dose,
    level_off,
    levels_dose,
    missing_near,
    soak_dose,
    soaks_dose,
)
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Dose
from soakwitness.analysis.audit.contrasts.statistics import apart, chance_of_split, compare
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence
from soakwitness.analysis.evidence.run_figures import HoldFigures
from soakwitness.firmware_bridge.common.units import to_celsius
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, Value, counted, duration, percent

SHORT_SHARE = 0.97
LONG = 1.7
FAR_THICKER = 1.7
LEVEL_THERE_C = 8.0
CLEARLY_SHORT = 0.9
LEVEL_FLOOR_C = 1.5
SPREADS = 4.0
RARE = 0.1
NOT_HELD = ("run ended early", "hold missing")


def short_soak(case: Case) -> Scale | None:
    """The furnace itself was in the band for less than the recipe asks, or the piece was pulled early."""
    scale = Scale()
    for hold in case.holds:
        if not hold.found:
            _never_held(case, hold, scale)
            continue
        share = furnace_share(case, hold)
        if share is not None and share < SHORT_SHARE:
            weight = STRONG if share < CLEARLY_SHORT else FAIR
            says = f"Step {hold.step} had {percent(share)} of the {duration(hold.required_s)} it needs."
            scale.speaks_for(weight, says)
            _good_ones_were_longer(case, hold, share, scale)
            if hold.setpoint_s is not None and hold.program_s and hold.setpoint_s < 0.9 * hold.program_s:
                scale.speaks_for(HINT, f"The setpoint stayed there for {duration(hold.setpoint_s)} only.")
            missing_s = missing_near(case, hold)
            if missing_s and share + missing_s / hold.required_s >= SHORT_SHARE:
                says = f"{duration(missing_s)} of the record are missing there: it may have had the rest meanwhile."
                scale.speaks_against(STRONG, says)
            scale.dose = soak_dose(case, hold)
            break
    if not scale.pro:
        return None
    soft_as_quenched(case, scale)
    return scale


def _never_held(case: Case, hold: HoldFigures, scale: Scale) -> None:
    """The record shows that the furnace did not hold there at all, nor near it."""
    missing = [f for f in (case.run.findings if case.run else ()) if f.step == hold.step and f.code in NOT_HELD]
    if missing and missing[0].severity == "fail" and hold.control_c is None:
        scale.dose = NEVER_HELD
        if case.good_holds(hold.step) or not case.good:
            scale.speaks_for(STRONG, missing[0].says)
        else:
            scale.speaks_for(LIGHT, f"{missing[0].says} But so it is in the good runs.")


def _good_ones_were_longer(case: Case, hold: HoldFigures, share: float, scale: Scale) -> None:
    times = [h.chamber_s if h.chamber_s is not None else h.in_band_s for h in case.good_holds(hold.step)]
    beside = [t / hold.required_s for t in times if t is not None]
    if not beside:
        scale.lacks("A good run by the same recipe to compare with.")
        return
    other = compare(share, beside, floor=0.03)
    if other.good_median is not None and other.good_median < 1.05 * share:
        scale.speaks_against(FAIR, f"The good runs had no more: {percent(other.good_median)}.")
    elif other.good_median is not None:
        scale.speaks_for(HINT, f"The good runs had {percent(other.good_median)}.")


def packet_lag(case: Case) -> Scale | None:
    """The furnace kept its time, but the blade in its packet came late: thick, stacked, or in foil."""
    scale = Scale()
    thick = _thickness_contrast(case)
    if thick is not None:
        scale.speaks_for(*thick)
        scale.dose = UNSEEN
    kept = {h.step for h in case.holds if h.found and (furnace_share(case, h) or 0.0) >= SHORT_SHARE}
    shares = [f.soak_share for f in case.suspect_figures if f.soak_share is not None and f.step in kept]
    if shares and min(shares) < SHORT_SHARE and case.run and case.run.temperature_from != "control":
        weight = STRONG if min(shares) < CLEARLY_SHORT else FAIR
        source = "its load sensor says" if case.run.temperature_from == "load" else "the packet estimate says"
        scale.speaks_for(
            weight,
            f"The furnace kept its time, but the piece soaked {percent(min(shares))} of it, {source}.",
        )
        scale.dose = soaks_dose(case)
        ratio = packet_ratio(case.suspects_here, case.evidence.good)
        if case.run.temperature_from != "load" and ratio is not None and ratio >= FAR_THICKER:
            scale.dose = scale.dose.or_else(UNSEEN)  # how such packets stand in each other's way nobody estimated
        _lag_beside_good(case, scale)
        _no_such_luck(case, min(shares), scale)
    if not scale.pro:
        return None
    if case.run and case.run.temperature_from == "control":
        scale.lacks("A load sensor, or [packet] in the recipe: only the control sensor's time is known.")
    soft_as_quenched(case, scale)
    return scale


def _lag_beside_good(case: Case, scale: Scale) -> None:
    lags = [f.lag_s for f in case.suspect_figures if f.lag_s is not None]
    good = [p.lag_s for r in case.good for p in r.pieces if p.lag_s is not None]
    if not lags:
        return
    beside = compare(max(lags), good, floor=30.0)
    if beside.good_median is None:
        scale.speaks_for(HINT, f"It reached the band {duration(max(lags))} after the furnace.")
    elif beside.spreads is not None and beside.spreads > 2:
        scale.speaks_for(
            LIGHT, f"It lagged {duration(max(lags))} behind the furnace, the good ones {duration(beside.good_median)}."
        )
    elif beside.spreads is not None and beside.spreads < 1:
        scale.speaks_against(LIGHT, f"The good ones lagged as much: {duration(beside.good_median)}.")


def _no_such_luck(case: Case, share: float, scale: Scale) -> None:
    """What the good ones had no more of, or a gap in the record may hide, or harmed no packet beside it."""
    good = [p.soak_share for r in case.good for p in r.pieces if p.soak_share is not None]
    if good and median(good) < 1.05 * share:
        scale.speaks_against(FAIR, f"The good ones soaked no more: {percent(median(good))}.")
    if any(missing_near(case, h) > 0.05 * h.required_s for h in case.holds if h.found):
        scale.speaks_against(STRONG, "Part of the record is missing there: it may have soaked meanwhile.")
    ratio = packet_ratio(case.suspects_here, case.evidence.good)
    if ratio is not None and ratio < 1.15:
        scale.speaks_against(FAIR, "Their packets are no thicker than those of the good runs.")
    bad = [m for m in map(mass_of, case.suspects_here) if m is not None]
    as_thick = [p for p in case.siblings if bad and (mass_of(p) or 0.0) >= 0.9 * median(bad)]
    if as_thick:
        scale.speaks_against(FAIR, f"{counted(len(as_thick), 'packet')} as thick came out well in the same run.")


def mass_of(piece: PieceEvidence) -> float | None:
    """What stands in a packet to be heated: thickness times blades.

    Returns [mm]; None where the thickness is not known.
    """
    return None if piece.thickness_mm is None else piece.thickness_mm * (piece.blades or 1)


def packet_ratio(pieces: Sequence[PieceEvidence], others: Sequence[PieceEvidence]) -> float | None:
    """How much more steel stands in the packets of some pieces than in those of others.

    Returns ratio of the medians of thickness times blades over heated faces; None where either is not known.
    """
    own, theirs = (
        [m * 2 / (p.heated_faces or 2) for p in part if (m := mass_of(p)) is not None] for part in (pieces, others)
    )
    return median(own) / median(theirs) if own and theirs and median(theirs) > 0 else None


def _thickness_contrast(case: Case) -> tuple[float, str] | None:
    bad = [m for m in map(mass_of, case.suspects_here) if m is not None]
    well = [m for m in map(mass_of, case.siblings) if m is not None]
    if len(bad) < len(case.suspects_here) or len(well) < 2:
        return None
    if apart(bad, well) < 0.9 or min(bad) < 1.15 * max(well) or chance_of_split(len(bad), len(well)) > 0.34:
        return None
    sure = chance_of_split(len(bad), len(well)) <= RARE
    says = (
        f"Within the run the thick packets came out soft: from {min(bad):g} mm on, the good ones up to {max(well):g}."
    )
    return (STRONG if sure else FAIR, says)


def loaded_early(case: Case) -> Scale | None:
    """The charge went in before the furnace had recovered."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    if case.has_finding("loaded before recovery"):
        scale.speaks_for(STRONG + HINT, case.finding_says("loaded before recovery"))
    elif run.loaded_at_c is not None and run.load_at_c is not None and run.loaded_at_c < run.load_at_c - 15.0:
        scale.speaks_for(
            STRONG,
            Says.of(
                "Loaded at {at}, {less} below the recipe's figure.",
                at=Temp(run.loaded_at_c),
                less=Diff(run.load_at_c - run.loaded_at_c),
            ),
        )
    if not scale.pro:
        return None
    scale.dose = heat_dose(case)
    loaded, asked = run.loaded_at_c, run.load_at_c
    if case.has_finding("wrong unit suspected") and loaded and asked and abs(loaded - to_celsius(asked, "F")) < 15.0:
        scale.speaks_against(FAIR, Says.of("{at} is that figure with °F taken for °C.", at=Temp(loaded)))
    stood = case.holds[-1].control_c if case.holds else None
    if loaded is not None and stood is not None and loaded >= stood - LEVEL_THERE_C:
        scale.speaks_against(FAIR, "It stood no higher afterwards: it was level there.")
    if case.good_share_with("loaded before recovery") > 0.5:
        scale.speaks_against(FAIR, "The good runs were loaded as early.")
    soft_as_quenched(case, scale)
    return scale


def level_differs(case: Case, hold: HoldFigures) -> tuple[float, Says] | None:
    """How far a hold's level is off its band, and off the good ones.

    Returns signed difference [K], negative for too cold, with its sentence; None where nothing is off.
    """
    level = hold.work_c if hold.work_c is not None else hold.control_c
    if level is None:
        return None
    good = [
        v
        for v in ((h.work_c if h.work_c is not None else h.control_c) for h in case.good_holds(hold.step))
        if v is not None
    ]
    beside = compare(level, good, floor=LEVEL_FLOOR_C)
    if beside.difference is not None and abs(beside.difference) <= SPREADS * LEVEL_FLOOR_C / 2:
        return None  # the good ones stood there as well
    outside = level - hold.upper_c if level > hold.upper_c else min(0.0, level - hold.lower_c)
    reach = max(SPREADS * LEVEL_FLOOR_C, 0.6 * (hold.upper_c - hold.lower_c) / 2)
    if abs(outside) > 0.5:
        away = level - hold.target_c
        side = "above" if away > 0 else "below"
        says = f"Step {hold.step} stood at {{at}}, {{away}} {side} its target"
        figures: dict[str, Value] = {"at": Temp(level), "away": Diff(abs(away))}
        if beside.good_median is not None:
            says, figures["good"] = says + "; the good runs at {good}", Temp(beside.good_median)
        return away, Says.of(says + ".", **figures)
    if beside.good_median is None or beside.difference is None or beside.spreads is None:
        return None
    away = level - hold.target_c
    if abs(beside.difference) > reach and abs(beside.spreads) > SPREADS and away * beside.difference > 0:
        says = f"Step {hold.step} stood at {{at}}, inside its band, but the good runs at {{good}}."
        return beside.difference, Says.of(says, at=Temp(level), good=Temp(beside.good_median))
    return None


def too_cold(case: Case) -> Scale | None:
    """A judged hold stood below its band, or clearly below that of the good runs."""
    scale = _level(case, -1)
    if scale is not None:
        scale.dose = levels_dose(case)
        soft_as_quenched(case, scale)
    return scale


def too_hot(case: Case) -> Scale | None:
    """A judged hold stood above its band, or overshot."""
    scale = _level(case, +1) or Scale()
    for hold in case.holds:
        over = hold.overshoot_c
        limit = hold.max_overshoot_c if hold.max_overshoot_c is not None else hold.upper_c - hold.target_c + 4.0
        if over is None or over <= limit:
            continue
        good = [h.overshoot_c for h in case.good_holds(hold.step) if h.overshoot_c is not None]
        beside = compare(over, good, floor=1.5)
        if beside.spreads is None or beside.spreads > SPREADS:
            long_s = hold.above_s or 0.0
            weight = STRONG if over > limit + 5.0 or long_s > 180.0 or case.fails("overshoot", hold.step) else FAIR
            says = f"Step {hold.step} overshot by {{over}}, {duration(long_s)} above the band."
            scale.speaks_for(weight, Says.of(says, over=Diff(over)))
    if not scale.pro:
        return None
    scale.dose = _hot_dose(case)
    _recovers_with_cold(case, scale)
    return scale


def _hot_dose(case: Case) -> Dose:
    """What the highest level or overshoot can have cost, as quenched or, where only the end is known, in the end."""
    offs = [off for h in case.holds if (off := level_off(case, h)) is not None]
    offs += [h.overshoot_c for h in case.holds if h.overshoot_c is not None]
    cooled = any(t.kind == "cold treatment" and not t.not_done for p in case.suspects_here for t in p.treatments)
    then_cold = cooled and case.as_quenched.suspect is None
    return dose_of_level(max(0.0, *offs, 0.0), then_cold=then_cold)


def _level(case: Case, sign: int) -> Scale | None:
    scale = Scale()
    for hold in case.holds:
        found = level_differs(case, hold)
        if found is not None and found[0] * sign > 0:
            scale.speaks_for(STRONG if not scale.pro else HINT, found[1])
    return scale if scale.pro else None


def _recovers_with_cold(case: Case, scale: Scale) -> None:
    """Low as quenched and recovering with a cold treatment before any temper speaks for too hot."""
    first = case.as_quenched
    if first.direction == "low" and first.suspect is not None:
        after = [
            h.test.mean
            for p in case.suspects_here
            for h in p.hardness
            if h.stage in ("after cold treatment", "before temper") and h.test.scale == "HRC"
        ]
        if after and sum(after) / len(after) > first.suspect + 1.5:
            scale.speaks_for(LIGHT, "They were soft as quenched and recovered with the cold treatment.")
        elif after:
            scale.speaks_against(HINT, "They were soft as quenched and did not recover with the cold treatment.")
        else:
            scale.speaks_for(HINT, f"They were soft as quenched, as too much austenite leaves them: {first.says}.")
    elif case.final.direction == "low":
        scale.speaks_for(HINT, f"They are soft, as too much austenite leaves them: {case.final.says}.")


def held_too_long(case: Case) -> Scale | None:
    """Far longer in the band than asked and than the good ones were: coarse grain, more austenite, thicker scale."""
    scale = Scale()
    for hold in case.holds:
        given = hold.chamber_s if hold.chamber_s is not None else hold.in_band_s
        if not hold.found or given is None or hold.required_s <= 0:
            continue
        good = [t for h in case.good_holds(hold.step) if (t := h.chamber_s or h.in_band_s) is not None]
        usual = median(good) if good else hold.at_most_s or LONG * hold.required_s
        failed = case.fails("long soak", hold.step)
        if given < LONG * usual and not failed:
            continue
        beside = f", the good ones {duration(usual)}" if good else ""
        says = f"Step {hold.step} lasted {duration(given)}{beside}; {duration(hold.required_s)} are asked."
        scale.speaks_for(STRONG if good and given >= LONG * usual or failed else FAIR, says)
        scale.dose = too_long(given / max(min(usual, given), 1.0))
    return scale if scale.pro else None


def record_gap(case: Case) -> Scale | None:
    """The record has a hole where the soak was: what happened there is not known."""
    scale = Scale()
    gaps = zip(case.run.gaps, case.run.gap_c, strict=False) if case.run is not None else ()
    hot_s = sum(b - a for (a, b), temp_c in gaps if temp_c > 200.0)
    for hold in case.holds:
        missing_s = missing_near(case, hold)
        if missing_s > max(0.05 * hold.required_s, 60.0):
            weight = FAIR + HINT if hold.verdict != "pass" or missing_s > 0.3 * hold.required_s else LIGHT
            scale.speaks_for(weight, f"At step {hold.step} {duration(missing_s)} of the record are missing.")
        elif not hold.on_record and not case.has_finding("wrong unit suspected"):
            if hot_s > 300.0:
                says = f"Step {hold.step} is not on record: {duration(hot_s)} are missing while it was hot."
                scale.speaks_for(FAIR + HINT, says)
            else:
                scale.speaks_for(FAIR, f"Step {hold.step} is not on record.")
    if not scale.pro and hot_s > 300.0:
        scale.speaks_for(FAIR, f"{duration(hot_s)} of the record are missing while it was hot.")
    if not scale.pro:
        return None
    good = [sum(h.gap_s for h in r.holds if h.judged) for r in case.good]
    if good and sorted(good)[len(good) // 2] > 60.0:
        scale.speaks_against(FAIR, "The good runs have such gaps too.")
    scale.dose = heat_dose(case) if case.holds else UNSEEN
    scale.lacks("What the furnace did meanwhile.")
    return scale
