"""Alarms: bell and command, flickering, failing and hanging commands."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.recording.alarms import AGAIN_S, COMMAND_S, Alarms, start_command
from soakwitness.firmware_bridge.recording.linking import Look
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts, begin
from soakwitness.firmware_bridge.runfolder.reader import read_events
from tests.fakes import FakeClock, make_furnace


class Running:
    def __init__(self) -> None:
        self.killed = False

    def poll(self) -> int | None:
        return -9 if self.killed else None

    def kill(self) -> None:
        self.killed = True


def test_an_alarm_rings_runs_its_command_once_and_is_bounded_in_time() -> None:
    clock = FakeClock()
    rung: list[float] = []
    started: list[tuple[tuple[str, ...], Mapping[str, str], Running]] = []

    def starter(words: tuple[str, ...], facts: Mapping[str, str]) -> Running:
        started.append((words, facts, Running()))
        return started[-1][2]

    alarms = Alarms(Alarm(command=("ring", "twice")), clock, bell=lambda: rung.append(clock.now_s), starter=starter)
    assert alarms.set("link lost", "no reading for 10 s", {"run": "r1"})
    assert not alarms.set("link lost", "no reading for 11 s", {"run": "r1"})
    assert len(rung) == len(started) == 1
    words, facts, running = started[0]
    assert words == ("ring", "twice")
    assert facts == {
        "SOAKWITNESS_ALARM": "link lost",
        "SOAKWITNESS_SAYS": "no reading for 10 s",
        "SOAKWITNESS_RUN": "r1",
    }
    clock.sleep(max(AGAIN_S, COMMAND_S) + 1)
    alarms.tend()
    assert running.killed
    assert "was ended" in (alarms.failed or "")
    alarms.set("link lost", "no reading for 70 s")
    assert len(rung) == 2
    assert len(started) == 1
    alarms.set("link lost", None)
    assert alarms.now == {}
    clock.sleep(AGAIN_S)
    assert alarms.set("link lost", "again")
    assert len(started) == 2


def test_an_alarm_that_flickers_rings_and_runs_its_command_once_a_minute(tmp_path: Path) -> None:
    clock = FakeClock()
    started: list[str] = []

    def starter(words: tuple[str, ...], facts: Mapping[str, str]) -> Running:
        started.append(facts["SOAKWITNESS_SAYS"])
        return Running()

    furnace = make_furnace(alarm=Alarm(over_c=1151.5, command=("ring",)), every_s=1.0)
    recording = begin(furnace, clock, RunFacts(tmp_path), alarms=Alarms(furnace.alarm, clock, bell=lambda: None))
    recording.alarms._starter = starter
    for second in range(600):
        recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": 1151.0 + second % 2}))))
        assert ("over-temperature" in recording.alarms.now) == (second % 2 == 1)
        clock.sleep(1.0)
        recording.tend()
    recording.end("enough")
    assert started == ["control reads 1152 °C, over the limit of 1151.5"] * 10
    assert recording.keeper.folder is not None
    said = [event.detail for event in read_events(recording.keeper.folder.path) if event.event == "alarm"]
    assert len([detail for detail in said if detail.startswith("over-temperature")]) == 10
    assert "the alarm command ran for over 30 s and was ended" in said
    assert not any("still running" in detail for detail in said)


def test_the_next_blade_is_announced_at_once_also_within_a_minute() -> None:
    alarms = Alarms(Alarm(), FakeClock(), bell=lambda: None)
    assert alarms.set("soak complete", "B-1")
    assert not alarms.set("soak complete", None)
    assert alarms.set("soak complete", "B-2")


def test_an_over_temperature_is_told_in_the_instruments_degrees(tmp_path: Path) -> None:
    clock = FakeClock()
    furnace = make_furnace(alarm=Alarm(over_c=1150.0), unit="F")  # 1150 C is 2102 F: 1150 x 1.8 + 32
    recording = begin(furnace, clock, RunFacts(tmp_path), alarms=Alarms(furnace.alarm, clock, bell=lambda: None))
    recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": 2110.0}))))
    assert recording.alarms.now["over-temperature"] == "control reads 2110 °F, over the limit of 2102"
    recording.release()


def alarms_of(tmp_path: Path, readings: list[float], *, every_s: float = 1.0) -> tuple[list[int], list[str], list[str]]:
    """Say after which readings of the control sensor an over-temperature alarm stood, the doubts, and the rows."""
    clock = FakeClock()
    furnace = make_furnace(alarm=Alarm(over_c=1100.0), every_s=every_s)
    recording = begin(furnace, clock, RunFacts(tmp_path), alarms=Alarms(furnace.alarm, clock, bell=lambda: None))
    stood = []
    for number, value in enumerate(readings):
        recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": value, "load": 900.0}))))
        if "over-temperature" in recording.alarms.now:
            stood.append(number)
        clock.sleep(every_s)
    recording.end("test")
    run = next((tmp_path / "runs").iterdir())
    doubts = [event.detail for event in read_events(run) if event.event == "doubt"]
    rows = [line.split(",")[2] for line in (run / "samples.csv").read_text().splitlines()[1:]]
    return stood, doubts, rows


@pytest.mark.parametrize("wrong", [107208.0, 1140.0, 1840.0])  # a byte too many, a digit changed: "1040" to "1140"
def test_one_corrupt_reading_raises_no_alarm_and_stays_in_the_record(tmp_path: Path, wrong: float) -> None:
    stood, doubts, rows = alarms_of(tmp_path, [1040.0, 1040.1, wrong, 1040.2, 1040.3])
    assert stood == []
    (says,) = doubts  # and no second doubt of the good reading that follows it
    assert f"control: {wrong:g} °C" in says
    assert "held back" in says
    assert f"{wrong:g}" in [f"{float(value):g}" for value in rows if value]


def test_a_decimal_point_that_moved_for_good_is_doubted_when_it_stays(tmp_path: Path) -> None:
    stood, doubts, _ = alarms_of(tmp_path, [1050.3, 1050.4, 105.1, 105.0])
    assert stood == []
    assert [("held back" in says, "a tenth" in says) for says in doubts] == [(True, False), (False, True)]


def test_what_is_no_temperature_is_never_an_alarm(tmp_path: Path) -> None:
    assert alarms_of(tmp_path, [1040.0, 107208.0, 107209.0, 107208.0])[0] == []


def test_a_leap_that_stays_and_a_fast_rise_are_alarms(tmp_path: Path) -> None:
    assert alarms_of(tmp_path / "leap", [1040.0, 1200.0, 1201.0, 1203.0])[0] == [2, 3]
    assert alarms_of(tmp_path / "rise", [1085.0, 1090.0, 1095.0, 1100.0, 1105.0])[0] == [3, 4]
    assert alarms_of(tmp_path / "slow", [900.0, 1110.0], every_s=300.0)[0] == [1]  # 0.7 K/s: at once
    assert alarms_of(tmp_path / "falls", [1000.0, 1500.0, 1300.0, 1100.0, 1000.0])[0] == [2, 3]


def test_a_shell_can_name_every_fact() -> None:
    told: list[Mapping[str, str]] = []

    def starter(words: tuple[str, ...], facts: Mapping[str, str]) -> Running:
        told.append(facts)
        return Running()

    alarms = Alarms(Alarm(command=("ring",)), FakeClock(), bell=lambda: None, starter=starter)
    alarms.set("link lost", "x", {"reading_back wall-2.ü": "20"})
    assert "SOAKWITNESS_READING_BACK_WALL_2__" in told[0]


@pytest.mark.skipif(os.name != "posix", reason="needs process groups")
def test_a_command_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    fifo = tmp_path / "open while it runs"
    os.mkfifo(fifo)
    script = f"exec 3>'{fifo}'; sleep 1000 & echo started >&3; wait"
    running = start_command(("/bin/sh", "-c", script), {})
    with open(fifo, "rb") as end:
        assert end.readline() == b"started\n"
        running.kill()
        assert end.read() == b"", "the pipe ends when the last process that has it open is gone"
    assert running.wait(30) == -9


def test_commands_that_hang_do_not_outlive_the_recording(tmp_path: Path) -> None:
    clock = FakeClock()
    hanging = Running()
    furnace = make_furnace(alarm=Alarm(command=("hang",)))
    recording = begin(furnace, clock, RunFacts(tmp_path), alarms=Alarms(furnace.alarm, clock, bell=lambda: None))
    recording.alarms._starter = lambda words, facts: hanging
    recording.alarm("soak complete", "take it out")
    recording.release()
    assert hanging.killed


def test_an_alarm_command_really_runs_without_a_shell(tmp_path: Path) -> None:
    target = tmp_path / "said; $HOME"
    code = "import os, sys; open(sys.argv[1], 'w').write(os.environ['SOAKWITNESS_SAYS'])"
    running = start_command((sys.executable, "-c", code, str(target)), {"SOAKWITNESS_SAYS": "too hot; really"})
    assert running.wait(30) == 0
    assert target.read_text() == "too hot; really"


def test_an_alarm_command_that_is_missing_is_said() -> None:
    alarms = Alarms(Alarm(command=("/nowhere/ring",)), FakeClock(), bell=lambda: None)
    assert alarms.set("link lost", "x")
    assert "cannot be run" in (alarms.failed or "")
