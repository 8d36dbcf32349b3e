"""Readings as columns of numbers by the standard library: the same as the reader with arrays has."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from soakwitness.analysis.record.run import open_run
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder import row_numbers
from soakwitness.firmware_bridge.runfolder.row_numbers import read_numbers
from tests.run_folders import fill, new_run, sealed_run

SAMPLES = sorted(path.parent for path in (Path(__file__).parents[2] / "sample_logs").glob("*/samples.csv"))


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: path.name)
def test_every_sample_run_has_the_same_numbers_as_with_arrays(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(row_numbers, "_AT_ONCE", 1000)  # rows are cut by the end of a block
    rows, run = read_numbers(folder), open_run(folder)
    assert np.array_equal(np.array(rows.t_s), run.t_s)
    for trace in run.traces:
        raw = np.array(rows.columns[trace.name])
        assert np.isnan(raw).sum() <= np.isnan(trace.temp_c).sum()
        same = np.isfinite(trace.temp_c) & np.isfinite(raw)
        assert same.sum() == np.isfinite(trace.temp_c).sum()


def test_an_empty_cell_is_no_number_and_a_bad_row_is_left_out(tmp_path: Path) -> None:
    folder = sealed_run(tmp_path, 60)
    file = folder / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"\n7.000,", b"\n8.000,", 1))
    rows = read_numbers(folder)
    assert list(rows.t_s) == [float(s) for s in range(60) if s != 7]
    assert [math.isnan(value) for value in rows.columns["load"][:6]] == [False, False, True, False, False, True]
    assert rows.columns["control"][3] == 21.5


def test_a_run_that_is_being_recorded_is_read_as_far_as_it_is(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 5)
    assert list(read_numbers(run.path).t_s) == [0.0, 1.0, 2.0, 3.0, 4.0]
    fill(run, 2, start=5)
    assert len(read_numbers(run.path).t_s) == 7
    run.close()


def test_a_run_without_rows_has_none(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    run.close()
    assert len(read_numbers(run.path).t_s) == 0
    shutil.rmtree(run.path)
    with pytest.raises(RunFolderError):
        read_numbers(run.path)


def test_a_row_of_another_number_of_cells_moves_no_other() -> None:
    good, long, short = "1,07:00:01Z,5,c", "2,07:00:02Z,6,7,c", "3,07:00:03Z,c"
    assert row_numbers._cells("\n".join((good, long, short)), 4) == [("1",), ("07:00:01Z",), ("5",), ("c",)]
    assert row_numbers._cells(long, 4) == [()] * 4
