"""Another program changes, replaces or removes the files of a run under its recorder."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.recording.keeping import HELD_S
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.runfolder.contents import Mark, RecordCheck
from soakwitness.firmware_bridge.runfolder.late import enter_late
from soakwitness.firmware_bridge.runfolder.listing import look_at
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks
from soakwitness.firmware_bridge.runfolder.seal import read_seal
from tests.fakes import UTC_S, Attendant, FailingFiles, FakeClock, FakeInstrument, Stopped, make_furnace
from tests.record_oracle import returned_rows

pytestmark = pytest.mark.skipif(os.name == "nt", reason="an open file cannot be removed there")

AT = 100  # slot of the harm
SLOTS = 200


def _saved_by_an_editor(file: Path) -> None:
    """The whole text into a new file of the same name, as editors do; line ends of another system."""
    new = file.with_name("editor~")
    new.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    os.replace(new, file)


def _saved_as_it_is(file: Path) -> None:
    new = file.with_name("editor~")
    new.write_bytes(file.read_bytes())
    os.replace(new, file)


def _saved_in_place(file: Path) -> None:
    with open(file, "r+b") as same:
        lines = same.read().split(b"\n")
        same.seek(0)
        same.truncate()
        same.write(b"\n".join(lines[: len(lines) // 2]) + b"\n")


def _one_digit_in_place(file: Path) -> None:
    with open(file, "r+b") as same:
        data = same.read()
        at = data.index(b"\n30.000,") + 5
        same.seek(at)
        same.write(b"7")


def _emptied(file: Path) -> None:
    os.truncate(file, 0)


def _grown(file: Path) -> None:
    with open(file, "ab") as same:
        same.write(b"a line of another program\n")


def _a_folder(file: Path) -> None:
    file.unlink()
    file.mkdir()


HARMS: dict[str, Callable[[Path], None]] = {
    "removed": lambda file: file.unlink(),
    "saved by an editor": _saved_by_an_editor,
    "saved as it is": _saved_as_it_is,
    "saved in place": _saved_in_place,
    "one digit": _one_digit_in_place,
    "emptied": _emptied,
    "grown": _grown,
    "renamed": lambda file: file.rename(file.with_suffix(".old")),
    "a folder in its place": _a_folder,
}


def _record(logbook: Path, harm: Callable[[Path], object], slots: int = SLOTS, at: int = AT) -> tuple[Path, Attendant]:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 20:
            recording.mark("load", ["B-1"], by="key")
        if slot == at:
            assert recording.keeper.folder is not None
            harm(recording.keeper.folder.path)

    person = Attendant(slots, act=act)
    furnace = make_furnace()
    return record_run(furnace, clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open), person


def _times(check: RecordCheck) -> list[float]:
    return [float(row.split(b",")[0]) for row in returned_rows(check)]


def _is_called_whole_by_nobody(run: Path, person: Attendant) -> None:
    (event,) = [event for event in read_events(run) if event.event == "record changed"]
    assert event.t_s - (AT - 1) <= 1.0
    (alarm,) = [event for event in read_events(run) if event.event == "alarm"]
    assert alarm.detail == f"record changed: {event.detail}"
    assert alarm.t_s - event.t_s <= 1.0
    assert person.bells >= 1
    check, seal = check_record(run), read_seal(run)
    assert seal is not None
    assert seal.changed == (event.detail,)
    assert check.sealed
    assert not check.intact
    assert check.first_difference == event.detail.split()[0]
    assert event.detail in check.says
    assert look_at(run, compare=True).intact is False
    assert event.detail in look_at(run, compare=False).says


@pytest.mark.parametrize("kind", HARMS)
def test_harm_to_the_readings_is_noticed_and_nothing_that_is_remembered_is_lost(tmp_path: Path, kind: str) -> None:
    run, person = _record(tmp_path, lambda folder: HARMS[kind](folder / "samples.csv"))
    _is_called_whole_by_nobody(run, person)
    check = check_record(run)
    assert _times(check) == [float(k) for k in range(SLOTS)]
    assert check.changed[0].endswith("; nothing is missing")


@pytest.mark.parametrize("kind", HARMS)
def test_harm_to_the_events_is_noticed_and_they_are_written_again(tmp_path: Path, kind: str) -> None:
    if kind == "one digit":
        pytest.skip("no such row in it")
    run, person = _record(tmp_path, lambda folder: HARMS[kind](folder / "events.csv"))
    _is_called_whole_by_nobody(run, person)
    events = [event.event for event in read_events(run)]
    assert events == ["start", "mark", "record changed", "alarm", "end"]
    assert [mark.pieces for mark in read_marks(run)] == [("B-1",)]
    if kind != "removed":
        assert list(run.glob("events.*")) != [run / "events.csv"], "what another program wrote stays beside it"


def test_harm_to_run_json_is_noticed_and_it_is_written_again(tmp_path: Path) -> None:
    before: list[bytes] = []

    def harm(folder: Path) -> None:
        before.append((folder / "run.json").read_bytes())
        (folder / "run.json").write_text("{}")

    run, person = _record(tmp_path, harm)
    _is_called_whole_by_nobody(run, person)
    assert (run / "run.json").read_bytes() == before[0]
    assert (run / "run.json.changed").read_text() == "{}"


def test_a_run_folder_that_is_removed_comes_back_whole(tmp_path: Path) -> None:
    held: list[bool] = []

    def act(folder: Path) -> None:
        shutil.rmtree(folder)

    clock = FakeClock()

    def at(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        assert recording.keeper.folder is not None
        if slot == AT:
            act(recording.keeper.folder.path)
        if slot == AT + 2:
            held.append(is_held(recording.keeper.folder.path / RUN_LOCK))

    person = Attendant(SLOTS, act=at)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open)
    check = check_record(run)
    assert _times(check) == [float(k) for k in range(SLOTS)]
    assert (check.sealed, check.intact) == (True, False)
    names = {event.detail.split()[0] for event in read_events(run) if event.event == "record changed"}
    assert names == {"run.json", "events.csv", "samples.csv"}
    assert held == [True], "mark and a second recorder see that it is being recorded"


def test_the_whole_log_book_is_removed(tmp_path: Path) -> None:
    run, _ = _record(tmp_path / "book", lambda folder: shutil.rmtree(folder.parent.parent))
    assert _times(check_record(run)) == [float(k) for k in range(SLOTS)]


def test_what_is_older_than_memory_and_was_overwritten_is_listed_as_missing(tmp_path: Path) -> None:
    """A file emptied in place keeps nothing; memory holds the last two hours: of 8,000 rows the first 800 are gone."""
    slots, at = 8_100, 8_000
    remembered = int(HELD_S)
    run, _ = _record(tmp_path, lambda folder: _emptied(folder / "samples.csv"), slots=slots, at=at)
    check = check_record(run)
    assert _times(check) == [float(k) for k in range(at - remembered, slots)]
    (says,) = check.changed
    assert "samples.csv was changed by another program while it was being recorded, with 8000 rows in it" in says
    assert says.endswith("missing: 800 rows, between 0.000 and 799.000 s")
    assert not check.intact


def test_a_harm_when_the_disk_takes_nothing_is_mended_when_it_does(tmp_path: Path) -> None:
    clock = FakeClock()
    files = FailingFiles("any", 10**9, for_ever=True)

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        assert recording.keeper.folder is not None
        if slot == AT:
            (recording.keeper.folder.path / "samples.csv").unlink()
            files.at = files.calls + 1
        if slot == AT + 30:
            files.healed = True

    person = Attendant(SLOTS, act=act)
    furnace = make_furnace()
    run = record_run(furnace, clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open, files=files)
    assert _times(check_record(run)) == [float(k) for k in range(SLOTS)]
    assert not check_record(run).intact


def test_harm_to_what_an_earlier_recorder_wrote_is_noticed_too(tmp_path: Path) -> None:
    clock = FakeClock()

    def kill(slot: int, _: object) -> None:
        if slot == 50:
            raise Stopped

    with pytest.raises(Stopped):
        record_run(
            make_furnace(), clock, RunFacts(tmp_path), Attendant(99, act=kill), opener=FakeInstrument(clock).open
        )

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        assert recording.keeper.folder is not None
        if slot == 10:
            (recording.keeper.folder.path / "samples.csv").unlink()
        if slot == 20:
            (recording.keeper.folder.path / "samples-2.csv").unlink(missing_ok=True)

    clock.sleep(5.0)
    run = record_run(
        make_furnace(), clock, RunFacts(tmp_path), Attendant(30, act=act), opener=FakeInstrument(clock).open
    )
    check = check_record(run)
    assert check.rows == 80
    assert not check.intact
    assert len(check.changed) == 2


@pytest.mark.parametrize("kind", HARMS)
def test_harm_in_the_very_last_moment_is_in_the_seal(tmp_path: Path, kind: str) -> None:
    run, _ = _record(tmp_path, lambda folder: HARMS[kind](folder / "samples.csv"), slots=60, at=60)
    check = check_record(run)
    assert _times(check) == [float(k) for k in range(60)]
    assert (check.sealed, check.intact, len(check.changed)) == (True, False, 1)
    assert [event.event for event in read_events(run)][-1] == "end"


def test_a_file_that_is_only_touched_is_not_changed(tmp_path: Path) -> None:
    """Some disks and some backup programs give a file another time without another content."""

    def harm(folder: Path) -> None:
        for name in ("samples.csv", "events.csv", "run.json"):
            os.utime(folder / name, (0.0, 0.0))

    run, _ = _record(tmp_path, harm)
    check = check_record(run)
    assert (check.sealed, check.intact, check.rows) == (True, True, SLOTS)


def test_a_mark_can_be_entered_later_into_a_run_that_was_harmed(tmp_path: Path) -> None:
    run, _ = _record(tmp_path, lambda folder: (folder / "samples.csv").unlink())
    enter_late(run, Mark(30.0, "pull", mark_id="c0ffee", entered_later=True), now_utc=UTC_S + 9999)
    check = check_record(run)
    assert (check.sealed, check.intact) == (True, False)
    assert len(check.changed) == 1
    assert [mark.act for mark in read_marks(run)] == ["load", "pull"]
