"""Marks with a device's own moment, from the tap to the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.marks.handing_over import mark_of_device, present_t_s, taken_back
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts, begin
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.marks import drop_mark
from tests.fakes import FakeClock, make_furnace


def running(tmp_path: Path, clock: FakeClock) -> tuple[Recording, Path]:
    recording = begin(make_furnace(), clock, RunFacts(tmp_path), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert recording.keeper.folder is not None
    return recording, recording.keeper.folder.path


@pytest.mark.parametrize(
    ("clock_off_s", "t_s", "origin", "later", "within_s"),
    [
        (0.0, 600.0, "tapped", False, None),
        (1.5, 598.5, "tapped", False, None),
        (-2.0, 602.0, "tapped", False, None),
        (45.0, 555.0, "typed", True, 45.0),
        (None, 600.0, "typed", True, None),
    ],
)
def test_a_tap_that_waited_for_the_network_keeps_its_own_moment(
    tmp_path: Path, clock_off_s: float | None, t_s: float, origin: str, later: bool, within_s: float | None
) -> None:
    clock = FakeClock()
    recording, path = running(tmp_path, clock)
    clock.sleep(600.0)
    shown_s = clock.wall_s()  # what the device's clock showed, however wrong that is
    clock.sleep(640.0)  # the network was away
    tap = mark_of_device("pull", ("B-1",), mark_id="c0ffee", device_utc_s=shown_s, clock_off_s=clock_off_s, by="tablet")
    drop_mark(path, tap)
    recording.tend()
    clock.sleep(1.0)
    drop_mark(path, tap)  # sent again, as its answer was lost
    recording.tend()
    (mark,) = recording.desk.marks
    assert (mark.origin, mark.entered_later, mark.within_s, mark.by) == (origin, later, within_s, "tablet")
    assert mark.t_s == pytest.approx(t_s, abs=0.01)
    recording.release()


def test_taking_back_goes_the_way_of_a_mark(tmp_path: Path) -> None:
    clock = FakeClock()
    recording, path = running(tmp_path, clock)
    clock.sleep(600.0)
    first = recording.mark("pull", ("B-1",))
    clock.sleep(60.0)
    second = recording.mark("plates", ("B-1",))
    now_t_s = present_t_s(path, clock.wall_s())
    back, dropped = taken_back(recording.desk.marks, now_t_s, utc_s=clock.wall_s(), by="tablet")
    assert back.mark_id == second.mark_id
    drop_mark(path, dropped)
    recording.tend()
    assert [(m.mark_id, m.struck) for m in recording.desk.marks] == [(first.mark_id, False), (second.mark_id, True)]
    named, _ = taken_back(recording.desk.marks, now_t_s, utc_s=clock.wall_s(), by="tablet", mark_id=first.mark_id)
    assert named.mark_id == first.mark_id
    with pytest.raises(RunFolderError, match="can no longer be taken back"):
        taken_back(recording.desk.marks, now_t_s + 121.0, utc_s=0.0, by=None, mark_id=first.mark_id)
    recording.release()


def test_nothing_is_taken_back_twice() -> None:
    struck = Mark(5.0, "pull", mark_id="aaaaaa", struck=True)
    with pytest.raises(RunFolderError, match="can no longer be taken back"):
        taken_back((struck,), 6.0, utc_s=0.0, by=None, mark_id="aaaaaa")
