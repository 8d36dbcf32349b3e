"""Time without a reading: from when on it is a gap, of which nobody can be sure."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe

RECIPE = Recipe("one", "C", (Ramp(1, 780.0), Hold(2, 780.0, 8.0, 8.0, 900.0, dip_s=120.0)))


@pytest.mark.parametrize(("every_s", "gap_s", "unseen_s"), [(10, 30, 0), (10, 40, 40), (60, 180, 0), (60, 240, 240)])
def test_over_three_times_the_usual_distance_is_a_gap(every_s: int, gap_s: int, unseen_s: int) -> None:
    # 760 K in 2,000 s: at 772 after 2000 x 752/760 s. At 2,400 s and the gap so much is left of 900 s; to be sure of it
    # the gap must be held once more.
    clock = SoakClock(RECIPE, every_s=every_s)
    for t in (*range(0, 2401, every_s), 2400 + gap_s):
        clock.read(float(t), {"control": float(np.interp(t, [0, 2000, 4000], [20, 780, 780]))})
    state = clock.state()
    assert state is not None
    (piece,) = state.pieces
    left_s = 900 - (2400 + gap_s - 2000 * 752 / 760)
    assert piece.left_s == pytest.approx(left_s, abs=0.1)
    assert piece.sure_in_s == pytest.approx(left_s + unseen_s, abs=0.1)
