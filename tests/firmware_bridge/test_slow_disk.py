"""A disk that takes its time costs no reading; what it may cost is named while it does."""

from __future__ import annotations

import random
import threading
from pathlib import Path
from typing import BinaryIO

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording import keeping
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.recording.working import OneThread
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.marks import DroppedMark, drop_mark
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks
from tests.fakes import Attendant, FailingFiles, FakeClock, FakeInstrument, Stopped, make_furnace
from tests.record_oracle import returned_rows
from tests.slow_disks import SlowFiles, SlowWorker


def _times(run: Path) -> list[float]:
    return [float(row.split(b",")[0]) for row in returned_rows(check_record(run))]


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> tuple[FakeClock, SlowFiles]:
    clock = FakeClock()
    files = SlowFiles(clock, 5.0)
    monkeypatch.setattr(keeping, "worker_for", lambda _: SlowWorker(clock, files))
    return clock, files


@pytest.mark.parametrize("sync_s", [0.02, 0.3, 1.5, 5.0, 20.0])
def test_no_slot_is_missed_however_long_a_sync_takes(
    tmp_path: Path, slow: tuple[FakeClock, SlowFiles], sync_s: float
) -> None:
    clock, files = slow
    files.sync_s = sync_s
    person = Attendant(300)
    instrument = FakeInstrument(clock)
    instrument.read_s = 0.2
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=instrument.open, files=files)
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    assert len(rows) == 300
    assert all(row[2] for row in rows), "a row without a reading is a missed slot"
    apart = [float(b[0]) - float(a[0]) for a, b in zip(rows, rows[1:], strict=False)]
    assert max(abs(s - 1.0) for s in apart) <= 0.25  # the sampler waits for its row at most 0.2 of a period
    named = [event.t_s for event in read_events(run) if event.event == "slow disk"]
    assert len(named) == 1 if sync_s > 1.0 else all(t_s < 5.0 for t_s in named)  # while the folder is made
    assert check_record(run).sealed


def test_a_slow_disk_is_named_with_what_a_kill_would_cost(tmp_path: Path, slow: tuple[FakeClock, SlowFiles]) -> None:
    clock, files = slow
    waiting: list[int] = []

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        waiting.append(recording.keeper.waiting_rows)
        if slot == 100:
            files.sync_s = 0.0

    person = Attendant(300, act=act)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=files)
    (named,) = [event for event in read_events(run) if event.event == "slow disk"]
    assert "memory" in named.detail
    (again,) = [event for event in read_events(run) if event.event == "disk prompt again"]
    assert named.t_s < 50.0
    assert 155.0 <= again.t_s <= 180.0  # a minute later
    assert max(waiting) <= 40  # seven syncs of 5 s make the folder; later at most one is under way
    assert max(waiting[50:]) <= 11  # readings and events, 5 s each
    assert [event.t_s for event in read_events(run) if event.event == "alarm" and event.t_s > 40.0] == []


def test_a_disk_that_does_not_answer_at_all_is_an_alarm(tmp_path: Path, slow: tuple[FakeClock, SlowFiles]) -> None:
    clock, files = slow
    files.sync_s = 0.0

    def act(slot: int, _: object) -> None:
        if slot == 50:
            files.sync_s = 120.0
        if slot == 60:
            files.sync_s = 0.0

    person = Attendant(300, act=act)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=files)
    (alarm,) = [event for event in read_events(run) if event.event == "alarm"]
    assert alarm.detail.startswith("record not being written: the disk has not answered for 1")
    assert alarm.t_s - 50 <= 20.0
    assert _times(run) == [float(round(t_s)) for t_s in range(300)] or len(_times(run)) == 300
    assert person.bells >= 2, "it lasts, and rings again"


@pytest.mark.parametrize("sync_s", [0.05, 1.5, 5.0])
def test_a_power_cut_loses_five_seconds_and_the_sync_under_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sync_s: float
) -> None:
    chance = random.Random(3)
    for number in range(15):
        clock = FakeClock()
        files = SlowFiles(clock, sync_s, chance)
        monkeypatch.setattr(keeping, "worker_for", lambda _, c=clock, f=files: SlowWorker(c, f))
        last, logbook = chance.randrange(40, 120), tmp_path / str(number)

        def cut(slot: int, _: object, last: int = last, clock: FakeClock = clock) -> None:
            if slot == last:
                clock.now_s += 0.999  # the moment before the next reading
                raise Stopped

        person, opener = Attendant(999, act=cut), FakeInstrument(clock).open
        with pytest.raises(Stopped):
            record_run(make_furnace(), clock, RunFacts(logbook), person, opener=opener, files=files)
        files.cut()
        (run,) = (logbook / "runs").iterdir()
        got = [round(t_s) for t_s in _times(run)]
        unbroken = next((k for k, t_s in enumerate(got) if t_s != k), len(got)) - 1
        assert last - 1 - unbroken <= 5.0 + sync_s, (sync_s, last, got[-3:])


