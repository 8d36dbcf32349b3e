"""Disks of sticks and cards: times in steps of two seconds, no fsync of folders, no times that stay as they are."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events
from tests.fakes import Attendant, FakeClock, FakeInstrument, make_furnace


@pytest.mark.parametrize("number", [errno.EINVAL, errno.ENOTSUP, errno.EBADF])
def test_a_disk_that_brings_no_folders_in_is_recorded_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    real = os.fsync

    def fsync(file: int) -> None:
        if stat.S_ISDIR(os.fstat(file).st_mode):
            raise OSError(number, os.strerror(number))
        real(file)

    monkeypatch.setattr(os, "fsync", fsync)
    clock = FakeClock()
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), Attendant(20), opener=FakeInstrument(clock).open)
    check = check_record(run)
    assert (check.rows, check.sealed, check.intact) == (20, True, True)


def test_an_error_of_the_disk_itself_is_none_of_these(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from soakwitness.firmware_bridge.errors import RunFolderError

    def fsync(_: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", fsync)
    clock = FakeClock()
    with pytest.raises(RunFolderError, match="Input/output error"):
        record_run(make_furnace(), clock, RunFacts(tmp_path), Attendant(20), opener=FakeInstrument(clock).open)


def test_times_that_the_disk_rounds_afterwards_are_no_foreign_hand(tmp_path: Path) -> None:
    """A disk with steps of two seconds forgets the rest once it has brought a file in: each look sees another time."""
    clock = FakeClock()

    def act(_: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        assert recording.keeper.folder is not None
        for file in recording.keeper.folder.path.glob("*.csv"):
            whole = file.stat().st_mtime_ns // 2_000_000_000 * 2_000_000_000
            os.utime(file, ns=(whole, whole))

    person = Attendant(100, act=act)
    run = record_run(make_furnace(), clock, RunFacts(tmp_path), person, opener=FakeInstrument(clock).open)
    check = check_record(run)
    assert (check.rows, check.sealed, check.intact) == (100, True, True)
    assert [event.event for event in read_events(run)] == ["start", "end"]
