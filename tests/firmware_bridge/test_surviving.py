"""Short form of the fault campaign in ``tests/campaigns/surviving.py``; the long form is its own command."""

from __future__ import annotations

from pathlib import Path

from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events
from tests.campaigns import surviving
from tests.fakes import Attendant, FailingFiles, FakeClock, FakeInstrument, make_furnace


def test_20_kills(tmp_path: Path) -> None:
    assert "resumed 19 times" in surviving.kills(20, tmp_path)


def test_20_power_cuts(tmp_path: Path) -> None:
    surviving.power_cuts(20, tmp_path)


def test_every_fifth_call_that_reaches_the_disk_fails(tmp_path: Path) -> None:
    surviving.failing_calls(tmp_path, every=5)


def test_a_crash_at_every_call(tmp_path: Path) -> None:
    surviving.crashes(tmp_path)


def test_50_pulled_cables(tmp_path: Path) -> None:
    surviving.pulled_cables(50, tmp_path)


def test_clock_steps(tmp_path: Path) -> None:
    surviving.clock_steps(tmp_path)


def test_10_days_at_1_hz(tmp_path: Path) -> None:
    surviving.days(10, tmp_path)


def test_an_hour_without_a_disk_is_kept_in_memory(tmp_path: Path) -> None:
    clock = FakeClock()
    files = FailingFiles("any", 10**9, for_ever=True)
    held = []

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 60:
            files.at = files.calls + 1
        if slot == 60 + 3700:
            held.append(recording.now().held_rows)
            files.healed = True

    person = Attendant(60 + 3720, act=act)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=files)
    assert held[0] >= 3700
    check = check_record(run)
    assert check.rows == person.shown
    assert check.sealed
    alarms = [event.t_s for event in read_events(run) if event.event == "alarm" and "not being written" in event.detail]
    assert alarms
    assert alarms[0] - 60 <= 10
    assert len(list(run.glob("samples-*.csv"))) <= 2, "tries that failed leave nothing behind"


def test_memory_without_a_disk_is_bounded_and_the_loss_is_said(tmp_path: Path) -> None:
    clock = FakeClock()
    files = FailingFiles("any", 10**9, for_ever=True)

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 5:
            files.at = files.calls + 1
        if slot == 900:
            assert recording.now().held_rows == 720  # two hours of a row every 10 s
            files.healed = True

    person = Attendant(910, act=act)
    furnace = make_furnace(every_s=10.0)
    run = record_run(furnace, clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=files)
    lost = [event.detail for event in read_events(run) if event.event == "not recorded"]
    (words,) = lost
    most = int(words.split("; lost: up to ")[1].split()[0])
    lost_rows = person.shown - check_record(run).rows
    assert most - 1 <= lost_rows <= most  # one of them had reached the disk before the trouble