def test_marks_and_a_lost_link_cost_no_reading(tmp_path: Path, slow: tuple[FakeClock, SlowFiles]) -> None:
    clock, _ = slow
    instrument = FakeInstrument(clock)

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot in (60, 62, 64):
            assert recording.keeper.folder is not None
            drop_mark(recording.keeper.folder.path, DroppedMark(f"a{slot}", utc_text(clock.utc_s()), "note"))
        if slot == 80:
            recording.press("pull", "contact", by="foot switch")

    person = Attendant(150, act=act)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=instrument.open, files=slow[1])
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    assert (len(rows), all(row[2] for row in rows)) == (150, True)
    assert [mark.act for mark in read_marks(run)] == ["note", "note", "note", "pull"]
    assert list((run / "marks").iterdir()) == []


# The real thread


@pytest.fixture
def threaded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "worker_for", lambda _: OneThread())


@pytest.mark.usefixtures("threaded")
def test_in_the_normal_case_each_row_is_with_the_system_before_the_next_slot(tmp_path: Path) -> None:
    """So that a kill of the program loses nothing."""
    clock = FakeClock()
    seen: list[int] = []

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        assert recording.keeper.folder is not None
        seen.append((recording.keeper.folder.path / "samples.csv").read_bytes().count(b"\n") - 1)

    furnace = make_furnace(every_s=60.0)  # so that a busy computer has 12 s for each
    record_run(furnace, clock, RunFacts(tmp_path), Attendant(200, act=act), opener=FakeInstrument(clock).open)
    assert seen == list(range(1, 201))


class Gate(Files):
    """The real disk; a sync waits until the gate is opened."""

    def __init__(self) -> None:
        self.open = threading.Event()
        self.open.set()

    def sync(self, file: BinaryIO) -> None:
        assert self.open.wait(60.0)
        super().sync(file)


@pytest.mark.usefixtures("threaded")
def test_readings_go_on_while_a_sync_hangs_and_are_all_written_then(tmp_path: Path) -> None:
    clock = FakeClock()
    gate = Gate()
    state: list[tuple[int, int]] = []

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 100:
            gate.open.clear()
        if slot == 250:
            assert recording.keeper.folder is not None
            on_disk = (recording.keeper.folder.path / "samples.csv").read_bytes().count(b"\n") - 1
            state.append((on_disk, recording.keeper.waiting_rows))
            gate.open.set()

    furnace = make_furnace(every_s=0.05)
    person = Attendant(400, act=act)
    run = record_run(furnace, clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=gate)
    assert len(_times(run)) == 400
    assert check_record(run).intact
    ((on_disk, waiting),) = state
    assert on_disk + waiting == 250, "a kill would lose what waits and no more"
    assert 0 < waiting <= 250 - 100


@pytest.mark.usefixtures("threaded")
def test_what_breaks_in_the_thread_ends_the_recording(tmp_path: Path) -> None:
    class Broken(Files):
        def write(self, file: BinaryIO, data: bytes) -> None:
            if data.startswith(b"30.000"):
                raise Stopped
            super().write(file, data)

    clock = FakeClock()
    with pytest.raises(Stopped):
        record_run(
            make_furnace(every_s=10.0),
            clock,
            RunFacts(tmp_path),
            Attendant(200),
            opener=FakeInstrument(clock).open,
            files=Broken(),
        )


@pytest.mark.usefixtures("threaded")
def test_a_run_that_cannot_be_made_is_said_at_once(tmp_path: Path) -> None:
    clock = FakeClock()
    files = FailingFiles("open", 1, for_ever=True)
    with pytest.raises(RunFolderError, match="no run can be begun: .*No space left"):
        record_run(
            make_furnace(), clock, RunFacts(tmp_path), Attendant(9), opener=FakeInstrument(clock).open, files=files
        )
