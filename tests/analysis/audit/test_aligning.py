from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.audit.contrasts.aligning import AlignedStep, align_steps
from soakwitness.analysis.evidence.run_figures import PieceFigures, RunFigures
from soakwitness.analysis.record.run import Trace
from tests.made_evidence import GOOD, HOLD


def day(
    wait_s: float, *, climb_s: float = 3600.0, dip_c: float = 0.0, lost: tuple[float, float] | None = None
) -> tuple[Trace, RunFigures]:
    """Off for a while, a climb to 1040, held; perhaps a dip from 600 to 900 s into the hold."""
    t = np.arange(0.0, 12000.0, 10.0)
    enter = wait_s + climb_s
    temp = np.interp(t, [0, wait_s, enter, 12000], [20, 20, 1040, 1040])
    temp = temp - dip_c * ((t > enter + 600) & (t < enter + 900))
    if lost:
        temp[(t > lost[0]) & (t < lost[1])] = np.nan
    hold = replace(HOLD, enter_s=enter, leave_s=enter + 1800.0)
    return Trace("control", "control", t, temp, 0.1, 10.0), replace(GOOD, run=f"run {wait_s}", holds=(hold,))


def laid(suspect: tuple[Trace, RunFigures], *good: tuple[Trace, RunFigures]) -> tuple[AlignedStep, AlignedStep]:
    climb, hold = align_steps(*suspect, good)
    assert (climb.kind, hold.kind) == ("climb", "hold")
    return climb, hold


def test_a_late_start_and_a_slow_climb_shift_no_hold() -> None:
    climb, hold = laid(day(900.0, climb_s=5400.0), day(0.0), day(300.0), day(600.0))
    held = (hold.t_s > 60) & (hold.t_s < 1700)
    assert np.nanmax(np.abs(hold.suspect_c - hold.median_c)[held]) < 0.5
    assert hold.comparable_s is not None
    assert hold.apart == ()
    # each from where it had risen by 30 degrees: half of the slow one's 1020 more, three quarters of the others'
    at = np.abs(climb.t_s - 2700.0).argmin()
    assert climb.suspect_c[at] == pytest.approx(50 + 1020 / 2, abs=10)
    assert climb.median_c[at] == pytest.approx(50 + 1020 * 3 / 4, abs=10)
    assert climb.apart == ()  # a climb is never subtracted: a moment's shift makes hundreds of degrees


def test_a_dip_of_the_suspect_is_marked_with_its_place_and_depth() -> None:
    _, hold = laid(day(0.0, dip_c=35.0), day(0.0), day(100.0), day(200.0))
    (span,) = hold.apart
    assert span == pytest.approx((600.0, 900.0, -35.0), abs=30.0)
    assert span[2] == pytest.approx(-35.0, abs=0.5)


def test_what_is_no_more_held_is_not_compared() -> None:
    short = day(0.0)
    short = (
        replace(short[0], temp_c=np.where(short[0].t_s > 4200.0, 900.0, short[0].temp_c)),
        replace(short[1], holds=(replace(HOLD, enter_s=3600.0, leave_s=4200.0),)),
    )
    _, hold = laid(short, day(0.0), day(100.0))
    assert hold.comparable_s is not None
    assert hold.apart == ()


def test_another_hold_is_not_comparable() -> None:
    other = day(0.0, dip_c=35.0)
    hotter = replace(other[1], holds=(replace(HOLD, enter_s=3600.0, target_c=1060.0),))
    _, hold = laid(other, day(0.0), (other[0], hotter))
    assert hold.comparable_s is None
    assert hold.apart == ()
    _, alone = laid(other, day(0.0))
    assert alone.comparable_s is None


def test_a_gap_stays_a_gap() -> None:
    _, hold = laid(day(0.0, lost=(4000.0, 4600.0)))
    gap = (hold.t_s > 420) & (hold.t_s < 980)
    assert np.isnan(hold.suspect_c[gap]).all()
    assert np.isnan(hold.median_c).all()


def test_a_suspect_that_never_entered_a_hold_shows_its_climb() -> None:
    suspect, figures = day(900.0)
    never = replace(figures, holds=(replace(HOLD, found=False, enter_s=None),))
    (climb,) = align_steps(suspect, never, [day(0.0)])
    assert climb.hold is None
    assert climb.good_c.shape[0] == 1
    assert climb.zero_s == pytest.approx(900 + 3600 * 30 / 1020, abs=20)  # where it had risen by 30 degrees
    assert climb.t_s[-1] < 2.6 * 3600


def loaded(wait_s: float, load_s: float, pull_s: float) -> tuple[Trace, RunFigures]:
    """A charge put into the hot furnace so long after it was reached, which falls by 60 and is back in 300 s."""
    trace, figures = day(wait_s)
    enter = wait_s + 3600.0
    fall = np.interp(trace.t_s - enter - load_s, [0, 60, 300], [0, 60, 0], left=0, right=0)
    stay = PieceFigures("B-1", load_s=enter + load_s, pull_s=enter + pull_s)
    return replace(trace, temp_c=trace.temp_c - fall), replace(figures, pieces=(stay,))


def test_a_charge_loaded_hot_begins_with_its_loading_and_is_compared_until_the_first_pull() -> None:
    _, hold = laid(loaded(0.0, 600.0, 1500.0), loaded(0.0, 100.0, 1700.0), loaded(0.0, 300.0, 1700.0))
    assert hold.zero_s == 3600.0 + 600.0
    assert hold.apart == ()  # the falls lie on each other
    assert hold.by_load
    # the shortest of 900, 1600 and 1400 s, less the 45 s in which the door is open before a pull is marked
    assert hold.comparable_s == 900.0 - 45.0
