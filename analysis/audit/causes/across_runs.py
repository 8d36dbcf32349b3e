"""Causes that only a contrast over several runs shows: other steel, tester, thermocouple, oven, hands, place.

Such a contrast is told with its chance and never as an accusation; where several go together none is claimed, for
nothing on record tells them apart.
"""

from __future__ import annotations

from collections.abc import Callable

from soakwitness.analysis.audit.causes import doses
from soakwitness.analysis.audit.causes.after_quench import temper_dose, temper_level
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import explained
from soakwitness.analysis.audit.contrasts.sharing import (
    Get,
    Shared,
    lot_of,
    operator_of,
    oven_of,
    place_of,
    shared_across,
    steel_of,
    tester_of,
    thermocouple_of,
)
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, STRONG, Scale
from soakwitness.firmware_bridge.common.wording import Diff, Says

RARE = 0.25
"""Chance from which a contrast over runs is enough alone: that of one run among four."""

GETTERS: dict[str, Callable[[Case], Get]] = {
    "lot": lambda case: lot_of,
    "steel": lambda case: steel_of,
    "tester": lambda case: tester_of,
    "thermocouple": thermocouple_of,
    "oven": oven_of,
    "operator": operator_of,
    "place": lambda case: place_of,
}
SAYS = {
    "lot": ("are of lot", "of lot"),
    "steel": ("are of", "of"),
    "tester": ("were measured with", "with"),
    "thermocouple": ("were hardened by thermocouple", "by"),
    "oven": ("were tempered in", "in"),
    "operator": ("were hardened by", "by"),
    "place": ("stood", "at"),
}


def weigh_shared(case: Case, words: tuple[str, ...], scale: Scale) -> Shared | None:
    """Enter what the suspects share across runs and no good piece has; lighter where other things go with it."""
    for word in words:
        found = shared_across(case, GETTERS[word](case))
        if found is None:
            continue
        have, other = SAYS[word]
        count = f"All {found.bad_count}" if found.bad_count > 1 else "It"
        have = have if found.bad_count > 1 else have.replace("are ", "is ", 1).replace("were ", "was ", 1)
        says = f"{count} {have} {found.bad}, the {found.good_count} good ones of other runs {other} {found.good}"
        others = [w for w in GETTERS if w not in words and shared_across(case, GETTERS[w](case)) is not None]
        weight = FAIR + HINT if found.chance <= RARE else FAIR if found.chance <= 2.0 * RARE else LIGHT
        if any(w != "operator" for w in others):
            weight = max(LIGHT, weight - HINT)
            scale.lacks(f"What tells it from the {' and '.join(others)}, which changed with it.")
        scale.speaks_for(weight, f"{says} ({found.odds}).")
        return found
    return None


def another_thermocouple(case: Case) -> Scale | None:
    """All suspects were hardened by a thermocouple, or by settings of it, that no good run had."""
    scale = Scale(dose=doses.level(-25.0).or_else(doses.level(25.0)))
    if weigh_shared(case, ("thermocouple",), scale) is None:
        return None
    scale.lacks("A reference beside it: two thermocouples may differ by their tolerance, or the older one had drifted.")
    return scale


def another_hand(case: Case) -> Scale | None:
    """All suspects were hardened by someone who hardened none of the good ones."""
    scale = Scale(dose=doses.OTHER_HAND)
    if weigh_shared(case, ("operator",), scale) is None:
        return None
    scale.lacks("What was done otherwise: the contrast says nothing of it.")
    return scale


def oven_reads_wrong(case: Case) -> Scale | None:
    """As quenched like the good ones, in the end not, and the temper on record as it should be."""
    scale = Scale(dose=doses.OVEN_OFF)
    change = case.changes.temper if case.changes.temper is not None else case.changes.after
    _second_thermometer(case, scale)
    known = temper_level(case)
    shown = known is not None and explained(temper_dose(case, known[0]), change or 0.0).reach >= 0.5
    clear = change is not None and abs(change) >= TOLD_APART_HRC and change * (case.changes.final or 0.0) > 0
    if change is not None and clear and not shown:
        way = "lost" if change < 0 else "kept"
        more = f"Between quench and end they {way} {abs(change):.1f} points more than the good ones"
        alike = _cold_alike(case)
        scale.speaks_for(STRONG if alike else FAIR, f"{more}, and the temper on record does not say why.")
        if alike is None:
            scale.lacks("Whether the cold treatment was done as with the good ones.")
    weigh_shared(case, ("oven",), scale)
    if not scale.pro:
        return None
    scale.lacks("A second thermometer in the oven over a whole swing.")
    return scale


def _second_thermometer(case: Case, scale: Scale) -> None:
    offs = [
        t.second_c - t.shown_c
        for p in case.suspects_here
        for t in p.treatments
        if t.kind == "temper" and t.second_c is not None and t.shown_c is not None
    ]
    if offs and abs(max(offs, key=abs)) >= 5.0:
        worst = max(offs, key=abs)
        way = "more" if worst > 0 else "less"
        says = f"A second thermometer in the oven showed {{off}} {way} than the oven."
        scale.speaks_for(STRONG, Says.of(says, off=Diff(abs(worst))))
        scale.dose = doses.temper(worst, 200.0, next((p.steel for p in case.suspects_here if p.steel), None))


def _cold_alike(case: Case) -> bool | None:
    """Whether suspects and good ones were treated alike in the cold; None where it is on record for one side only."""
    if case.changes.temper is not None:
        return True
    own, theirs = (
        [any(t.kind == "cold treatment" and not t.not_done for t in p.treatments) for p in part]
        for part in (case.suspects_here, case.evidence.good)
    )
    if not own or not theirs:
        return None
    return True if all(own) == all(theirs) and any(own) == any(theirs) else None
