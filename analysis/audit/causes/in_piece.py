"""Causes in the pieces themselves, in their place, and in the hardness tester."""

from __future__ import annotations

from statistics import median

from soakwitness.analysis.audit.causes import doses
from soakwitness.analysis.audit.causes.across_runs import weigh_shared
from soakwitness.analysis.audit.causes.in_quench import UNEVEN_HRC, range_over
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.sharing import lot_of, part_of_rack, place_of, split_by, steel_of
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.evidence.batch_evidence import HardnessEvidence
from soakwitness.analysis.evidence.hardness_at_stages import stage_value
from soakwitness.analysis.metallurgy.hardness_readings import ROCKWELL_LOADS_N, depth_of_hrc

BLOCK_HRC = 0.8
RARE = 0.1


def place(case: Case) -> Scale | None:
    """Soft pieces stood elsewhere than the good ones of the same run."""
    split = split_by(case, place_of) or part_of_rack(case)
    scale = Scale(dose=doses.ANOTHER_PLACE)
    if split is None:
        return scale if weigh_shared(case, ("place",), scale) is not None else None
    alone = FAIR if _other_split(case, "place") else FAIR + HINT
    weight = STRONG + HINT if split[2] <= RARE else alone if split[2] <= 0.34 else LIGHT
    scale.speaks_for(weight, f"Within the run the soft ones stood {split[0]}, the good ones {split[1]}.")
    if _other_split(case, "place"):
        scale.lacks("A run that tells place from the other things that differ: they go together here.")
    ranges = [r for r in map(range_over, case.suspects_here) if r is not None]
    if ranges and median(ranges) >= UNEVEN_HRC:
        scale.speaks_against(LIGHT, f"Each piece is uneven by itself, over {median(ranges):.1f} points.")
    scale.lacks("A uniformity survey of the chamber.")
    return scale


def _other_split(case: Case, but: str) -> bool:
    getters = {"place": place_of, "lot": lot_of, "steel": steel_of}
    return any(split_by(case, get) is not None for name, get in getters.items() if name != but)


def mixed_bar(case: Case) -> Scale | None:
    """Soft and good pieces of the same run are of different lots or steels; absence of other causes is no evidence."""
    scale = Scale(dose=doses.UNKNOWN)
    for word, get in (("steel", steel_of), ("lot", lot_of)):
        split = split_by(case, get)
        if split is not None and not scale.pro:
            weight = STRONG + HINT if split[2] <= RARE else FAIR + HINT if split[2] <= 0.34 else LIGHT
            says = f"Within the run the soft ones are of {word} {split[0]}, the good ones of {split[1]}."
            scale.speaks_for(weight, says)
    if not scale.pro and not case.siblings:
        across = weigh_shared(case, ("lot", "steel"), scale)
        if across is not None and case.as_quenched.direction == "normal":
            scale.speaks_against(FAIR, f"As quenched they were as hard as they should be: {case.as_quenched.says}.")
    steels = {p.steel for p in case.suspects_here if p.steel}
    wanted = case.recipe.steel if case.recipe else None
    if wanted and steels and wanted not in steels:
        says = f"The pieces are entered as {', '.join(sorted(steels))}, the recipe is for {wanted}."
        scale.speaks_for(STRONG if not scale.pro else LIGHT, says)
    if scale.pro and _other_split(case, "lot") and split_by(case, lambda p: p.place) is not None:
        scale.lacks("A run that tells the lot from the place: they go together here.")
    if scale.pro and any(p.coupon for p in case.evidence.suspects):
        scale.speaks_against(STRONG, "A coupon of known steel came out of the same charge as wrong as they did.")
    return scale if scale.pro else None


