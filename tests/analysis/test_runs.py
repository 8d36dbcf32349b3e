"""Run folders as traces in degC: only good rows, whatever they hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from soakwitness.analysis import open_run
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_790_000_000.0
COLUMNS = (
    Column("control", "sensor", "C", role="control"),
    Column("spine", "sensor", "F", role="load", resolution=0.5),
    Column("setpoint", "signal", "F"),
    Column("output", "signal", "%"),
    Column("door", "contact", means="door"),
)


def new_run(folder: Path, **more: float) -> RunFolder:
    return RunFolder.create(folder, columns=COLUMNS, furnace_name="front", started_utc=START, **more)  # type: ignore[arg-type]


def fill(run: RunFolder, count: int = 50) -> None:
    for k in range(count):
        values = {"control": 20.0 + 0.5 * k, "spine": 68.0 + 0.9 * k, "setpoint": 1450.0, "output": 99.5, "door": 0.0}
        run.write_row(float(k), START + k, values)


def test_a_run_in_celsius(tmp_path: Path) -> None:
    folder = new_run(tmp_path, every_s=1.0)
    fill(folder)
    folder.write_event(3.0, START + 3, "mark", "load; id ab12; pieces B-1, B-2")
    folder.seal(sealed_utc=START + 60)
    run = open_run(folder.path)
    assert run.t_s == pytest.approx(np.arange(50.0))
    assert run.values["control"] == pytest.approx(20.0 + 0.5 * np.arange(50))
    assert run.values["spine"] == pytest.approx(20.0 + 0.5 * np.arange(50))  # 68 degF is 20 degC; 0.9 degF is 0.5 K
    assert run.signal("setpoint") == pytest.approx(np.full(50, 1418 / 1.8))
    assert run.signal("output") == pytest.approx(np.full(50, 99.5))
    assert run.signal("nothing") is None
    spine = run.trace("load")
    assert spine is not None
    assert (spine.name, spine.period_s, spine.resolution_c) == ("spine", 1.0, pytest.approx(0.5 / 1.8))
    assert run.trace("spine") is spine
    assert run.trace("survey") is None
    assert [(mark.act, mark.pieces) for mark in run.marks] == [("load", ("B-1", "B-2"))]
    assert run.check.intact
    assert run.check.sealed


def test_a_frame_with_units(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    fill(folder)
    folder.seal(sealed_utc=START + 60)
    frame = open_run(folder.path).frame()
    assert list(frame.columns) == ["control", "spine", "setpoint", "output", "door"]
    assert frame.index.name == "t_s"
    assert frame.attrs["units"] == {
        "t_s": "s", "control": "degC", "spine": "degC", "setpoint": "degC", "output": "%", "door": ""
    }  # fmt: skip
    assert frame["spine"].iloc[10] == pytest.approx(25.0)


def test_empty_text_and_infinite_cells_are_no_readings(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    for k, text in enumerate(["20.5", "", "OPEN", "inf", "-inf", "nan", "21.5"]):
        folder.write_row(float(k), START + k, {"control": text, "spine": 70.0})
    folder.close()
    run = open_run(folder.path)
    assert list(np.isnan(run.values["control"])) == [False, True, True, True, True, True, False]
    assert np.isnan(run.values["output"]).all()
    assert run.values["spine"] == pytest.approx(np.full(7, 38 / 1.8))


def test_infinite_cells_alone(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    for k, text in enumerate(["20.5", "inf", "21.5"]):
        folder.write_row(float(k), START + k, {"control": text})
    folder.close()
    assert list(np.isnan(open_run(folder.path).values["control"])) == [False, True, False]


def test_segments_are_read_in_order_even_after_a_lost_line_feed(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    fill(folder, 10)
    folder.close()
    samples = folder.path / "samples.csv"
    samples.write_bytes(samples.read_bytes()[:-1])
    again = RunFolder.resume(folder.path)
    for k in range(10, 15):
        again.write_row(float(k), START + k, {"control": 99.0})
    again.close()
    run = open_run(folder.path)
    assert run.t_s == pytest.approx(np.arange(15.0))
    assert run.values["control"][9] == 24.5
    assert run.values["control"][10] == 99.0
    assert run.check.torn_tail


def test_a_changed_row_is_left_out_and_the_rest_is_read(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    fill(folder)
    folder.seal(sealed_utc=START + 60)
    samples = folder.path / "samples.csv"
    samples.write_bytes(samples.read_bytes().replace(b",30,", b",39,", 1))
    run = open_run(folder.path)
    assert 30.0 not in run.values["control"]
    assert 20.0 not in run.t_s
    assert run.t_s.size == 49
    assert not run.check.intact


def test_a_run_without_rows(tmp_path: Path) -> None:
    folder = new_run(tmp_path)
    folder.close()
    run = open_run(folder.path)
    assert run.t_s.size == 0
    assert run.traces[0].temp_c.size == 0
    assert run.frame().empty


def test_no_run_folder(tmp_path: Path) -> None:
    with pytest.raises(RunFolderError):
        open_run(tmp_path)
    with pytest.raises(RunFolderError):
        open_run(tmp_path / "none")
