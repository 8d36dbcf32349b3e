"""Causes after the quench: temper, cold treatment, a leaking foil's skin, grinding."""

from __future__ import annotations

from datetime import datetime
from statistics import median

from soakwitness.analysis.audit.causes import doses
from soakwitness.analysis.audit.causes.hardness_signs import hard_in_the_end, soft_after_temper
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Dose
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.audit.contrasts.statistics import compare
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, PROOF, STRONG, Scale
from soakwitness.analysis.evidence.batch_evidence import HardnessEvidence, PieceEvidence
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration

LEVEL_FLOOR_C = 2.0
LATE_TEMPER_S = 24 * 3600.0  # common practice, no source
LATE_COLD_S = 4 * 3600.0  # common practice, no source
WARM_C = 15.0
ORDINARY_TEMPER_C = 200.0
RECOVERED_HRC = 1.5


def temper_runs(case: Case, pieces: tuple[PieceEvidence, ...]) -> list[RunFigures]:
    """Tempering runs of some pieces, each once."""
    names = dict.fromkeys(name for p in pieces for name in p.tempers)
    runs = [case.evidence.runs[name] for name in names if name in case.evidence.runs]
    return sorted(runs, key=lambda r: r.started_utc)


def temper_level(case: Case) -> tuple[float, Says] | None:
    """How far the temper was off its band or off the good ones, from its run or from what was entered.

    Returns signed difference [K] with its sentence; None where nothing is off or nothing is known.
    """
    good = temper_runs(case, case.evidence.good)
    for run in temper_runs(case, case.suspects_here):
        for hold in run.holds:
            found = _off_level(hold, [h for g in good for h in g.holds if h.target_c == hold.target_c])
            if found is not None:
                return found
    return _off_as_entered(case)


def _off_level(hold: HoldFigures, good: list[HoldFigures]) -> tuple[float, Says] | None:
    level = hold.work_c if hold.work_c is not None else hold.control_c
    if level is None:
        return None
    beside = compare(level, [h.work_c for h in good if h.work_c is not None], floor=LEVEL_FLOOR_C)
    words = Says.of("The temper stood at {at}, its target is {target}", at=Temp(level), target=Temp(hold.target_c))
    if not hold.lower_c - 0.5 <= level <= hold.upper_c + 0.5:
        return level - hold.target_c, Says.of("{words}.", words=words)
    if beside.spreads is None or beside.difference is None or beside.good_median is None:
        return None
    if abs(beside.spreads) > 4 and abs(beside.difference) > 6.0:
        says = Says.of("{words}; the good ones stood at {good}.", words=words, good=Temp(beside.good_median))
        return beside.difference, says
    return None


def _off_as_entered(case: Case) -> tuple[float, Says] | None:
    own, good = (
        [t.shown_c for p in pieces for t in p.treatments if t.kind == "temper" and t.shown_c is not None]
        for pieces in (case.suspects_here, case.evidence.good)
    )
    logged = [h.control_c for r in temper_runs(case, case.evidence.good) for h in r.holds if h.control_c is not None]
    good = good or logged
    if not own or not good or abs(median(own) - median(good)) < 8.0:
        return None
    says = "The oven showed {own} for the temper; for the good ones it was {good}."
    return median(own) - median(good), Says.of(says, own=Temp(median(own)), good=Temp(median(good)))


def temper_too_hot(case: Case) -> Scale | None:
    """The temper was hotter than it should be: soft in the end, good as quenched."""
    found = temper_level(case)
    if found is None or found[0] <= 0:
        return None
    scale = Scale(dose=temper_dose(case, found[0]))
    scale.speaks_for(STRONG, found[1])
    soft_after_temper(case, scale)
    return scale


def temper_too_cold(case: Case) -> Scale | None:
    """The temper was colder than it should be: too hard in the end."""
    found = temper_level(case)
    if found is None or found[0] >= 0:
        return None
    scale = Scale(dose=temper_dose(case, found[0]))
    scale.speaks_for(STRONG, found[1])
    hard_in_the_end(case, scale)
    return scale