def tester(case: Case) -> Scale | None:
    """The tester itself: off on its block, a section too thin or tapered, a wrong scale or load."""
    scale = Scale()
    tests = _deciding(case)
    _block(case, tests, scale)
    _thin(case, tests, scale)
    if not scale.pro and not case.siblings and weigh_shared(case, ("tester",), scale) is not None:
        scale.dose = doses.TWO_TESTERS
    wrong = [
        h
        for h in tests
        if h.test.load_n and abs(h.test.load_n / ROCKWELL_LOADS_N.get(h.test.scale, h.test.load_n) - 1) > 0.02
    ]
    if wrong:
        scale.dose = doses.UNKNOWN
        scale.speaks_for(
            STRONG, f"A load of {wrong[0].test.load_n:g} N was used, which is not that of {wrong[0].test.scale}."
        )
    scales = {h.test.scale for h in tests}
    if scales and "HRC" not in scales and case.softness is None:
        scale.lacks("A reading in HRC.")
    return scale if scale.pro else None


def _deciding(case: Case) -> list[HardnessEvidence]:
    """Tests by which the suspects are called suspect: final ones, else as quenched."""
    tests = [h for p in case.suspects_here for h in p.hardness]
    return [h for h in tests if h.final] or [h for h in tests if h.as_quenched]


def _block(case: Case, tests: list[HardnessEvidence], scale: Scale) -> None:
    errors = [e for e in (h.test.block_error for h in tests) if e is not None]
    if not errors:
        if tests:
            scale.lacks("A reading of the test block beside these.")
        return
    error = median(errors)
    if abs(error) < BLOCK_HRC:
        return
    scale.dose = doses.tester_off(error)
    scale.speaks_for(FAIR + HINT, f"The tester read {error:+.1f} on its test block.")
    good = [e for e in (h.test.block_error for p in case.evidence.good for h in p.hardness) if e is not None]
    if good and abs(median(good)) < 0.5 * abs(error):
        scale.speaks_for(HINT, f"When the good ones were measured it read {median(good):+.1f}.")
    view = case.final if case.final.suspect is not None else case.as_quenched
    reference = view.good if view.good is not None else sum(view.limits) / 2 if view.limits else None
    if view.suspect is None or reference is None:
        return
    left = view.suspect - error - reference
    before = view.suspect - reference
    if abs(left) < 0.5 * abs(before) and before * error > 0:
        scale.speaks_for(LIGHT, f"Taken off, {abs(left):.1f} points of {abs(before):.1f} are left.")
    elif before * error < 0:
        scale.speaks_against(FAIR, "It is off to the other side.")


def _thin(case: Case, tests: list[HardnessEvidence], scale: Scale) -> None:
    thin = [
        h
        for h in tests
        if h.test.scale == "HRC" and h.test.thickness_mm and h.test.thickness_mm < 10.0 * depth_of_hrc(h.test.mean)
    ]
    if not thin or len(thin) < len(tests) / 2:
        return
    test = thin[0].test
    least = 10.0 * depth_of_hrc(test.mean)
    says = f"The section of {test.thickness_mm:g} mm is thin for this test ({least:.1f} mm, common practice)."
    beside = [h for p in (*case.evidence.good, *case.siblings) for h in p.hardness if h.final == thin[0].final]
    well = [h for h in beside if h.test.thickness_mm and h.test.thickness_mm >= least]
    scale.dose = doses.SOFTER
    scale.speaks_for(FAIR + HINT if case.softness == "low" else LIGHT, says)
    if well:
        scale.speaks_for(LIGHT, "The good ones were measured where it is thick enough.")


def within_repeatability(case: Case) -> bool:
    """Whether suspects and good ones differ by no more than the tester can repeat.

    Returns true where both are known and less apart than the tester can show.
    """
    for stage, view in (("final", case.final), ("as quenched", case.as_quenched)):
        values = [stage_value(p, stage) for p in case.suspects_here]  # type: ignore[arg-type]
        if view.suspect is not None and view.good is not None and any(v is not None for v in values):
            return abs(view.suspect - view.good) < view.least
    return False
