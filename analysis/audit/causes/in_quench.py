"""Causes between furnace and room temperature: late to the plates, warm plates, poor contact."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from soakwitness.analysis.audit.causes import doses
from soakwitness.analysis.audit.causes.hardness_signs import soft_as_quenched
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.statistics import apart, rank_correlation
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence, TreatmentEvidence
from soakwitness.analysis.evidence.hardness_at_stages import stage_value
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration

LATE_FLOOR_S = 8.0
USUAL_S = 10.0
ORDER_FROM = 3
FEW_FALL_HRC = 1.5
UNEVEN_HRC = 2.5


def late_quench(case: Case) -> Scale | None:
    """From pull to plates it took longer than the recipe allows, or than it did with the good ones."""
    scale = Scale()
    run = case.run
    if run is None:
        return None
    delays = [f.quench_delay_s for f in case.suspect_figures if f.quench_delay_s is not None]
    good = [p.quench_delay_s for r in case.good for p in r.pieces if p.quench_delay_s is not None]
    well = [f.quench_delay_s for f in map(case.figures_of, case.siblings) if f and f.quench_delay_s is not None]
    limit = run.quench_within_s
    medium = case.recipe.quench.medium if case.recipe and case.recipe.quench else "plates"
    if delays:
        worst = median(delays)
        usual = median([*good, *well]) if good or well else USUAL_S
        scale.dose = doses.late_quench(max(delays) - usual, medium)
        if limit is not None and worst > limit:
            scale.speaks_for(
                STRONG, f"From pull to plates it took {duration(worst)}; the recipe allows {duration(limit)}."
            )
        elif limit is not None and max(delays) > limit:
            scale.speaks_for(
                FAIR + HINT, f"One piece took {duration(max(delays))} to the plates; {duration(limit)} are allowed."
            )
        beside = [*good, *well]
        if beside and worst > max(1.5 * median(beside), median(beside) + LATE_FLOOR_S):
            scale.speaks_for(LIGHT if scale.pro else FAIR + HINT, f"The good ones took {duration(median(beside))}.")
        elif beside and scale.pro:
            scale.speaks_against(LIGHT, f"The good ones took as long: {duration(median(beside))}.")
        if well and apart(delays, well) > 0.9:
            scale.speaks_for(LIGHT, "Within the run the soft pieces took the longest.")
    else:
        for code in ("late quench", "slow cooling"):
            if case.has_finding(code):
                scale.speaks_for(STRONG, case.finding_says(code))
                scale.dose = doses.UNSEEN
    if not scale.pro:
        return None
    soft_as_quenched(case, scale)
    return scale


def all_pieces(case: Case) -> tuple[PieceEvidence, ...]:
    """All pieces of the run in question whose hardness is known, suspects and others."""
    here = [*case.suspects_here, *case.evidence.siblings]
    return tuple(p for p in here if case.run is None or p.harden in (None, case.run.run))


def in_pull_order(case: Case) -> list[tuple[float, float]]:
    """Moment of the pull and hardness of each piece, in order.

    Returns pull [s] and hardness [HRC], as quenched where that is known of all, else the latest.
    """
    stage = "as quenched" if case.as_quenched.suspect is not None else "final"
    found = []
    for piece in all_pieces(case):
        figures = case.figures_of(piece)
        value = stage_value(piece, stage)  # type: ignore[arg-type]
        if figures is not None and figures.piece is not None and figures.pull_s is not None and value is not None:
            found.append((figures.pull_s, value))
    return sorted(found)


def warm_plates(case: Case) -> Scale | None:
    """The later a piece was pulled, the softer it is: plates warmed by the blades before."""
    scale = Scale()
    order = in_pull_order(case)
    if len(order) >= ORDER_FROM and len({t for t, _ in order}) == len(order):
        order_number = [float(i) for i in range(len(order))]
        trend = rank_correlation(order_number, [v for _, v in order])
        half = len(order) // 2
        fall = median(v for _, v in order[:half]) - median(v for _, v in order[-half:])
        if trend <= -0.75 and fall > (1.0 if len(order) > ORDER_FROM else FEW_FALL_HRC):
            weight = STRONG + LIGHT if len(order) >= 5 else FAIR + HINT
            ends = f"{order[0][1]:.1f} HRC first, {order[-1][1]:.1f} last of {len(order)}"
            scale.speaks_for(weight, f"The later it was pulled, the softer: {ends}.")
            _first_ones_too(case, order, scale)
            _how_close(case, order, scale)
            _delays_grow(case, scale)
    shown = [t.shown_c for t in _quenches(case.suspects_here) if t.shown_c is not None]
    if shown and max(shown) > 60.0:
        scale.speaks_for(LIGHT if scale.pro else FAIR, Says.of("The plates showed {at}.", at=Temp(max(shown))))
    if not scale.pro:
        return None
    scale.dose = doses.WARM_PLATES
    if case.as_quenched.direction == "normal":
        scale.speaks_against(FAIR, f"As quenched they were as hard as they should be: {case.as_quenched.says}.")
    return scale


def _first_ones_too(case: Case, order: list[tuple[float, float]], scale: Scale) -> None:
    """Pieces that met cold plates and are soft all the same, or came later and are good."""
    view = case.as_quenched if case.as_quenched.suspect is not None else case.final
    usual = median(
        [*([view.good] if view.good is not None else []), *([sum(view.limits) / 2] if view.limits else [])]
        or [order[0][1]]
    )
    if usual - order[0][1] > order[0][1] - order[-1][1] and usual - order[0][1] > 1.0:
        scale.speaks_against(FAIR, "The first one met cold plates and is soft as well.")
    pulls, well = (
        [f.pull_s for f in map(case.figures_of, part) if f is not None and f.pull_s is not None]
        for part in (case.suspects_here, case.siblings)
    )
    if pulls and well and apart(pulls, well) < 0.5:
        scale.speaks_against(FAIR, "Pieces pulled after the soft ones came out well.")


def _quenches(pieces: tuple[PieceEvidence, ...]) -> list[TreatmentEvidence]:
    return [t for p in pieces for t in p.treatments if t.kind == "plate quench"]


def _how_close(case: Case, order: list[tuple[float, float]], scale: Scale) -> None:
    gaps = [b[0] - a[0] for a, b in pairwise(order)]
    good = []
    for run in case.good:
        pulls = sorted(p.pull_s for p in run.pieces if p.pull_s is not None)
        good += [b - a for a, b in pairwise(pulls) if b > a]
    if good and median(gaps) < 0.7 * median(good):
        scale.speaks_for(
            HINT, f"They followed each other every {duration(median(gaps))}, else {duration(median(good))}."
        )


def _delays_grow(case: Case, scale: Scale) -> None:
    """Where the way to the plates grew as well, that may be the reason."""
    pairs = [
        (f.pull_s, f.quench_delay_s)
        for f in map(case.figures_of, all_pieces(case))
        if f is not None and f.pull_s is not None and f.quench_delay_s is not None
    ]
    if len(pairs) >= ORDER_FROM:
        pairs.sort()
        delays = [d for _, d in pairs]
        if rank_correlation([p for p, _ in pairs], delays) > 0.8 and delays[-1] > 1.5 * delays[0] + LATE_FLOOR_S:
            scale.speaks_against(FAIR, "The later pieces also took longer to the plates.")
            return
    soft, well = ([f.quench_delay_s for f in map(case.figures_of, part) if f and f.quench_delay_s is not None]
                  for part in (case.suspects_here, case.siblings))  # fmt: skip
    if apart(soft, well) > 0.9 and median(soft) > 1.5 * median(well) + LATE_FLOOR_S:
        scale.speaks_against(FAIR, "The soft pieces also took longer to the plates.")


def poor_contact(case: Case) -> Scale | None:
    """One or few pieces soft or uneven with nothing on record that sets them apart."""
    scale = Scale()
    uneven = [range_over(p) for p in case.suspects_here]
    known = [r for r in uneven if r is not None]
    even = [r for r in map(range_over, (*case.siblings, *case.evidence.good)) if r is not None]
    if known and median(known) >= UNEVEN_HRC and (not even or median(known) > 2.0 * median(even)):
        beside = f", the good ones over {median(even):.1f}" if even else ""
        scale.speaks_for(FAIR + HINT, f"Readings on one piece range over {median(known):.1f} points{beside}.")
    few = len(case.suspects_here) <= max(1, len(case.siblings) // 2)
    if few and case.siblings and case.softness == "low":
        scale.speaks_for(HINT, f"Only {len(case.suspects_here)} of {len(all_pieces(case))} pieces of the run are soft.")
    if case.all_suspect and len(case.suspects_here) > 3:
        scale.speaks_against(LIGHT, "All pieces of the run are soft.")
    if not scale.pro:
        return None
    scale.dose = doses.SOFTER
    scale.lacks("Which side lay on which plate.")
    soft_as_quenched(case, scale)
    return scale


def range_over(piece: PieceEvidence) -> float | None:
    """Widest range over readings and places of one piece at one stage, the finished edge left out [HRC]."""
    tests = [h for h in piece.hardness if h.test.scale == "HRC" and not h.ground_off_mm]
    stages = (
        [v for h in tests if h.as_quenched for v in h.test.readings],
        [v for h in tests if h.final and h.stage != "after finish" for v in h.test.readings],
    )
    return max((max(values) - min(values) for values in stages if len(values) >= 3), default=None)
