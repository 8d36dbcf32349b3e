"""Each piece is judged by what was in the furnace with it, for as long as it was in itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.runs import FloatArray, Run
from soakwitness.analysis.verification.model import HoldResult, PieceResult, Verification
from soakwitness.analysis.verification.readings import Readings
from soakwitness.analysis.verification.verifying import verify
from soakwitness.analysis.verification.visits import Visit, visits_of
from soakwitness.firmware_bridge.runfolder.model import Act, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

FIFTEEN = simple_recipe((1000, 15, 5))
# In the band from 1950 s (995 at 0.5 K/s), at 1000 until it cools from 5000 s on.
LONG = [(0, 20), (1960, 1000), (5000, 1000), (7000, 80)]


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def quenched(temp_c: FloatArray, out_s: int, lag_s: int = 60) -> FloatArray:
    """A load sensor a minute behind, at room temperature within some seconds of coming out."""
    load = np.interp(np.arange(temp_c.size) - float(lag_s), np.arange(temp_c.size), temp_c)
    load[out_s:] = 20.0 + (load[out_s] - 20.0) * np.exp(-np.arange(temp_c.size - out_s) / 8.0)
    return load


def run_of(corners: list[tuple[float, float]], marks: tuple[Mark, ...], **loads_out_s: int) -> Run:
    t_s, temp_c = drawn(corners)
    values = {"furnace": temp_c, **{name: quenched(temp_c, at) for name, at in loads_out_s.items()}}
    return make_run(t_s, values, columns=[sensor(), *(sensor(name, "load") for name in loads_out_s)], marks=marks)


def piece(found: Verification, name: str) -> PieceResult:
    return next(p for p in found.holds[0].pieces if p.piece == name)


def hold(found: Verification) -> HoldResult:
    return found.holds[0]


# --- a load sensor that came out ------------------------------------------------------------------------------------


def test_visits_of_a_load_sensor_that_comes_out_and_goes_in_again():
    t_s, chamber = drawn([(0, 1000), (9000, 1000)])
    load = np.full(t_s.size, 20.0)
    # In from 1000 to 3000 s and from 6000 s on; it warms with 300 s and cools with 8 s.
    inside = (t_s >= 1000) & (t_s < 3000) | (t_s >= 6000)
    for k in range(1, t_s.size):
        load[k] = load[k - 1] + ((chamber[k] if inside[k] else 20.0) - load[k - 1]) / (300.0 if inside[k] else 8.0)
    first, second = visits_of(Readings(t_s, load, 0.1, 1.0), Readings(t_s, chamber, 0.1, 1.0))
    assert first.in_s == pytest.approx(1000, abs=5)
    assert first.out_s == pytest.approx(3000, abs=5)
    assert second.in_s == pytest.approx(6000, abs=5)
    assert second.out_s is None


def test_a_load_sensor_that_cools_with_its_furnace_never_came_out():
    t_s, chamber = drawn(LONG)
    load = np.interp(t_s - 120.0, t_s, chamber)
    assert visits_of(Readings(t_s, load, 0.1, 1.0), Readings(t_s, chamber, 0.1, 1.0)) == (Visit(0.0, None),)


def test_a_load_sensor_pulled_with_the_first_piece_is_no_shortage_of_the_others():
    # Out with B0 at 2500 s, 490 s after it was there at 2010 s; B1 stays to 4000 s. Nobody saw B1 after 2500 s.
    marks = (mark(0, "load", "B0", "B1"), mark(2510, "pull", "B0"), mark(4000, "pull", "B1"))
    found = verify(run_of(LONG, marks, dummy=2500), FIFTEEN)
    assert piece(found, "B0").verdict == "fail"
    assert piece(found, "B1").verdict == "not proven"
    assert piece(found, "B1").soak_s.low == pytest.approx(490, abs=5)
    # The sensor fell in the quench: that is no temperature of B1.
    assert piece(found, "B1").soak_s.high == pytest.approx(4000 - 2010, abs=10)


def test_what_it_saw_before_it_came_out_is_enough_where_the_furnace_was_never_too_hot_after():
    # 1000 s seen, 15 min are asked for; then the chamber stays at 1000, or goes to 1020 for eight minutes.
    marks = (mark(0, "load", "B0", "B1"), mark(3010, "pull", "B0"), mark(4900, "pull", "B1"))
    assert verify(run_of(LONG, marks, dummy=3010), FIFTEEN).verdict == "pass"
    hotter = [*LONG[:2], (3500, 1000), (3540, 1020), (4020, 1020), (4060, 1000), *LONG[2:]]
    found = verify(run_of(hotter, marks, dummy=3010), FIFTEEN)
    assert piece(found, "B1").unmet == ("too hot",)
    assert piece(found, "B0").verdict == "pass"


def test_charges_without_a_load_sensor_go_by_the_next_source():
    # The dummy rides with the first charge only; the second goes in at 3600 s into a furnace that stays at 1000.
    course = [(0, 20), (1960, 1000), (5400, 1000), (7400, 80)]
    marks = (mark(0, "load", "A"), mark(3300, "pull", "A"), mark(3600, "load", "B"), mark(5300, "pull", "B"))
    found = verify(run_of(course, marks, dummy=3300), FIFTEEN)
    assert piece(found, "B").soak_s.best == pytest.approx(1700, abs=5)
    assert (piece(found, "A").verdict, piece(found, "B").verdict) == ("pass", "pass")


# --- what was before the load and after the pull ---------------------------------------------------------------------


@pytest.mark.parametrize("max_overshoot", [None, 15.0])
def test_a_level_before_the_load_or_after_the_pull_is_nobodys(max_overshoot: float | None):
    # 1008 for 40 min, then 1000 for 20 min with a piece, then 1008 again: the piece alone counts.
    course = [(0, 20), (1976, 1008), (4400, 1008), (4500, 1000), (5900, 1000), (5940, 1008), (9000, 1008), (11000, 80)]
    marks = (mark(4600, "load", "B"), mark(5860, "pull", "B"))
    hot = replace(FIFTEEN, load="hot")
    recipe = replace(hot, steps=(hot.steps[0], replace(hot.holds[0], max_overshoot_c=max_overshoot)))
    found = verify(run_of(course, marks), recipe)
    assert found.verdict == "pass"
    assert hold(found).level_c == pytest.approx(1000, abs=0.1)
    # The other way round the piece had 1008 for 21 min, and the furnace stood at 1000 before and after.
    other = [(t, {1008: 1000, 1000: 1008}.get(int(c), c)) for t, c in course]
    assert "level" in hold(verify(run_of(other, marks), recipe)).unmet


def test_the_mean_is_the_pieces_own():
    # An empty oven at 203 for 150 min; with the piece in it stands at 192 of 200 +-5.
    oven = simple_recipe((200, 60, 5), judge_by="mean")
    recipe = replace(oven, load="hot")
    t_s, temp_c = drawn([(0, 20), (366, 203), (9366, 203), (9400, 192), (13400, 192), (15000, 80)])
    temp_c = temp_c + np.where((t_s > 9400) & (t_s < 13400), 6.0 * np.sin(2 * np.pi * t_s / 600.0), 0.0)
    marks = (mark(9400, "load", "B"), mark(13380, "pull", "B"))
    found = verify(make_run(t_s, {"furnace": temp_c}, columns=[sensor()], marks=marks), recipe)
    assert hold(found).level_c == pytest.approx(192.0, abs=0.5)
    assert "mean" in hold(found).unmet


def test_a_piece_that_went_in_twice_is_too_hot_in_either_stay():
    # Ten minutes at 1030 in the first, right in the second: 1005 is the limit.
    course = [(0, 20), (2020, 1030), (3000, 1030), (3100, 1000), (6000, 1000), (8000, 80)]
    marks = (mark(2100, "load", "B"), mark(2950, "pull", "B"), mark(3500, "load", "B"), mark(5000, "pull", "B"))
    recipe = replace(FIFTEEN, load="hot")
    found = verify(run_of(course, marks), recipe)
    assert "too hot" in piece(found, "B").unmet
    assert piece(found, "B").soak_s.best == pytest.approx(1500, abs=5)
    once = tuple(m for m in marks if m.t_s > 3000)
    assert verify(run_of(course, once), recipe).verdict == "pass"


def test_an_unmarked_hot_load_is_not_failed_by_what_the_empty_furnace_did():
    # The furnace overshoots by 14 for five minutes and stands right for 30: nobody knows when the charge went in.
    hot = replace(FIFTEEN, load="hot")
    recipe: Recipe = replace(hot, steps=(hot.steps[0], replace(hot.holds[0], max_overshoot_c=6.0)))
    course = [(0, 20), (1988, 1014), (2288, 1014), (2388, 1000), (4200, 1000), (6000, 80)]
    found = verify(run_of(course, ()), recipe)
    assert found.verdict == "not proven"
    assert {"overshoot", "too hot"} <= set(hold(found).unproven)


# --- several load sensors --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("names", [("one", "two"), ("two", "one")])
def test_of_two_load_sensors_the_one_that_less_is_known_of_decides_the_basis(names: tuple[str, str]):
    # One is known to 1 K (k = 2), of the other nothing is: the run is as good as the weaker.
    t_s, temp_c = drawn(LONG)
    late = np.interp(t_s - 60.0, t_s, temp_c)
    facts = {"one": {"expanded_uncertainty": 1.0}, "two": {}}
    columns = [sensor(), *(sensor(name, "load", **facts[name]) for name in names)]
    found = verify(make_run(t_s, {"furnace": temp_c, "one": late, "two": late}, columns=columns), FIFTEEN)
    assert (found.verdict, found.decided_on) == ("pass", "reading")
    # What is said of a level is said of the sensor that showed it.
    assert hold(found).shown_by == dict(hold(found).sensors)[hold(found).measured_by or ""]
    assert any(f.code == "no calibration" and "two" in str(f.says) for f in found.findings)


@pytest.mark.parametrize(("outside", "in_s"), [(False, 0.0), (True, 900.0)])
def test_a_packet_that_is_slow_to_begin_was_in_from_the_start(outside: bool, in_s: float):
    # The furnace climbs at 0.4 K/s; behind two lags of 2,500 s a packet rises by 0.4 t^3 / 6 x 2,500^2 at first, 5 K in
    # 780 s, when the furnace is 300 K hotter. One that lay outside turns at 900 s.
    t_s = np.arange(0.0, 9000.0, 2.0)
    furnace = np.minimum(20.0 + 0.4 * t_s, 1000.0)
    inner = outer = 20.0
    load = np.empty_like(t_s)
    for k, around in enumerate(furnace):
        load[k] = inner
        if outside and t_s[k] < 900.0:
            continue
        outer += 2.0 * (float(around) - outer) / (200.0 if outside else 2500.0)
        inner += 2.0 * (outer - inner) / (200.0 if outside else 2500.0)
    (visit,) = visits_of(Readings(t_s, load, 0.1, 2.0), Readings(t_s, furnace, 0.1, 2.0))
    assert visit.in_s == pytest.approx(in_s, abs=60.0)
    assert visit.out_s is None
