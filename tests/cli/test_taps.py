"""Marks by a tap: from the form that a device sends to the record."""

from __future__ import annotations

import json
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from starlette.datastructures import FormData

from soakwitness.cli.book.taps import Tap, enter, tap_of
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.marks.charges import read_charges
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts, begin
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_marks
from tests.cli.books import served
from tests.fakes import FakeClock, make_furnace
from tests.run_folders import sealed_run

FORM = {
    "kind": "mark",
    "run": "20260101T070000Z_shed_0001",
    "mark_id": "c0ffee",
    "act": "pull",
    "device_ms": "1800000000000",
}


@contextmanager
def recorded(logbook: Path) -> Iterator[tuple[Recording, Path, FakeClock]]:
    """A run that is being recorded in this process."""
    clock = FakeClock()
    recording = begin(make_furnace(), clock, RunFacts(logbook), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert recording.keeper.folder is not None
    try:
        yield recording, recording.keeper.folder.path, clock
    finally:
        recording.release()


def tap(run: Path, clock: FakeClock, **more: Any) -> Tap:
    """A pull of B-1, tapped at this moment."""
    about = {"kind": "mark", "mark_id": "c0ffee", "act": "pull", "pieces": ("B-1",), "device_utc_s": clock.wall_s()}
    return Tap(run=run.name, by="tablet", **{"clock_off_s": 0.0, **about, **more})


def test_a_tap_is_a_mark_with_the_devices_name(tmp_path: Path) -> None:
    with recorded(tmp_path) as (recording, run, clock):
        clock.sleep(600.0)
        enter(tmp_path, tap(run, clock), clock.wall_s())
        clock.sleep(3.0)
        recording.tend()
        (mark,) = recording.desk.marks
        assert (mark.act, mark.pieces, mark.by, mark.origin) == ("pull", ("B-1",), "tablet", "tapped")
        assert mark.t_s == pytest.approx(600.0, abs=0.01)
        assert not mark.entered_later


def test_two_devices_that_mark_the_same_pull_are_both_on_record_and_it_is_said(tmp_path: Path) -> None:
    with recorded(tmp_path) as (recording, run, clock):
        enter(tmp_path, tap(run, clock, act="load", mark_id="aaaaaa"), clock.wall_s())
        recording.tend()
        clock.sleep(600.0)
        enter(tmp_path, tap(run, clock), clock.wall_s())
        recording.tend()
        clock.sleep(2.0)
        enter(tmp_path, tap(run, clock, mark_id="beef01"), clock.wall_s())
        recording.tend()
        pulls = [mark for mark in recording.desk.marks if mark.act == "pull"]
        assert [mark.mark_id for mark in pulls] == ["c0ffee", "beef01"]
        read = read_charges(recording.desk.marks)
        assert [stay.pull_s for stay in read.stays] == [pulls[0].t_s]  # the first one counts
        assert [asked.mark.mark_id for asked in read.questions] == ["beef01"]


def test_an_undo_and_a_strike_go_the_way_of_the_commands(tmp_path: Path) -> None:
    with recorded(tmp_path) as (recording, run, clock):
        enter(tmp_path, tap(run, clock), clock.wall_s())
        clock.sleep(1.0)
        recording.tend()
        enter(tmp_path, tap(run, clock, kind="undo"), clock.wall_s())
        clock.sleep(1.0)
        recording.tend()
        (mark,) = recording.desk.marks
        assert (mark.struck, mark.struck_why) == (True, "taken back at once")
        enter(tmp_path, tap(run, clock, kind="undo"), clock.wall_s())  # sent twice: it stays as it is
        enter(tmp_path, tap(run, clock, mark_id="beef01"), clock.wall_s())
        clock.sleep(1.0)
        recording.tend()
        clock.sleep(600.0)
        recording.tend()
        with pytest.raises(RunFolderError, match="can no longer be taken back"):
            enter(tmp_path, tap(run, clock, kind="undo", mark_id="beef01", device_utc_s=0.0), clock.wall_s() + 600.0)
        with pytest.raises(RunFolderError, match="with a reason"):
            enter(tmp_path, tap(run, clock, kind="strike", mark_id="beef01", why=" "), clock.wall_s())
        enter(tmp_path, tap(run, clock, kind="strike", mark_id="beef01", why="wrong blade"), clock.wall_s())
        clock.sleep(1.0)
        recording.tend()
        assert [mark.struck_why for mark in recording.desk.marks] == ["taken back at once", "wrong blade"]


def test_what_comes_when_the_run_is_over_is_entered_later_and_once(tmp_path: Path) -> None:
    run = sealed_run(tmp_path)
    started_s = read_utc(read_header(run).started_utc)
    clock = FakeClock()
    for _ in range(2):
        enter(tmp_path, tap(run, clock, device_utc_s=started_s + 1.0), started_s + 9000.0)
    (mark,) = [mark for mark in read_marks(run) if mark.mark_id == "c0ffee"]
    assert (mark.entered_later, mark.origin, mark.by) == (True, "tapped", "tablet")
    assert mark.t_s == pytest.approx(1.0, abs=0.01)
    assert check_record(run).intact
    with pytest.raises(RunFolderError, match=r"Nothing was entered.*--at TIME --outside"):
        enter(tmp_path, tap(run, clock, mark_id="beef02", device_utc_s=started_s + 90_000.0), started_s + 90_000.0)


@pytest.mark.parametrize("run", ["", "nowhere", "../../etc", "."])
def test_a_run_that_is_none_is_refused(tmp_path: Path, run: str) -> None:
    (tmp_path / "runs").mkdir()
    with pytest.raises(RunFolderError, match="no such run"):
        enter(tmp_path, Tap("mark", run, "c0ffee", "tablet", act="pull"), 1.8e9)


@pytest.mark.parametrize(
    ("odd", "says"),
    [
        ({"kind": "start"}, "kind is 'start'"),
        ({"act": "heat"}, "act is 'heat'"),
        ({"mark_id": "../x"}, "mark_id is '../x'"),
        ({"device_ms": "soon"}, "device_ms is 'soon'"),
        ({"device_ms": "nan"}, "device_ms is 'nan'"),
        ({"off_ms": "1e99"}, "off_ms is '1e99'"),
    ],
)
def test_a_form_that_is_none_is_refused(odd: dict[str, str], says: str) -> None:
    assert tap_of(FormData(FORM), "tablet").act == "pull"
    with pytest.raises(ValueError, match=says):
        tap_of(FormData({**FORM, **odd}), "tablet")


def test_a_page_that_was_away_gets_the_moment_and_a_new_token_and_needs_both(tmp_path: Path) -> None:
    with recorded(tmp_path) as (recording, run, clock), served(tmp_path) as book:
        here = json.loads(book.ask("GET", "/here")[2])
        assert abs(here["utc_ms"] / 1000.0 - 1.8e9) < 1e9
        form = {
            **FORM,
            "run": run.name,
            "device_ms": str(round(1000.0 * clock.wall_s())),
            "off_ms": "0",
            "piece": "B-1",
        }

        def sent(token: str, **more: str) -> tuple[int, Any]:
            body = urllib.parse.urlencode({**form, "form_token": token, **more}).encode()
            kind, origin = "application/x-www-form-urlencoded", book.address.rstrip("/")
            status, _, text = book.ask("POST", "/taps", body, content_type=kind, origin=origin)
            return status, json.loads(text) if text.startswith("{") else text

        assert sent("of before")[0] == 403
        assert sent(here["form_token"]) == (200, {"entered": "c0ffee"})
        recording.tend()
        assert [(mark.act, mark.pieces, mark.by) for mark in recording.desk.marks] == [
            ("pull", ("B-1",), "this computer")
        ]
        status, said = sent(here["form_token"], act="heat")
        assert (status, "act is 'heat'" in said["refused"]) == (409, True)
