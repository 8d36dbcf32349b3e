"""Run folders as they are written, sealed and read back."""

from __future__ import annotations

import json
import os
from pathlib import Path
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import (
    Contact,
    Furnace,
    LineSource,
    LinkSettings,
    Sensor,
    Signal,
)
from soakwitness.firmware_bridge.runfolder import chain, marks, seal
from soakwitness.firmware_bridge.runfolder.contents import Column, Event, Mark
from soakwitness.firmware_bridge.runfolder.header import columns_of, header_text
from soakwitness.firmware_bridge.runfolder.line_format import (
    header_line,
    number_text,
    read_utc,
    row_bytes,
    utc_text,
)
from soakwitness.firmware_bridge.runfolder.lock import Lock, LockHeld, is_held, read_holder
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header, read_marks
from soakwitness.firmware_bridge.runfolder.sealing import append_sealed
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.record_oracle import returned_rows
from tests.run_folders import STARTED_UTC, fill, new_run, reading, sealed_run


def test_checksum_is_the_published_crc_32() -> None:
    # CHECKS.md section 3: CRC-32 (ISO-HDLC, zlib.crc32) of "123456789" is 0xCBF43926.
    assert row_bytes(b"123456789", 0)[1] == 0xCBF43926
    assert row_bytes(b"6789", row_bytes(b"12345", 0)[1])[1] == 0xCBF43926


def test_rows_on_disk_are_chained_as_designed(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 3)
    run.close()
    lines = (run.path / "samples.csv").read_bytes().splitlines()
    assert lines[0] == b"t_s,utc,control,load,setpoint,crc"
    assert lines[1].startswith(b"0.000,2026-11-25T07:15:02.000Z,20,19,1040,")
    assert lines[3].split(b",")[3] == b""  # a missing reading is an empty cell
    crc = crc32(b"t_s,utc,control,load,setpoint")
    for line in lines[1:]:
        body, _, cell = line.rpartition(b",")
        crc = crc32(body, crc)
        assert cell == b"%08x" % crc


def test_a_run_is_named_by_utc_furnace_and_chance(tmp_path: Path) -> None:
    columns = [Column("control", "sensor", "C", role="control")]
    run = RunFolder.create(
        tmp_path, columns=columns, furnace_name="Öfen & Söhne No. 2", started_utc=STARTED_UTC, operator="anna"
    )
    run.close()
    assert run.path.parent == tmp_path / "runs"
    stamp, name, chance = run.path.name.split("_")
    assert stamp == "20261125T071502Z"
    assert name == "fen-s-hne-no-2"
    assert len(chance) == 4
    assert int(chance, 16) >= 0
    header = read_header(run.path)
    assert header.furnace_name == "Öfen & Söhne No. 2"
    assert header.operator == "anna"
    assert header.started_utc == "2026-11-25T07:15:02.000Z"
    assert header.recorder_counter == 1


def test_a_measured_packet_stands_in_the_run_as_it_was(tmp_path: Path) -> None:
    text = "fitted = true\nthickness_mm = 3.0\n# Ö, C\n"
    with_one = new_run(tmp_path, packet_name="dummy.toml", packet_file=text)
    without = new_run(tmp_path)
    with_one.close()
    without.close()
    header = read_header(with_one.path)
    assert (header.packet_name, header.packet_file) == ("dummy.toml", text)
    assert json.loads(header_text(header))["packet"] == {"name": "dummy.toml", "file": text}
    assert read_header(without.path).packet_file is None
    assert "packet" not in json.loads((without.path / "run.json").read_text())


def test_columns_come_from_the_furnace_with_what_is_known_of_them() -> None:
    source = LineSource(field=1)
    furnace = Furnace(
        name="f",
        unit="F",
        link=LinkSettings("lines", "/dev/null"),
        every_s=1,
        sensors=(Sensor("control", "control", source, thermocouple="K", expanded_uncertainty=4.0),),
        signals=(Signal("setpoint", source), Signal("output", source)),
        contacts=(Contact("foot", source, means="next"),),
    )
    control, setpoint, output, foot = columns_of(furnace)
    assert (control.unit, control.role, control.expanded_uncertainty) == ("F", "control", 4.0)
    assert (setpoint.unit, output.unit, foot.unit) == ("F", "%", "")
    assert foot.means == "next"


