from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.audit.contrasts.aligning import align
from soakwitness.analysis.evidence.run_figures import RunFigures
from soakwitness.analysis.record.run import Trace
from tests.made_evidence import GOOD, HOLD


def trace(shift_s: float, *, dip_c: float = 0.0, lost: tuple[float, float] | None = None) -> tuple[Trace, RunFigures]:
    """A climb to 1040 reached at 3600 s + shift, held; perhaps a dip from 600 to 900 s into the hold."""
    t = np.arange(0.0, 9000.0, 10.0)
    temp = np.interp(t, [0, 3600 + shift_s, 9000], [20, 1040, 1040])
    temp = temp - dip_c * ((t > 4200 + shift_s) & (t < 4500 + shift_s))
    if lost:
        temp[(t > lost[0]) & (t < lost[1])] = np.nan
    figures = replace(GOOD, run=f"run {shift_s}", holds=(replace(HOLD, enter_s=3600.0 + shift_s),))
    return Trace("control", "control", t, temp, 0.1, 10.0), figures


def test_runs_that_began_at_other_times_lie_on_each_other() -> None:
    suspect, figures = trace(900.0)
    good = [trace(shift) for shift in (0.0, 300.0, 600.0)]
    found = align(suspect, figures, [t for t, _ in good], {f.run: f for _, f in good}, [f.run for _, f in good])
    assert found.step == 4
    assert found.good_c.shape == (3, found.t_s.size)
    at_entry = np.abs(found.t_s).argmin()
    assert found.suspect_c[at_entry] == pytest.approx(1040.0, abs=1.0)
    held = (found.t_s > 60) & (found.t_s < 3000)
    assert np.nanmax(np.abs(found.suspect_c - found.median_c)[held]) < 0.5
    assert [span for span in found.apart if span[0] > 0] == []


def test_a_dip_of_the_suspect_is_marked_with_its_place_and_depth() -> None:
    suspect, figures = trace(0.0, dip_c=35.0)
    good = [trace(shift) for shift in (0.0, 0.0, 0.0)]
    found = align(suspect, figures, [t for t, _ in good], {f.run: f for _, f in good}, [f.run for _, f in good])
    (span,) = found.apart
    assert span[0] == pytest.approx(600.0, abs=30.0)
    assert span[1] == pytest.approx(900.0, abs=30.0)
    assert span[2] == pytest.approx(-35.0, abs=0.5)


def test_a_gap_stays_a_gap() -> None:
    suspect, figures = trace(0.0, lost=(5000.0, 5600.0))
    found = align(suspect, figures, [], {}, [])
    gap = (found.t_s > 1420) & (found.t_s < 1980)
    assert np.isnan(found.suspect_c[gap]).all()
    assert found.apart == ()
    assert np.isnan(found.median_c).all()


def test_a_suspect_that_never_entered_a_hold_is_aligned_on_its_beginning() -> None:
    suspect, figures = trace(0.0)
    never = replace(figures, holds=(replace(HOLD, found=False, enter_s=None),))
    found = align(suspect, never, [suspect], {}, ["other"])
    assert found.hold is None
    assert found.t_s[0] == 0.0
    assert found.good_c.shape[0] == 1
