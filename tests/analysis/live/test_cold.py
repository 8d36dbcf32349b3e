"""A charge that was left in while the furnace cooled."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.living_sentence import sentence
from tests.analysis.live.test_at_the_furnace import HOT, LOAD

COOLS = ((0.0, 1050.0), (1200.0, 1050.0), (1800.0, 400.0), (9000.0, 60.0))


def test_take_out_ends_when_the_blade_has_cooled_in_the_furnace() -> None:
    """It falls by 650 K in 600 s from 1200 s on: 100 K below the band (944) at 1200 + 106/650 x 600 = 1298 s."""
    clock = SoakClock(HOT, every_s=2.0)
    times, temps = zip(*COOLS, strict=True)
    says, complete = {}, {}
    for t_s in np.arange(0.0, 4000.0, 2.0):
        temp_c = float(np.interp(t_s, times, temps))
        clock.read(float(t_s), {"control": temp_c}, marks=(LOAD,) if t_s >= LOAD.t_s else ())
        state = clock.state()
        assert state is not None
        says[int(t_s)], complete[int(t_s)] = sentence(state), state.complete
    assert complete[1290]
    assert "take out" in says[1290]
    after = [t_s for t_s in says if t_s >= 1300]
    assert not any(complete[t_s] or "take out" in says[t_s] for t_s in after)
    assert "cooled in the furnace" in says[1400]
