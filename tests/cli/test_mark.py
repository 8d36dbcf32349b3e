"""``soakwitness mark``: into the run that is being recorded, and into finished ones."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording.claiming import claim_furnace
from soakwitness.firmware_bridge.runfolder.late import moment_in_run, time_in_run
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.fakes import make_furnace
from tests.recorders import recorder, run_for_real, simulated_furnace
from tests.run_folders import COLUMNS, STARTED_UTC, fill, new_run, sealed_run


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
        running.wait_for("Load of B-041, B-042 (id ")
        struck = run_for_real("mark", "--strike", mark_id[:4], "--why", "the door, not the load", cwd=tmp_path)
        assert struck.returncode == 0, struck.stderr
        running.wait_for(" struck out: the door, not the load")
        assert run_for_real("mark", "pull", "B-041", cwd=tmp_path).returncode == 0
        undone = run_for_real("mark", "--undo", "--by", "anna", cwd=tmp_path)
        assert "Taken back from" in undone.stdout
        assert ": Pull of B-041." in undone.stdout
        running.wait_for(" struck out: taken back at once")
        again = run_for_real("mark", "--undo", cwd=tmp_path)
        assert again.returncode == 2
        assert "no mark of this run stands" in again.stderr
        status, out, _ = running.end(signal.SIGTERM)
    assert status == 0
    run = tmp_path / out[-1]
    found, undone_mark = read_marks(run)
    assert (found.pieces, found.by, found.struck, found.entered_later) == (("B-041", "B-042"), "anna", True, False)
    assert (found.origin, undone_mark.struck, undone_mark.struck_why) == ("command", True, "taken back at once")
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
    done = mark(
        tmp_path, "pull", "B-041", "--run", "last", "--at", "+45", "--by", "anna", "--note", "late", "--zone", "Z"
    )
    assert done.exit_code == 0, done.stderr
    assert "entered later" in done.stderr
    assert done.stdout.endswith(f"entered into {path.name} at 0:00:45 into the run (2026-11-25 07:15:47 Z).\n")
    load, pull = read_marks(path)
    assert (pull.t_s, pull.pieces, pull.entered_later, pull.by, pull.note) == (45.0, ("B-041",), True, "anna", "late")
    assert load.act == "load"
    check = check_record(path)
    assert check.sealed
    assert check.intact
    listed = mark(tmp_path, "--list", "--run", "last").stdout.splitlines()
    assert listed[1].startswith("0:00:45  Pull of B-041: late (id ")
    assert listed[1].endswith("by anna; entered later, its time typed")


def test_a_range_is_every_piece_in_it(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    done = mark(tmp_path, "pull", "B-041..B-043", "B-050", "--run", "last", "--at", "+45")
    assert done.exit_code == 0, done.stderr
    assert read_marks(path)[1].pieces == ("B-041", "B-042", "B-043", "B-050")
    down = mark(tmp_path, "pull", "B-046..B-041", "--run", "last", "--at", "+45")
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
        (["--undo", "--list"], "one thing at a time"),
        (["--undo", "--run", "last"], "not being recorded"),
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
        ("+85", None, 85.0),  # seconds
        ("+1:25", None, 5100.0),  # as on the charts' axis: hours and minutes
        ("+1:25:30", None, 5130.0),
        ("+0:01:25", None, 85.0),
        ("+1:23:04.5", None, 4984.5),
        ("2026-11-25T08:16:02", "+01:00", 60.0),
        ("07:16:02", "Z", 60.0),
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
        ("08:16", "Vienna", "is no time zone"),
        ("+1:75", None, "hours and minutes"),
        ("+1:5", None, "hours and minutes"),
        ("+-5", None, "is no time"),
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
        ("+1e9", None, "is no time"),
        ("+25:00", None, "not near this run"),
    ],
)
def test_what_is_no_moment(tmp_path: Path, text: str, zone: str | None, says: str) -> None:
    from soakwitness.firmware_bridge.errors import BridgeError

    with pytest.raises(BridgeError, match=says):
        moment_in_run(sealed_run(tmp_path), text, zone)


def test_a_clock_time_in_the_second_day_of_a_run_is_found(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    for hour in range(31):
        run.write_row(3600 * hour, STARTED_UTC + 3600 * hour, {})
    run.close()
    assert moment_in_run(run.path, "08:10", "Europe/Vienna") == pytest.approx(24 * 3600.0 - 302.0)
    assert moment_in_run(run.path, "08:20", "Europe/Vienna") == pytest.approx(298.0)  # twice: the first


@pytest.mark.parametrize("text", ["2026-10-25T02:30", "02:30", "2026-03-29T02:30"])
def test_an_hour_that_is_there_twice_or_never_is_asked(tmp_path: Path, text: str) -> None:
    # Vienna's clocks went back from 03:00 to 02:00 on 2026-10-25 at 01:00 UTC, and forward from 02:00 on 2026-03-29.
    began = 1_774_746_000.0 if "03-29" in text else 1_792_888_200.0  # 2026-03-29T01:00Z, 2026-10-25T00:30Z
    run = RunFolder.create(tmp_path, columns=COLUMNS, furnace_name="small furnace", started_utc=began)
    run.write_row(0, began, {})
    run.write_row(5400, began + 5400, {})
    run.seal(sealed_utc=began + 5400)
    with pytest.raises(RunFolderError, match="is there twice in Europe/Vienna|does not exist in Europe/Vienna"):
        moment_in_run(run.path, text, "Europe/Vienna")
    if "03-29" not in text:
        assert moment_in_run(run.path, "2026-10-25T02:30+01:00", "Europe/Vienna") == 3600.0


def test_a_mark_before_the_start_is_listed_as_such(tmp_path: Path) -> None:
    sealed_run(tmp_path)
    done = mark(tmp_path, "load", "--run", "last", "--at", "08:10", "--zone", "Europe/Vienna")
    assert done.stdout.endswith(" at 0:05:02 before the start (2026-11-25 08:10:00 Europe/Vienna).\n")
    assert mark(tmp_path, "--list", "--run", "last").stdout.startswith("0:05:02 before the start  Load (id ")


def test_a_local_time_is_taken_in_the_computer_s_zone_which_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "Europe/Vienna")
    sealed_run(tmp_path)
    done = mark(tmp_path, "pull", "B-041", "--run", "last", "--at", "08:15:32")
    assert done.stdout.endswith(" at 0:00:30 into the run (2026-11-25 08:15:32 Europe/Vienna).\n")
    done = mark(tmp_path, "pull", "B-042", "--run", "last", "--at", "07:15:40", "--zone", "Z")
    assert done.stdout.endswith(" at 0:00:38 into the run (2026-11-25 07:15:40 Z).\n")
    wrong = mark(tmp_path, "pull", "--run", "last", "--at", "+5", "--zone", "Vienna")
    assert "'Vienna' is no time zone" in str(wrong.exception)


@pytest.mark.parametrize(
    ("at", "says"),
    [
        # 59 s long, begun at 07:15:02
        ("+1:25", "1:25:00 into the run its record ends at 0:00:59 (2026-11-25 07:16:01 Z). Nothing was entered. "
         "Minutes and seconds are written +0:01:25. If it was done then all the same, add --outside."),
        ("+61", "0:01:01 into the run its record ends at 0:00:59"),
        ("07:20", "0:04:58 into the run its record ends at 0:00:59"),
        ("06:10", "1:05:02 before the start, which was at 2026-11-25 07:15:02 Z. Nothing was entered. If it was done"),
    ],
)  # fmt: skip
def test_a_time_outside_the_record_is_refused_unless_it_is_meant(tmp_path: Path, at: str, says: str) -> None:
    path = sealed_run(tmp_path)
    words = ("pull", "B-041", "--run", "last", "--at", at, "--zone", "Z")
    done = mark(tmp_path, *words)
    assert done.exit_code == 2
    assert says in " ".join(done.stderr.split())
    assert len(read_marks(path)) == 1
    assert mark(tmp_path, *words, "--outside").exit_code == 0
    assert len(read_marks(path)) == 2


def test_what_a_mark_names_that_is_not_in_the_charge_is_said_with_the_command_to_strike_it(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)  # B-041 and B-042 are loaded at 0:00:10
    done = mark(tmp_path, "pull", "B-O41", "--run", "last", "--at", "+30")
    assert done.stdout.startswith("Pull of B-O41 entered into")
    mark_id = read_marks(path)[-1].mark_id
    assert done.exit_code == 0
    assert "The pull mark at 0:00:30 names B-O41, which is not in the charge: B-041 and B-042 are in." in done.stderr
    assert f"soakwitness mark --run last --strike {mark_id} --why" in done.stderr
    listed = mark(tmp_path, "--list", "--run", "last").stdout.splitlines()
    assert "which is not in the charge" in listed[1]
    struck = mark(tmp_path, "--strike", mark_id, "--why", "wrong name", "--run", "last")
    assert "Note" not in struck.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("load", "B-041"), "in since 0:00:10 already: nothing changes for it"),
        (("plates", "B-041"), "which no pull mark took out"),
        (("hand-warm", "B-050"), "which is not in the charge"),
        (("pull", "B-041", "B-050"), "names B-050, which is not in the charge: B-042 is in"),
        (("pull", "B-041"), None),
        (("load", "B-050"), None),
        (("door",), None),
    ],
)
def test_what_a_mark_changes_and_what_not(tmp_path: Path, words: tuple[str, ...], says: str | None) -> None:
    sealed_run(tmp_path)
    done = mark(tmp_path, *words, "--run", "last", "--at", "+30")
    assert done.exit_code == 0
    assert says in done.stderr if says else "Note" not in done.stderr


def test_the_first_pull_counts_and_striking_it_makes_the_second_count(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    mark(tmp_path, "pull", "B-041", "--run", "last", "--at", "+40")
    mark_id = read_marks(path)[-1].mark_id
    earlier = mark(tmp_path, "pull", "B-041", "--run", "last", "--at", "+30")
    assert earlier.stdout.startswith("Pull of B-041 (id ")  # another one reads alike
    assert "The pull mark at 0:00:40 names B-041, but its pull mark is that at 0:00:30" in earlier.stderr
    load = mark(tmp_path, "--strike", "a1b2c3", "--why", "wrong", "--run", "last")
    assert load.exit_code == 0
    assert "Note" not in mark(tmp_path, "--strike", mark_id, "--why", "wrong", "--run", "last").stderr


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_in_an_open_run_the_future_is_refused(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        running.wait_for(" start: ")
        done = run_for_real("mark", "pull", "--at", "+1:25", "--outside", cwd=tmp_path)
        assert done.returncode == 2
        assert "1:25:00 into the run is still to come: it is now at 0:00:0" in " ".join(done.stderr.split())
        assert "soakwitness mark" not in done.stderr
        before = run_for_real("mark", "load", "A", "--at", "+0", cwd=tmp_path)
        assert " at 0:00:00 into the run (" in before.stdout
        wrong = run_for_real("mark", "pull", "X", cwd=tmp_path)
        assert "names X, which is not in the charge: A is in." in wrong.stderr
        running.end(signal.SIGTERM)


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
