"""Recording one run: slots, link, clocks, marks, contacts, alarms, resuming."""

from __future__ import annotations

import random
import sys
import types
from collections.abc import Mapping
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.errors import LinkError, RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm, Contact, Furnace
from soakwitness.firmware_bridge.links.base import Link, LinkClock, Reading
from soakwitness.firmware_bridge.marks.expecting import Practice, expected_next
from soakwitness.firmware_bridge.recording import clocks
from soakwitness.firmware_bridge.recording.acts import Contacts
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.claiming import claim_furnace
from soakwitness.firmware_bridge.recording.doubts import PlausibilityChecks
from soakwitness.firmware_bridge.recording.linking import LinkChange, LinkKeeper, Look, PortMemory
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.recording.schedule import Schedule
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import (
    RunFacts,
    begin,
    cut_off_runs,
    finish_lost,
    resume,
    same_heating,
)
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.listing import good_rows
from soakwitness.firmware_bridge.runfolder.lock import LockHeld
from soakwitness.firmware_bridge.runfolder.marks import DroppedMark, drop_mark
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header, read_marks
from tests.fakes import SOURCE, UTC_S, Attendant, FakeClock, FakeInstrument, PowerCutFiles, make_furnace
from tests.record_oracle import returned_rows


def record(tmp_path: Path, clock: FakeClock, person: Attendant, instrument: FakeInstrument, **more: object) -> Path:
    furnace = more.pop("furnace", None) or make_furnace()
    return record_run(furnace, clock, RunFacts(tmp_path), person, opener=instrument.open, **more)  # type: ignore[arg-type]


# Time


def test_slots_do_not_drift_and_missed_ones_are_counted() -> None:
    schedule = Schedule(100.0, 0.1)
    assert schedule.skip(100.0).count == 0
    assert [schedule.take() for _ in range(3)] == pytest.approx([100.0, 100.1, 100.2])
    late = schedule.skip(100.62)  # slots 3 to 5 have passed by; slot 6, due at 100.6, can still be met
    assert late.count == 3
    assert late.due_s == pytest.approx((100.3, 100.4, 100.5))
    assert schedule.take() == pytest.approx(100.6)
    many = schedule.skip(200.0)
    assert many.due_s == ()
    assert many.count == 1000 - 7
    assert schedule.take() == pytest.approx(200.0)


def test_the_real_clock_goes_on_through_suspend(monkeypatch: pytest.MonkeyPatch) -> None:
    if sys.platform != "linux":
        pytest.skip("CLOCK_BOOTTIME is Linux's")
    asked = []
    number_of = types.SimpleNamespace(CLOCK_BOOTTIME=7, clock_gettime=lambda number: asked.append(number) or 5.0)
    monkeypatch.setattr(clocks, "time", number_of)
    assert clocks.RealClock().monotonic() == 5.0
    assert asked == [7]


def test_the_fast_clock_runs_faster(monkeypatch: pytest.MonkeyPatch) -> None:
    real = [50.0]
    slept: list[float] = []
    monkeypatch.setattr(clocks, "_steady_s", lambda: real[0])
    monkeypatch.setattr(clocks.time, "sleep", slept.append)
    fast = clocks.FastClock(60.0)
    utc_s = fast.utc_s()
    real[0] = 51.0
    assert fast.monotonic() == 60.0
    assert fast.utc_s() - utc_s == pytest.approx(60.0)
    fast.sleep(30.0)
    assert slept == [0.5]


def test_every_slot_is_a_row_and_the_run_is_sealed(tmp_path: Path) -> None:
    clock = FakeClock()
    person = Attendant(30)
    run = record(tmp_path, clock, person, FakeInstrument(clock))
    check = check_record(run)
    assert (check.rows, check.sealed, check.intact) == (30, True, True)
    assert [row.split(b",")[0] for row in returned_rows(check)] == [b"%d.000" % second for second in range(30)]
    assert [event.event for event in read_events(run)] == ["start", "end"]
    assert read_header(run).every_s == 1.0
    assert not list(run.glob("*.lock"))


