"""Whatever lies in a log book, the recorder starts: no input stops two starts in a row."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.recording.watching import watch_furnace
from soakwitness.firmware_bridge.recording.when_heating_begins import HeatingSettings
from soakwitness.firmware_bridge.runfolder.line_format import event_body, events_header, header_crc, row_bytes, utc_text
from soakwitness.firmware_bridge.runfolder.reader import check_record
from tests.fakes import UTC_S, Attendant, FakeClock, FakeInstrument, Stopped, make_furnace

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes and device files of POSIX")


def _anew(file: Path) -> Path:
    if file.is_dir() and not file.is_symlink():
        shutil.rmtree(file)
    else:
        file.unlink(missing_ok=True)
    return file


def _edit(change: Callable[[dict[str, object]], object]) -> Callable[[Path], None]:
    def make(file: Path) -> None:
        said = json.loads(file.read_text()) if file.exists() else {}
        change(said)
        file.write_text(json.dumps(said))

    return make


def _rows(header: bytes, bodies: list[bytes]) -> bytes:
    rows, crc = [header], header_crc(header)
    for body in bodies:
        row, crc = row_bytes(body, crc)
        rows.append(row)
    return b"".join(rows)


def _odd_samples(cells: str) -> Callable[[Path], None]:
    """Rows whose checksums hold, and whose cells nobody of ours wrote."""

    def make(file: Path) -> None:
        header = file.read_bytes().split(b"\n")[0] + b"\n"
        file.write_bytes(_rows(header, [cells.encode()]))

    return make


def _odd_events(file: Path) -> None:
    bodies = [b"when,%b,mark,load" % utc_text(UTC_S).encode(), b"nan,now,mark,load", b"1e400,,resumed,", b"1,2,3"]
    bodies.append(event_body(1.0, utc_text(UTC_S), "clock step", "1e999 s"))
    file.write_bytes(_rows(events_header(), bodies))


ANYWHERE: dict[str, Callable[[Path], None]] = {
    "a pipe": lambda file: os.mkfifo(_anew(file)),
    "an endless device": lambda file: _anew(file).symlink_to("/dev/zero"),
    "a folder": lambda file: _anew(file).mkdir(),
    "rubbish": lambda file: _anew(file).write_bytes(os.urandom(5000)) and None,
    "deep brackets": lambda file: _anew(file).write_text("[" * 200_000) and None,
    "nothing": lambda file: _anew(file).write_text("") and None,
    "a link to itself": lambda file: _anew(file).symlink_to(file.name),
}
PLACES = ("run.json", "samples.csv", "events.csv", "samples-2.csv", "marks", "recording.lock")
IN_THE_BOOK = ("recorder.json",)
ODD: dict[str, tuple[str, Callable[[Path], None]]] = {
    "a surrogate for the operator": ("run.json", _edit(lambda said: said.update(operator="\ud800"))),
    "a surrogate for the furnace's file": ("run.json", _edit(lambda said: said["furnace"].update(file="\udc80"))),  # type: ignore[attr-defined]
    "a huge number for the clock": ("run.json", _edit(lambda said: said["clock"].update(at_start_s=10**400))),  # type: ignore[attr-defined]
    "text for the clock": ("run.json", _edit(lambda said: said["clock"].update(at_start_s="noon"))),  # type: ignore[attr-defined]
    "a huge number for the period": ("run.json", _edit(lambda said: said["sample"].update(every_s=10**400))),  # type: ignore[attr-defined]
    "words for a reading": ("samples.csv", _odd_samples(f"1.000,{utc_text(UTC_S)},warm,,")),
    "too few cells": ("samples.csv", _odd_samples(f"1.000,{utc_text(UTC_S)}")),
    "no moment": ("samples.csv", _odd_samples("1.000,then,20,,")),
    "no time": ("samples.csv", _odd_samples("soon,then,20,,")),
    "an endless time": ("samples.csv", _odd_samples(f"1e300,{utc_text(UTC_S)},20,,")),
    "odd events": ("events.csv", _odd_events),
    "a huge count": ("../../recorder.json", _edit(lambda said: said.update(runs=10**30, seals="many"))),
    "a sealing elsewhere": ("../../recorder.json", _edit(lambda said: said.update(sealing="../../..", head=5))),
}
CASES = [
    *((f"{kind} for {place}", place, make) for place in PLACES for kind, make in ANYWHERE.items()),
    *((f"{kind} for {place}", f"../../{place}", make) for place in IN_THE_BOOK for kind, make in ANYWHERE.items()),
    *((kind, place, make) for kind, (place, make) in ODD.items()),
]


def _cut_off(logbook: Path, clock: FakeClock) -> Path:
    def kill(slot: int, _: object) -> None:
        if slot == 5:
            raise Stopped

    with pytest.raises(Stopped):
        record_run(make_furnace(), clock, RunFacts(logbook), Attendant(9, act=kill), opener=FakeInstrument(clock).open)
    (run,) = (logbook / "runs").iterdir()
    clock.sleep(30.0)
    return run


@pytest.mark.parametrize(("place", "make"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_no_input_stops_two_starts_of_record(tmp_path: Path, place: str, make: Callable[[Path], None]) -> None:
    clock = FakeClock()
    make(_cut_off(tmp_path, clock) / place)
    made = []
    for _ in range(2):
        clock.sleep(30.0)
        with_person = Attendant(5)
        made.append(
            record_run(make_furnace(), clock, RunFacts(tmp_path), with_person, opener=FakeInstrument(clock).open)
        )
    check = check_record(made[-1])
    assert (check.sealed, check.intact) == (True, True)
    assert check.rows >= 5


class Watched(Attendant):
    def idle(self, sample: object, furnace: object) -> None:
        self.shown += 1

    def finished(self, run: Path) -> None:
        pass


@pytest.mark.parametrize(("place", "make"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_no_input_stops_two_starts_of_watch(tmp_path: Path, place: str, make: Callable[[Path], None]) -> None:
    clock = FakeClock()
    make(_cut_off(tmp_path, clock) / place)
    for _ in range(2):
        clock.sleep(30.0)
        person = Watched(20)
        watch_furnace(
            make_furnace(),
            clock,
            RunFacts(tmp_path),
            person,
            opener=FakeInstrument(clock).open,
            settings=HeatingSettings(),
        )
        assert person.shown >= 20
