"""The soak clock beside a recording, corrections from the log book included."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction, CorrectionPoint
from soakwitness.analysis.logbook.calibrations import keep_correction
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import run_named, take_in
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.moments import Stamp
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry
from soakwitness.cli.terminal import soaking
from soakwitness.cli.terminal.attending import Screen, Stop
from soakwitness.cli.terminal.person import Person
from soakwitness.cli.terminal.soaking import SoakLine
from soakwitness.firmware_bridge.furnace.rack import Rack
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.linking import Look
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts, begin
from tests.clock_agreement import soaks_of
from tests.fakes import FakeClock, make_furnace

RECIPE = parse_recipe(
    'name = "Blades"\nunit = "C"\nload = "cold"\n'
    '[[step]]\nramp = "full power"\nto = 780\n[[step]]\nhold_minutes = 10\nat_most_minutes = 20\ntolerance = 8\n',
    "recipe",
)


PACKED = parse_recipe(RECIPE.text.replace("hold_minutes = 10", "hold_minutes = 20") + "[packet]\nthickness_mm = 3.0\n")
STAMP = Stamp("2026-11-20T10:00:00Z", "anna")


def recording(tmp_path: Path, clock: FakeClock, recipe: Recipe = RECIPE) -> Recording:
    furnace = make_furnace()
    alarms = Alarms(furnace.alarm, clock, bell=lambda: None)
    about = RunFacts(tmp_path, recipe_name=recipe.name, recipe_file=recipe.text, practice=practice_of(recipe))
    return begin(furnace, clock, about, alarms=alarms)


def answered(line: SoakLine) -> None:
    """Wait until the process that was asked has answered."""
    assert line._asked is not None
    line._asked.wait(timeout=60)


def take(running: Recording, clock: FakeClock, temp_c: float) -> None:
    values = {"control": temp_c, "load": temp_c, "setpoint": 780.0}
    running.take(Sample(clock.now_s, clock.utc_s(), Look(Reading(values))))
    clock.sleep(1.0)


def test_soak_complete_and_overdue_are_alarms(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock)
    line = SoakLine(RECIPE, running.furnace)
    complete_s: list[float] = []
    overdue_s: list[float] = []
    for second in range(1500):
        take(running, clock, min(20.0 + second * 12.65, 779.0))
        words = line.follow(running, "C")
        if "soak complete" in running.alarms.now and not complete_s:
            complete_s.append(second - 60)
            assert "take out" in words
        if "soak overdue" in running.alarms.now and not overdue_s:
            overdue_s.append(second - 60)
    running.release()
    assert complete_s == [pytest.approx(600, abs=3)]  # 10 minutes
    assert overdue_s == [pytest.approx(1200, abs=3)]  # 20 minutes


def test_a_run_that_has_rows_already_is_caught_up_with(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock)
    for _ in range(300):
        take(running, clock, 779.0)
    words = SoakLine(RECIPE, running.furnace).follow(running, "C")
    running.release()
    assert "in band 4:59 of 10:00" in words


def test_corrections_of_the_log_book_count_from_when_they_come(tmp_path: Path) -> None:
    """The load sensor reads 10 K high: what looks in the band is below it."""
    readings = tuple(float(temp_c) for temp_c in range(0, 1201, 100))
    with open_logbook(tmp_path, create=True) as book:
        for sensor in ("control", "load"):
            correction = Correction(
                furnace="small furnace",
                sensor=sensor,
                model="constant",
                why="one point",
                points=(CorrectionPoint(780.0, -10.0, 2.0),),
                table_reading_c=readings,
                table_correction_c=tuple(-10.0 for _ in readings),
                table_expanded_c=tuple(2.0 for _ in readings),
                done_on="2026-11-20",
                due_on="2027-11-20",
            )
            keep_correction(book, correction, at_utc="2026-11-20T10:00:00Z", stamp=STAMP)
    clock = FakeClock()
    running = recording(tmp_path, clock)
    line = SoakLine(RECIPE, running.furnace)
    for _ in range(120):
        take(running, clock, 779.0)
    assert "in band" in line.follow(running, "C")
    answered(line)
    take(running, clock, 779.0)
    words = line.follow(running, "C")
    running.release()
    assert line.inputs.of("load").added_c == (-10.0,)
    assert "3 °C" in words  # 779 - 10 is 3 below the lower edge of 772
    assert "in band 1:5" not in words


def furnace_only(running: Recording, clock: FakeClock, temp_c: float) -> None:
    """One second without the load sensor: the packet estimate speaks."""
    running.take(
        Sample(clock.now_s, clock.utc_s(), Look(Reading({"control": temp_c, "load": None, "setpoint": 780.0})))
    )
    clock.sleep(1.0)


def soaked(
    running: Recording, clock: FakeClock, line: SoakLine, *, until_s: int, since_s: int = 0
) -> tuple[float | None, str]:
    """When the soak was said to be complete, and the last words; the furnace is at 779 from the 300th second on."""
    complete_s, words = None, ""
    for second in range(since_s, until_s):
        furnace_only(running, clock, min(20.0 + 2.53 * second, 779.0))
        words = line.follow(running, "C")
        if line._asked is not None:
            answered(line)
        if "soak complete" in running.alarms.now and complete_s is None:
            complete_s = float(second)
    return complete_s, words


def charged(tmp_path: Path, running: Recording, thickness_mm: float, *names: str, places: Sequence[str] = ()) -> None:
    """Enter pieces and put them into the run that is open."""
    path = running.now().run
    assert path is not None
    with open_logbook(tmp_path, create=True) as book:
        take_in(book, stamp=STAMP)
        add_pieces(book, [Piece(name, thickness_mm=thickness_mm) for name in names], stamp=STAMP)
        if not places:
            charge_pieces(book, names, stamp=STAMP, run=path.name)
        for name, place in zip(names, places, strict=False):
            charge_pieces(book, [name], stamp=STAMP, run=path.name, number=1, place=place)


def verified_soak_s(running: Recording, tmp_path: Path) -> float:
    """Soak of the first hold as ``verify`` finds it, its best figure."""
    path = running.now().run
    assert path is not None
    running.release()
    with open_logbook(tmp_path) as book:
        take_in(book, stamp=STAMP)
        inputs = inputs_of_entry(book, run_named(book, "last"))
    hold = inputs.judged(open_run(path)).holds[0]
    assert hold.soak_s is not None
    return hold.soak_s.best


def test_a_piece_of_which_nothing_is_known_is_what_the_recipe_says(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock, PACKED)
    complete_s, _ = soaked(running, clock, SoakLine(PACKED, running.furnace, now=clock.monotonic), until_s=2400)
    running.release()
    assert complete_s is not None


@pytest.mark.parametrize("named", [False, True])
def test_a_thick_piece_is_not_told_complete_by_the_recipe_s_thin_packet(tmp_path: Path, named: bool) -> None:
    """20 minutes: a packet of 3 mm has them 35 minutes after the furnace came into its band, one of 10 mm has not."""
    clock = FakeClock()
    running = recording(tmp_path, clock, PACKED)
    charged(tmp_path, running, 10.0, "B-10")
    if named:
        running.mark("load", pieces=("B-10",))
    line = SoakLine(PACKED, running.furnace, now=clock.monotonic)
    complete_s, words = soaked(running, clock, line, until_s=2400)
    assert complete_s is None
    assert "complete" not in words
    assert line.inputs.packets["B-10"].thickness_mm == 10.0
    shown = soaks_of(line._clock)[1]["B-10"]
    assert shown == pytest.approx(verified_soak_s(running, tmp_path), abs=15.0)


def test_a_piece_that_is_charged_during_the_run_is_asked_for_again(tmp_path: Path) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock, PACKED)
    line = SoakLine(PACKED, running.furnace, now=clock.monotonic)
    soaked(running, clock, line, until_s=600)
    assert line.inputs.packets == {}
    charged(tmp_path, running, 10.0, "B-10")
    complete_s, _ = soaked(running, clock, line, since_s=600, until_s=2400)
    assert list(line.inputs.packets) == ["B-10"]
    assert complete_s is None
    assert soaks_of(line._clock)[1]["B-10"] == pytest.approx(verified_soak_s(running, tmp_path), abs=15.0)


def test_it_is_asked_at_most_every_half_minute_and_only_where_something_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock, PACKED)
    charged(tmp_path, running, 4.0, "B-4")
    line = SoakLine(PACKED, running.furnace, now=clock.monotonic)
    asked: list[float] = []
    ask = line._ask
    monkeypatch.setattr(line, "_ask", lambda run, signs: (asked.append(clock.now_s), ask(run, signs)))
    soaked(running, clock, line, until_s=200)
    assert len(asked) == 1  # when it began: to read the log book is no change of it
    with open_logbook(tmp_path) as book:
        for number in range(5):
            add_pieces(book, [Piece(f"X-{number}")], stamp=STAMP)
    soaked(running, clock, line, since_s=200, until_s=300)
    assert len(asked) == 2
    running.mark("load", pieces=("B-4",))
    running.mark("note", note="hot spot")
    soaked(running, clock, line, since_s=300, until_s=400)
    assert len(asked) == 3
    assert min(b - a for a, b in zip(asked, asked[1:], strict=False)) >= 30.0
    running.release()


def test_a_long_run_is_gone_through_again_a_little_in_each_slot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The recording waits for nothing: the clock so far goes on until the one that knows better has caught up."""
    clock = FakeClock()
    running = recording(tmp_path, clock, PACKED)
    line = SoakLine(PACKED, running.furnace, now=clock.monotonic)
    soaked(running, clock, line, until_s=600)
    monkeypatch.setattr(soaking, "AT_ONCE_S", -1.0)  # one row a slot
    monkeypatch.setattr(soaking, "ASK_EVERY_S", 0.0)
    charged(tmp_path, running, 10.0, "B-10")
    furnace_only(running, clock, 779.0)
    line.follow(running, "C")
    answered(line)
    furnace_only(running, clock, 779.0)
    assert "estimated in the packet" in line.follow(running, "C")
    assert line.inputs.packets == {}
    assert line._again is not None
    monkeypatch.setattr(soaking, "AT_ONCE_S", 0.1)
    furnace_only(running, clock, 779.0)
    line.follow(running, "C")
    running.release()
    assert list(line.inputs.packets) == ["B-10"]


