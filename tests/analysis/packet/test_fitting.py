"""Fits on runs that an independent equation made: what they predict for other pieces contains the truth."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import for_piece, generic_packet
from soakwitness.analysis.packet_runs.fitting import Fit, fit_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from tests.packet_oracle import TruePacket, scaled_heat, shown_late, solve

RECIPE = ((0.0, 20.0), (1900.0, 780.0), (2600.0, 780.0), (4940.0, 1040.0), (7500.0, 1040.0))


def chamber(name: str, at: float) -> float:
    if name == "recipe":
        return float(np.interp(at, *zip(*RECIPE, strict=True)))
    if name == "tempering":
        return float(np.interp(at, [0.0, 1080.0], [20.0, 200.0]))
    return {"hot": 1050.0 + 3.0 * float(np.sin(at / 100)), "hot 1065": 1065.0, "hot 790": 790.0}[name]


def made(seed: int) -> tuple[TruePacket, str, float]:
    """A packet nobody guessed, the run it was fitted in and the load sensor's error."""
    rng = np.random.default_rng(seed)
    true = TruePacket(
        thickness_mm=float(rng.uniform(2, 5)),
        eps_o=float(rng.uniform(0.35, 0.85)),
        f_i=float(rng.uniform(0.1, 0.35)),
        gap_mm=float(np.exp(rng.uniform(np.log(0.4), np.log(2.0)))),
        peak_factor=float(rng.uniform(0.7, 1.3)),
        convection=float(rng.uniform(0.8, 1.2)),
    )
    return true, ("hot" if seed % 2 else "recipe"), float(rng.normal(0, 1.5))


@cache
def fitted(seed: int) -> tuple[TruePacket, Fit]:
    true, name, error_c = made(seed)
    rng = np.random.default_rng(seed + 1000)
    t = np.arange(0.0, 7500.0, 2.0)
    c = np.array([chamber(name, x) for x in t])
    work = solve(true, lambda x: chamber(name, x), t) + error_c
    found = fit_packet(
        t,
        c + rng.normal(0, 0.3, t.size),
        np.round(work + rng.normal(0, 0.3, t.size), 1),
        packet=generic_packet(PacketSpec(thickness_mm=true.thickness_mm)),
        load_t_s=0.0,
        fitted_from="made",
    )
    return true, found


@pytest.mark.parametrize("seed", range(3))
def test_truth_lies_inside_what_the_fit_predicts_for_other_thicknesses(seed: int) -> None:
    true, found = fitted(seed)
    assert found.packet.fitted
    assert found.residual_c < 1.5
    for thickness_mm in (2.0, 6.0):
        for name, level_c, since_s in (
            ("tempering", 195.0, 1050.0),
            ("hot 1065", 1060.0, 0.0),
            ("hot 790", 785.0, 0.0),
        ):
            t = np.arange(0.0, 9000.0, 2.0)
            truth = solve(replace(true, thickness_mm=thickness_mm), lambda x, n=name: chamber(n, x), t)
            there_s = t[np.argmax((truth >= level_c) & (t >= since_s))] - since_s
            c = np.array([chamber(name, x) for x in t])
            packet = for_piece(found.packet, PacketSpec(thickness_mm=thickness_mm))
            lag = estimate(t, c, packet=packet, load_t_s=0.0).lag_s(level_c, since_s)
            assert lag.low_s is not None
            assert lag.low_s <= there_s <= (np.inf if lag.high_s is None else lag.high_s), (name, thickness_mm)
            assert lag.best_s is not None
            assert lag.best_s == pytest.approx(there_s, rel=0.25)


def test_a_fit_narrows_what_a_guess_leaves_open() -> None:
    true, found = fitted(2)
    t = np.arange(0.0, 4000.0, 2.0)
    c = np.full(t.size, 1065.0)

    def width(packet: object) -> float:
        lag = estimate(t, c, packet=packet, load_t_s=0.0).lag_s(1059.0, 0.0)  # type: ignore[arg-type]
        assert lag.low_s is not None
        assert lag.high_s is not None
        return lag.high_s - lag.low_s

    generic = generic_packet(PacketSpec(thickness_mm=true.thickness_mm))
    assert width(found.packet) < 0.6 * width(generic)
    assert found.packet.slow_side == 1.0
    assert found.packet.scatter == (0.15, 0.15, 0.30, 0.0)  # DESIGN section 5


