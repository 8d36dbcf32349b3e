"""What was written last into a run that has no seal: torn ends, second parts, folders that are none."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.still_open import MOST_ROWS, last_written, thinned_rows, unsealed
from tests.run_folders import fill, new_run, sealed_run


def test_only_folders_without_a_seal(tmp_path: Path) -> None:
    sealed = sealed_run(tmp_path)
    run = new_run(tmp_path)
    run.close()
    (tmp_path / "runs" / "nothing").mkdir()
    assert unsealed(tmp_path) == (run.path,)
    assert unsealed(tmp_path, sealed=[run.path.name, sealed.name]) == ()
    assert unsealed(tmp_path / "none") == ()


def test_the_last_whole_row(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    assert last_written(run.path) is None
    fill(run, 4)
    run.close()
    with open(run.path / "samples.csv", "ab") as file:
        file.write(b"4,2026-11-25T07:15:06Z,99")  # cut in the middle of a write
    last = last_written(run.path)
    assert last is not None
    assert (last.t_s, last.utc[:19], last.cells) == (3.0, "2026-11-25T07:15:05", ("21.5", "20.2", "1040"))


def test_a_second_part_without_rows_yet_leaves_the_first_one_s(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 4)
    run.close()
    head = (run.path / "samples.csv").read_bytes().split(b"\n")[0] + b"\n"
    (run.path / "samples-2.csv").write_bytes(head)
    last = last_written(run.path)
    assert last is not None
    assert last.t_s == 3.0


@pytest.mark.parametrize("garbage", [b"", b"\n\n\n", b"\xff\xfe\x00\n1,2\n", b"nan,2026-11-25T07:15:02Z,1,0\n"])
def test_what_is_no_row_is_none(tmp_path: Path, garbage: bytes) -> None:
    run = new_run(tmp_path)
    run.close()
    (run.path / "samples.csv").write_bytes(garbage)
    assert last_written(run.path) is None
    assert list(thinned_rows(run.path)) == []


def test_long_runs_are_thinned_and_their_end_is_kept(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 3 * MOST_ROWS)
    run.close()
    rows = list(thinned_rows(run.path))
    assert len(rows) <= MOST_ROWS * 1.5
    assert rows[-1].t_s == 3 * MOST_ROWS - 1


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes in folders there")
def test_a_pipe_in_the_place_of_the_rows_is_not_waited_for(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    run.close()
    (run.path / "samples.csv").unlink()
    os.mkfifo(run.path / "samples.csv")
    with pytest.raises((OSError, RunFolderError)):
        last_written(run.path)