def temper_dose(case: Case, off_k: float) -> Dose:
    """What tempers so far off can have done to these pieces' steel."""
    targets = [h.target_c for r in temper_runs(case, case.suspects_here) for h in r.holds]
    shown = [t.shown_c for p in case.suspects_here for t in p.treatments if t.kind == "temper" and t.shown_c]
    at_c = median(targets) if targets else median(shown) - off_k if shown else ORDINARY_TEMPER_C
    steel = next((p.steel for p in case.suspects_here if p.steel), case.recipe.steel if case.recipe else None)
    return doses.temper(off_k, at_c, steel)


def tempers_on_record(piece: PieceEvidence) -> int:
    """How many tempers of a piece are on record, runs and entries together."""
    return len(piece.tempers) + sum(t.kind == "temper" and not t.not_done for t in piece.treatments)


def temper_missed(case: Case) -> Scale | None:
    """Too hard, and fewer tempers on record than the good ones have. Not on record alone says nothing."""
    scale = Scale()
    others = [*case.evidence.good, *case.siblings]
    own = median([tempers_on_record(p) for p in case.suspects_here]) if case.suspects_here else 0
    good = median([tempers_on_record(p) for p in others]) if others else 0
    stated = case.recipe.order.count("temper") if case.recipe else 0
    wanted = max(good, stated)
    missing_hold = [
        h
        for r in temper_runs(case, case.suspects_here)
        for h in r.holds
        if h.on_record
        and (not h.found or (h.soak_s is not None and h.soak_s < 0.3 * h.required_s))
        # held at another temperature it was a temper, too cold or too hot
        and h.control_c is None
    ]
    if missing_hold:
        at = Temp(missing_hold[0].target_c)
        scale.speaks_for(STRONG, Says.of("The tempering run never held {at} as it should.", at=at))
    if case.suspects_here and all(_entered_as_left_out(p) for p in case.suspects_here):
        scale.speaks_for(STRONG, "A temper was not done, it is entered.")
    if case.suspects_here and own < wanted and case.final.direction == "high":
        scale.speaks_for(FAIR, f"They are too hard in the end: {case.final.says}.")
        scale.speaks_for(LIGHT, f"{own:g} of {wanted:g} tempers are on record, which alone would say nothing.")
    if not scale.pro:
        return None
    scale.dose = doses.NO_TEMPER if own == 0 or missing_hold else doses.ONE_TEMPER_LESS
    if own < wanted:
        scale.lacks("Whether a temper was done that nobody entered.")
    if case.final.direction == "low":
        scale.speaks_against(FAIR, f"They are too soft, not too hard: {case.final.says}.")
    return scale


def seconds_from(earlier_utc: str, later_utc: str) -> float:
    """Time between two moments.

    Returns time [s].
    """
    first, second = (datetime.fromisoformat(t.replace("Z", "+00:00")) for t in (earlier_utc, later_utc))
    return (second - first).total_seconds()


def waits(case: Case, pieces: tuple[PieceEvidence, ...], kind: str) -> list[float]:
    """Times from the quench (or the cold treatment, for a temper after it) to the first step of a kind.

    Returns times [s].
    """
    found = []
    for piece in pieces:
        since = piece.quenched_utc
        starts = [t.start_utc for t in piece.treatments if t.kind == kind and not t.not_done]
        if kind == "temper":
            starts += [case.evidence.runs[r].started_utc for r in piece.tempers if r in case.evidence.runs]
            colds = [t for t in piece.treatments if t.kind == "cold treatment" and not t.not_done]
            ends = [t.end_utc or t.start_utc for t in colds]
            since = max([since, *ends]) if since and ends and min(ends) < min(starts, default="") else since
        if since is not None and starts:
            found.append(seconds_from(since, min(starts)))
    return found