def test_a_slow_instrument_leaves_marked_holes_only(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def act(slot: int, _: object) -> None:
        instrument.read_s = 2.7 if slot == 10 else 0.0

    run = record(tmp_path, clock, Attendant(20, act=act), instrument)
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    empty = [row[0] for row in rows if row[2] == b""]
    assert empty == [b"11.000", b"12.000"]
    assert [row[0] for row in rows if row[2]][9:12] == [b"9.000", b"12.700", b"13.000"]


def test_a_suspend_is_one_event_and_t_s_goes_on(tmp_path: Path) -> None:
    clock = FakeClock()
    run = record(
        tmp_path,
        clock,
        Attendant(20, act=lambda slot, _: clock.pass_by(3600.0) if slot == 10 else None),
        FakeInstrument(clock),
    )
    (event,) = (event for event in read_events(run) if event.event == "not recorded")
    # The tenth reading stands at 9 s; after it 10 to 3608 s pass by, and the one of 3609 s is taken.
    assert event.detail.startswith("3599 readings up to 3609.000 s")
    assert float(returned_rows(check_record(run))[10].split(b",")[0]) == 3609.0


# Link


def test_a_garbled_reading_is_an_empty_row_and_three_are_a_lost_link(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def act(slot: int, _: object) -> None:
        instrument.gone = "garbled" if slot in (5, 10, 11, 12, 13) else None

    run = record(tmp_path, clock, Attendant(20, act=act), instrument)
    events = [(event.event, event.t_s) for event in read_events(run)]
    assert events == [("start", 0.0), ("link lost", 12.0), ("link back", 14.0), ("end", 19.0)]
    back = read_events(run)[2]
    assert back.detail.startswith("gap 5.000 s, from 9.000 to 14.000 s; ")
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    assert [row[0] for row in rows if row[2] == b""] == [b"5.000", b"10.000", b"11.000"]


def test_a_port_that_is_not_there_at_the_start_is_an_error(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)
    instrument.gone = "no permission"
    with pytest.raises(LinkError, match="no permission"):
        record(tmp_path, clock, Attendant(3), instrument)
    assert not (tmp_path / "runs").exists()


def test_an_instrument_that_never_answers_is_an_error_after_three_tries(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def opener(furnace: Furnace, its_clock: LinkClock) -> Link:
        link = instrument.open(furnace, its_clock)
        instrument.gone = "silent"
        return link

    with pytest.raises(LinkError, match="silent"):
        record_run(make_furnace(), clock, RunFacts(tmp_path), Attendant(3), opener=opener)
    assert clock.now_s == pytest.approx(1002.0)
    assert not (tmp_path / "runs").exists()


def test_a_hanging_adapter_is_opened_anew(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)
    keeper = LinkKeeper(make_furnace(), clock, instrument.open)
    keeper.open()
    keeper.look()
    instrument.gone = "silent"
    for _ in range(30):
        clock.sleep(1.0)
        keeper.look()
    instrument.gone = None
    clock.sleep(6.0)
    assert keeper.look().change is not None
    assert instrument.opened == 2


def test_a_port_that_hangs_is_opened_anew_with_the_next_look() -> None:
    """Nothing is won by leaving it alone: what is behind it may live again at any moment."""
    clock, opened = FakeClock(), []

    class Silent:
        def read(self) -> Reading:
            raise LinkError("silent", "P: silent")

        def close(self) -> None:
            opened.append(("shut", clock.now_s))

        def describe(self) -> str:
            return "P"

    def opener(*_: object) -> Silent:
        opened.append(("open", clock.now_s))
        return Silent()

    keeper = LinkKeeper(make_furnace(), clock, opener)
    begin_s = clock.now_s
    for _ in range(40):
        keeper.look()
        clock.sleep(1.0)
    shut_s = [at_s - begin_s for what, at_s in opened if what == "shut"]
    open_s = [at_s - begin_s for what, at_s in opened if what == "open"]
    assert shut_s == [11.0, 23.0, 35.0]  # silent for more than 10 s each time
    assert open_s == [0.0, 12.0, 24.0, 36.0]


def test_an_adapter_is_found_under_its_new_name_only_where_that_is_sure() -> None:
    ports = [("/dev/a", "maker 1"), ("/dev/b", "maker 2")]
    memory = PortMemory(lambda: list(ports))
    memory.remember("/dev/a")
    ports[:] = [("/dev/c", "maker 1"), ("/dev/b", "maker 2")]
    assert memory.find_again() == "/dev/c"
    ports.append(("/dev/d", "maker 1"))
    assert memory.find_again() is None
    memory.remember("/dev/c")  # now there are two alike
    ports[:] = [("/dev/e", "maker 1")]
    assert memory.find_again() is None


def test_faults_become_events_and_flapping_does_not_fill_them(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def act(slot: int, _: object) -> None:
        instrument.faults = {"load": "open circuit"} if slot >= 5 and slot % 2 else {}

    run = record(tmp_path, clock, Attendant(105, act=act), instrument)
    faults = [event.detail for event in read_events(run) if event.event == "sensor fault"]
    assert faults[0] == "load: open circuit"
    assert len(faults) <= 11
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    assert sum(row[3] == b"" for row in rows) == 50


def test_words_of_the_link_become_events_once_a_minute(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def act(slot: int, _: object) -> None:
        instrument.texts = ("lines lost: 7",)

    run = record(tmp_path, clock, Attendant(100, act=act), instrument)
    assert [event.t_s for event in read_events(run) if event.event == "instrument"] == [1.0, 61.0]


# Doubts


def look_at(doubts: PlausibilityChecks, rows: list[Mapping[str, float | None]], every_s: float = 1.0) -> list[str]:
    return [words for k, values in enumerate(rows) for words in doubts.look(k * every_s, values)]


def test_a_stuck_value_is_doubted_once_while_another_moves() -> None:
    rows = [{"control": 700.0, "load": 400.0 + k * 0.1} for k in range(1500)]
    says = look_at(PlausibilityChecks(make_furnace()), rows)
    assert len(says) == 1
    assert says[0].startswith("control: shows 700 for 10 min while load moved")


def test_a_level_furnace_is_not_doubted() -> None:
    rows = [{"control": 1040.0, "load": 1040.0 + (k % 2) * 0.1} for k in range(3000)]
    assert look_at(PlausibilityChecks(make_furnace()), rows) == []


def test_a_shifted_decimal_point_is_doubted() -> None:
    rows: list[Mapping[str, float | None]] = [{"control": 1050.3}, {"control": 1050.4}, {"control": 105.1}]
    (says,) = look_at(PlausibilityChecks(make_furnace()), rows)
    assert "a tenth" in says
    assert (
        look_at(PlausibilityChecks(make_furnace()), [{"control": 20.0}, {"control": 200.0}, {"control": 230.0}]) != []
    )
    assert look_at(PlausibilityChecks(make_furnace()), [{"control": 1050.0}, {"control": 700.0}]) == []


# Clock steps


def test_a_change_to_summer_time_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """UTC has no summer time, so a run across the change is like any other; both directions."""
    import time

    for name, utc_s in (("spring", 1_774_745_990.0), ("autumn", 1_792_889_990.0)):  # 10 s before 01:00 UTC
        monkeypatch.setenv("TZ", "Europe/Vienna")
        time.tzset()
        before = time.localtime(utc_s).tm_isdst
        assert before != time.localtime(utc_s + 20).tm_isdst
        clock = FakeClock(utc_s=utc_s)
        run = record(tmp_path / name, clock, Attendant(30), FakeInstrument(clock))
        assert [row.split(b",")[0] for row in returned_rows(check_record(run))][-1] == b"29.000"
        assert [event.event for event in read_events(run)] == ["start", "end"]
    monkeypatch.undo()
    time.tzset()


# Marks


def test_a_dropped_mark_is_entered_within_a_second_with_its_own_time(tmp_path: Path) -> None:
    clock = FakeClock()
    dropped_at: list[float] = []

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 10:
            assert recording.keeper.folder is not None
            dropped_at.append(recording.t_s(clock.now_s))
            mark = DroppedMark("a1b2c3", utc_text(clock.utc_s()), act="load", pieces=("B-1", "B-2"), by="anna")
            drop_mark(recording.keeper.folder.path, mark)

    run = record(tmp_path, clock, Attendant(20, act=act), FakeInstrument(clock))
    (mark,) = read_marks(run)
    assert (mark.act, mark.pieces, mark.by, mark.entered_later) == ("load", ("B-1", "B-2"), "anna", False)
    assert mark.t_s == pytest.approx(dropped_at[0], abs=0.002)
    assert mark.entered_t_s is not None
    assert mark.entered_t_s - dropped_at[0] <= 1.0
    assert not list((run / "marks").glob("*.mark"))


def test_the_same_mark_file_found_twice_is_entered_once(tmp_path: Path) -> None:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot in (5, 8):
            assert recording.keeper.folder is not None
            mark = DroppedMark("a1b2c3", utc_text(clock.utc_s()), act="pull")
            drop_mark(recording.keeper.folder.path, mark)

    run = record(tmp_path, clock, Attendant(20, act=act), FakeInstrument(clock))
    assert len([event for event in read_events(run) if event.event == "mark"]) == 1


def test_a_mark_is_struck_out_while_recording(tmp_path: Path) -> None:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 5:
            recording.mark("pull", ["B-1"], by="key")
        if slot == 9:
            assert recording.keeper.folder is not None
            mark_id = recording.desk.marks[0].mark_id
            strike = DroppedMark("ffffff", utc_text(clock.utc_s()), strike=mark_id, why="it was B-2")
            drop_mark(recording.keeper.folder.path, strike)

    run = record(tmp_path, clock, Attendant(20, act=act), FakeInstrument(clock))
    (mark,) = read_marks(run)
    assert (mark.struck, mark.struck_why, mark.pieces) == (True, "it was B-2", ("B-1",))


def marks(*acts: Act, pieces: tuple[str, ...] = ()) -> list[Mark]:
    return [Mark(float(k), act, pieces if act == "load" else ()) for k, act in enumerate(acts)]


def test_a_mark_is_entered_where_a_fast_clock_stands(tmp_path: Path) -> None:
    """A simulated furnace runs 60 times faster; who hands a mark over lives by the computer's own clock."""

    class Fast(FakeClock):
        speed = 60.0

        def wall_s(self) -> float:
            return UTC_S + (self.now_s - 1000.0) / self.speed

    clock = Fast()
    recording = begin(make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert recording.keeper.folder is not None
    clock.sleep(600.0)
    drop_mark(recording.keeper.folder.path, DroppedMark("aaaaaa", utc_text(clock.wall_s()), "load"))
    clock.sleep(30.0)  # half a second of the computer's
    recording.tend()
    (mark,) = recording.desk.marks
    assert mark.t_s == pytest.approx(600.0, abs=0.1)  # handed over to the millisecond, of which one is 0.06 s here
    assert not mark.entered_later
    recording.release()


def test_a_mark_of_the_very_start_is_entered_there(tmp_path: Path) -> None:
    clock = FakeClock()
    recording = begin(make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert recording.keeper.folder is not None
    clock.sleep(600.0)
    drop_mark(recording.keeper.folder.path, DroppedMark("aaaaaa", utc_text(clock.wall_s()), "load", at_s=0.0))
    recording.tend()
    (mark,) = recording.desk.marks
    assert mark.t_s == 0.0
    recording.release()


@pytest.mark.parametrize(
    ("loading", "temp_c", "before", "expected"),
    [
        ("unknown", 20.0, marks(), "load"),
        ("unknown", 900.0, marks("load"), "pull"),
        ("unknown", 900.0, marks("load", "pull"), "plates"),
        ("unknown", 900.0, marks("load", "pull", "plates"), "load"),
        ("unknown", 900.0, marks("load", "load", "pull", "plates"), "load"),  # without names: all that is in
        ("hot", 900.0, marks("load", "pull", "plates", pieces=("a", "b")), "load"),
        ("hot", 900.0, [*marks("load", pieces=("a", "b")), Mark(1.0, "pull", ("a",)), Mark(2.0, "plates")], "pull"),
        ("hot", 900.0, [*marks("load", "load", "load", pieces=("a",)), Mark(3.0, "pull"), Mark(4.0, "plates")], "load"),
        ("hot", 900.0, [*marks("load", pieces=("a",)), Mark(1.0, "pull", ("x",)), Mark(2.0, "plates")], "pull"),
        ("cold", 20.0, marks(), "load"),
        ("cold", 1040.0, marks(), "pull"),
        ("cold", 1040.0, marks("load", "pull", "plates", "pull", "plates"), "pull"),
        ("cold", 1040.0, marks("load", "door", "pull", "note"), "plates"),
    ],
)
def test_the_next_expected_act(loading: str, temp_c: float, before: list[Mark], expected: str) -> None:
    practice = Practice(loading)  # type: ignore[arg-type]
    assert expected_next(before, practice=practice, temp_c=temp_c).act == expected


def test_a_struck_mark_does_not_count_for_the_next_act() -> None:
    assert expected_next([Mark(1.0, "load"), Mark(2.0, "pull", struck=True)]).act == "pull"


def test_a_foot_switch_and_a_door_contact_enter_marks(tmp_path: Path) -> None:
    clock = FakeClock()
    contacts = (Contact("foot switch", SOURCE, means="next"), Contact("door", SOURCE, means="door"))
    instrument = FakeInstrument(clock)

    def values(now_s: float) -> dict[str, float | None]:
        second = round(now_s - 1000)
        pressed = {10: 1.0, 11: 1.0, 20: 1.0, 30: 1.0}.get(second, 0.0)
        return {"control": 900.0, "load": 890.0, "foot switch": pressed, "door": 1.0 if 19 <= second < 25 else 0.0}

    instrument.values = values
    run = record(tmp_path, clock, Attendant(40), instrument, furnace=make_furnace(contacts=contacts))
    found = [(mark.t_s, mark.act, mark.by) for mark in read_marks(run)]
    assert found == [
        (10.0, "load", "foot switch"),
        (19.0, "door", "door"),
        (20.0, "pull", "foot switch"),
        (30.0, "plates", "foot switch"),
    ]


def test_presses_and_a_contact_on_the_plates_go_through_the_charge(tmp_path: Path) -> None:
    """A foot switch for each pull, and the plates tell by themselves when they shut."""
    clock = FakeClock()
    contacts = (Contact("foot switch", SOURCE, means="next"), Contact("plates", SOURCE, means="plates"))
    instrument = FakeInstrument(clock)

    def values(now_s: float) -> dict[str, float | None]:
        second = round(now_s - 1000)
        foot, plates = second in (20, 40), second in (26, 48, 60)
        return {"control": 900.0, "load": 890.0, "foot switch": float(foot), "plates": float(plates)}

    def act(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if slot == 5:
            recording.mark("load", ("B-2", "B-1"))

    instrument.values = values
    run = record(tmp_path, clock, Attendant(70, act=act), instrument, furnace=make_furnace(contacts=contacts))
    found = [(mark.t_s, mark.act, mark.pieces, mark.origin) for mark in read_marks(run)][1:]
    assert found == [
        (20.0, "pull", ("B-2",), "contact"),
        (26.0, "plates", ("B-2",), "contact"),
        (40.0, "pull", ("B-1",), "contact"),
        (48.0, "plates", ("B-1",), "contact"),
        (60.0, "plates", (), "contact"),  # nothing is under way: it is asked, and changes nothing
    ]


def test_a_contact_that_is_acted_at_the_start_is_no_press() -> None:
    contacts = Contacts([Contact("door", SOURCE)])
    assert contacts.look({"door": 1.0}) == []
    assert contacts.look({"door": None}) == []
    assert contacts.look({"door": 0.0}) == []
    assert [press.means for press in contacts.look({"door": 1.0})] == ["door"]


@pytest.mark.parametrize(
    ("unit", "reading", "rings"), [("C", 1151.0, True), ("C", 1149.0, False), ("F", 1200.0, False)]
)
def test_over_temperature(tmp_path: Path, unit: str, reading: float, rings: bool) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock, lambda _: {"control": reading, "load": None, "setpoint": None})
    person = Attendant(5)
    furnace = make_furnace(alarm=Alarm(over_c=1150.0), unit=unit)
    run = record(tmp_path, clock, person, instrument, furnace=furnace)
    said = [event.detail for event in read_events(run) if event.event == "alarm"]
    assert bool(said) == rings
    assert person.bells == int(rings)


def test_a_silent_instrument_raises_the_alarm_when_its_time_is_up(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def act(slot: int, _: object) -> None:
        instrument.gone = "silent" if slot >= 10 else None

    person = Attendant(40, act=act)
    run = record(tmp_path, clock, person, instrument, furnace=make_furnace(alarm=Alarm(silent_s=15.0)))
    (alarm,) = (event for event in read_events(run) if event.event == "alarm")
    assert alarm.t_s == pytest.approx(9.0 + 15.0, abs=1.0)


# Two recorders, resuming


def test_furnaces_whose_names_look_alike_are_two(tmp_path: Path) -> None:
    locks = []
    for name in ("Ofen 1", "ofen-1", "窯", "炉"):
        furnace = make_furnace()
        object.__setattr__(furnace, "name", name)
        locks.append(claim_furnace(tmp_path, furnace, "record", "07:15")[0])
    for lock in locks:
        lock.release()


def test_a_person_who_gives_up_waiting_for_the_first_reading_is_obeyed(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def silent(now_s: float) -> dict[str, float | None]:
        raise LinkError("silent", "/dev/fake: silent.")

    instrument.values = silent
    with pytest.raises(LinkError, match="silent"):
        record(tmp_path, clock, Attendant(0), instrument, furnace=make_furnace(every_s=3600.0))
    assert clock.now_s - 1000 < 5
    assert not (tmp_path / "runs").exists()


def test_slots_count_from_the_first_good_reading(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def late(now_s: float) -> dict[str, float | None]:
        if now_s < 1001.5:
            raise LinkError("silent", "/dev/fake: silent.")
        return {"control": 20.0, "load": 20.0, "setpoint": None}

    instrument.values = late
    run = record(tmp_path, clock, Attendant(3), instrument, furnace=make_furnace(every_s=60.0))
    assert [float(row[0]) for row in good_rows(run)] == [0.0, 60.0, 120.0]


def test_all_rows_are_on_the_disk_when_the_link_is_lost(tmp_path: Path) -> None:
    clock = FakeClock()
    files = PowerCutFiles(random.Random(1))
    recording = begin(
        make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None), files=files
    )
    for _ in range(3):
        recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": 20.0}))))
        clock.sleep(1.0)
        recording.tend()
    gone = LinkError("missing", "/dev/fake: missing.")
    recording.take(Sample(clock.now_s, clock.utc_s(), Look(None, gone, LinkChange(False, clock.now_s - 1, str(gone)))))
    files.cut()
    assert recording.keeper.folder is not None
    run = recording.keeper.folder.path
    assert check_record(run).rows == 3
    assert read_events(run)[-1].event == "link lost"
    recording.release()


def test_a_second_recorder_of_the_same_furnace_is_told_who_has_it(tmp_path: Path) -> None:
    furnace = make_furnace()
    lock, _ = claim_furnace(tmp_path, furnace, "record", "07:15")
    with pytest.raises(LockHeld, match=r"is being recorded in .* already, by record \(process \d+, since 07:15\)"):
        claim_furnace(tmp_path, furnace, "watch", "07:16")
    other = make_furnace()
    object.__setattr__(other, "name", "big furnace")
    second, others = claim_furnace(tmp_path, other, "record", "07:17")
    assert others == ["small furnace"]
    second.release()
    lock.release()
    claim_furnace(tmp_path, furnace, "watch", "07:18")[0].release()


def cut_off(tmp_path: Path, clock: FakeClock, *, slots: int = 20, temp_c: float = 700.0) -> Recording:
    """A run that was cut off after so many seconds."""
    recording = begin(make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    from soakwitness.firmware_bridge.links.base import Reading
    from soakwitness.firmware_bridge.recording.linking import Look

    for _ in range(slots):
        values = {"control": temp_c, "load": temp_c, "setpoint": None}
        recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading(values))))
        clock.sleep(1.0)
    recording.release()
    return recording


def go_on(tmp_path: Path, clock: FakeClock) -> tuple[Path, str]:
    (run,) = cut_off_runs(tmp_path, make_furnace())
    recording = resume(run, make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    from soakwitness.firmware_bridge.links.base import Reading
    from soakwitness.firmware_bridge.recording.linking import Look

    recording.take(Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": 690.0}))))
    recording.end("enough")
    (event,) = (event for event in read_events(run.path) if event.event == "resumed")
    return run.path, event.detail


def test_within_one_boot_a_resumed_run_goes_on_exactly(tmp_path: Path) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock)
    clock.sleep(100.0)
    clock.step(5000.0)  # the wall clock does not matter then
    run, detail = go_on(tmp_path, clock)
    assert detail == "gap 101.000 s, from 19.000 to 120.000 s; exact"
    assert returned_rows(check_record(run))[-1].startswith(b"120.000,")


def test_after_a_reboot_it_goes_on_by_utc_and_says_that_this_is_uncertain(tmp_path: Path) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock)
    later = FakeClock(start_s=12.0, utc_s=clock.utc_s() + 300.0, boot="boot-2")
    run, detail = go_on(tmp_path, later)
    assert detail == "gap 301.000 s, from 19.000 to 320.000 s; uncertain, by the computer's clock"
    assert check_record(run).rows == 21


def test_after_a_reboot_with_a_clock_that_went_back_times_still_rise(tmp_path: Path) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock)
    later = FakeClock(start_s=12.0, utc_s=clock.utc_s() - 90_000.0, boot="boot-2")
    run, detail = go_on(tmp_path, later)
    assert detail == (
        "gap 1.000 s, from 19.000 to 20.000 s; "
        "uncertain, and longer than that: the computer's clock stands 25 h before the last row"
    )
    assert returned_rows(check_record(run))[-1].startswith(b"20.000,")


@pytest.mark.parametrize(
    ("gap_s", "was_c", "now_c", "same"),
    [
        (60.0, 20.0, 20.0, True),
        (599.0, 1040.0, None, True),
        (3600.0, 1040.0, 700.0, True),
        (3600.0, 75.0, 62.0, True),
        (-1200.0, 1040.0, 700.0, True),  # a clock without a battery: how long it really was, nobody knows
        (-90_000.0, 1040.0, 700.0, True),
        (-1200.0, 1040.0, 30.0, False),
        (3600.0, 40.0, 30.0, False),
        (3600.0, 1040.0, 40.0, False),
        (7 * 3600.0, 1040.0, 300.0, False),
    ],
)
def test_whether_it_is_the_same_heating(
    tmp_path: Path, gap_s: float, was_c: float, now_c: float | None, same: bool
) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock, slots=3, temp_c=was_c)
    (run,) = cut_off_runs(tmp_path, make_furnace())
    assert run.temp_c == was_c
    later = FakeClock(utc_s=run.last_utc_s + gap_s, boot="boot-2")
    assert same_heating(run, make_furnace(), later, temp_c=now_c) is same
    other = make_furnace(contacts=(Contact("door", SOURCE),))
    assert not same_heating(run, other, later, temp_c=now_c)


def test_record_goes_on_with_a_cut_off_run_or_seals_it(tmp_path: Path) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock)
    clock.sleep(60.0)
    instrument = FakeInstrument(clock, lambda _: {"control": 690.0, "load": 690.0, "setpoint": None})
    person = Attendant(5)
    run = record(tmp_path, clock, person, instrument)
    assert any("Going on with" in words for words in person.told)
    assert len(list((tmp_path / "runs").iterdir())) == 1
    assert check_record(run).rows == 25
    cut_off(tmp_path, clock)
    person = Attendant(5)
    fresh = record(tmp_path, clock, person, instrument, fresh=True)
    assert any("sealed now" in words for words in person.told)
    assert check_record(fresh).rows == 5
    assert [check_record(path).sealed for path in (tmp_path / "runs").iterdir()] == [True] * 3


def test_a_lost_run_is_sealed_with_an_end_that_says_so(tmp_path: Path) -> None:
    clock = FakeClock()
    cut_off(tmp_path, clock)
    (run,) = cut_off_runs(tmp_path, make_furnace())
    finish_lost(run, utc_s=clock.utc_s() + 9000)
    assert check_record(run.path).intact
    assert "cut off" in read_events(run.path)[-1].detail
    assert cut_off_runs(tmp_path, make_furnace()) == []


def test_a_run_that_is_being_recorded_is_not_cut_off(tmp_path: Path) -> None:
    clock = FakeClock()
    recording = begin(make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert cut_off_runs(tmp_path, make_furnace()) == []
    recording.release()
    assert len(cut_off_runs(tmp_path, make_furnace())) == 1


def test_a_log_book_that_cannot_be_written_is_an_error_at_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    clock = FakeClock()
    with pytest.raises(RunFolderError, match="Give another --logbook"):
        record(tmp_path / "file" / "book", clock, Attendant(3), FakeInstrument(clock))


def test_a_run_whose_terminal_is_gone_ends_when_the_furnace_is_cold(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)

    def values(now_s: float) -> dict[str, float | None]:
        minute = (now_s - 1000) / 60
        temp_c = 20 + minute * 10 if minute < 60 else max(25.0, 620 - (minute - 60) * 5)
        return {"control": temp_c, "load": temp_c, "setpoint": None}

    instrument.values = values
    furnace = make_furnace(every_s=30.0)
    person = Attendant(10**6)
    run = record(tmp_path, clock, person, instrument, furnace=furnace, orphaned=lambda: True)
    (end,) = (event for event in read_events(run) if event.event == "end")
    assert end.detail == "the furnace does not heat, and the terminal is gone"
    # 600 K at 5 K a minute: below 50 C after 60 + 114 minutes, and ten minutes of that.
    assert 60 * 170 < end.t_s < 60 * 200