def test_the_offset_between_the_sensors_is_told_and_leaves_the_best_alone() -> None:
    true, name, error_c = made(4)
    _, found = fitted(4)
    assert name == "recipe"
    assert found.packet.sensor_offset_c == pytest.approx(error_c, abs=0.7)
    t = np.arange(0.0, 4000.0, 2.0)
    one, other = (
        estimate(t, np.full(t.size, 1065.0), packet=replace(found.packet, sensor_offset_c=v), load_t_s=0.0)
        for v in (0.0, -6.0)
    )
    assert np.array_equal(one.best_c, other.best_c)
    assert other.low_c[-1] == pytest.approx(one.low_c[-1] - 6.0, abs=0.3)


def test_a_pull_or_a_quench_ends_what_is_fitted() -> None:
    true = TruePacket()
    t = np.arange(0.0, 6000.0, 2.0)
    c = np.array([chamber("recipe", x) for x in t])
    work = solve(true, lambda x: chamber("recipe", x), t)
    quenched = np.where(t > 5400, 40 + 1000 * np.exp(-(t - 5400) / 20), work)
    generic = generic_packet(PacketSpec())
    by_itself = fit_packet(t, c, quenched, packet=generic)
    by_mark = fit_packet(t, c, quenched, packet=generic, pull_t_s=5400.0)
    for found in (by_itself, by_mark):
        assert found.t_s.max() <= 5400
        assert found.residual_c < 0.5


def test_a_packet_that_came_out_before_the_pull_mark_is_fitted_until_then() -> None:
    """Six are pulled in turn and one mark is made at the last: the wire's own came out a minute and a half before."""
    generic = generic_packet(PacketSpec(thickness_mm=3.0))
    t = np.arange(0.0, 7500.0, 2.0)
    c = np.array([chamber("recipe", x) for x in t])
    work = solve(TruePacket(3.0, 0.5, 0.2, 1.0, 1.0, 1.0), lambda x: chamber("recipe", x), t)
    quenched = np.where(t <= 5400.0, work, 20.0 + (work - 20.0) * np.exp(-(t - 5400.0) / 40.0))
    found = fit_packet(t, c, quenched, packet=generic, load_t_s=0.0, pull_t_s=5490.0)
    assert found.worst_c < 3.0
    assert found.t_s[-1] <= 5400.0


def test_a_loose_wire_that_is_back_after_a_minute_does_not_end_what_is_fitted() -> None:
    """It fell by 400 K for a minute in the middle of the run: no packet comes out and goes in again so soon."""
    true, t = TruePacket(), np.arange(0.0, 6000.0, 2.0)
    c = np.array([chamber("recipe", x) for x in t])
    work = solve(true, lambda x: chamber("recipe", x), t)
    loose = np.where((t > 3000.0) & (t < 3060.0), work - 400.0, work)
    generic = generic_packet(PacketSpec())
    for pull_t_s in (None, 5400.0):
        assert fit_packet(t, c, loose, packet=generic, pull_t_s=pull_t_s).t_s[-1] > 5300.0


def test_a_sensor_that_disagrees_while_cold_is_used_only_when_warm() -> None:
    true = TruePacket(eps_o=0.55, gap_mm=0.8)
    t = np.arange(0.0, 7500.0, 2.0)
    c = np.array([chamber("recipe", x) for x in t])
    work = solve(true, lambda x: chamber("recipe", x), t)
    # A control sensor that lags by 100 s while cold, 5 s when hot, as sheathed thermocouples do.
    lag_s = 5.0 + 95.0 * np.clip((600.0 - c) / 580.0, 0.0, 1.0)
    shown = np.interp(t - lag_s, t, c)
    found = fit_packet(t, shown, work, packet=generic_packet(PacketSpec()))
    assert found.residual_c < 2.0
    assert any("only what came after was used" in str(line) for line in found.says)