def _entered_as_left_out(piece: PieceEvidence) -> bool:
    return any(t.kind == "temper" and t.not_done for t in piece.treatments)


def temper_late(case: Case) -> Scale | None:
    """As-quenched steel waited for its temper far longer than the good ones."""
    scale = Scale()
    own = waits(case, case.suspects_here, "temper")
    good = waits(case, case.evidence.good, "temper")
    if not own or median(own) < LATE_TEMPER_S or (good and median(own) < 2.0 * median(good)):
        return None
    beside = f"; the good ones waited {duration(median(good))}" if good else ""
    scale.speaks_for(STRONG if good else FAIR, f"They waited {duration(median(own))} for the temper{beside}.")
    scale.dose = doses.TEMPER_LATE
    if case.softness == "high":
        scale.speaks_against(FAIR, "They are too hard, which waiting does not do.")
    return scale


def cold_treatment(case: Case) -> Scale | None:
    """The cold treatment came late, after a temper, or not as cold as the good ones had it."""
    scale = Scale()
    found: list[Dose] = []
    own, good = waits(case, case.suspects_here, "cold treatment"), waits(case, case.evidence.good, "cold treatment")
    if own and good and median(own) > max(LATE_COLD_S, 2.5 * median(good)):
        words = f"{duration(median(own))} after the quench, that of the good ones {duration(median(good))}"
        scale.speaks_for(STRONG, f"The cold treatment began {words}.")
        found.append(doses.cold_late(median(own) - median(good)))
    elif own and not good and median(own) > 2 * LATE_COLD_S:
        scale.speaks_for(FAIR, f"The cold treatment began {duration(median(own))} after the quench.")
        found.append(doses.cold_late(median(own)))
    first = [_temper_first(case, p) for p in case.suspects_here]
    if any(first) and not any(_temper_first(case, p) for p in case.evidence.good):
        scale.speaks_for(STRONG, "The cold treatment came after a temper; with the good ones it came before.")
        found.append(doses.COLD_AFTER_TEMPER)
    lowest, theirs = (
        [t.lowest_c for p in pieces for t in p.treatments if t.kind == "cold treatment" and t.lowest_c is not None]
        for pieces in (case.suspects_here, case.evidence.good)
    )
    if lowest and theirs and median(lowest) > median(theirs) + WARM_C:
        says = Says.of(
            "It went down to {lowest} only, {more} warmer than with the good ones.",
            lowest=Temp(median(lowest)),
            more=Diff(median(lowest) - median(theirs)),
        )
        scale.speaks_for(STRONG if not scale.pro else LIGHT, says)
        found.append(doses.cold_warm(median(lowest), median(theirs)))
    if not scale.pro:
        return None
    scale.dose = doses.worst(found)
    _soft_through_the_cold(case, scale)
    return scale


def _temper_first(case: Case, piece: PieceEvidence) -> bool | None:
    """Whether a piece was tempered before its cold treatment; None where one of the two is not on record."""
    colds = [t.start_utc for t in piece.treatments if t.kind == "cold treatment" and not t.not_done]
    tempers = [t.start_utc for t in piece.treatments if t.kind == "temper" and not t.not_done]
    tempers += [case.evidence.runs[r].started_utc for r in piece.tempers if r in case.evidence.runs]
    return min(tempers) < min(colds) if colds and tempers else None


