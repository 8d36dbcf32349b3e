"""Packets from several instrumented runs: the scatter from run to run is measured, not guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.packet_runs.fitting import fit_packet
from soakwitness.analysis.packet_runs.several import GUESS_COUNTS, combine_fits
from soakwitness.analysis.recipes.recipe import PacketSpec
from tests.packet_oracle import TruePacket, solve

BEFORE = generic_packet(PacketSpec(thickness_mm=3.0))


def told_exactly(eps_o: float, f_i: float = 0.19, gap_mm: float = 1.0) -> PacketModel:
    """A fit that is sure of its figures to 0.1 %."""
    return replace(BEFORE, eps_o=eps_o, f_i=f_i, gap_mm=gap_mm, spread=(0.001,) * 4, fitted=True, fitted_from="made")


def test_scatter_of_runs_that_told_their_figures_exactly_has_a_closed_form() -> None:
    # With exact figures the most probable variance is (nu g2 + sum of squares about the mean) / (nu + n - 1): the
    # scaled inverse chi-squared posterior with the mean integrated out. Guess g: 0.15 for eps_o, 0.30 for the gap.
    logs = np.array([-0.3, 0.25, 0.1, -0.15, 0.2])
    fits = [told_exactly(0.6 * float(np.exp(x)), gap_mm=float(np.exp(0.1 * x))) for x in logs]
    found = combine_fits(fits, before=BEFORE)
    squares = float(np.sum((logs - logs.mean()) ** 2))
    for place, guess, share in ((0, 0.15, 1.0), (2, 0.30, 0.1)):
        expected = np.sqrt((GUESS_COUNTS * guess**2 + share**2 * squares) / (GUESS_COUNTS + len(logs) - 1))
        # The weak prior of the mean moves it by less than 2 %.
        assert found.scatter[place] == pytest.approx(expected, rel=0.02)
    assert found.eps_o == pytest.approx(0.6 * np.exp(logs.mean()), rel=0.02)
    assert found.spread[0] == pytest.approx(found.scatter[0] / np.sqrt(len(logs)), rel=0.05)
    assert found.scatter[3] == 0.0


def test_runs_that_say_little_leave_the_guess() -> None:
    vague = replace(BEFORE, spread=(0.349, 0.499, 0.499, 0.399), fitted=True, fitted_from="made")
    found = combine_fits([vague, vague], before=BEFORE)
    assert found.scatter[:3] == pytest.approx((0.15, 0.15, 0.30), rel=0.03)


def test_different_pieces_or_a_single_run_are_refused() -> None:
    one = told_exactly(0.6)
    with pytest.raises(ValueError, match="1 fit"):
        combine_fits([one], before=BEFORE)
    with pytest.raises(ValueError, match="thickness_mm"):
        combine_fits([one, replace(one, thickness_mm=4.0)], before=BEFORE)


@pytest.mark.parametrize(("scatter", "wider"), [(0.0, False), (0.5, True)])
def test_alike_runs_narrow_the_prediction_and_unlike_ones_widen_it(scatter: float, wider: bool) -> None:
    rng = np.random.default_rng(7)
    t = np.arange(0.0, 3000.0, 5.0)
    chamber = np.full(t.size, 1050.0)
    fits = []
    for number in range(4):
        true = TruePacket(eps_o=0.55 * float(np.exp(scatter * (-1) ** number * 0.8)))
        work = solve(true, lambda x: 1050.0, t)
        fits.append(fit_packet(t, chamber, np.round(work + rng.normal(0, 0.3, t.size), 1), packet=BEFORE).packet)
    together = combine_fits(fits, before=BEFORE)

    def width_s(packet: PacketModel) -> float:
        lag = estimate(t, chamber, packet=packet, load_t_s=0.0).lag_s(1044.0, 0.0)
        assert lag.low_s is not None
        assert lag.high_s is not None
        return lag.high_s - lag.low_s

    assert (width_s(together) > width_s(fits[0])) is wider
    truth = solve(TruePacket(eps_o=0.55), lambda x: 1050.0, t)
    lag = estimate(t, chamber, packet=together, load_t_s=0.0).lag_s(1044.0, 0.0)
    assert lag.low_s is not None
    assert lag.high_s is not None
    assert lag.low_s <= t[np.argmax(truth >= 1044.0)] <= lag.high_s


def test_the_chambers_sensor_has_one_lag_in_all_runs() -> None:
    """Two runs that say 20 and 30 s, each to 3 s, say 25 to 3/sqrt(2), and the next one may differ by 8.

    The weak prior, 20 to 15, moves that by 5 (2.1 / 15)^2 = 0.1 s.
    """
    fits = [replace(told_exactly(0.6), sensor_lag_s=lag_s, sensor_lag_spread_s=3.0) for lag_s in (20.0, 30.0)]
    found = combine_fits(fits, before=BEFORE)
    assert found.sensor_lag_s == pytest.approx(25.0, abs=0.15)
    assert found.sensor_lag_spread_s == pytest.approx(np.hypot(3.0 / np.sqrt(2.0), 8.0), rel=0.01)
