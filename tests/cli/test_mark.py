"""``soakwitness mark``: into the run that is being recorded, and into finished ones."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.recording.beginning import claim_furnace
from soakwitness.firmware_bridge.runfolder.late import moment_in_run, time_in_run
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks
from tests.fakes import make_furnace
from tests.recorders import recorder, run_for_real, simulated_furnace
from tests.run_folders import STARTED_UTC, fill, new_run, sealed_run


def mark(logbook: Path, *words: str) -> Result:
    return CliRunner().invoke(soakwitness, ["mark", "--logbook", str(logbook), *words])


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_a_mark_reaches_the_recorder_and_can_be_struck_out(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        running.wait_for(" start: ")
        done = run_for_real("mark", "load", "B-041", "B-042", "--by", "anna", cwd=tmp_path)
        assert done.returncode == 0
        assert done.stdout.startswith("Load of B-041, B-042 (id ")
        assert "not taken it" not in done.stdout
        mark_id = done.stdout.split("(id ")[1].split(")")[0]
        running.wait_for("mark: load")
        struck = run_for_real("mark", "--strike", mark_id[:4], "--why", "the door, not the load", cwd=tmp_path)
        assert struck.returncode == 0, struck.stderr
        running.wait_for("mark: strike")
        status, out, _ = running.end(signal.SIGTERM)
    assert status == 0
    run = tmp_path / out[-1]
    (found,) = read_marks(run)
    assert (found.pieces, found.by, found.struck, found.entered_later) == (("B-041", "B-042"), "anna", True, False)
    assert check_record(run).intact


def test_without_a_recorder_it_says_so(tmp_path: Path) -> None:
    sealed_run(tmp_path)
    done = mark(tmp_path, "load")
    assert done.exit_code == 2
    assert "No recorder" in done.stderr


def test_between_the_runs_of_a_watch_it_says_when_the_next_one_begins(tmp_path: Path) -> None:
    lock, _ = claim_furnace(tmp_path, make_furnace(), "watch", "07:15")
    done = mark(tmp_path, "load")
    lock.release()
    assert done.exit_code == 2
    assert "small furnace is watched: its run begins when it heats" in done.stderr
    assert "watched" not in mark(tmp_path, "load").stderr


def test_into_a_sealed_run_it_is_entered_later(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    done = mark(tmp_path, "pull", "B-041", "--run", "last", "--at", "+0:45", "--by", "anna", "--note", "late")
    assert done.exit_code == 0, done.stderr
    assert "entered later" in done.stderr
    assert done.stdout.endswith(f"entered into {path.name} at 0:00:45.\n")
    load, pull = read_marks(path)
    assert (pull.t_s, pull.pieces, pull.entered_later, pull.by, pull.note) == (45.0, ("B-041",), True, "anna", "late")
    assert load.act == "load"
    check = check_record(path)
    assert check.sealed
    assert check.intact
    listed = mark(tmp_path, "--list", "--run", "last").stdout.splitlines()
    assert listed[1].startswith("0:00:45  Pull of B-041: late (id ")
    assert listed[1].endswith("by anna; entered later")


def test_a_range_is_every_piece_in_it(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    done = mark(tmp_path, "pull", "B-041..B-043", "B-050", "--run", "last", "--at", "+0:45")
    assert done.exit_code == 0, done.stderr
    assert read_marks(path)[1].pieces == ("B-041", "B-042", "B-043", "B-050")
    down = mark(tmp_path, "pull", "B-046..B-041", "--run", "last", "--at", "+0:45")
    assert "counts upward" in str(down.exception)
    assert len(read_marks(path)) == 2


def test_into_a_cut_off_run_too(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 30)
    run.close()
    assert mark(tmp_path, "note", "the", "power", "was", "cut", "--run", run.path.name).exit_code == 0
    (found,) = read_marks(run.path)
    assert (found.act, found.note, found.t_s, found.entered_later) == ("note", "the power was cut", 29.0, True)
    assert not list(run.path.glob("*.lock"))


def test_a_changed_run_takes_none(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    file = path / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"1040", b"1041", 1))
    before = (path / "events.csv").read_bytes()
    done = run_for_real("mark", "pull", "--run", "last", "--at", "+5", "--logbook", str(tmp_path), cwd=tmp_path)
    assert done.returncode == 2
    assert "samples.csv is not what the seal says" in done.stderr
    assert (path / "events.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "say what was done"),
        (["load", "--strike", "ab", "--why", "x"], "one thing at a time"),
        (["--strike", "ab"], "--why"),
        (["load", " "], "may not be empty"),
        (["melt"], "melt"),
        (["load", "--run", "last"], "--at TIME"),
        (["load", "--run", "nothing", "--at", "+5"], "no such run"),
    ],
)
def test_wrong_use(tmp_path: Path, words: list[str], says: str) -> None:
    path = sealed_run(tmp_path)
    before = (path / "events.csv").read_bytes()
    done = mark(tmp_path, *words)
    assert done.exit_code == 2
    assert says in done.stderr
    assert (path / "events.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("text", "zone", "t_s"),
    [
        ("+90", None, 90.0),
        ("+1:23:04", None, 4984.0),
        ("2026-11-25T07:16:02Z", None, 60.0),
        ("2026-11-25T08:16:02+01:00", None, 60.0),
        ("2026-11-25T08:16:02", "Europe/Vienna", 60.0),
        ("08:16:02", "Europe/Vienna", 60.0),
        ("08:10", "Europe/Vienna", -302.0),  # the furnace was loaded before the record began
        ("+24:00:59", None, 86459.0),
    ],
)
def test_moments_in_a_run_that_began_at_07_15_02_utc(tmp_path: Path, text: str, zone: str | None, t_s: float) -> None:
    assert moment_in_run(sealed_run(tmp_path), text, zone) == pytest.approx(t_s, abs=0.002)


@pytest.mark.parametrize(
    ("text", "zone", "says"),
    [
        ("08:16", None, "has no time zone"),
        ("2026-11-25T08:16:02", None, "has no time zone"),
        ("08:16", "Vienna", "no time zone. Write it as"),
        ("soon", None, "is no time"),
        ("+x", None, "is no time"),
        ("+1:2:3:4", None, "is no time"),
        ("25:00", "Europe/Vienna", "is no time"),
        ("+inf", None, "is no time"),
        ("+nan", None, "is no time"),
        ("9999-12-31T23:59:59-14:00", None, "not near this run"),
        ("2020-11-25T08:16:02Z", None, "not near this run: it began at 2026-11-25T07:15:02.000Z and was 59 s long"),
        ("2027-11-25T08:16:02Z", None, "not near this run"),
        ("0001-01-01T00:00", "Europe/Vienna", "not near this run"),
        ("+1e9", None, "not near this run"),
    ],
)
def test_what_is_no_moment(tmp_path: Path, text: str, zone: str | None, says: str) -> None:
    from soakwitness.firmware_bridge.errors import RunFolderError

    with pytest.raises(RunFolderError, match=says):
        moment_in_run(sealed_run(tmp_path), text, zone)


def test_a_clock_time_in_the_second_day_of_a_run_is_found(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    for hour in range(31):
        run.write_row(3600 * hour, STARTED_UTC + 3600 * hour, {})
    run.close()
    assert moment_in_run(run.path, "08:10", "Europe/Vienna") == pytest.approx(24 * 3600.0 - 302.0)
    assert moment_in_run(run.path, "08:20", "Europe/Vienna") == pytest.approx(298.0)  # twice: the first


def test_a_mark_before_the_start_is_listed_as_such(tmp_path: Path) -> None:
    sealed_run(tmp_path)
    done = mark(tmp_path, "load", "--run", "last", "--at", "08:10", "--zone", "Europe/Vienna")
    assert done.stdout.endswith(" at 0:05:02 before the start.\n")
    assert mark(tmp_path, "--list", "--run", "last").stdout.startswith("0:05:02 before the start  Load (id ")


def test_a_mark_is_struck_out_once_and_its_first_reason_stays(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    assert mark(tmp_path, "--strike", "a1b2c3", "--why", "wrong blade", "--run", "last").exit_code == 0
    again = mark(tmp_path, "--strike", "a1b2c3", "--why", "other", "--run", "last")
    assert "is struck out already: wrong blade" in str(again.exception)
    assert read_marks(path)[0].struck_why == "wrong blade"


@pytest.mark.parametrize("words", [["note", "bad\udcff"], ["load", "B\udcff"], ["load", "--by", "\udcff"]])
def test_bytes_that_are_no_text_are_refused(tmp_path: Path, words: list[str]) -> None:
    done = mark(tmp_path, *words)
    assert done.exit_code == 2
    assert "no text in UTF-8" in done.stderr


@pytest.mark.parametrize(
    ("step_s", "shown_s", "t_s"),
    [
        (3600.0, 50.0, 50.0),
        (3600.0, 3600.0 + 200.0, 200.0),
        (3600.0, 1000.0, 100.0),  # never shown: the moment of the step
        (-3600.0, 50.0, 50.0),
        (-3600.0, -3600.0 + 200.0, 200.0),  # before the start by the clock, and yet in the run
        (-3600.0, -3600.0 + 50.0, -3600.0 + 50.0),  # before the start: the clock did not show it in the run
        (-60.0, 70.0, 70.0),  # shown twice: the first time
        (-60.0, 120.0, 180.0),
    ],
)
def test_what_the_clock_showed_is_found_whichever_way_it_was_set(
    tmp_path: Path, step_s: float, shown_s: float, t_s: float
) -> None:
    run = new_run(tmp_path)
    fill(run, 300)
    run.write_event(100.0, STARTED_UTC + 100 + step_s, "clock step", f"{step_s:+.3f} s: the computer's clock was set")
    run.close()
    assert time_in_run(run.path, STARTED_UTC + shown_s) == pytest.approx(t_s)


def test_steps_of_the_clock_are_taken_off(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 10)
    run.write_event(100.0, STARTED_UTC + 3700, "clock step", "+3600.000 s: the computer's clock was set")
    run.close()
    assert time_in_run(run.path, STARTED_UTC + 50) == pytest.approx(50)
    assert time_in_run(run.path, STARTED_UTC + 3600 + 200) == pytest.approx(200)
    assert len(read_events(run.path)) == 1