def cold_left_out(case: Case) -> Scale | None:
    """Entered as not done, while the good ones had it. Not on record alone is named and never claimed."""
    scale = Scale(dose=doses.NO_COLD)
    left_out = [p for p in case.suspects_here if any(t.kind == "cold treatment" and t.not_done for t in p.treatments)]
    had, theirs = (
        [any(t.kind == "cold treatment" and not t.not_done for t in p.treatments) for p in part]
        for part in (case.suspects_here, case.evidence.good)
    )
    usual = bool(theirs) and sum(theirs) > len(theirs) / 2
    if left_out and len(left_out) == len(case.suspects_here):
        beside = "; the good ones had it" if usual else ""
        scale.speaks_for(STRONG if usual else FAIR, f"The cold treatment was not done, it is entered{beside}.")
    elif usual and not any(had) and (case.changes.at("cold") or 0.0) <= -TOLD_APART_HRC:
        scale.speaks_for(LIGHT, "The good ones have a cold treatment on record, these none, which says nothing alone.")
        scale.lacks("Whether a cold treatment was done that nobody entered.")
    if not scale.pro:
        return None
    _soft_through_the_cold(case, scale)
    return scale


def _soft_through_the_cold(case: Case, scale: Scale) -> None:
    """What hardness says of a cold treatment that did not do its work."""
    change = case.changes.cold
    if case.softness == "high":
        scale.speaks_against(FAIR, "They are too hard, which that does not do.")
    elif change is not None and change <= -TOLD_APART_HRC:
        says = f"The cold treatment brought {abs(change):.1f} points less than it brought the good ones."
        scale.speaks_for(LIGHT, says)
    elif change is not None:
        scale.speaks_against(FAIR, "Through the cold they gained as much as the good ones.")
    elif case.softness == "low":
        scale.speaks_for(HINT, "They are soft, as too much retained austenite leaves them.")


def leaking_foil(case: Case) -> Scale | None:
    """The skin is soft and recovers once 0.1 to 0.2 mm are ground off."""
    scale = Scale()
    gains = [g for g in map(_gain_under_skin, case.suspects_here) if g is not None]
    if gains and median(gains) >= RECOVERED_HRC:
        scale.speaks_for(PROOF, f"Under the skin they are {median(gains):.1f} points harder.")
        scale.dose = doses.measured(-median(gains))
    elif gains:
        return None
    if not scale.pro:
        return None
    foils = [p.foil for p in case.suspects_here if p.foil is not None]
    if foils and not any(foils):
        scale.speaks_against(HINT, "They were heated bare, which takes the skin's carbon just as well.")
    elif foils:
        scale.speaks_for(HINT, "They were in foil.")
    return scale


def _gain_under_skin(piece: PieceEvidence) -> float | None:
    """Hardness after grinding some tenths of a millimetre off minus that of the skin, at one stage [HRC]."""
    tests = [h for h in piece.hardness if h.test.scale == "HRC" and h.spot != "edge"]
    under = [h for h in tests if h.ground_off_mm or "grinding" in h.stage]
    skin = [h for h in tests if not h.ground_off_mm and "grinding" not in h.stage]
    if not under or not skin:
        return None
    fitting = [h for h in skin if h.as_quenched == under[0].as_quenched] or skin
    return _mean(under) - _mean(fitting)


def _mean(tests: list[HardnessEvidence]) -> float:
    return sum(h.test.mean for h in tests) / len(tests)


def overheated_in_grinding(case: Case) -> Scale | None:
    """The edge is soft, the rest of the blade is good: heat of finish grinding, after a good record."""
    scale = Scale()
    losses = []
    for piece in case.suspects_here:
        edge = [h for h in piece.hardness if h.spot == "edge" and h.final and h.test.scale == "HRC"]
        rest = [h for h in piece.hardness if h.spot != "edge" and h.final and h.test.scale == "HRC"]
        if edge and rest:
            losses.append(_mean(rest) - _mean(edge))
    if not losses or median(losses) < 2.0:
        return None
    scale.speaks_for(STRONG + HINT, f"The edge is {median(losses):.1f} points softer than the rest of the blade.")
    if any(t.kind == "finish grinding" for p in case.suspects_here for t in p.treatments):
        scale.speaks_for(HINT, "They were finish ground since.")
    if case.run is not None and case.run.verdict == "pass":
        scale.speaks_for(HINT, "Their run passed.")
    return scale
