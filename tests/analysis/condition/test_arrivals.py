"""How the chamber came to its holds, on courses whose time constant and hump are known."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.condition.arrivals import arrivals
from soakwitness.analysis.condition.measuring import run_figures
from soakwitness.analysis.evidence.arrival import Arrival
from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.verification_runs import make_run

RECIPE = Recipe("one hold", "C", (Ramp(1, 1000.0), Hold(2, 1000.0, 8.0, 8.0, 1200.0)))
RATE = 0.2  # K/s


def measured(
    settles_s: float, over_c: float = 0.0, *, load_s: float | None = None, saw_c: float = 0.0
) -> tuple[Arrival, ...]:
    """A straight climb that bends into its level with a time constant, and a hump on top 200 s after the corner.

    ``saw_c``: from 900 s after the corner it swings so far to either side, up and down in 240 s.
    """
    t = np.arange(0.0, 8400.0, 5.0)
    corner = (1000.0 - RATE * settles_s - 20.0) / RATE
    since = np.maximum(t - corner, 0.0)
    temp: FloatArray = np.where(t < corner, 20.0 + RATE * t, 1000.0 - RATE * settles_s * np.exp(-since / settles_s))
    temp = temp + over_c * np.exp(-(((since - 200.0) / 90.0) ** 2))
    turns = np.abs((t / 120.0) % 2.0 - 1.0) * 2.0 - 1.0  # from 1 to -1 and back
    temp = temp + saw_c * turns * (since > 900.0)
    temp[t > 6600.0] = 1000.0 - 0.3 * (t[t > 6600.0] - 6600.0)
    marks = [Mark(6600.0, "pull", mark_id="p", entered_t_s=6600.0)]
    marks += [] if load_s is None else [Mark(load_s, "load", mark_id="l", entered_t_s=load_s)]
    run = make_run(t, {"furnace": temp}, marks=marks)
    return arrivals(run, run_figures(run, RECIPE, verify(run, RECIPE)))


@pytest.mark.parametrize("settles_s", [60.0, 120.0, 300.0])
def test_the_time_constant_of_the_last_degrees(settles_s: float) -> None:
    """From 6 K below the level to 1 K below an exponential takes ln 6 time constants; a slow one has no level yet."""
    (one,) = measured(settles_s)
    assert one.settle_s == pytest.approx(settles_s, rel=0.15)
    assert one.overshoot_c < 0.3
    assert one.target_c == 1000.0
    assert one.level_c is None  # no setpoint was logged


def test_a_hump_is_how_far_it_went_over_its_own_level() -> None:
    """With 60 s the climb itself is 0.4 K below its level when the hump is at its top: 12 x exp(-200 / 60)."""
    (one,) = measured(60.0, 5.0)
    assert one.overshoot_c == pytest.approx(4.6, abs=0.2)


def test_a_hold_in_which_the_charge_went_in_soon_tells_nothing() -> None:
    """The chamber is in the band after some 4,900 s: what it did later than the load is the load's doing."""
    assert measured(60.0, load_s=5100.0) == ()
    assert len(measured(60.0, load_s=5600.0)) == 1


def test_a_swing_is_measured_to_either_side() -> None:
    """A saw is within nine tenths of its range for nine tenths of the time."""
    (still,), (swings,) = measured(60.0), measured(60.0, saw_c=5.0)
    assert still.swing_c < 0.2
    assert swings.swing_c == pytest.approx(5.0, abs=0.3)
    assert still.swing_s is None
    assert swings.swing_s == pytest.approx(240.0, abs=5.0)
