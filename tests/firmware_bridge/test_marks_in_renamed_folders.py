"""A run folder that was given another name is the same run: marks can be entered into it, one after the other."""

from __future__ import annotations

from pathlib import Path

from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.late import enter_late
from soakwitness.firmware_bridge.runfolder.marks import new_mark_id
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_header, read_marks
from soakwitness.firmware_bridge.runfolder.seal import read_seal
from tests.run_folders import sealed_run


def test_a_second_mark_goes_into_a_folder_of_another_name(tmp_path: Path) -> None:
    kept = sealed_run(tmp_path / "book", 60)
    path = kept.rename(kept.with_name("the good one"))
    run = read_header(path).run
    for second in (10.0, 20.0):
        mark = Mark(second, "door", (), "", new_mark_id(), entered_later=True, by="Ana")
        enter_late(path, mark, now_utc=1_764_100_000.0 + second)
        seal = read_seal(path)
        assert seal is not None
        assert seal.run == run
        assert check_record(path).intact
    assert [mark.t_s for mark in read_marks(path) if mark.entered_later] == [10.0, 20.0]