@pytest.mark.parametrize("name", ["", "a,b", 'a"b', "a\nb", "crc", "t_s", " "])
def test_column_names_that_would_break_the_table_are_refused(name: str) -> None:
    with pytest.raises(RunFolderError, match="column name"):
        header_line([name])


def test_a_column_name_twice_is_refused() -> None:
    with pytest.raises(RunFolderError, match="'load' stands there twice"):
        header_line(["load", "control", "load"])


@given(st.floats(-1e6, 1e6))
def test_numbers_come_back_to_six_places(value: float) -> None:
    text = number_text(value)
    assert "e" not in text
    assert float(text) == pytest.approx(value, abs=5.1e-7)


@given(st.integers(0, 4_000_000_000_000))
def test_utc_comes_back_to_the_millisecond(milliseconds: int) -> None:
    assert read_utc(utc_text(milliseconds / 1000)) * 1000 == pytest.approx(milliseconds, abs=0.5)


def test_times_must_rise(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 2)
    with pytest.raises(RunFolderError, match="Times must rise"):
        run.write_row(1.0, STARTED_UTC, reading(1))
    with pytest.raises(RunFolderError, match="must rise"):
        run.write_bodies([b"0.5,,1,2,3"])
    run.close()


def test_many_rows_at_once_read_as_if_written_one_by_one(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    count = run.write_bodies(
        f"{second},{utc_text(STARTED_UTC + second)},20.5,,1040".encode() for second in range(40_000)
    )
    assert count == 40_000
    run.seal(sealed_utc=STARTED_UTC)
    check = check_record(run.path)
    assert (check.rows, check.intact, check.sealed) == (40_000, True, True)
    assert len(check.good) == 1


def test_a_row_with_too_few_cells_is_refused(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    with pytest.raises(RunFolderError, match="5 cells"):
        run.write_bodies([b"1,,20"])
    run.close()


def test_a_newer_major_format_is_refused_and_unknown_things_are_kept(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    file = path / "run.json"
    said = json.loads(file.read_text())
    said["weather"] = "rain"
    said["format"] = "1.7"
    file.write_text(json.dumps(said))
    assert read_header(path).raw["weather"] == "rain"
    said["format"] = "2.0"
    file.write_text(json.dumps(said))
    with pytest.raises(RunFolderError, match="format 2.0 is newer"):
        check_record(path)


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "{", '{"format": "x"}', '{"format": "1.0", "run": "a", "columns": 3}']
)
def test_a_damaged_run_json_is_one_clear_error(tmp_path: Path, text: str) -> None:
    (tmp_path / "run.json").write_text(text)
    with pytest.raises(RunFolderError, match="copy of the log book"):
        read_header(tmp_path)


def test_a_folder_without_run_json_is_no_run_folder(tmp_path: Path) -> None:
    with pytest.raises(RunFolderError, match="no run folder"):
        check_record(tmp_path)


def test_unknown_events_are_accepted_and_details_survive_quoting(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    run.write_event(0, STARTED_UTC, "start")
    run.write_event(1, STARTED_UTC + 1, "eclipse", 'of the "sun", partial\nat noon')
    run.close()
    assert [event.event for event in read_events(run.path)] == ["start", "eclipse"]
    assert read_events(run.path)[1].detail == 'of the "sun", partial at noon'


# Seals and their chain


def test_seals_of_one_recorder_are_chained(tmp_path: Path) -> None:
    paths = [sealed_run(tmp_path, 3) for _ in range(3)]
    seals = [seal.read_seal(path) for path in paths]
    assert [found.chain_number for found in seals if found] == [1, 2, 3]
    assert seals[0] is not None
    assert seals[1] is not None
    assert seals[2] is not None
    assert seals[0].previous is None
    assert seals[1].previous == seals[0].digest
    assert seals[2].previous == seals[1].digest
    assert json.loads((tmp_path / "recorder.json").read_text())["head"] == seals[2].digest


def test_a_seal_written_just_before_a_crash_stays_in_the_chain(tmp_path: Path) -> None:
    sealed_run(tmp_path, 3)
    book = tmp_path / "recorder.json"
    path = new_run(tmp_path)
    fill(path, 3)
    path.close()
    said = json.loads(book.read_text())
    path.seal(sealed_utc=STARTED_UTC)
    book.write_text(json.dumps({**said, "sealing": path.path.name}))  # as if the crash came after seal.json
    last = sealed_run(tmp_path, 3)
    second, third = seal.read_seal(path.path), seal.read_seal(last)
    assert second is not None
    assert third is not None
    assert third.previous == second.digest
    assert third.chain_number == 3


def test_a_log_book_copied_to_another_computer_has_its_own_chain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = seal.read_seal(sealed_run(tmp_path, 3))
    monkeypatch.setattr(chain.platform, "node", lambda: "other-computer")
    second = seal.read_seal(sealed_run(tmp_path, 3))
    assert first is not None
    assert second is not None
    assert second.chain_id != first.chain_id
    assert second.previous is None


def test_the_digest_of_a_seal_is_what_any_program_computes(tmp_path: Path) -> None:
    import hashlib

    path = sealed_run(tmp_path)
    text = (path / "seal.json").read_text()
    digest = json.loads(text)["digest"]
    assert hashlib.sha256(text.replace(digest, "0" * 64).encode()).hexdigest() == digest
    files = json.loads(text)["files"]
    assert files["samples.csv"] == hashlib.sha256((path / "samples.csv").read_bytes()).hexdigest()


def test_an_original_file_is_under_the_seal(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 3)
    (run.path / "original").mkdir()
    (run.path / "original" / "export.csv").write_text("a;b")
    run.seal(sealed_utc=STARTED_UTC)
    assert check_record(run.path).intact
    (run.path / "original" / "export.csv").write_text("a;c")
    assert check_record(run.path).first_difference == "original/export.csv"


def test_what_killed_writes_left_is_gone_once_the_run_is_sealed(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 5)
    left = [run.path / ".seal.json.4242.part", run.path / ".events.csv.4243.part"]
    young = run.path / ".seal.json.4244.part"
    for path in (*left, young):
        path.write_text("half")
    for path in left:
        os.utime(path, (1.0, 1.0))
    run.renew_events()
    run.seal(sealed_utc=STARTED_UTC + 5)
    assert [path.name for path in run.path.glob(".*")] == [young.name]  # another process may be writing it now


def test_a_sealed_run_is_not_sealed_or_resumed_again(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    with pytest.raises(RunFolderError, match="sealed"):
        RunFolder.resume(path)


# Resuming, segments


def test_a_resumed_run_goes_on_in_a_new_segment(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    run.write_event(0, STARTED_UTC, "start")
    fill(run, 10)
    run.close()
    with open(run.path / "samples.csv", "ab") as file:
        file.write(b"10.000,2026-11-25T07:1")
    with open(run.path / "events.csv", "ab") as file:
        file.write(b"10.000,2026-11-25T07:1")
    again = RunFolder.resume(run.path)
    again.write_event(20, STARTED_UTC + 20, "resumed")
    fill(again, 5, start=20)
    again.seal(sealed_utc=STARTED_UTC + 30)
    check = check_record(run.path)
    assert check.rows == 15
    assert check.torn_tail
    assert check.intact
    assert [part.segment.name for part in check.good] == ["samples.csv", "samples-2.csv"]
    assert [event.event for event in read_events(run.path)] == ["start", "resumed"]


def test_rows_written_again_after_a_failed_fsync_are_taken_once_in_order(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 10)
    lines = (run.path / "samples.csv").read_bytes().split(b"\n")
    (run.path / "samples.csv").write_bytes(b"\n".join([*lines[:6], *lines[8:]]))  # seconds 5 and 6 were lost
    run.last_t_s = None
    run.new_segment()
    fill(run, 9, start=4)
    run.close()
    check = check_record(run.path)
    assert check.rows == 13
    times = [float(row.split(b",")[0]) for row in returned_rows(check)]
    assert times == [float(second) for second in range(13)]
    assert any("In two segments" in words for words in check.says)


def test_an_empty_segment_is_no_damage(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 4)
    run.close()
    (run.path / "samples-2.csv").write_bytes(b"t_s,ut")
    check = check_record(run.path)
    assert (check.rows, check.intact, check.torn_tail) == (4, True, True)


# Marks


@given(
    pieces=st.lists(st.text(min_size=1, max_size=12), max_size=3).map(tuple),
    note=st.text(max_size=30),
    by=st.none() | st.text(min_size=1, max_size=8),
    later=st.booleans(),
)
def test_a_mark_comes_back_from_its_detail(pieces: tuple[str, ...], note: str, by: str | None, later: bool) -> None:
    mark = Mark(12.5, "pull", pieces, note, "a1b2c3", 20.0, later, by)
    detail = marks.encode_mark(mark)
    assert "\n" not in detail
    assert marks.decode_mark(Event(20.0, "", "mark", detail)) == mark


@pytest.mark.parametrize("at", ["inf", "nan", "soon"])
def test_a_mark_without_a_moment_is_none(at: str) -> None:
    assert marks.decode_mark(Event(1.0, "", "mark", f"load; id a1b2c3; at {at} s")) is None


def test_marks_struck_out_later_keep_their_entry(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    later = Mark(30.0, "pull", ("B-041",), mark_id="d4e5f6", entered_later=True, by="anna")
    append_sealed(
        path,
        [(60.0, marks.encode_mark(later)), (60.0, marks.encode_strike("a1b2c3", why="it was B-043", by="anna"))],
        now_utc=STARTED_UTC + 4000,
    )
    load, pull = read_marks(path)
    assert (load.act, load.pieces, load.struck, load.struck_why) == ("load", ("B-041", "B-042"), True, "it was B-043")
    assert (pull.t_s, pull.entered_later, pull.struck) == (30.0, True, False)
    assert len(read_events(path)) == 5


def test_a_later_entry_is_sealed_again_and_names_the_seal_before(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    first = seal.read_seal(path)
    later = Mark(30.0, "note", note="found a crack", mark_id="d4e5f6", entered_later=True)
    second = append_sealed(path, [(60.0, marks.encode_mark(later))], now_utc=STARTED_UTC + 4000)
    assert first is not None
    assert [former.digest for former in second.former] == [first.digest]
    assert second.chain_number == first.chain_number
    assert check_record(path).intact
    following = seal.read_seal(sealed_run(tmp_path))
    assert following is not None
    assert following.previous == second.digest
    third = append_sealed(path, [(60.0, marks.encode_strike("d4e5f6", why="no crack"))], now_utc=STARTED_UTC + 5000)
    assert following.previous in third.known_as


def seal_other(path: Path, said: dict[str, object]) -> str:
    """Write another seal; its digest."""
    text = seal.seal_text({key: value for key, value in said.items() if key != "digest"})
    (path / "seal.json").write_text(text)
    return str(json.loads(text)["digest"])


@pytest.mark.parametrize("form", ["today's", "of the first releases", "the last line feed is missing"])
def test_a_seal_that_grew_by_marks_is_known_as_what_it_was(tmp_path: Path, form: str) -> None:
    path = sealed_run(tmp_path)
    said = json.loads((path / "seal.json").read_text())
    if form == "of the first releases":
        del said["changed"]
    if form == "the last line feed is missing":
        events = path / "events.csv"
        events.write_bytes(events.read_bytes()[:-1])
        said["events_bytes"] -= 1
        said["files"]["events.csv"] = seal.file_sha256(events)
    first = seal_other(path, said)
    strike = marks.encode_strike("a1b2c3", why="it was B-043")
    later = [marks.encode_mark(Mark(30.0, "note", note=note, entered_later=True)) for note in ("one", "two")]
    second = append_sealed(path, [(60.0, later[0]), (60.0, later[1])], now_utc=STARTED_UTC + 4000).digest
    third = append_sealed(path, [(60.0, strike)], now_utc=STARTED_UTC + 5000)
    assert third.known_as == (third.digest, first, second)


def test_a_seal_over_bad_rows_that_an_older_release_named_otherwise_is_known_as_what_it_was(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 40)
    samples = run.path / "samples.csv"
    data = bytearray(samples.read_bytes())
    data[data.index(b"\n", len(data) // 2) - 12] ^= 1
    samples.write_bytes(bytes(data))
    run.seal(sealed_utc=STARTED_UTC + 3000)
    said = json.loads((run.path / "seal.json").read_text())
    ((segment, line, words),) = said["bad_rows"]
    said["bad_rows"] = [[segment, line, "its checksum does not fit"]]
    said["says"] = [says.replace(words, "its checksum does not fit") for says in said["says"]]
    first = seal_other(run.path, said)
    later = marks.encode_mark(Mark(30.0, "note", note="one", entered_later=True))
    second = append_sealed(run.path, [(60.0, later)], now_utc=STARTED_UTC + 4000)
    assert second.known_as == (second.digest, first)
    assert second.bad_rows == ((segment, line, "its checksum does not fit"),)
    check = check_record(run.path)
    assert [mark.note for mark in read_marks(run.path)][-1] == "one"
    assert check.intact
    assert [bad.line for bad in check.bad_rows] == [line]


def test_a_seal_that_only_names_another_is_not_known_as_that(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    said = json.loads((path / "seal.json").read_text())
    true = {key: said[key] for key in ("digest", "sealed_utc", "events_bytes")}
    former = [{**true, "events_sha256": said["files"]["events.csv"]}]
    forged = seal_other(path, said | {"former": former, "rows": said["rows"] - 1})
    found = seal.read_seal(path)
    assert found is not None
    assert found.known_as == (forged,)
    # Nor is one that grew out of the forged one by marks alone.
    later = marks.encode_mark(Mark(30.0, "note", note="one", entered_later=True))
    grown = append_sealed(path, [(60.0, later)], now_utc=STARTED_UTC + 4000)
    assert true["digest"] not in grown.known_as


def test_a_changed_run_takes_no_later_entry(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    file = path / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"1040", b"1060", 1))
    with pytest.raises(RunFolderError, match=r"samples\.csv is not what the seal says"):
        append_sealed(path, [(1.0, marks.encode_strike("a1b2c3", why="x"))], now_utc=STARTED_UTC)


def test_a_later_entry_that_a_crash_left_unsealed_is_taken_in(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    old = (path / "seal.json").read_bytes()
    later = Mark(30.0, "note", note="one", mark_id="d4e5f6", entered_later=True)
    append_sealed(path, [(60.0, marks.encode_mark(later))], now_utc=STARTED_UTC + 4000)
    (path / "seal.json").write_bytes(old)  # as if the crash came before the new seal
    assert not check_record(path).intact
    append_sealed(path, [(60.0, marks.encode_strike("d4e5f6", why="two"))], now_utc=STARTED_UTC + 5000)
    assert check_record(path).intact
    assert read_marks(path)[1].struck


def test_events_taken_back_under_a_later_seal_are_noticed(tmp_path: Path) -> None:
    """A new seal over rewritten first events does not pass: the former seal's bytes must still be there."""
    path = sealed_run(tmp_path)
    seal_file = path / "seal.json"
    later = Mark(30.0, "note", note="one", mark_id="d4e5f6", entered_later=True)
    append_sealed(path, [(60.0, marks.encode_mark(later))], now_utc=STARTED_UTC + 4000)
    said = json.loads(seal_file.read_text())
    said["former"][0]["events_sha256"] = "0" * 63 + "1"
    seal_file.write_text(seal.seal_text({key: value for key, value in said.items() if key != "digest"}))
    assert check_record(path).first_difference == "events.csv"


def test_a_dropped_mark_is_read_back_and_rubbish_is_set_aside(tmp_path: Path) -> None:
    mark = marks.DroppedMark("a1b2c3", "2026-11-25T07:15:12.000Z", act="load", pieces=("B-1", "B-2"), by="anna")
    path = marks.drop_mark(tmp_path, mark)
    (tmp_path / "marks" / "rubbish.mark").write_text("{")
    (tmp_path / "marks" / ".half.mark.part").write_text("{")
    (found,) = marks.dropped_marks(tmp_path)
    assert found.path == path
    assert (found.act, found.pieces, found.by, found.utc) == ("load", ("B-1", "B-2"), "anna", mark.utc)
    assert (tmp_path / "marks" / "rubbish.mark.unreadable").exists()


def test_a_mark_is_found_by_the_beginning_of_its_id() -> None:
    known = [Mark(1, "load", mark_id="a1b2c3"), Mark(2, "pull", mark_id="a1ffff")]
    assert marks.find_mark(known, "a1b").act == "load"
    with pytest.raises(RunFolderError, match="2 marks"):
        marks.find_mark(known, "a1")
    with pytest.raises(RunFolderError, match="0 marks"):
        marks.find_mark(known, "")


# Locks


def test_a_lock_says_who_has_it(tmp_path: Path) -> None:
    lock = Lock(tmp_path / "x.lock", {"who": "record", "since": "07:15"})
    assert is_held(lock.path)
    assert read_holder(lock.path)["who"] == "record"
    with pytest.raises(LockHeld, match=r"record, process \d+, since 07:15 has it"):
        Lock(lock.path)
    lock.release()
    lock.release()
    assert not is_held(lock.path)
    Lock(lock.path).release()
