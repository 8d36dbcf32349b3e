"""Which sensors speak to the clock, and what of their readings counts; beside ``verify`` of the same record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.followed_sensors import LiveSensor
from soakwitness.analysis.live.living_sentence import sentence
from soakwitness.analysis.live.state import ClockState
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Ramp, Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.verification_runs import make_run, sensor

# 700 K in 1,400 s: at 795 of 800 +- 5 after 1,390 s; 600 s are asked.
RECIPE = Recipe("one", "C", (Ramp(1, 800.0), Hold(2, 800.0, 5.0, 5.0, 600.0, dip_s=60.0)))
T_S = np.arange(0.0, 3000.0, 2.0)
CHAMBER = np.interp(T_S, [0.0, 1400.0, 9000.0], [100.0, 800.0, 800.0])
NOISY = CHAMBER + np.random.default_rng(3).normal(0.0, 0.2, T_S.size)


def states(
    roles: Mapping[str, str],
    values: Mapping[str, FloatArray],
    recipe: Recipe = RECIPE,
    *,
    marks: tuple[Mark, ...] = (),
    **more: object,
) -> list[tuple[float, ClockState]]:
    clock = SoakClock(recipe, sensors=[LiveSensor(n, r) for n, r in roles.items()], every_s=2.0, **more)  # type: ignore[arg-type]
    told = []
    for k, t_s in enumerate(T_S.tolist()):
        seen = {name: (float(row[k]) if np.isfinite(row[k]) else None) for name, row in values.items()}
        clock.read(t_s, seen, marks=tuple(m for m in marks if m.t_s <= t_s))
        state = clock.state()
        if state is not None:
            told.append((t_s, state))
    return told


def complete_s(told: list[tuple[float, ClockState]]) -> float | None:
    return next((t_s for t_s, state in told if state.complete), None)


def test_where_the_control_sensor_breaks_the_recording_sensor_speaks() -> None:
    broken = np.where(T_S > 1000.0, np.nan, NOISY)
    told = states({"pv": "control", "stick": "recording"}, {"pv": broken, "stick": NOISY})
    assert complete_s(told) == pytest.approx(1390 + 600, abs=12.0)


def test_an_ambient_sensor_never_speaks() -> None:
    told = states({"room": "ambient", "pv": "control"}, {"room": np.full(T_S.size, 20.0), "pv": NOISY})
    assert told[-1][1].chamber_c == pytest.approx(800.0, abs=1.0)


def test_of_two_load_sensors_the_colder_decides() -> None:
    late, later = (np.interp(T_S - lag_s, T_S, NOISY) for lag_s in (100.0, 300.0))
    told = states({"pv": "control", "a": "load", "b": "load"}, {"pv": NOISY, "a": late, "b": later})
    assert complete_s(told) == pytest.approx(1390 + 300 + 600, abs=12.0)
    assert told[-1][1].pieces[0].source == "load"


def test_a_load_sensor_is_not_asked_of_a_piece_that_is_thicker_than_its_dummy() -> None:
    late = np.interp(T_S - 100.0, T_S, NOISY)
    sensors = [LiveSensor("pv", "control"), LiveSensor("a", "load", 3.0)]
    for thickness_mm, source in ((3.0, "load"), (8.0, "packet estimate")):
        piece = PieceInfo("A", thickness_mm=thickness_mm)
        clock = SoakClock(replace(RECIPE, packet=PacketSpec()), sensors=sensors, known=[piece], every_s=2.0)
        for t_s, c, load_c in zip(T_S[:800].tolist(), NOISY.tolist(), late.tolist(), strict=False):
            clock.read(t_s, {"pv": c, "a": load_c})
        state = clock.state()
        assert state is not None
        assert [(one.pieces, one.source) for one in state.pieces] == [(("A",), source)]


def test_an_open_contact_is_no_dip() -> None:
    """At 0 degC, left and come back from in one step; a dip of more than 60 s would start the soak anew."""
    for open_s in (4.0, 90.0):
        spoilt = np.where(np.abs(T_S - 1701.0 - open_s / 2.0) <= open_s / 2.0, 0.0, NOISY)
        told = states({"pv": "control"}, {"pv": spoilt})
        assert complete_s(told) == pytest.approx(1390 + 600, abs=15.0)


def test_too_hot_is_said_and_is_never_complete() -> None:
    """Ten minutes at 850 before the soak's end: 45 K over the edge of 805; ``verify`` fails the run, cut anywhere."""
    hot = NOISY + np.interp(T_S, [1600.0, 1700.0, 2300.0, 2400.0], [0.0, 50.0, 50.0, 0.0])
    told = states({"pv": "control"}, {"pv": hot})
    assert complete_s(told) is None
    last = told[-1][1]
    assert last.troubles[0].kind == "too hot"
    assert last.troubles[0].by_c == pytest.approx(45.0, abs=1.0)
    assert "not to the recipe: " in sentence(last)
    assert "over the limit of hold 1 at 0:28:" in sentence(last)  # 1600 + 100 x 5 / 50 s, held from 1,700 s on
    assert verify(make_run(T_S, {"pv": hot}, columns=[sensor("pv")]), RECIPE).verdict == "fail"


