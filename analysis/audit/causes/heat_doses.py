"""What the record of the holds leaves for a cause in the furnace: a hold that was met as in the good runs cost nothing.

A door, a cut, weak mains or a heavy charge act on hardness through time and temperature of the hold only; both are on
record, so that their dose is read there.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from soakwitness.analysis.audit.causes.doses import NEVER_HELD, NONE, UNSEEN, level, short_soak, worst
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Dose
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures

NEAR_S = 60.0
ORDINARY_C = 2.0


def furnace_share(case: Case, hold: HoldFigures) -> float | None:
    """Share of the required time that furnace and pull gave, whatever the packet made of it.

    Returns of 1; None where the furnace's time is not known.
    """
    given = hold.chamber_s if hold.chamber_s is not None else hold.in_band_s
    enter = hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s
    if hold.required_s <= 0 or given is None or enter is None:
        return None
    loads = [f.load_s for f in case.suspect_figures if f.load_s is not None]
    if loads and max(loads) > enter:  # loaded hot: what the empty furnace held counts for nothing
        leave = hold.leave_s if hold.leave_s is not None else enter + given
        given, enter = min(given, max(0.0, leave - max(loads))), max(loads)
    last = case.holds and hold.step == max(h.step for h in case.holds)
    pulls = [f.pull_s for f in case.suspect_figures if f.pull_s is not None] if last else []
    if pulls and min(pulls) > enter:
        given = min(given, min(pulls) - enter)
    return given / hold.required_s


def missing_near(case: Case, hold: HoldFigures) -> float:
    """How long no reading was had from shortly before a hold until it was left.

    Returns [s]; gaps that reach into that time count whole.
    """
    enter = hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s
    if case.run is None or enter is None:
        return hold.gap_s
    leave = hold.leave_s if hold.leave_s is not None else enter + max(hold.chamber_s or 0.0, hold.required_s)
    return sum(b - a for a, b in case.run.gaps if b >= enter - NEAR_S and a <= leave + NEAR_S)


def heat_dose(case: Case) -> Dose:
    """What time and temperature of the worst judged hold can have cost; nothing where it was as in the good runs."""
    return worst([soak_dose(case, h).and_with(level_dose(case, h)) for h in case.holds])


def furnace_dose(case: Case) -> Dose:
    """The same at the control sensor: what a packet lags by its own thickness is no fault of the furnace."""
    return worst([_chamber_soak(case, h).and_with(_control_level(case, h)) for h in case.holds])


def _chamber_soak(case: Case, hold: HoldFigures) -> Dose:
    return _soak(case, hold, [_chamber_share(case, hold)])


def _control_level(case: Case, hold: HoldFigures) -> Dose:
    off = _off(hold, hold.control_c, [h.control_c for h in case.good_holds(hold.step)])
    return level(off) if off is not None else level_dose(case, hold)


def soaks_dose(case: Case) -> Dose:
    """What the time of the worst judged hold can have cost."""
    return worst([soak_dose(case, h) for h in case.holds])


def levels_dose(case: Case) -> Dose:
    """What the temperature of the judged hold that was furthest off can have cost."""
    return worst([level_dose(case, h) for h in case.holds])


def soak_dose(case: Case, hold: HoldFigures) -> Dose:
    """What the time of one hold can have cost."""
    return _soak(case, hold, [_piece_share(case, hold), _chamber_share(case, hold)])


def _soak(case: Case, hold: HoldFigures, known: Sequence[float | None]) -> Dose:
    """What the smallest share of a soak can have cost; readings that are missing may have been anything."""
    if not hold.found:
        if not hold.on_record:
            return UNSEEN
        return NEVER_HELD if hold.control_c is None else NONE
    shares = [s for s in known if s is not None]
    if not shares:
        return NONE
    share = min(shares)
    missing = missing_near(case, hold) / hold.required_s if hold.required_s > 0 else 0.0
    unread = hold.gap_s / hold.required_s if hold.required_s > 0 else 0.0
    least = short_soak(share - unread, hold.required_s)
    return least.or_else(short_soak(share + missing, hold.required_s)) if missing else least


def _chamber_share(case: Case, hold: HoldFigures) -> float | None:
    """Share of the time that furnace and pull gave, beside that of the good runs where those had less than asked."""
    own = furnace_share(case, hold)
    good = [s for r in case.good for h in r.holds if h.step == hold.step and (s := _share_of(r, h)) is not None]
    return None if own is None else own / min(1.0, median(good)) if good and median(good) > 0 else own


def _share_of(run: RunFigures, hold: HoldFigures) -> float | None:
    """Share of the required time that the furnace of a good run gave after its loading."""
    given = hold.chamber_s if hold.chamber_s is not None else hold.in_band_s
    enter = hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s
    if not hold.found or given is None or hold.required_s <= 0:
        return None
    loads = [p.load_s for p in run.pieces if p.load_s is not None]
    if loads and enter is not None and hold.leave_s is not None and max(loads) > enter:
        given = min(given, max(0.0, hold.leave_s - max(loads)))
    return given / hold.required_s


def _piece_share(case: Case, hold: HoldFigures) -> float | None:
    """Share of the soak that the suspects had, beside that of good pieces where those had less than asked too."""
    own = [f.soak_share for f in case.suspect_figures if f.soak_share is not None and f.step in (None, hold.step)]
    good = [
        p.soak_share for r in case.good for p in r.pieces if p.soak_share is not None and p.step in (None, hold.step)
    ]
    if not own:
        return None
    return median(own) / min(1.0, median(good)) if good and median(good) > 0 else median(own)


def level_dose(case: Case, hold: HoldFigures) -> Dose:
    """What the level of one hold can have cost."""
    off = level_off(case, hold)
    return level(off) if off is not None else NONE


def level_off(case: Case, hold: HoldFigures) -> float | None:
    """How far a hold stood from where it stood in the good runs, else how far from its target [K].

    Without good runs what lies inside the band is none; None where it is not known.
    """
    return _off(hold, _level_of(hold), list(map(_level_of, case.good_holds(hold.step))))


def _off(hold: HoldFigures, own: float | None, beside: Sequence[float | None]) -> float | None:
    good = [v for v in beside if v is not None]
    if own is None:
        return None
    if good:
        off = own - median(good)
        return 0.0 if abs(off) <= ORDINARY_C else off
    inside = hold.lower_c - 0.5 <= own <= hold.upper_c + 0.5
    return 0.0 if inside else own - hold.target_c


def _level_of(hold: HoldFigures) -> float | None:
    return hold.work_c if hold.work_c is not None else hold.control_c
