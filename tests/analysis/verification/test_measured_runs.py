"""Three measured runs of a radiant furnace that nobody here wrote (CHECKS.md section 7, status C)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import minimum_filter1d

from soakwitness.analysis.verification.results.verification import RampResult
from soakwitness.analysis.verification.verifying import verify
from tests.reference_data import measured_run
from tests.verification_runs import make_run, simple_recipe

# run, S, rise through S - 5 [s], fall through S - 5 [s], in band [s], peak [degC], 10-90 % slope [degC/s]
ROWS = [
    (1, 484, 100.2, 862.5, (762, 764), 486.9, 5.329),
    (4, 306, 57.7, 1460.7, (1302, 1308), 330.8, 5.469),
    (24, 472, 88.4, 3230.1, (3113, 3117), 487.9, 5.657),
]


@pytest.mark.parametrize(("number", "plateau", "rise", "fall", "in_band", "peak", "slope"), ROWS)
def test_measured_run(
    number: int, plateau: float, rise: float, fall: float, in_band: tuple[float, float], peak: float, slope: float
):
    t_s, temp_c = measured_run(number)
    found = verify(make_run(t_s, {"Shroud": temp_c}), simple_recipe((plateau, 10, 5)))
    (hold,) = found.holds
    assert hold.enter_s == pytest.approx(rise, abs=0.05001)
    assert hold.leave_s == pytest.approx(fall, abs=0.05001)
    assert hold.in_band_s is not None
    assert in_band[0] <= hold.in_band_s.cumulative.best <= in_band[1]
    assert float(temp_c.max()) == pytest.approx(peak, abs=0.05)
    # The peak itself is too short to count: what is held for 30 s does, read off a curve of ten points a second.
    fine = np.interp(np.arange(rise, fall, 0.1), t_s, temp_c)
    held = float(minimum_filter1d(fine, 301)[150:-150].max())
    assert hold.overshoot_c == pytest.approx(held - plateau, abs=0.05)
    ramp = found.steps[0]
    assert isinstance(ramp, RampResult)
    assert ramp.rate_c_per_h is not None
    # A Theil-Sen slope and a slope by least squares of a slightly curved rise.
    assert ramp.rate_c_per_h / 3600 == pytest.approx(slope, rel=0.005)
    # A bare chamber over its upper edge for a minute is too hot.
    too_hot = float(minimum_filter1d(fine, 601)[300:-300].max()) > plateau + 5
    assert found.verdict == ("fail" if too_hot else "pass")
