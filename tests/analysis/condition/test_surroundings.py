"""What is read of room, charge and mains: from readings, pieces and notes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.condition.surroundings import surroundings
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from tests.furnace_days import Day, Fitting, live, run_of


@pytest.fixture(scope="module")
def run() -> Run:
    return run_of(live(Day(room_c=12.0, cooling=False)), Fitting(), "r")


def noted(run: Run, *notes: str) -> Run:
    return replace(run, marks=tuple(Mark(0.0, "note", note=note, mark_id=str(i)) for i, note in enumerate(notes)))


def test_a_cold_furnace_tells_of_the_room_and_a_warm_one_does_not(run: Run) -> None:
    cold = surroundings(run)
    assert cold.room_c == pytest.approx(12.0, abs=0.5)
    assert not cold.warm
    control = run.traces[0]
    late = replace(run, traces=(replace(control, t_s=control.t_s[60:], temp_c=control.temp_c[60:]),))
    assert surroundings(late).room_c is None
    assert surroundings(late).warm


def test_a_furnace_that_climbs_within_a_minute_is_read_at_its_first_moment(run: Run) -> None:
    t = np.arange(0.0, 3600.0, 60.0)
    fast = Trace("control", "control", t, 15.0 + 0.4 * t, 0.1, 60.0)
    assert surroundings(replace(run, traces=(fast,))).room_c == 15.0


def test_a_sensor_for_the_room_is_asked_first(run: Run) -> None:
    ambient = replace(run.traces[0], name="shed", role="ambient", temp_c=np.full(run.t_s.size, 5.0))
    assert surroundings(replace(run, traces=(*run.traces, ambient))).room_c == 5.0


@pytest.mark.parametrize(
    ("notes", "charged", "kg"),
    [
        ((), None, None),
        (("empty",), False, 0.0),
        (("Empty, door shut",), False, 0.0),
        (("4.5 kg",), True, 4.5),
        (("two racks, 1,5 kg", "plates 2 kg"), True, 3.5),
        (("the empty rack stays",), None, None),
        (("0 kg",), None, 0.0),
    ],
)
def test_notes_say_what_was_in(run: Run, notes: tuple[str, ...], charged: bool | None, kg: float | None) -> None:
    found = surroundings(noted(run, *notes))
    assert (found.charged, found.charge_kg) == (charged, kg)


def test_pieces_count_by_thickness_times_blades_where_all_are_known(run: Run) -> None:
    pieces = (PieceInfo("A", thickness_mm=3.0), PieceInfo("B", thickness_mm=2.5, blades=4))
    assert surroundings(run, pieces).charge_mm == 13.0  # 3 + 4 x 2.5
    assert surroundings(run, (*pieces, PieceInfo("C"))).charge_mm is None
    assert surroundings(noted(run, "empty"), pieces).charged is True  # what was entered for it was in it


def test_the_mains_are_those_at_full_power(run: Run) -> None:
    output = run.signal("output")
    assert output is not None
    volts = np.where(output >= 98.0, 224.0, 231.0)
    logged = replace(
        run,
        values={**run.values, "mains": volts},
        header=replace(run.header, columns=(*run.columns, Column("mains", "signal", ""))),
    )
    assert surroundings(logged).mains_v == 224.0
    assert surroundings(run).mains_v is None