def test_a_measured_packet_that_was_given_counts_from_the_first_second(tmp_path: Path) -> None:
    packet = generic_packet(PacketSpec(), "S44004")
    line = SoakLine(PACKED, make_furnace(), packet=replace(packet, eps_o=0.9, fitted=True))
    assert line.inputs.packet is not None
    assert (line.inputs.packet.eps_o, line.inputs.packet.fitted) == (0.9, True)


def test_a_clock_that_fails_stops_no_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = FakeClock()
    running = recording(tmp_path, clock)
    line = SoakLine(RECIPE, running.furnace)
    take(running, clock, 500.0)
    line.follow(running, "C")
    monkeypatch.setattr(line._clock, "read", lambda *_, **__: [][1])
    take(running, clock, 501.0)
    words = line.follow(running, "C")
    running.release()
    assert words.startswith("The soak clock stands (IndexError: ")
    assert "the record goes on" in words


def test_a_process_that_has_not_answered_is_ended_with_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or it is told of as still running when it is forgotten, as at the end of a short record on a slow computer."""
    monkeypatch.setattr(sys, "executable", str(slow_program(tmp_path)))
    clock = FakeClock()
    running = recording(tmp_path, clock)
    with open_logbook(tmp_path, create=True):
        pass
    line = SoakLine(RECIPE, running.furnace)
    take(running, clock, 20.0)
    line.follow(running, "C")
    running.release()
    first = line._asked
    assert first is not None
    line._ask(tmp_path / "runs" / "next", ())
    second = line._asked
    assert second is not None
    shown = io.StringIO()
    Person(Screen(out=shown, err=shown), Stop(), "C", soak=line).leave()
    for asked in (first, second):
        assert asked.returncode is not None
        assert asked.stdout is not None
        assert asked.stdout.closed


def slow_program(folder: Path) -> Path:
    """A program that answers after a minute, whatever it is asked."""
    path = folder / "slow"
    path.write_text("#!/bin/sh\nexec sleep 60\n", encoding="utf-8")
    path.chmod(0o755)
    return path


def test_pieces_of_the_log_book_come_out_one_by_one_in_the_order_of_the_rack(tmp_path: Path) -> None:
    clock = FakeClock()
    furnace = replace(make_furnace(), rack=Rack(slots=6, spacing_mm=14.0))
    about = RunFacts(tmp_path, recipe_name=PACKED.name, recipe_file=PACKED.text, practice=practice_of(PACKED))
    running = begin(furnace, clock, about, alarms=Alarms(furnace.alarm, clock, bell=lambda: None))
    charged(tmp_path, running, 3.0, "B-1", "B-2", places=("2", "1"))
    line = SoakLine(PACKED, furnace, now=clock.monotonic)
    take(running, clock, 779.0)
    line.follow(running, "C")
    answered(line)
    take(running, clock, 779.0)
    line.follow(running, "C")
    made = []
    for _ in range(4):
        made.append(running.press("next", "key", by="key"))
        take(running, clock, 779.0)
    assert [(mark.act, *mark.pieces) for mark in made] == [
        ("pull", "B-2"),  # slot 1
        ("plates", "B-2"),
        ("pull", "B-1"),
        ("plates", "B-1"),
    ]
    # The piece was named by where it stands: taken back, it is its turn again.
    assert running.undo(by="key") is not None
    assert running.undo(by="key") is not None
    assert running.now().expected.names == ("B-1",)
    running.release()
