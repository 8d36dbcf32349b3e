"""The packet model against a tight solution of its equations, and against what a correct model should say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import qmc

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet import grid, marching
from soakwitness.analysis.packet.draws import bundle_of, normal_set, uniform_set
from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import PacketModel, for_piece, generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from tests.packet_oracle import TruePacket, solve

Chamber = Callable[[float], float]


def straight(*corners: tuple[float, float]) -> Chamber:
    t, c = zip(*corners, strict=True)
    return lambda at: float(np.interp(at, t, c))


def door(at: float) -> float:
    """Opened to load at 100 s and opened again at 3000 s."""
    first = 250 * min((at - 100) / 15, 1) * np.exp(-max(at - 115, 0) / 90) if at > 100 else 0.0
    again = 200 * min((at - 3000) / 10, 1) * np.exp(-max(at - 3010, 0) / 60) if at > 3000 else 0.0
    return float(1065 - first - again)


COURSES: dict[str, tuple[float | None, Chamber]] = {
    "rides the ramp": (None, straight((0, 20), (1900, 780), (2500, 780), (4840, 1040), (6700, 1040), (9000, 500))),
    "tempering": (None, straight((0, 20), (1080, 200), (9000, 200))),
    "full power": (None, straight((0, 20), (200, 1000), (9000, 1000))),
    "loaded hot": (0.0, lambda t: 1065.0),
    "loaded hot, then doors": (100.0, door),
}


def traced(chamber: Chamber, every_s: float = 1.0, until_s: float = 6000.0) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(0.0, until_s, every_s)
    return t, np.array([chamber(x) for x in t])


@pytest.mark.parametrize("name", list(COURSES))
@pytest.mark.parametrize(("thickness_mm", "foil"), [(1.5, True), (3.0, True), (6.0, True), (2.0, False), (6.0, False)])
def test_best_is_within_half_a_degree_of_a_tight_solution(name: str, thickness_mm: float, foil: bool) -> None:
    load, chamber = COURSES[name]
    t, c = traced(chamber)
    packet = generic_packet(PacketSpec(thickness_mm=thickness_mm, foil=foil))
    found = estimate(t, c, packet=packet, load_t_s=load, draws=2)
    true = TruePacket(thickness_mm=thickness_mm, eps_o=packet.eps_o, foil=foil)
    begin = found.load_t_s
    exact = solve(true, lambda x: chamber(x + begin), found.draw_t_s - begin)
    assert np.abs(found.best_draw_c - exact).max() < 0.5
    inside = t >= begin
    assert np.abs(found.best_c[inside] - np.interp(t[inside], found.draw_t_s, exact)).max() < 0.5


@pytest.mark.parametrize("name", ["rides the ramp", "loaded hot, then doors"])
def test_the_quickest_and_the_slowest_draw_are_as_near(name: str) -> None:
    load, chamber = COURSES[name]
    t, c = traced(chamber)
    packet = replace(generic_packet(PacketSpec(), "1095"), peak_spread_c=0.0)
    found = estimate(t, c, packet=packet, load_t_s=load, draws=40)
    figures, _ = bundle_of(packet, 40)
    lags = found.crossing_s(700.0, 0.0, 6000.0)
    for draw in (int(lags.argmin()), int(lags.argmax())):
        true = TruePacket(
            thickness_mm=float(figures.steel_kg_m2[draw + 1]) / 7850 * 2000,
            eps_o=float(figures.eps_sigma[draw + 1]) / 5.670374419e-8,
            f_i=float(figures.f_sigma[draw + 1]) / 5.670374419e-8,
            gap_mm=float(figures.gap_m[draw + 1]) * 1000,
            peak_factor=float(figures.peak_factor[draw + 1]),
            convection=float(figures.convection[draw + 1]),
        )
        begin = found.load_t_s
        exact = solve(true, lambda x, b=begin: chamber(x + b), found.draw_t_s - begin)
        assert np.abs(found.draws_c[draw] - exact).max() < 0.5


def test_a_reading_each_minute_is_as_good() -> None:
    t, c = traced(COURSES["rides the ramp"][1], every_s=60.0)
    packet = generic_packet(PacketSpec())
    found = estimate(t, c, packet=packet, draws=2)
    exact = solve(TruePacket(), straight(*zip(t, c, strict=True)), found.draw_t_s)
    assert np.abs(found.best_draw_c - exact).max() < 0.5


def minutes(begin_c: float, hold_c: float, within_c: float, rate: float | None, packet: PacketModel) -> float:
    """Minutes after the chamber reaches its hold until the best estimate is within some degrees."""
    ramp = 0.0 if rate is None else (hold_c - begin_c) / rate * 60
    corners = (
        ((0.0, hold_c), (ramp + 5400, hold_c))
        if rate is None
        else ((0, begin_c), (ramp, hold_c), (ramp + 5400, hold_c))
    )
    t, c = traced(straight(*corners), every_s=2.0, until_s=ramp + 5400)
    start_c = 20.0 if rate is None else begin_c
    lag = estimate(t, c, packet=packet, load_t_s=0.0, start_c=start_c, draws=2).lag_s(hold_c - within_c, ramp)
    assert lag.best_s is not None
    return lag.best_s / 60


@pytest.mark.parametrize(
    ("thickness_mm", "begin_c", "hold_c", "table_min"),
    # CHECKS section 4, the lag table (model, C): rides the ramp at 10 degC/min, to within 5 degC
    [
        (2, 20, 200, 12.9), (3, 20, 200, 21.7), (4, 20, 200, 30.6), (6, 20, 200, 48.9),
        (2, 20, 790, 3.6), (3, 20, 790, 6.9), (4, 20, 790, 10.5), (6, 20, 790, 18.1),
        (2, 790, 1070, 0.3), (3, 790, 1070, 0.8), (4, 790, 1070, 1.5), (6, 790, 1070, 3.1),
    ],
)  # fmt: skip
def test_lag_table_riding_the_ramp(thickness_mm: float, begin_c: float, hold_c: float, table_min: float) -> None:
    packet = generic_packet(PacketSpec(thickness_mm=thickness_mm))
    assert minutes(begin_c, hold_c, 5, 10.0, packet) == pytest.approx(table_min, rel=0.2)


@pytest.mark.parametrize(
    ("thickness_mm", "foil", "hold_c", "within_c", "table_min"),
    # CHECKS section 4 (C): loaded cold into a hot chamber
    [
        (3, True, 1050, 6, 7.3), (6, True, 1050, 6, 14.5), (3, True, 790, 5, 15.3),
        (2, True, 1070, 5, 4.7), (3, True, 1070, 5, 7.1), (4, True, 1070, 5, 9.4), (6, True, 1070, 5, 14.1),
        (2, False, 1070, 5, 1.4), (3, False, 1070, 5, 2.1), (4, False, 1070, 5, 2.8), (6, False, 1070, 5, 4.2),
        (3, False, 200, 5, 17.0),
    ],
)  # fmt: skip
def test_lag_table_loaded_hot(
    thickness_mm: float, foil: bool, hold_c: float, within_c: float, table_min: float
) -> None:
    packet = generic_packet(PacketSpec(thickness_mm=thickness_mm, foil=foil))
    assert minutes(20, hold_c, within_c, None, packet) == pytest.approx(table_min, rel=0.2)


def test_a_long_trace_cut_into_pieces_is_the_same_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 200_000.0, 10.0)
    day = np.interp(
        t % 40_000, [0, 1900, 2500, 4840, 6700, 9000, 20000, 40000], [20, 780, 780, 1040, 1040, 500, 80, 20]
    )
    c = day + rng.normal(0, 0.3, t.size)
    packet = generic_packet(PacketSpec(thickness_mm=4))
    cut = estimate(t, c, packet=packet, draws=20)
    monkeypatch.setattr(marching, "SHORTEST_CUT", 10**9)
    whole = estimate(t, c, packet=packet, draws=20)
    assert np.abs(cut.draws_c - whole.draws_c).max() < 0.3
    assert np.abs(cut.best_draw_c - whole.best_draw_c).max() < 0.1


def test_longer_steps_in_a_long_run_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(4)
    t = np.arange(0.0, 120_000.0, 5.0)
    day = np.interp(
        t % 40_000, [0, 1900, 5500, 7840, 9700, 12000, 30000, 40000], [20, 780, 780, 1040, 1040, 500, 80, 20]
    )
    c = day + rng.normal(0, 0.3, t.size)
    packet = generic_packet(PacketSpec(thickness_mm=4))
    coarse = estimate(t, c, packet=packet, draws=10)
    monkeypatch.setattr(grid, "LONG_RUN_S", 1e9)
    fine = estimate(t, c, packet=packet, draws=10)
    assert coarse.draw_t_s.size < 0.75 * fine.draw_t_s.size
    assert np.abs(coarse.best_c - fine.best_c).max() < 0.5
    assert np.abs(coarse.low_c - fine.low_c).max() < 0.5


def test_same_input_same_output() -> None:
    t, c = traced(COURSES["loaded hot"][1], until_s=1200)
    one, two = (estimate(t, c, packet=generic_packet(PacketSpec()), load_t_s=0.0) for _ in range(2))
    assert np.array_equal(one.draws_c, two.draws_c)


def test_low_best_high_are_in_order_and_say_what_the_draws_say() -> None:
    t, c = traced(COURSES["rides the ramp"][1], every_s=5.0)
    found = estimate(t, c, packet=generic_packet(PacketSpec()))
    heating = (t > 200) & (t < 1900)
    assert np.all(found.low_c[heating] < found.best_c[heating])
    assert np.all(found.best_c[heating] < found.high_c[heating])
    both = np.isin(found.draw_t_s, t) & (found.draw_t_s > 200) & (found.draw_t_s < 1900)
    assert both.sum() > 50
    below = (found.draws_c[:, both] < np.interp(found.draw_t_s[both], t, found.low_c)).mean(axis=0)
    above = (found.draws_c[:, both] > np.interp(found.draw_t_s[both], t, found.high_c)).mean(axis=0)
    assert 0.02 <= below.min() <= below.max() <= 0.025  # 4 or 5 of 200
    assert 0.02 <= above.min() <= above.max() <= 0.025
    assert found.draws_c.shape == (200, found.draw_t_s.size)
    assert found.draws_c.dtype == np.float32


def test_under_a_swinging_chamber_they_stay_in_order() -> None:
    # A bare blade follows a swing of 1 K: the draws cross each other at its turns.
    t_s = np.arange(0.0, 14_400.0, 5.0)
    swing = np.where(t_s > 1800.0, np.sin(2.0 * np.pi * (t_s - 1800.0) / 400.0), 0.0)
    found = estimate(
        t_s, np.interp(t_s, [0.0, 1800.0], [20.0, 742.0]) + swing, packet=generic_packet(PacketSpec(2.0, foil=False))
    )
    assert np.all(found.low_c <= found.best_c)
    assert np.all(found.best_c <= found.high_c)


def test_before_the_load_mark_the_piece_is_cold() -> None:
    t, c = traced(lambda x: 1065.0, until_s=2000)
    found = estimate(t, c, packet=generic_packet(PacketSpec()), load_t_s=600.5, start_c=23.0)
    assert np.all(found.best_c[t < 600] == 23.0)
    assert found.best_c[-1] > 1055
    assert found.load_t_s == 600.5


def test_the_unfitted_high_lag_is_stretched_by_half() -> None:
    t, c = traced(lambda x: 1050.0, until_s=4000)
    generic = generic_packet(PacketSpec())
    plain = estimate(t, c, packet=replace(generic, slow_side=1.0)).lag_s(1044, 0.0)
    wide = estimate(t, c, packet=generic).lag_s(1044, 0.0)
    assert plain.high_s is not None
    assert wide.high_s is not None
    assert wide.high_s == pytest.approx(1.5 * plain.high_s, rel=0.05)  # DESIGN section 5
    assert wide.best_s == plain.best_s
    assert wide.low_s == pytest.approx(plain.low_s, rel=0.02)


def test_readings_that_no_furnace_has_count_as_its_limit() -> None:
    # a log in degF taken for degC: 1060 degC shows as 1940
    t_s = np.arange(0.0, 6000.0, 10.0)
    chamber = np.interp(t_s, [0.0, 3000.0], [68.0, 1940.0])
    found = estimate(t_s, chamber, packet=generic_packet(PacketSpec(3.0)))
    capped = estimate(t_s, np.minimum(chamber, 1500.0), packet=generic_packet(PacketSpec(3.0)))
    assert np.array_equal(found.best_c, capped.best_c)
    assert found.high_c.max() < 1510.0


def test_lag_counts_draws_that_never_reach_the_band() -> None:
    t, c = traced(lambda x: 1050.0, until_s=3000)
    found = estimate(t, c, packet=generic_packet(PacketSpec()))
    whole = found.lag_s(1044, 0.0)
    assert whole.never_reached == 0.0
    assert whole.low_s is not None
    assert whole.best_s is not None
    assert whole.low_s < whole.best_s
    short = found.lag_s(1044, 0.0, whole.best_s - 1.0)
    assert 0.3 < short.never_reached < 0.7
    assert short.high_s is None
    assert short.best_s is None
    never = found.lag_s(1200, 0.0)
    assert (never.low_s, never.never_reached) == (None, 1.0)


def test_crossings_start_where_the_draw_is_there_already() -> None:
    t, c = traced(lambda x: 1050.0, until_s=3000)
    found = estimate(t, c, packet=generic_packet(PacketSpec()))
    assert np.all(found.crossing_s(500.0, 2000.0, 3000.0) == 2000.0)
    times, draws = found.window(2000.0, 2100.0)
    assert times[0] <= 2000.0
    assert times[-1] >= 2100.0
    assert draws.shape == (200, times.size)
    assert np.all(np.isnan(found.crossing_s(1045.0, 0.0, 20.0)))


def test_crossing_is_interpolated_within_a_step() -> None:
    t, c = traced(straight((0, 20), (6000, 620)), every_s=1.0)
    found = estimate(t, c, packet=generic_packet(PacketSpec()), draws=8)
    crossed = found.crossing_s(401.7, 0.0, 6000.0)
    for row, at in zip(found.draws_c, crossed, strict=True):
        assert float(np.interp(at, found.draw_t_s, row)) == pytest.approx(401.7, abs=0.01)


def test_a_gap_is_bridged_wider_and_said() -> None:
    t, c = traced(lambda x: 1050.0, every_s=2.0, until_s=6000)
    whole = estimate(t, c, packet=generic_packet(PacketSpec()))
    c[(t > 3000) & (t < 3600)] = np.nan
    found = estimate(t, c, packet=generic_packet(PacketSpec()))
    at = int(np.searchsorted(t, 3400))
    assert found.high_c[at] - found.low_c[at] > whole.high_c[at] - whole.low_c[at] + 20
    assert found.best_c[at] == pytest.approx(whole.best_c[at], abs=0.5)
    assert found.high_c[-1] - found.low_c[-1] == pytest.approx(whole.high_c[-1] - whole.low_c[-1], abs=1.0)
    assert any("not read for 10 min" in str(line) for line in found.says)
    assert not any("not read" in str(line) for line in whole.says)


def test_missing_readings_change_nothing_on_a_straight_chamber() -> None:
    t, c = traced(straight((0, 20), (6000, 1000)))
    holes = c.copy()
    holes[np.arange(t.size) % 3 == 1] = np.nan
    one = estimate(t, c, packet=generic_packet(PacketSpec()), draws=4)
    two = estimate(t, holes, packet=generic_packet(PacketSpec()), draws=4)
    assert np.abs(one.best_c - two.best_c).max() < 0.05


@pytest.mark.parametrize(
    ("t", "c", "load"),
    [([], [], None), ([0.0], [20.0], None), ([0.0, 1.0], [np.nan, np.nan], None), ([0.0, 10.0], [20.0, 21.0], 11.0)],
)
def test_too_little_to_go_by(t: list[float], c: list[float], load: float | None) -> None:
    with pytest.raises(NotEnoughData):
        estimate(t, c, packet=generic_packet(PacketSpec()), load_t_s=load)


def test_biot_number() -> None:
    # By hand for a bare 3 mm blade, eps 0.8, chamber 1065 degC: h = 4 x 0.8 x 5.67e-8 x 1338.15^3 = 434.8 W/m2K,
    # L = 1.5 mm, k = 27.3 W/mK (EN 1993-1-2): 0.0239
    t, c = traced(lambda x: 1065.0, until_s=600)
    found = estimate(t, c, packet=generic_packet(PacketSpec(foil=False)), load_t_s=0.0, draws=2)
    assert found.biot == pytest.approx(0.0239, abs=2e-4)


def test_one_face_and_two_blades_have_more_steel_to_heat() -> None:
    def best(**spec: int) -> float:
        t, c = traced(lambda x: 1050.0, until_s=4000)
        lag = estimate(t, c, packet=generic_packet(PacketSpec(**spec)), draws=2).lag_s(1044, 0.0).best_s
        assert lag is not None
        return lag

    assert best(heated_faces=1) == pytest.approx(best(thickness_mm=6), rel=1e-6)
    assert best(blades=2) == pytest.approx(best(thickness_mm=6), rel=1e-6)


def test_for_piece_keeps_the_fit_but_not_across_foil() -> None:
    fitted = replace(generic_packet(PacketSpec()), fitted=True, eps_o=0.7, fitted_thickness_mm=3.0)
    thick = for_piece(fitted, PacketSpec(thickness_mm=5))
    assert (thick.thickness_mm, thick.eps_o, thick.fitted, thick.fitted_thickness_mm) == (5, 0.7, True, 3.0)
    assert not for_piece(fitted, PacketSpec(foil=False)).fitted


def test_draws_are_the_halton_set_of_scipy() -> None:
    theirs = qmc.Halton(8, scramble=False).random(221)[21:]
    assert np.abs(uniform_set(200) - theirs).max() < 1e-12


def test_draws_are_not_correlated() -> None:
    assert np.abs(np.corrcoef(normal_set(200).T) - np.eye(8)).max() < 0.1
