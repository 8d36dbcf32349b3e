"""A watch from the inside: runs opened and closed by themselves, gone on with after a crash, kept without a disk."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm, Furnace, LinkSettings, Sensor, Signal
from soakwitness.firmware_bridge.recording.claiming import claim_furnace
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.recording.watching import OLDER_S, Before, Watcher, watch_furnace
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header
from tests.fakes import SOURCE, UTC_S, Attendant, FailingFiles, FakeClock, FakeInstrument, make_furnace
from tests.record_oracle import returned_rows

EVERY_S = 10.0
START_S = 1000.0


class Watched(Attendant):
    """Notes what a watch tells; ends after so many slots, idle ones included."""

    def __init__(self, slots: int, *, act: Callable[[int, object], None] | None = None) -> None:
        super().__init__(slots, act=act)
        self.runs: list[Path] = []
        self.idled = 0

    def idle(self, sample: Sample, furnace: Furnace) -> None:
        self.idled += 1
        self.shown += 1
        if self._act is not None:
            self._act(self.shown, None)

    def finished(self, run: Path) -> None:
        self.runs.append(run)


def temper(minute: float) -> float:
    """Idle for an hour, a temper of two hours at 180 C from then on, cold again after five."""
    corners = [(0, 20), (60, 20), (75, 180), (195, 180), (290, 22), (10_000, 22)]
    for (a, low), (b, high) in zip(corners, corners[1:], strict=False):
        if a <= minute <= b:
            return low + (high - low) * (minute - a) / (b - a)
    return 20.0


def instrument(clock: FakeClock, shape: Callable[[float], float] = temper) -> FakeInstrument:
    def values(now_s: float) -> dict[str, float | None]:
        temp_c = shape((now_s - START_S) / 60)
        return {"control": round(temp_c, 1), "load": round(temp_c - 1, 1), "setpoint": None}

    return FakeInstrument(clock, values)


def watch(
    folder: Path, person: Watched, clock: FakeClock, shape: Callable[[float], float] = temper, **more: object
) -> None:
    watch_furnace(
        make_furnace(every_s=EVERY_S),
        clock,
        RunFacts(folder),
        person,
        opener=instrument(clock, shape).open,
        **more,  # type: ignore[arg-type]
    )


def test_a_temper_becomes_a_run_with_the_minutes_before_it(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(6 * 330)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    check = check_record(run)
    assert check.sealed
    assert check.intact
    rows = [row.split(b",") for row in returned_rows(check)]
    assert rows[0][0] == b"0.000"
    cold = [row for row in rows if float(row[2]) <= 21.0 and float(row[0]) < 3600]
    assert 250 <= float(cold[-1][0]) <= 420, "about five minutes before the climb"
    assert float(rows[-1][2]) < 50
    assert max(float(row[2]) for row in rows) == 180.0
    events = [(event.event, event.detail) for event in read_events(run)]
    assert events[0][0] == "start"
    assert events[-1] == ("end", "cold")
    begun_utc_s = UTC_S + 60 * 60 - 300
    assert abs(read_utc(read_header(run).started_utc) - begun_utc_s) < 120


def test_no_slot_is_lost_where_memory_becomes_a_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(6 * 150)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    times = [float(row.split(b",")[0]) for row in returned_rows(check_record(run))]
    steps = {round(b - a, 3) for a, b in zip(times, times[1:], strict=False)}
    assert steps == {EVERY_S}


def test_an_idle_day_makes_nothing(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(6 * 60 * 24)
    watch(tmp_path, person, clock, lambda minute: 18 + 6 * (minute / 720 if minute < 720 else 2 - minute / 720))
    assert person.runs == []
    assert not (tmp_path / "runs").exists()


def test_a_watch_that_is_ended_seals_the_open_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(6 * 100)
    watch(tmp_path, person, clock)
    assert check_record(person.runs[0]).sealed
    assert read_events(person.runs[0])[-1].detail == "enough"


class Killed(BaseException):
    """The process is gone."""


def kill_at(slot: int) -> Callable[[int, object], None]:
    def act(shown: int, recording: object) -> None:
        if shown == slot:
            raise Killed

    return act


def test_after_a_crash_the_same_heating_is_the_same_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    with pytest.raises(Killed):
        watch(tmp_path, Watched(10**6, act=kill_at(6 * 120)), clock)
    clock.sleep(240.0)
    person = Watched(6 * 240)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    assert [event.event for event in read_events(run)] == ["start", "resumed", "end"]
    assert len(list((tmp_path / "runs").iterdir())) == 1
    assert any("Going on with" in words for words in person.told)


def test_after_a_crash_another_heating_is_another_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    with pytest.raises(Killed):
        watch(tmp_path, Watched(10**6, act=kill_at(6 * 120)), clock)
    clock.sleep(24 * 3600.0)
    person = Watched(60)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    assert check_record(run).sealed
    assert "cut off" in read_events(run)[-1].detail


def test_a_service_that_is_restarted_in_mid_run_goes_on_in_a_run_that_names_the_first(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(6 * 120)
    person.why_end = lambda: "SIGTERM" if person.shown >= person.slots else None  # type: ignore[method-assign]
    watch(tmp_path, person, clock)
    clock.sleep(60.0)
    again = Watched(6 * 200)
    watch(tmp_path, again, clock)
    first, second = person.runs[0], again.runs[0]
    assert read_header(second).raw["continues"] == first.name
    assert read_events(second)[0].t_s == 0.0
    assert read_events(second)[-1].detail == "cold"


FOUR = Furnace(
    name="small furnace",
    unit="C",
    link=LinkSettings("lines", "/dev/fake"),
    every_s=EVERY_S,
    sensors=(
        Sensor("load", "load", SOURCE),
        Sensor("control", "control", SOURCE),
        Sensor("limiter", "over-temperature", SOURCE),
    ),
    signals=(Signal("setpoint", SOURCE), Signal("output", SOURCE)),
    text="# a fake",
)
STILL = "control: stays as it was while {} shows heat; shorted, or not in the furnace?"


def heats_to(held_c: float, minute: float) -> float:
    """Idle for an hour, then 20 K a minute to a hold until minute 240, cold again at 420."""
    at = [(0.0, 20.0), (60.0, 20.0), (60 + held_c / 20, held_c), (240.0, held_c), (420.0, 22.0), (10_000.0, 22.0)]
    return next(
        low + (high - low) * (minute - a) / (b - a)
        for (a, low), (b, high) in zip(at, at[1:], strict=False)
        if a <= minute <= b
    )


def watch_four(folder: Path, hours: float, shows: Callable[[float], dict[str, float]]) -> Watched:
    """Watch a furnace with three sensors and its controller; ``shows`` says what is read at a minute."""
    clock = FakeClock(start_s=START_S)
    person = Watched(round(360 * hours))
    nothing = dict.fromkeys(("load", "control", "limiter", "setpoint", "output"))
    at = FakeInstrument(clock, lambda now_s: {**nothing, **shows((now_s - START_S) / 60)})
    watch_furnace(FOUR, clock, RunFacts(folder), person, opener=at.open)
    return person


def doubts(run: Path) -> list[str]:
    return [event.detail for event in read_events(run) if event.event == "doubt"]


@pytest.mark.parametrize("held_c", [75.0, 180.0, 1100.0])
@pytest.mark.parametrize("feels", [("load",), ("limiter",), ("load", "limiter")])
def test_a_heating_that_the_control_sensor_does_not_feel_is_a_run_with_a_doubt(
    tmp_path: Path, held_c: float, feels: tuple[str, ...]
) -> None:
    """Shorted at its head it reads the room, a little more than before as the shell gets warm."""

    def shows(minute: float) -> dict[str, float]:
        room_c = 20.0 + 0.01 * (heats_to(held_c, max(minute - 30, 0)) - 20)
        return {**dict.fromkeys(feels, round(heats_to(held_c, minute), 1)), "control": round(room_c, 1)}

    (run,) = watch_four(tmp_path, 8, shows).runs
    assert STILL.format(feels[-1]) in doubts(run)
    begun_s = read_utc(read_header(run).started_utc) - UTC_S
    assert 50 * 60 <= begun_s <= 60 * 60
    last = returned_rows(check_record(run))[-1].split(b",")
    assert float(last[0]) + begun_s >= 240 * 60, "to the end of the hold"


def test_an_output_that_works_is_a_run_though_no_sensor_feels_it(tmp_path: Path) -> None:
    (run,) = watch_four(tmp_path, 6, lambda m: {"control": 20.0, "output": 100.0 if 60 <= m < 180 else 0.0}).runs
    assert doubts(run)[0] == STILL.format("the output")


def test_a_load_sensor_that_is_put_into_a_furnace_that_cools_is_no_run(tmp_path: Path) -> None:
    def shows(minute: float) -> dict[str, float]:
        chamber_c = 20 + 500 * math.exp(-minute / 200)
        load_c = 20.0 if minute < 120 else chamber_c - (chamber_c - 20) * math.exp(-(minute - 120) / 6)
        return {"control": round(chamber_c, 1), "limiter": round(chamber_c - 2, 1), "load": round(load_c, 1)}

    assert watch_four(tmp_path, 5, shows).runs == []


def test_a_sensor_that_is_stuck_hot_neither_begins_a_run_nor_keeps_one_open(tmp_path: Path) -> None:
    (run,) = watch_four(tmp_path, 10, lambda m: {"control": round(temper(m - 240), 1), "limiter": 400.0}).runs
    assert read_utc(read_header(run).started_utc) - UTC_S > 290 * 60
    assert read_events(run)[-1].detail == "cold"


@pytest.mark.parametrize("boot", ["boot-1", "boot-2"])
@pytest.mark.parametrize("away_min", [5, 60])
def test_a_clock_that_is_behind_at_boot_does_not_make_two_runs(tmp_path: Path, boot: str, away_min: int) -> None:
    clock = FakeClock(start_s=START_S)
    with pytest.raises(Killed):
        watch(tmp_path, Watched(10**6, act=kill_at(6 * 120)), clock)
    clock.sleep(away_min * 60.0)
    clock.step(-1200.0 - away_min * 60.0)
    clock.boot = boot
    person = Watched(6 * 240)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    assert len(list((tmp_path / "runs").iterdir())) == 1
    (resumed,) = (event for event in read_events(run) if event.event == "resumed")
    if boot == "boot-1":
        assert resumed.detail.startswith(f"gap {away_min * 60}.000 s")
        assert resumed.detail.endswith("exact")
    else:
        assert resumed.detail.startswith("gap 10.000 s")
        assert resumed.detail.endswith(
            "uncertain, and longer than that: the computer's clock stands 20 min before the last row"
        )


def test_a_clock_that_is_behind_and_a_furnace_that_is_cold_are_another_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    with pytest.raises(Killed):
        watch(tmp_path, Watched(10**6, act=kill_at(6 * 120)), clock)
    clock.sleep(12 * 3600.0)
    clock.step(-14 * 3600.0)
    clock.boot = "boot-2"
    person = Watched(6)
    watch(tmp_path, person, clock)
    (run,) = person.runs
    assert "cut off" in read_events(run)[-1].detail


def test_a_power_cut_of_the_instrument_in_mid_run_is_one_run_while_it_is_hot(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    at = instrument(clock, lambda minute: heats_to(1100.0, minute))

    def act(slot: int, _: object) -> None:
        at.gone = "silent" if 6 * 150 <= slot < 6 * 300 else None

    person = Watched(6 * 60 * 8, act=act)
    watch_furnace(make_furnace(every_s=EVERY_S), clock, RunFacts(tmp_path), person, opener=at.open)
    (run,) = person.runs
    assert [event.event for event in read_events(run) if event.event.startswith("link")] == ["link lost", "link back"]


def test_a_watch_waits_for_an_instrument_that_is_not_there(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    at = instrument(clock)
    at.gone = "missing"

    def act(shown: int, _: object) -> None:
        at.gone = "missing" if shown < 6 * 30 else None

    person = Watched(6 * 330, act=act)
    watch_furnace(make_furnace(every_s=EVERY_S), clock, RunFacts(tmp_path), person, opener=at.open)
    assert len(person.runs) == 1


@pytest.mark.parametrize(
    ("gone", "values", "alarm"),
    [
        ("missing", {}, "link lost: no reading for 10 s: /dev/fake: missing."),
        ("garbled", {}, "link lost: no reading for 10 s: /dev/fake: garbled."),
        ("silent", {}, None),  # switched off with the furnace
        (None, {"control": 1200.0, "load": 20.0}, "over-temperature: control reads 1200 °C, over the limit of 1150"),
        (None, {"control": 20.0, "load": None}, None),  # the load sensor is plugged in for a run only
        (None, {"control": None, "load": None}, "sensor fault: control: open circuit: heating cannot be seen"),
    ],
)
def test_what_would_make_it_miss_a_run_is_an_alarm_between_runs_too(
    tmp_path: Path, gone: str | None, values: dict[str, float | None], alarm: str | None
) -> None:
    clock = FakeClock(start_s=START_S)
    person = Watched(60)
    at = instrument(clock)
    at.gone = gone  # type: ignore[assignment]
    at.values = lambda now_s: {"control": 20.0, "load": 20.0, **values}
    at.faults = {"control": "open circuit"} if "control" in values and values["control"] is None else {}
    furnace = make_furnace(every_s=1.0, alarm=Alarm(over_c=1150.0))
    watch_furnace(furnace, clock, RunFacts(tmp_path), person, opener=at.open)
    assert [detail for event, detail in person.events if event == "alarm"] == ([alarm] if alarm else [])
    assert person.bells == (1 if alarm else 0)
    assert ("link lost" in {event for event, _ in person.events}) == (gone is not None)
    assert not person.runs


def test_a_link_that_comes_back_between_runs_is_said(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    at = instrument(clock)

    def act(slot: int, _: object) -> None:
        at.gone = "missing" if 10 <= slot < 40 else None

    person = Watched(60, act=act)
    watch_furnace(make_furnace(every_s=1.0), clock, RunFacts(tmp_path), person, opener=at.open)
    assert [event for event, _ in person.events] == ["link lost", "alarm", "link back"]


def test_an_instrument_switched_off_with_the_furnace_ends_the_run(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    at = instrument(clock)

    def act(shown: int, _: object) -> None:
        at.gone = "silent" if shown > 6 * 150 else None

    person = Watched(6 * 560, act=act)
    watch_furnace(make_furnace(every_s=EVERY_S), clock, RunFacts(tmp_path), person, opener=at.open)
    (run,) = person.runs
    assert read_events(run)[-1].detail == "no reading for 6 h"


def test_without_a_disk_at_the_start_of_a_run_its_rows_wait_in_memory(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    files = FailingFiles("any", 1, for_ever=True)
    troubles: list[str] = []

    def act(shown: int, recording: object) -> None:
        if isinstance(recording, Recording) and recording.keeper.trouble:
            troubles.append(recording.keeper.trouble)
        files.healed = shown > 6 * 140

    person = Watched(6 * 330, act=act)
    watch(tmp_path, person, clock, files=files)
    assert len(troubles) > 300
    (run,) = person.runs
    rows = returned_rows(check_record(run))
    times = [float(row.split(b",")[0]) for row in rows]
    assert times == [EVERY_S * k for k in range(len(times))]
    assert any(event.event == "alarm" and "not being written" in event.detail for event in read_events(run))


def test_a_run_does_not_end_while_the_disk_takes_nothing(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    files = FailingFiles("any", 10**9, for_ever=True)

    def act(shown: int, recording: object) -> None:
        if shown == 6 * 200:
            files.at = files.calls + 1
        files.healed = shown > 6 * 300

    person = Watched(6 * 330, act=act)
    watch(tmp_path, person, clock, files=files)
    (run,) = person.runs
    assert check_record(run).sealed
    assert read_events(run)[-1].detail == "cold"
    times = [float(row.split(b",")[0]) for row in returned_rows(check_record(run))]
    assert times == [EVERY_S * k for k in range(len(times))]


def test_two_watches_of_one_furnace_do_not_share_a_log_book(tmp_path: Path) -> None:
    clock = FakeClock(start_s=START_S)
    lock, _ = claim_furnace(tmp_path, make_furnace(), "record", "07:15")
    with pytest.raises(RunFolderError, match="by record"):
        watch(tmp_path, Watched(5), clock)
    lock.release()


def test_memory_before_a_run_is_bounded() -> None:
    clock = FakeClock()
    before = Before(("control", "load", "setpoint"))
    watcher = Watcher(make_furnace(every_s=0.1), clock, RunFacts(Path("unused")), Watched(1))
    assert watcher.recording is None
    from soakwitness.firmware_bridge.links.base import Reading
    from soakwitness.firmware_bridge.recording.linking import Look

    for _ in range(40_000):
        clock.sleep(1.0)
        values = {"control": 20.0}
        before.add(Sample(clock.now_s, clock.utc_s(), Look(Reading(values))), values)
    rows = list(before.since(0.0))
    assert len(rows) < 1900
    assert clock.now_s - rows[0].now_s == pytest.approx(OLDER_S, abs=20)
    assert [row.now_s for row in rows] == sorted(row.now_s for row in rows)
