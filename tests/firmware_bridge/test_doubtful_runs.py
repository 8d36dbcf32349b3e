"""What may be a heating or bricks that give heat back is recorded, and the run says that it is doubtful."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.doubtful import DOUBTFUL, SETTLED, doubt_in, doubt_of
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.marks import encode_mark, encode_strike
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header
from tests.fakes import UTC_S, FakeClock
from tests.firmware_bridge.test_watching import START_S, Killed, Watched, watch

WHY = "level above 70 C behind a door"


def at(t_s: float, event: str, detail: str = "") -> Event:
    return Event(t_s, "2026-11-25T07:15:02.000Z", event, detail)


def test_a_doubt_lasts_until_heat_or_a_mark_takes_it_away() -> None:
    begun = (at(0, "start"), at(1, DOUBTFUL, WHY))
    load = encode_mark(Mark(9, "load", mark_id="abc123"))
    note = encode_mark(Mark(9, "note", mark_id="abc124", note="was this on?"))
    assert doubt_of(begun[:1]) is None
    assert doubt_of(begun) == WHY
    assert doubt_of((*begun, at(5, SETTLED, "the output is on"))) is None
    assert doubt_of((*begun, at(9, "mark", note))) == WHY
    assert doubt_of((*begun, at(9, "mark", load))) is None
    struck = encode_strike("abc123", why="another furnace")
    assert doubt_of((*begun, at(9, "mark", load), at(12, "mark", struck))) == WHY


def come_back(minute: float) -> float:
    """From 580 down, after two hours through an open door to 30, then shut: 135 at the top of a slow curve."""
    if minute < 120:
        return 20 + 580 * math.exp(-minute / 120)
    if minute < 150:
        return 20 + 213 * math.exp(-(minute - 120) / 10)
    return 31 + 160 * (math.exp(-(minute - 150) / 240) - math.exp(-(minute - 150) / 25))


def heats_again(minute: float) -> float:
    """The same, and a program after seven hours: to 700 within two."""
    return come_back(minute) if minute < 420 else min(come_back(420) + (minute - 420) * 5, 700.0)


def watched_run(folder: Path, shape: Callable[[float], float], hours: float, **more: object) -> Watched:
    clock = FakeClock(start_s=START_S)
    person = Watched(int(hours * 360), **more)  # type: ignore[arg-type]
    watch(folder, person, clock, shape)
    return person


def test_bricks_that_come_back_are_recorded_and_kept_apart(tmp_path: Path) -> None:
    person = watched_run(tmp_path, come_back, 8)
    assert person.runs == []  # nothing is told of it, and nothing is verified
    (run,) = (tmp_path / "runs").iterdir()
    assert check_record(run).sealed
    assert doubt_in(run) == "level above 70 °C, by the heater or by hot bricks"
    assert [event.event for event in read_events(run)] == ["start", DOUBTFUL, "end"]
    assert person.told[-1].endswith("It is kept apart: soakwitness runs --doubtful")


def test_a_heating_that_follows_a_doubtful_run_is_a_run_of_its_own(tmp_path: Path) -> None:
    person = watched_run(tmp_path, heats_again, 10)
    first, second = sorted((tmp_path / "runs").iterdir())
    assert person.runs == [second]
    assert doubt_in(first) is not None
    assert doubt_in(second) is None
    began_min = (read_utc(read_header(second).started_utc) - UTC_S) / 60
    assert 405 <= began_min <= 425  # five minutes from before, and some to find the foot


def test_a_mark_takes_the_doubt_away_while_it_records(tmp_path: Path) -> None:
    def act(shown: int, recording: object) -> None:
        if isinstance(recording, Recording) and recording.doubtful is not None:
            recording.mark("load", ["B-001"])

    person = watched_run(tmp_path, come_back, 8, act=act)
    (run,) = person.runs
    assert doubt_in(run) is None
    assert "The doubtful run is a heating: it is marked." in person.told


def test_a_doubtful_run_that_was_cut_off_goes_on_as_one(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)

    def die(shown: int, recording: object) -> None:
        if isinstance(recording, Recording) and recording.doubtful is not None and recording.keeper.rows > 60:
            raise Killed

    with pytest.raises(Killed):
        watch(tmp_path, Watched(10**6, act=die), clock, come_back)
    clock.sleep(120.0)
    person = Watched(6 * 300)
    watch(tmp_path, person, clock, come_back)
    (run,) = (tmp_path / "runs").iterdir()
    assert person.runs == []
    assert [event.event for event in read_events(run)] == ["start", DOUBTFUL, "resumed", "end"]
    assert check_record(run).sealed
