"""The soak clock beside a recording, corrections from the log book included."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from soakwitness.analysis.calibration.correction import Correction, CorrectionPoint
from soakwitness.analysis.calibration.keeping import keep_correction
from soakwitness.analysis.logbook.moments import Stamp
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.cli.corrections import corrected, read_tables
from soakwitness.cli.soaking import SoakLine
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.beginning import About, begin
from soakwitness.firmware_bridge.recording.linking import Look
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample
from tests.fakes import FakeClock, make_furnace

RECIPE = parse_recipe(
    'name = "Blades"\nunit = "C"\nload = "cold"\n'
    '[[step]]\nramp = "full power"\nto = 780\n[[step]]\nhold_minutes = 10\nat_most_minutes = 20\ntolerance = 8\n',
    "recipe",
)
TABLE = ((0.0, 0.0), (700.0, 10.0), (1100.0, 12.0))


@pytest.mark.parametrize("temp_c", [-20.0, 0.0, 350.0, 700.0, 701.0, 1000.0, 1300.0])
def test_a_reading_is_corrected_as_numpy_interpolates(temp_c: float) -> None:
    readings, differences = zip(*TABLE, strict=True)
    assert corrected(temp_c, TABLE) == pytest.approx(temp_c + np.interp(temp_c, readings, differences))
    assert corrected(temp_c, ()) == temp_c


@pytest.mark.parametrize("text", ["", "{", "[]", '{"a": 3}', '{"a": [[1]]}'])
def test_an_answer_that_is_none_corrects_nothing(text: str) -> None:
    assert read_tables(text) == {}


def recording(tmp_path: Path, clock: FakeClock) -> Recording:
    furnace = make_furnace()
    alarms = Alarms(furnace.alarm, clock, bell=lambda: None)
    return begin(furnace, clock, About(tmp_path, loading="cold"), alarms=alarms)


def take(running: Recording, clock: FakeClock, temp_c: float) -> None:
    values = {"control": temp_c, "load": temp_c, "setpoint": 780.0}
    running.take(Sample(clock.now_s, clock.utc_s(), Look(Reading(values))))
    clock.sleep(1.0)


def test_soak_complete_and_overdue_are_alarms(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock)
    line = SoakLine(RECIPE, running.furnace)
    complete_s: list[float] = []
    overdue_s: list[float] = []
    for second in range(1500):
        take(running, clock, 779.0 if second >= 60 else 20.0 + second * 12.0)
        words = line.follow(running, "C")
        if "soak complete" in running.alarms.now and not complete_s:
            complete_s.append(second - 60)
            assert "take out" in words
        if "soak overdue" in running.alarms.now and not overdue_s:
            overdue_s.append(second - 60)
    running.release()
    assert complete_s == [pytest.approx(600, abs=3)]  # 10 minutes
    assert overdue_s == [pytest.approx(1200, abs=3)]  # 20 minutes


def test_a_run_that_has_rows_already_is_caught_up_with(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock)
    for _ in range(300):
        take(running, clock, 779.0)
    words = SoakLine(RECIPE, running.furnace).follow(running, "C")
    running.release()
    assert "in band 4:59 of 10:00" in words


def test_corrections_of_the_log_book_count_from_when_they_come(tmp_path: Path) -> None:
    """The load sensor reads 10 K high: what looks in the band is below it."""
    readings = tuple(float(temp_c) for temp_c in range(0, 1201, 100))
    stamp = Stamp("2026-11-20T10:00:00Z", "anna")
    with open_logbook(tmp_path, create=True) as book:
        for sensor in ("control", "load"):
            correction = Correction(
                furnace="small furnace",
                sensor=sensor,
                model="constant",
                why="one point",
                points=(CorrectionPoint(780.0, -10.0, 2.0),),
                table_reading_c=readings,
                table_correction_c=tuple(-10.0 for _ in readings),
                table_expanded_c=tuple(2.0 for _ in readings),
                done_on="2026-11-20",
                due_on="2027-11-20",
            )
            keep_correction(book, correction, at_utc="2026-11-20T10:00:00Z", stamp=stamp)
    clock = FakeClock()
    running = recording(tmp_path, clock)
    line = SoakLine(RECIPE, running.furnace)
    for _ in range(120):
        take(running, clock, 779.0)
    assert "in band" in line.follow(running, "C")
    assert line._asked is not None
    line._asked.wait(timeout=60)
    take(running, clock, 779.0)
    words = line.follow(running, "C")
    running.release()
    assert line.tables["load"][0] == (0.0, -10.0)
    assert "3 °C" in words  # 779 - 10 is 3 below the lower edge of 772
    assert "in band 1:5" not in words
