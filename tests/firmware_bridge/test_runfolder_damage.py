"""Damaged run folders: every change is reported, and no wrong reading ever comes back."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.runfolder.line_format import header_line
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header
from tests.record_oracle import judge, returned_rows, written_rows
from tests.run_folders import fill, new_run, sealed_run


@pytest.fixture
def sealed(tmp_path: Path) -> Path:
    return sealed_run(tmp_path, 200)


@pytest.fixture
def unsealed(tmp_path: Path) -> Path:
    run = new_run(tmp_path)
    run.write_event(0, "2026-11-25T07:15:02.000Z", "start")
    fill(run, 200)
    run.close()
    return run.path


def test_an_undamaged_record_comes_back_whole(sealed: Path, tmp_path: Path) -> None:
    written = written_rows(sealed)
    check = check_record(sealed)
    assert check.sealed
    assert check.intact
    assert returned_rows(check) == written
    (sealed / "seal.json").unlink()
    again = check_record(sealed)
    assert not again.sealed
    assert again.intact
    assert returned_rows(again) == written


def test_sealed_samples_cut_at_every_byte_of_the_last_4_kib(sealed: Path) -> None:
    file = sealed / "samples.csv"
    whole = file.read_bytes()
    written = written_rows(sealed)
    for cut in range(len(whole) - 4096, len(whole)):
        file.write_bytes(whole[:cut])
        check = judge(sealed, written)
        assert check.sealed
        assert not check.intact
        assert check.first_difference == "samples.csv"
        whole_rows = whole[:cut].count(b"\n") - 1
        # A row is back if all of it is there; its line feed may be missing.
        assert check.rows == whole_rows + (whole[cut : cut + 1] == b"\n")
        assert check.torn_tail == (whole[cut - 1 : cut] != b"\n")


def test_unsealed_samples_cut_at_every_byte_of_the_last_rows(unsealed: Path) -> None:
    file = unsealed / "samples.csv"
    whole = file.read_bytes()
    written = written_rows(unsealed)
    for cut in range(len(whole) - 300, len(whole)):
        file.write_bytes(whole[:cut])
        at_a_row = whole[cut - 1 : cut] == b"\n"  # nothing can show that rows are gone from the end
        check = judge(unsealed, written, reported=not at_a_row)
        assert check.torn_tail == (not at_a_row)
        assert check.intact


@pytest.mark.parametrize("seal", [True, False])
def test_500_random_flipped_bits(sealed: Path, unsealed: Path, seal: bool) -> None:
    folder = sealed if seal else unsealed
    chance = random.Random(20261125 + seal)
    written = written_rows(folder)
    names = ["samples.csv"] * 5 + ["events.csv"] + (["run.json", "seal.json"] if seal else [])
    for _ in range(500):
        file = folder / chance.choice(names)
        whole = file.read_bytes()
        place, bit = chance.randrange(len(whole)), chance.randrange(8)
        flipped = bytearray(whole)
        flipped[place] ^= 1 << bit
        file.write_bytes(flipped)
        if file.name == "run.json":
            _judge_changed_header(folder, written)
        else:
            check = judge(folder, written)
            assert check.rows >= len(written) - 2
        file.write_bytes(whole)


def _judge_changed_header(folder: Path, written: list[bytes]) -> None:
    from soakwitness.firmware_bridge.errors import RunFolderError

    try:
        check = judge(folder, written)
    except RunFolderError:
        return  # refused: that is a report too
    assert not check.intact
    assert check.first_difference == "run.json"


@pytest.mark.parametrize("seal", [True, False])
def test_lost_repeated_and_swapped_rows(sealed: Path, unsealed: Path, seal: bool) -> None:
    folder = sealed if seal else unsealed
    file = folder / "samples.csv"
    chance = random.Random(7)
    whole = file.read_bytes()
    lines = whole.split(b"\n")
    written = written_rows(folder)
    for _ in range(60):
        i = chance.randrange(1, len(lines) - 2)
        j = chance.randrange(1, len(lines) - 2)
        lost = lines[:i] + lines[i + 1 :]
        repeated = lines[:i] + [lines[i]] + lines[i:]
        swapped = list(lines)
        swapped[i], swapped[j] = lines[j], lines[i]
        for damaged in (lost, repeated, *([swapped] if i != j else [])):
            file.write_bytes(b"\n".join(damaged))
            check = judge(folder, written)
            assert check.bad_rows
            assert check.rows >= len(written) - 5


def test_a_bad_row_in_the_middle_is_named_by_its_line(unsealed: Path) -> None:
    file = unsealed / "samples.csv"
    lines = file.read_bytes().split(b"\n")
    lines[41] = lines[41].replace(b"1040", b"1041")
    file.write_bytes(b"\n".join(lines))
    check = judge(unsealed, written_rows(unsealed))
    assert [(bad.segment, bad.line) for bad in check.bad_rows] == [("samples.csv", 42)]
    assert check.rows == 199
    assert not check.intact
    assert check.first_difference == "samples.csv"


def test_a_row_holds_after_a_row_whose_checksum_cell_was_hit(unsealed: Path) -> None:
    """The next row continues the computed checksum where the stored one is spoilt."""
    file = unsealed / "samples.csv"
    lines = file.read_bytes().split(b"\n")
    lines[41] = lines[41][:-1] + (b"0" if lines[41][-1:] != b"0" else b"1")
    file.write_bytes(b"\n".join(lines))
    check = check_record(unsealed)
    assert [bad.line for bad in check.bad_rows] == [42]
    assert check.rows == 199


def test_upper_case_digits_are_no_checksum(unsealed: Path) -> None:
    file = unsealed / "samples.csv"
    whole = file.read_bytes()
    head, _, rows = whole.partition(b"\n")
    file.write_bytes(head + b"\n" + rows.replace(b"Z", b"\0").upper().replace(b"\0", b"Z"))
    check = check_record(unsealed)
    lower = [row for row in rows.split(b"\n") if row and row[-8:] != row[-8:].upper()]
    assert len(check.bad_rows) == len(lower) > 100


def test_line_ends_of_another_program_are_said(unsealed: Path) -> None:
    file = unsealed / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    check = judge(unsealed, [])
    assert check.rows == 0
    assert "header" in check.bad_rows[0].says


def test_swapped_column_names_give_no_reading_at_all(unsealed: Path) -> None:
    file = unsealed / "samples.csv"
    whole = file.read_bytes()
    file.write_bytes(whole.replace(b"control,load", b"load,control", 1))
    check = check_record(unsealed)
    assert not check.intact
    assert check.bad_rows[0].line == 1
    # The rows were written under the header that run.json states, so they are still right.
    assert check.rows == 200
    text = (unsealed / "run.json").read_text()
    (unsealed / "run.json").write_text(text.replace('"control"', '"x"').replace('"load"', '"control"'))
    assert check_record(unsealed).rows == 0


def test_zeros_at_the_end_after_a_power_cut_are_a_torn_tail(unsealed: Path) -> None:
    with open(unsealed / "samples.csv", "ab") as file:
        file.write(bytes(300))
    check = judge(unsealed, written_rows(unsealed)[:200])
    assert check.torn_tail
    assert check.rows == 200
    assert check.intact


def test_a_missing_and_an_added_file_are_differences(sealed: Path) -> None:
    shutil.copy(sealed / "samples.csv", sealed / "samples-2.csv")
    added = check_record(sealed)
    assert added.first_difference == "samples-2.csv"
    assert added.rows == 200
    (sealed / "samples-2.csv").unlink()
    (sealed / "events.csv").unlink()
    assert check_record(sealed).first_difference == "events.csv"
    assert "events.csv is missing." in check_record(sealed).says
    assert read_events(sealed) == ()


def test_unknown_files_are_accepted(sealed: Path) -> None:
    (sealed / "reports").mkdir()
    (sealed / "reports" / "chart.svg").write_text("<svg/>")
    (sealed / "remarks.txt").write_text("nothing")
    assert check_record(sealed).intact


def test_the_oracle_itself_notices_a_wrong_row(unsealed: Path) -> None:
    written = written_rows(unsealed)
    written[5] = written[5].replace(b"1040", b"1041")
    with pytest.raises(AssertionError, match="not written so"):
        judge(unsealed, written, reported=False)


def test_header_is_what_run_json_says(unsealed: Path) -> None:
    names = [column.name for column in read_header(unsealed).columns]
    assert (unsealed / "samples.csv").read_bytes().startswith(header_line(names))
