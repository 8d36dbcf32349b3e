"""Which sensors count, what a record cannot show, and what holds of one run share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.record.run import FloatArray, Run, Trace
from soakwitness.analysis.verification.holds.assignment import block_medians
from soakwitness.analysis.verification.holds.placed_sensors import PlacedRun, place
from soakwitness.analysis.verification.inputs.doors import doors_of
from soakwitness.analysis.verification.inputs.run_as_read import RunKnowledge, read_clean
from soakwitness.analysis.verification.inputs.sensor_choice import StandsIn, chamber_trace, load_traces, usable
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap, uncertain_gaps
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.analysis.verification.sensors.furnace_rates import Rates, fastest
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.analysis.verification.sensors.gathering import gather
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldsOnTraces
from soakwitness.firmware_bridge.runfolder.contents import Act, Column, Event, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s; a reading every 5 s: 1001 of them.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3160.0, 1000.0), (5000.0, 80.0)]
T_S, TEMP_C = drawn(HOLD, every_s=5.0)
TEN = simple_recipe((1000, 10, 5))


def run(*columns: Column, events: tuple[Event, ...] = (), marks: tuple[Mark, ...] = (), **values: FloatArray) -> Run:
    return make_run(T_S, values, columns=columns, events=events, marks=marks)


def trace(temp_c: FloatArray) -> Trace:
    return run(sensor("x"), x=temp_c).traces[0]


def only(*spans_s: tuple[float, float]) -> FloatArray:
    """Read within these spans alone."""
    kept = np.zeros(T_S.size, dtype=bool)
    for begin, end in spans_s:
        kept |= (begin <= T_S) & (end >= T_S)
    return np.where(kept, TEMP_C, np.nan)


def test_five_readings_and_half_of_the_run_make_a_trace_usable() -> None:
    assert usable(trace(TEMP_C))
    # What is missing at the begin, at the end and in between counts: at most half of 5000 s.
    for missing_s, enough in ((2400.0, True), (2600.0, False)):
        assert usable(trace(only((missing_s, 5000)))) is enough
        assert usable(trace(only((0, 5000 - missing_s)))) is enough
        assert usable(trace(only((0, 1000), (1000 + missing_s, 5000)))) is enough
    # Of one that broke only the time until then counts.
    assert usable(trace(only((0, 500))), to_its_end=True)
    assert not usable(trace(only((400, 500))), to_its_end=True)
    few = np.full(T_S.size, np.nan)
    few[-5:] = TEMP_C[-5:]
    assert not usable(trace(few))
    short = make_run(T_S[:5], {"x": TEMP_C[:5]}, columns=[sensor("x")]).traces[0]
    assert usable(short)
    assert not usable(replace(short, t_s=T_S[:4], temp_c=TEMP_C[:4]))


def chamber(**values: FloatArray) -> str:
    roles = {"pv": "control", "stick": "recording", "roof": "over-temperature", "blade": "load"}
    return chamber_trace(run(*(sensor(name, roles[name]) for name in values), **values)).name


def test_the_chamber_is_the_first_in_rank_that_was_read_to_the_end() -> None:
    assert chamber(blade=TEMP_C, stick=TEMP_C, pv=TEMP_C) == "pv"
    assert chamber(pv=only((0, 3000)), stick=TEMP_C) == "stick"
    # Within a minute of the end, or once it has lost half of its heat above the room, it was read to the end.
    assert chamber(pv=only((0, 4945)), stick=TEMP_C) == "pv"
    # 1000 + 20 halved is 510, which the cooling furnace passes at 3160 + 490/0.5 = 4140 s.
    assert chamber(pv=only((0, 4145)), stick=TEMP_C) == "pv"
    assert chamber(pv=only((0, 4130)), stick=TEMP_C) == "stick"
    # Nobody went on: the rank counts again. A load sensor speaks only where no other does.
    assert chamber(pv=only((0, 3000)), stick=only((0, 3000))) == "pv"
    assert chamber(pv=only((0, 3000)), blade=TEMP_C) == "pv"
    assert chamber(pv=only((0, 1000)), blade=TEMP_C) == "blade"


def test_where_none_is_fit_the_one_with_most_readings_is_taken() -> None:
    assert chamber(pv=only((0, 500)), stick=only((0, 900))) == "stick"
    assert chamber(pv=only((0, 900)), stick=only((0, 500))) == "pv"
    five, four = np.full(T_S.size, np.nan), np.full(T_S.size, np.nan)
    five[:5], four[:4] = 20.0, 20.0
    assert chamber(pv=five) == "pv"
    with pytest.raises(NotEnoughData, match="no sensor has 5 readings"):
        chamber(pv=four)


def test_load_sensors_that_count() -> None:
    columns = (sensor("pv"), sensor("a", "load"), sensor("b", "load"), sensor("c", "load"))
    loaded = run(*columns, pv=TEMP_C, a=TEMP_C, b=only((0, 500)), c=only((0, 100), (4900, 5000)))
    assert [tr.name for tr in load_traces(loaded, loaded.traces[0])] == ["a", "b"]
    assert [tr.name for tr in load_traces(loaded, loaded.traces[1])] == ["b"]


@pytest.mark.parametrize(("higher_c", "alike"), [(3.0, True), (-3.0, True), (3.1, False), (-3.1, False), (0.0, True)])
def test_a_stand_in_reads_alike_within_three_kelvin(higher_c: float, alike: bool) -> None:
    assert StandsIn("pv", higher_c).alike is alike


def placed_on(recipe: Recipe, made: Run, pieces: tuple[PieceInfo, ...] = ()) -> PlacedRun:
    return place(read_clean(made, RunKnowledge(tuple(pieces)), ()), recipe)


def gathered(recipe: Recipe, made: Run, pieces: tuple[PieceInfo, ...] = ()) -> GatheredRun:
    return gather(placed_on(recipe, made, pieces))


def test_a_stand_in_is_compared_while_the_furnace_was_hot() -> None:
    # Cold the two differ by 40, at more than half the heat by 2.
    stick = np.where(TEMP_C > 510, TEMP_C + 2.0, TEMP_C + 40.0)
    found = gathered(TEN, run(sensor("pv"), sensor("stick", "recording"), pv=only((0, 3000)), stick=stick))
    assert found.stands_in == StandsIn("pv", pytest.approx(2.0))
    # A furnace without a control sensor has none that broke; nor does one that went on.
    assert gathered(TEN, run(sensor("stick", "recording"), stick=stick)).stands_in is None
    assert gathered(TEN, run(sensor("pv"), sensor("stick", "recording"), pv=TEMP_C, stick=stick)).stands_in is None


def test_a_gap_of_unknown_length_lies_between_the_readings_around_it() -> None:
    kept = (T_S <= 1000) | (T_S >= 1300)
    said = "rebooted; gap 300 s, uncertain, by the computer's clock"

    def gaps(at_s: float, detail: str = said) -> tuple[UncertainGap, ...]:
        return uncertain_gaps(make_run(T_S[kept], {"pv": TEMP_C[kept]}, events=[Event(at_s, "", "resumed", detail)]))

    assert gaps(1300.0) == (UncertainGap(1000.0, 1300.0),)
    assert gaps(1200.0) == (UncertainGap(1000.0, 1300.0),)
    assert gaps(1300.0, "after 2 s") == ()
    # After the last reading, and before the first.
    assert gaps(5100.0) == (UncertainGap(5000.0, 5100.0),)
    assert gaps(0.0) == (UncertainGap(0.0, 0.0),)
    other = make_run(T_S[kept], {"pv": TEMP_C[kept]}, events=[Event(1300.0, "", "link back", said)])
    assert uncertain_gaps(other) == ()


def test_doors_are_marks_that_were_not_struck_and_contacts_that_mean_one() -> None:
    acts: tuple[Act, ...] = ("load", "door", "pull", "plates", "hand-warm", "note")
    marks = (*(Mark(100.0 * n, act) for n, act in enumerate(acts, 1)), Mark(50.0, "door", struck=True))
    door = Column("door", "contact", means="door")
    pedal = Column("pedal", "contact", means="pull")
    # Opened at 1000 and at 2000 s, and open already when the record begins, which is no moment of opening.
    opened = ((T_S < 100) | ((T_S >= 1000) & (T_S < 1100)) | (T_S >= 2000)).astype(float)
    opened[(T_S > 1020) & (T_S < 1040)] = np.nan
    made = run(sensor("pv"), door, pedal, marks=marks, pv=TEMP_C, door=opened, pedal=opened)
    # A contact that was not read counts as not made: it acts again at 1040 s.
    assert doors_of(made) == (100.0, 200.0, 300.0, 1000.0, 1040.0, 2000.0)


def test_the_furnace_s_own_rates() -> None:
    # 0.5 K/s up and down; what is lost of the heat above 20 is most where it is least.
    t_s, temp_c = drawn(HOLD)
    found = fastest(block_medians(t_s, temp_c, 1.0))
    assert found.heating_c_per_s == pytest.approx(0.5, rel=0.01)
    assert found.cooling_c_per_s == pytest.approx(0.5, rel=0.01)
    # The last block is 80 alone, at 5000 s; three blocks before it is the mean of 95 to 90.5: 92.75. Between them 86.4.
    assert found.loss_per_s == pytest.approx(0.5 / (86.4 - 20.0), rel=0.001)
    level = fastest(block_medians(t_s, np.full(t_s.size, 500.0), 1.0))
    assert level == Rates(1 / 60, 1 / 60, 0.0)
    assert Rates(1.0, 0.2, 0.01).with_other(Rates(0.5, 0.3, 0.02)) == Rates(1.0, 0.3, 0.02)
    assert fastest(block_medians(t_s[:5], temp_c[:5], 1.0)) == Rates()


def sources(recipe: Recipe, made: Run, *pieces: PieceInfo, hold: int = 0) -> list[tuple[str, str, bool]]:
    found = gathered(recipe, made, pieces).holds[hold]
    works = [found.works[place].work for place in found.stays[0].works]
    return [(work.source, work.sensor.name, work.gone) for work in works]


PACKED = replace(TEN, packet=PacketSpec(3.0))
BOTH = (sensor("pv"), sensor("blade", "load", thickness_mm=3.0))


def test_a_load_sensor_goes_before_an_estimate_before_the_chamber() -> None:
    both = run(*BOTH, pv=TEMP_C, blade=TEMP_C)
    assert sources(PACKED, both) == [("load", "blade", False)]
    assert sources(PACKED, run(sensor("pv"), pv=TEMP_C)) == [("packet estimate", "pv", False)]
    assert sources(TEN, run(sensor("pv"), pv=TEMP_C)) == [("control", "pv", False)]
    assert sources(simple_recipe((1000, 10, 5), soak_from="control"), both) == [("control", "pv", False)]


@pytest.mark.parametrize(
    ("thickness_mm", "source"),
    [(3.0, "load"), (2.0, "load"), (3.1, "packet estimate"), (None, "load")],
)
def test_a_load_sensor_speaks_up_to_its_dummy_s_thickness(thickness_mm: float | None, source: str) -> None:
    both = run(*BOTH, pv=TEMP_C, blade=TEMP_C)
    assert sources(PACKED, both, PieceInfo("A", thickness_mm))[0][0] == source
    # A sensor whose dummy nobody measured speaks for all.
    bare = run(sensor("pv"), sensor("blade", "load"), pv=TEMP_C, blade=TEMP_C)
    assert sources(PACKED, bare, PieceInfo("A", thickness_mm))[0][0] == "load"


TWO = simple_recipe((700, 10, 5), (1000, 10, 5))
# In 700 +-5 from 1350 to 2570 s, in 1000 +-5 from 3150 s on.
LONG = [(0.0, 20.0), (1360.0, 700.0), (2560.0, 700.0), (3160.0, 1000.0), (4360.0, 1000.0), (6000.0, 80.0)]


@pytest.mark.parametrize(
    ("lost_s", "second"),
    [
        # Lost before the second hold begins, its work is not told any more; lost within it, it is told until then.
        (3100.0, [("control", "pv", True)]),
        (3200.0, [("load", "blade", False)]),
    ],
)
def test_a_load_sensor_that_was_lost_before_a_hold(lost_s: float, second: list[tuple[str, str, bool]]) -> None:
    t_s, temp_c = drawn(LONG, every_s=5.0)
    values = {"pv": temp_c, "blade": np.where(t_s > lost_s, np.nan, temp_c)}
    made = make_run(t_s, values, columns=BOTH)
    assert sources(TWO, made, hold=0) == [("load", "blade", False)]
    assert sources(TWO, made, hold=1) == second


@pytest.mark.parametrize(("warmer_c", "speaks"), [(0.0, True), (0.9, True), (1.2, False), (-30.0, True)])
def test_another_load_sensor_speaks_for_a_lost_one_where_it_was_no_warmer(warmer_c: float, speaks: bool) -> None:
    t_s, temp_c = drawn(LONG, every_s=5.0)
    # How the two differ while the furnace is cold does not count.
    other = np.where(temp_c > 370, temp_c + warmer_c, temp_c + 50.0)
    values = {"pv": temp_c, "blade": np.where(t_s > 2700, np.nan, temp_c), "other": other}
    made = make_run(t_s, values, columns=[*BOTH, sensor("other", "load")])
    found = sources(TWO, made, hold=1)
    assert found[0] == ("load", "other", False)
    assert found[1:] == ([] if speaks else [("control", "pv", True)])


def test_a_hold_that_only_the_load_sensor_shows_is_taken_from_it() -> None:
    t_s, temp_c = drawn(LONG)
    # The control sensor is at the end of its range at 900.
    made = make_run(t_s, {"pv": np.minimum(temp_c, 900.0), "blade": temp_c}, columns=BOTH)
    second = gathered(TWO, made).chamber.placed[1]
    assert second is not None
    assert second.edges is not None
    assert (second.edges.enter_s, second.edges.leave_s) == (
        pytest.approx(3150.0),
        pytest.approx(4360 + 5 / 0.561, abs=1),
    )
    # Where it lies after the hold that comes next in the recipe, it is none of this recipe's.
    swapped = gathered(simple_recipe((1000, 10, 5), (700, 10, 5)), made)
    assert swapped.chamber.placed[0] is None


def test_noise_counts_near_the_band_alone() -> None:
    # Every second reading is 2 higher below 650, so 2 apart from the mean of its neighbours; not at all in the band.
    t_s, temp_c = drawn(LONG)
    rough = np.where(temp_c < 650, temp_c + 2.0 * (np.arange(t_s.size) % 2), temp_c)
    placed = placed_on(TWO, make_run(t_s, {"pv": rough}, columns=[sensor("pv")]))
    holds, hold = HoldsOnTraces(placed), TWO.holds[0]
    allowed = holds.allowed(placed.chamber.readings, 1000.0, 2570.0, hold)
    assert allowed.noise_c == pytest.approx(0.05, abs=0.01)
    by_mean = holds.allowed(placed.chamber.readings, 0.0, 1250.0, replace(hold, judge_by="mean"))
    assert by_mean.noise_c == pytest.approx(0.05 + 2.0 / 2.0)
    # A fifth more than the fastest seen over half a minute.
    assert allowed.heating_c_per_s >= 1.2 * 0.5