def test_a_calibration_counts_at_the_hold_that_it_reaches() -> None:
    """It reads 9 K high: what shows 800 is 791, below the band."""
    for added_c, in_band in ((0.0, True), (-9.0, False)):
        clock = SoakClock(RECIPE, sensors=[LiveSensor("pv", "control", added_c=(added_c,))], every_s=2.0)
        for t_s, c in zip(T_S.tolist(), NOISY.tolist(), strict=True):
            clock.read(t_s, {"pv": c})
        state = clock.state()
        assert state is not None
        assert state.chamber_c == pytest.approx(800.0 + added_c, abs=1.0)
        assert state.complete is in_band


def test_of_two_heats_in_one_record_only_the_one_at_hand_counts() -> None:
    """A charge by its marks in each; between them the furnace was at 60 degC."""
    t = np.arange(0.0, 9000.0, 5.0)
    corners = [(0, 20), (1400, 800), (2500, 800), (4500, 60), (6000, 800), (9000, 800)]
    c = np.interp(t, *zip(*corners, strict=True)) + np.random.default_rng(1).normal(0.0, 0.2, t.size)
    marks = (Mark(0.0, "load", ("A",)), Mark(1700.0, "pull", ("A",)), Mark(4400.0, "load", ("B",)))
    clock = SoakClock(RECIPE, every_s=5.0)
    complete = None
    for t_s, temp_c in zip(t.tolist(), c.tolist(), strict=True):
        clock.read(t_s, {"control": temp_c}, marks=tuple(m for m in marks if m.t_s <= t_s))
        state = clock.state()
        if complete is None and state is not None and state.complete:
            complete = t_s, state.pieces[0].pieces
    # In the band again from 4500 + 1500 x 735 / 740 s on.
    assert complete == (pytest.approx(5990 + 600, abs=20.0), ("B",))


def test_a_load_sensor_that_came_out_with_its_charge_says_nothing_of_the_next() -> None:
    """The furnace stands at 800; the sensor rode with A and lies on the bench from 1,500 s on, B is in from 1,600 s."""
    recipe = Recipe("hot", "C", (Hold(1, 800.0, 5.0, 5.0, 600.0, dip_s=60.0),), load="hot", load_at_c=800.0)
    rng = np.random.default_rng(5)
    hot = np.full(T_S.size, 800.0) + rng.normal(0.0, 0.2, T_S.size)
    inside = 800.0 - 775.0 * np.exp(-np.maximum(T_S - 200.0, 0.0) / 60.0)
    bench = np.where(T_S > 1500.0, 25.0 + 775.0 * np.exp(-(T_S - 1500.0) / 20.0), inside)
    blade = np.where(T_S < 200.0, 25.0, bench) + rng.normal(0.0, 0.2, T_S.size)
    marks = (Mark(200.0, "load", ("A",)), Mark(1500.0, "pull", ("A",)), Mark(1600.0, "load", ("B",)))
    told = states({"pv": "control", "blade": "load"}, {"pv": hot, "blade": blade}, recipe, marks=marks)
    of_b = [(t_s, piece) for t_s, state in told for piece in state.pieces if piece.pieces == ("B",)]
    assert of_b[-1][1].source == "control"
    assert next(t_s for t_s, piece in of_b if piece.complete) == pytest.approx(1600 + 600, abs=12.0)
    columns = [sensor("pv"), sensor("blade", role="load")]
    verified = verify(make_run(T_S, {"pv": hot, "blade": blade}, columns=columns, marks=marks), recipe)
    by_name = {piece.piece: piece.soak_s.best for piece in verified.holds[0].pieces}
    assert by_name["B"] == pytest.approx(T_S[-1] - 1600.0, abs=5.0)


def test_the_soak_of_a_load_sensor_that_broke_does_not_go_on() -> None:
    """It falls to 0 in one step in the hold and stays there: 200 s of soak at 795 and above, and no more."""
    late = np.interp(T_S - 100.0, T_S, NOISY)
    broken = np.where(T_S > 1690.0, 0.0, late)
    told = states({"pv": "control", "blade": "load"}, {"pv": NOISY, "blade": broken})
    assert complete_s(told) is None
    assert told[-1][1].pieces[0].soak_s == pytest.approx(1690 - 1490, abs=12.0)


def test_a_place_difference_is_named_apart_where_it_counts() -> None:
    """The display stands at 800, the work's place has 12 less: 788 is under the band of 795 to 805."""
    clock = SoakClock(
        RECIPE, sensors=[LiveSensor("pv", "control", added_c=(-12.0,), place_c=(-12.0,), reach_c=10.0)], every_s=2.0
    )
    for t_s, temp_c in zip(T_S.tolist(), NOISY.tolist(), strict=True):
        clock.read(t_s, {"pv": temp_c}, marks=())
    state = clock.state()
    assert state is not None
    assert state.chamber_c == pytest.approx(788.0, abs=1.0)
    assert not state.complete
    assert sentence(state).endswith("; counted with -12 °C for the work's place")
    assert sentence(state, "F").endswith("; counted with -21.6 °F for the work's place")