def test_what_a_tempering_run_cannot_tell_is_said() -> None:
    true = TruePacket()
    t = np.arange(0.0, 9000.0, 5.0)
    c = np.array([chamber("tempering", x) for x in t])
    found = fit_packet(t, c, solve(true, lambda x: chamber("tempering", x), t), packet=generic_packet(PacketSpec()))
    assert "peak_factor" not in found.told
    assert any("transformation peak" in str(line) for line in found.says)
    assert found.packet.spread[3] == pytest.approx(0.40, abs=0.02)  # as wide as assumed before


def test_the_wrong_sensor_is_refused() -> None:
    t = np.arange(0.0, 7500.0, 5.0)
    c = np.array([chamber("recipe", x) for x in t])
    with pytest.raises(NotEnoughData, match="Check which sensor"):
        fit_packet(t, c, np.full(t.size, 22.0), packet=generic_packet(PacketSpec()))
    with pytest.raises(NotEnoughData, match="Check which sensor"):
        fit_packet(t, c, np.full(t.size, np.nan), packet=generic_packet(PacketSpec()))


def test_a_bare_blade_has_no_gap() -> None:
    true = TruePacket(foil=False, eps_o=0.7)
    t = np.arange(0.0, 7500.0, 5.0)
    c = np.array([chamber("recipe", x) for x in t])
    work = solve(true, lambda x: chamber("recipe", x), t)
    found = fit_packet(t, c, work, packet=generic_packet(PacketSpec(foil=False)))
    assert found.packet.eps_o == pytest.approx(0.7, abs=0.02)
    assert found.packet.spread[1:3] == (0.0, 0.0)


@pytest.mark.parametrize(("lag_s", "seed"), [(10.0, 0), (25.0, 2), (40.0, 4)])
def test_the_lag_of_the_chambers_sensor_is_not_taken_for_a_quick_packet(lag_s: float, seed: int) -> None:
    """Both are behind the chamber: beside a slow sensor a thin packet looks quick, and a thick one comes later."""
    true, _, _ = made(seed)
    t = np.arange(0.0, 7500.0, 2.0)
    c = np.array([chamber("recipe", x) for x in t])
    shown, work = shown_late(t, c, lag_s), solve(true, lambda x: chamber("recipe", x), t)
    found = fit_packet(t, shown, work, packet=generic_packet(PacketSpec(true.thickness_mm)), load_t_s=0.0)
    assert found.packet.sensor_lag_s == pytest.approx(lag_s, abs=8.0)
    thick = replace(true, thickness_mm=8.0)
    there_s = t[np.argmax(solve(thick, lambda x: chamber("recipe", x), t) >= 1034.0)]
    enters_s = t[np.argmax(shown >= 1034.0)]
    lag = estimate(t, shown, packet=for_piece(found.packet, PacketSpec(8.0)), load_t_s=0.0).lag_s(1034.0, enters_s)
    assert lag.best_s == pytest.approx(there_s - enters_s, rel=0.08)


def test_a_peak_far_from_its_usual_place_is_found() -> None:
    """At 825 degC where 735 was expected: small steps from there end in a fit that has no peak at all."""
    true = TruePacket(thickness_mm=6.0, eps_o=0.45)
    t = np.arange(0.0, 7500.0, 4.0)

    def moved(t_c: float) -> float:
        return scaled_heat(t_c, 0.0) + scaled_heat(t_c - 90.0, 1.0) - scaled_heat(t_c - 90.0, 0.0)

    work = solve(true, lambda x: chamber("recipe", x), t, heat=moved)
    c = np.array([chamber("recipe", x) for x in t])
    found = fit_packet(t, c, work, packet=generic_packet(PacketSpec(6.0)), load_t_s=0.0)
    assert found.packet.peak_c == pytest.approx(825.0, abs=3.0)
    assert found.residual_c < 1.5
