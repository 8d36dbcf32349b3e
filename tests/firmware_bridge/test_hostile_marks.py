"""Marks that nobody's program should leave: none ends, hangs or fills the recorder, none spoils the run's seal."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.runfolder import marks
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.late import enter_late, strike_late
from soakwitness.firmware_bridge.runfolder.line_format import event_body, events_header, header_crc, row_bytes, utc_text
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks
from tests.fakes import UTC_S, Attendant, FakeClock, FakeInstrument, Stopped, make_furnace

GOOD = {"mark_id": "a1b2c3", "utc": "2026-11-25T07:15:12.000Z", "act": "load"}


def _text(file: Path, text: str) -> None:
    file.write_text(text, encoding="utf-8", errors="surrogatepass")


def _said(**other: object) -> Callable[[Path], None]:
    return lambda file: _text(file, json.dumps({**GOOD, **other}))


def _fifo(file: Path) -> None:
    os.mkfifo(file)


HOSTILE: dict[str, Callable[[Path], None]] = {
    "a number for who": _said(by=5),
    "a list for who": _said(by=["anna"]),
    "a number for the note": _said(note=7),
    "a long note": _said(note=";" * 50_000),
    "a long name": _said(pieces=["B" * 5_000]),
    "a long who": _said(by="b" * 5_000),
    "many pieces": _said(pieces=[f"B-{number}" for number in range(5_000)]),
    "text for pieces": _said(pieces="B-1"),
    "numbers for pieces": _said(pieces=[1, 2]),
    "a long id": _said(mark_id="a" * 5_000),
    "a number for the id": _said(mark_id=12),
    "a lone surrogate": lambda file: _text(file, json.dumps({**GOOD, "note": "\ud800"})),
    "a lone surrogate for the id": lambda file: _text(file, json.dumps({**GOOD, "mark_id": "\udc80"})),
    "bytes of another coding": lambda file: _bytes(file, b'{"note": "\xe4\xff"}'),
    "an endless time": _said(at_s=1e300),
    "a time of 400 digits": lambda file: _text(file, json.dumps(GOOD)[:-1] + ', "at_s": 1' + "0" * 400 + "}"),
    "a time of 5,000 digits": lambda file: _text(file, json.dumps(GOOD)[:-1] + ', "at_s": 1' + "0" * 5_000 + "}"),
    "no number": lambda file: _text(file, json.dumps(GOOD)[:-1] + ', "at_s": NaN}'),
    "a moment long ago": _said(utc="0001-01-01T00:00:00.000Z"),
    "a strike of a number": _said(act=None, strike=3),
    "a long reason": _said(act=None, strike="a1b2c3", why="w" * 50_000),
    "deep brackets": lambda file: _text(file, "[" * 200_000),
    "deep inside": lambda file: _text(file, json.dumps(GOOD)[:-1] + ', "note": ' + "[" * 100_000),
    "a list": lambda file: _text(file, "[1, 2]"),
    "nothing": lambda file: _text(file, ""),
    "an act that is none": _said(act="melt"),
    "many megabytes": lambda file: _text(file, " " * (8 << 20)),
    "a folder": lambda file: file.mkdir(),
    "a pipe": _fifo,
    "a link to an endless device": lambda file: file.symlink_to("/dev/zero"),
    "a link to nothing": lambda file: file.symlink_to("not-there"),
    "a link to itself": lambda file: file.symlink_to(file.name),
}


def _bytes(file: Path, data: bytes) -> None:
    file.write_bytes(data)


def _drop(recording: object, make: Callable[[Path], None]) -> None:
    assert isinstance(recording, Recording)
    assert recording.keeper.folder is not None
    folder = recording.keeper.folder.path / "marks"
    folder.mkdir(exist_ok=True)
    make(folder / "odd.mark")


def _record(logbook: Path, clock: FakeClock, person: Attendant) -> Path:
    return record_run(make_furnace(), clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open)


@pytest.mark.skipif(os.name == "nt", reason="pipes and device files of POSIX")
@pytest.mark.parametrize("kind", HOSTILE)
def test_a_foreign_mark_is_set_aside_with_an_event_and_the_run_is_sealed(tmp_path: Path, kind: str) -> None:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        if slot == 5:
            _drop(recording, HOSTILE[kind])
        if slot == 8:
            assert isinstance(recording, Recording)
            recording.mark("pull", by="key")

    run = _record(tmp_path, clock, Attendant(15, act=act))
    check = check_record(run)
    assert (check.sealed, check.intact, check.rows) == (True, True, 15)
    assert [mark.act for mark in read_marks(run)] == ["pull"]
    (refused,) = [event for event in read_events(run) if event.event == "mark refused"]
    assert refused.detail.startswith("odd.mark: ")
    assert "odd.mark.unreadable" in refused.detail
    assert len(refused.detail) < 400
    assert os.path.lexists(run / "marks" / "odd.mark.unreadable")
    assert not os.path.lexists(run / "marks" / "odd.mark")


@pytest.mark.skipif(os.name == "nt", reason="pipes and device files of POSIX")
@pytest.mark.parametrize("kind", HOSTILE)
def test_no_mark_stops_two_starts_in_a_row(tmp_path: Path, kind: str) -> None:
    """The recorder was killed, the mark was left meanwhile, and the next start finds it."""
    clock = FakeClock()

    def kill(slot: int, recording: object) -> None:
        if slot == 5:
            _drop(recording, HOSTILE[kind])
            raise Stopped

    with pytest.raises(Stopped):
        _record(tmp_path, clock, Attendant(99, act=kill))
    clock.sleep(30.0)
    run = _record(tmp_path, clock, Attendant(5))
    assert [event.event for event in read_events(run)].count("mark refused") == 1
    assert check_record(run).rows == 10


def test_two_foreign_marks_of_one_name_are_both_kept(tmp_path: Path) -> None:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        if slot in (3, 6):
            _drop(recording, lambda file: _text(file, f"rubbish {slot}"))

    run = _record(tmp_path, clock, Attendant(10, act=act))
    kept = sorted(file.read_text() for file in (run / "marks").iterdir())
    assert kept == ["rubbish 3", "rubbish 6"]


def test_a_thousand_foreign_marks_are_told_in_few_events(tmp_path: Path) -> None:
    clock = FakeClock()

    def act(slot: int, recording: object) -> None:
        if slot == 3:
            for number in range(1000):
                _drop(recording, lambda file, number=number: _text(file.with_name(f"{number}.mark"), ""))

    run = _record(tmp_path, clock, Attendant(60, act=act))
    assert not list((run / "marks").glob("*.mark"))
    told = [event for event in read_events(run) if event.event == "mark refused"]
    assert 0 < len(told) <= 20
    assert sum(int(event.detail.split()[0]) for event in told) == 1000


def test_what_is_too_much_for_a_mark_is_refused_before_it_is_handed_over(tmp_path: Path) -> None:
    clock = FakeClock()
    run = _record(tmp_path, clock, Attendant(5))
    note = Mark(1.0, "note", note=";" * 50_000, mark_id="a1b2c3", entered_later=True)
    with pytest.raises(RunFolderError, match=r"note of 50,000 characters.* at most 2,000"):
        enter_late(run, note, now_utc=UTC_S)
    enter_late(run, Mark(1.0, "note", note="fine", mark_id="a1b2c3", entered_later=True), now_utc=UTC_S)
    with pytest.raises(RunFolderError, match=r"reason of 50,000 characters"):
        strike_late(run, "a1b2c3", why="w" * 50_000, by=None, now_utc=UTC_S)
    with pytest.raises(RunFolderError, match=r"'\\ud800'"):
        marks.drop_mark(run, marks.DroppedMark("b1b2c3", utc_text(UTC_S), "note", note="\ud800"))
    assert not list((run / "marks").iterdir()) if (run / "marks").exists() else True


def test_an_event_of_any_length_and_any_text_is_read_back(tmp_path: Path) -> None:
    """A note of 50,000 semicolons was entered by an earlier version: 150,000 signs, more than a csv reader takes."""
    details = ["load; note " + "%3B" * 50_000, 'says "quoted", with a comma', "", "Ärger, 1040 °C", '"']
    rows, crc = [events_header()], header_crc(events_header())
    for number, detail in enumerate(details):
        row, crc = row_bytes(event_body(float(number), utc_text(UTC_S), "mark", detail), crc)
        rows.append(row)
    (tmp_path / "events.csv").write_bytes(b"".join(rows))
    assert [event.detail for event in read_events(tmp_path)] == details


def test_text_that_no_file_can_hold_is_written_so_that_it_can_be_read() -> None:
    assert event_body(0.0, utc_text(UTC_S), "instrument", "\udc80") == b"0.000,%b,instrument,\\udc80" % (
        utc_text(UTC_S).encode()
    )
