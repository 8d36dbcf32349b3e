from __future__ import annotations

import csv
import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import exporting
from soakwitness.analysis.logbook.care import check_book, rebuild
from soakwitness.analysis.logbook.charges import charge_pieces, pieces_in_run
from soakwitness.analysis.logbook.exporting import export_book
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import (
    find_run_entry,
    furnaces,
    give_recipe,
    list_runs,
    recipe_text,
    run_named,
    take_in,
)
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.events import append_events
from soakwitness.firmware_bridge.runfolder.line_format import event_body
from soakwitness.firmware_bridge.runfolder.listing import INCOMING
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.seal import seal_text
from soakwitness.firmware_bridge.runfolder.sealing import append_sealed, seal_run
from tests.log_books import LATER, STAMP, book_with_run, new_book
from tests.run_folders import STARTED_UTC, fill, new_run, sealed_run


def three_runs(folder: Path) -> tuple[LogBook, list[str]]:
    runs = [sealed_run(folder, 20).name for _ in range(3)]
    book = new_book(folder, "C-001")
    take_in(book, stamp=STAMP)
    return book, runs


def says(book: LogBook) -> list[str]:
    return [f"{t.where}: {t.says}" for t in check_book(book)]


def test_a_whole_log_book_has_no_trouble(tmp_path: Path) -> None:
    book, _ = three_runs(tmp_path)
    with book:
        assert says(book) == []
        assert take_in(book, stamp=LATER) == take_in(book, stamp=LATER)
        assert furnaces(book) == ("small furnace",)


def test_a_missing_folder_leaves_a_hole_in_the_chain(tmp_path: Path) -> None:
    book, runs = three_runs(tmp_path)
    with book:
        shutil.rmtree(tmp_path / "runs" / runs[1])
        found = says(book)
        assert f"{runs[1]}: its run folder is missing" in found
        assert any("1 sealed run is missing from the chain" in text for text in found)
        assert take_in(book, stamp=LATER).missing == (runs[1],)
        assert run_named(book, runs[1]).missing
        assert len(list_runs(book)) == 3


@pytest.mark.parametrize("number", [1, 2])
def test_a_run_that_an_import_sealed_and_did_not_move_yet_is_no_hole(tmp_path: Path, number: int) -> None:
    """A kill between the seal and the move, or a look in that moment: nothing is missing, the next import moves it."""
    runs = [sealed_run(tmp_path, 20) for _ in range(3)]
    incoming = tmp_path / INCOMING
    incoming.mkdir()
    runs[number].rename(incoming / runs[number].name)
    (incoming / "20261120T000000Z_half_0000").mkdir()  # that one was not sealed: it counts nothing
    with new_book(tmp_path, "C-001") as book:
        take_in(book, stamp=STAMP)
        (trouble,) = check_book(book)
        assert trouble.where == runs[number].name
        assert trouble.says == "it is sealed and not yet among the runs: an import is under way, or was broken off"
        assert trouble.next == "Wait for it; else the next soakwitness import moves it there."


def test_a_missing_newest_folder_is_known_from_the_head_of_the_chain(tmp_path: Path) -> None:
    book, runs = three_runs(tmp_path)
    with book:
        shutil.rmtree(tmp_path / "runs" / runs[2])
        rebuild(book, stamp=LATER)
        assert any(f"the newest run sealed was {runs[2]} (number 3), which is not here" in text for text in says(book))


def test_a_changed_file_and_a_foreign_seal_are_named(tmp_path: Path) -> None:
    book, runs = three_runs(tmp_path)
    with book:
        samples = tmp_path / "runs" / runs[0] / "samples.csv"
        samples.write_bytes(samples.read_bytes().replace(b"20.5", b"21.5"))
        assert f"{runs[0]}: samples.csv is not what the seal says" in says(book)
        shutil.rmtree(tmp_path / "runs" / runs[1])
        (tmp_path / "runs" / runs[2] / "seal.json").write_text("{}")
        assert any("seal.json is damaged" in text for text in says(book))
        (tmp_path / "runs" / runs[2] / "seal.json").unlink()
        assert f"{runs[2]}: its seal is gone" in says(book)


def test_a_seal_made_anew_over_other_readings_is_told_until_it_is_accepted(tmp_path: Path) -> None:
    book, runs = three_runs(tmp_path)
    with book:
        folder = tmp_path / "runs" / runs[2]
        (folder / "seal.json").unlink()
        samples = (folder / "samples.csv").read_bytes().splitlines(keepends=True)
        (folder / "samples.csv").write_bytes(b"".join(samples[:-5]))
        seal_run(folder, sealed_utc=STARTED_UTC + 900)
        take_in(book, stamp=LATER)
        assert f"{runs[2]}: its seal is not the one the log book has seen" in says(book)
        rebuild(book, stamp=LATER)
        assert f"{runs[2]}: its seal is not the one the log book has seen" in says(book)
        rebuild(book, stamp=LATER, accept=[runs[2]])
        assert not any("the log book has seen" in text for text in says(book))


def test_marks_entered_later_are_taken_in_and_no_trouble(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-001")
    with book:
        detail = "load; id ffffff; pieces C-001; at 20.000 s; entered later"
        append_sealed(tmp_path / "runs" / run, [(61.0, detail)], now_utc=STARTED_UTC + 500)
        assert take_in(book, stamp=LATER).changed == (run,)
        assert "C-001" in {c.piece for c in pieces_in_run(book, run)}
        assert says(book) == []


def test_the_book_keeps_how_a_mark_came_to_be(tmp_path: Path) -> None:
    """Through export and rebuild; a mark that says nothing of it has none."""
    book, run = book_with_run(tmp_path, "C-001")
    with book:
        said = Mark(20.0, "pull", ("C-001",), "", "ffffff", None, True, origin="inferred", within_s=10.0)
        plain = replace(said, act="door", mark_id="eeeeee", origin=None, within_s=None)
        details = [(61.0, encode_mark(mark)) for mark in (said, plain)]
        append_sealed(tmp_path / "runs" / run, details, now_utc=STARTED_UTC + 500)
        take_in(book, stamp=LATER)
        rebuild(book, stamp=LATER)
        kept = book.rows("SELECT act, origin, within_s FROM run_marks WHERE t_s = 20 ORDER BY act")
        assert [tuple(row) for row in kept] == [("door", None, None), ("pull", "inferred", 10.0)]
        export_book(book, tmp_path / "tables", samples=False)
    head, *rows = (tmp_path / "tables" / "marks.csv").read_text(encoding="utf-8").splitlines()
    assert head.endswith("origin,within_s")
    assert sum(row.endswith("inferred,10.0") for row in rows) == 1


def test_a_run_still_being_recorded_is_listed_and_read_again(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    run.write_event(0, STARTED_UTC, "start")
    fill(run, 5)
    with new_book(tmp_path, "C-001") as book:
        assert take_in(book, stamp=STAMP).new == (run.path.name,)
        charge_pieces(book, ["C-001"], stamp=STAMP, run=run.path.name)
        assert run_named(book, "last").ended_utc is None
        run.write_event(5, STARTED_UTC + 5, "end")
        run.seal(sealed_utc=STARTED_UTC + 5)
        assert take_in(book, stamp=STAMP).changed == (run.path.name,)
        assert run_named(book, "last").ended_utc == "2026-11-25T07:15:07Z"  # the fixture starts at 07:15:02
        assert [c.piece for c in pieces_in_run(book, run.path.name)] == ["C-001"]


def test_rebuilding_adopts_copied_folders_and_keeps_what_people_entered(tmp_path: Path) -> None:
    other = sealed_run(tmp_path / "other", 20)
    book, run = book_with_run(tmp_path / "mine", "C-001")
    with book:
        charge_pieces(book, ["C-001"], stamp=STAMP, run=run)
        shutil.copytree(other, tmp_path / "mine" / "runs" / other.name)
        taken = rebuild(book, stamp=LATER)
        assert taken.new == (other.name,)
        assert taken.changed == (run,)
        assert "C-001" in {c.piece for c in pieces_in_run(book, run)}
        assert says(book) == []  # two recorders, two chains


def test_a_lost_database_comes_back_from_the_folders(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path)
    before = [replace(entry, verdict=None) for entry in list_runs(book)]
    book.close()
    for file in tmp_path.glob("logbook.sqlite*"):
        file.unlink()
    with new_book(tmp_path) as fresh:
        rebuild(fresh, stamp=LATER)
        assert list(list_runs(fresh)) == before
        assert [c.piece for c in pieces_in_run(fresh, run)] == ["B-041", "B-042"]


def test_a_second_copy_and_a_broken_folder_are_left_out_and_named(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path)
    with book:
        shutil.copytree(tmp_path / "runs" / run, tmp_path / "runs" / f"{run}-copy")
        (tmp_path / "runs" / "empty").mkdir()
        (tmp_path / "runs" / "newer").mkdir()
        header = json.loads((tmp_path / "runs" / run / "run.json").read_text())
        (tmp_path / "runs" / "newer" / "run.json").write_text(json.dumps({**header, "run": "newer", "format": "9.0"}))
        taken = take_in(book, stamp=LATER)
        assert [text.split(":")[0] for text in taken.unreadable] == [f"{run}-copy", "empty", "newer"]
        assert len(list_runs(book)) == 1


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_one_odd_run_leaves_the_rebuilding_of_all_others(tmp_path: Path) -> None:
    """A note of 150,000 signs that an earlier version took, a counter that no database takes, a pipe."""
    book, run = book_with_run(tmp_path)
    with book:
        runs = tmp_path / "runs"
        for name in ("long", "huge", "pipe"):
            shutil.copytree(runs / run, runs / name)
            header = json.loads((runs / name / "run.json").read_text())
            (runs / name / "run.json").write_text(json.dumps({**header, "run": name}))
        long_note = Mark(1.0, "note", note="fine", mark_id="ffffff")
        detail = encode_mark(long_note).replace("fine", "%3B" * 50_000)
        append_events(runs / "long", [event_body(1.0, "2026-11-25T07:15:03.000Z", "mark", detail)])
        seal = json.loads((runs / "huge" / "seal.json").read_text())
        seal["chain"]["number"] = 10**30
        (runs / "huge" / "seal.json").write_text(seal_text({k: v for k, v in seal.items() if k != "digest"}))
        (runs / "pipe" / "run.json").unlink()
        os.mkfifo(runs / "pipe" / "run.json")
        taken = rebuild(book, stamp=LATER)
        assert [text.split(":")[0] for text in taken.unreadable] == ["pipe"]
        assert taken.new == ("huge", "long")  # a seal with such a number is a damaged one: ``logbook check`` tells
        assert ";" * 50_000 in [row["note"] for row in book.rows("SELECT note FROM run_marks WHERE run = 'long'")]


def test_runs_are_found_by_beginning_end_folder_and_last(tmp_path: Path) -> None:
    book, runs = three_runs(tmp_path)
    with book:
        for name in (runs[0], runs[0].rsplit("_", 1)[1], str(tmp_path / "runs" / runs[0])):
            assert run_named(book, name).run == runs[0]
        assert run_named(book, "last").run == runs[-1]  # all began at one moment: the one made last
        with pytest.raises(LogBookError, match="several runs"):
            run_named(book, "20261125")
        with pytest.raises(LogBookError, match="soakwitness runs"):
            run_named(book, "1999")
        assert find_run_entry(book, "1999") is None


def test_a_run_is_judged_by_the_recipe_it_was_given_last(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path)
    with book:
        assert run_named(book, run).recipe_digest is None
        first = give_recipe(book, run, "one", "name = 'one'", stamp=STAMP)
        second = give_recipe(book, run, "two", "name = 'two'", stamp=LATER)
        assert give_recipe(book, run, "two", "name = 'two'", stamp=LATER) == second
        entry = run_named(book, run)
        assert (entry.recipe_digest, entry.recipe_name) == (second, "two")
        assert recipe_text(book, first) == "name = 'one'"
        assert len(book.rows("SELECT * FROM run_recipes")) == 2
        with pytest.raises(LogBookError, match="no recipe"):
            recipe_text(book, "0" * 64)


def test_the_export_holds_no_cell_that_a_spreadsheet_would_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exporting, "has_parquet", lambda: False)
    notes = ['=HYPERLINK("http://x.invalid")', "+1+1", "-2+3", "@SUM(1)", "\t=1", "-78", "plain = not first"]
    with new_book(tmp_path) as book:
        add_pieces(book, [Piece(f"B-{k}", note=note) for k, note in enumerate(notes)], stamp=STAMP)
        export_book(book, tmp_path / "out")
    with (tmp_path / "out" / "pieces.csv").open(newline="", encoding="utf-8") as file:
        kept = [row["note"] for row in csv.DictReader(file)]
    assert kept == ["'" + note for note in notes[:5]] + notes[5:]


def test_the_export_is_plain_csv_with_struck_entries_marked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exporting, "has_parquet", lambda: False)
    book, run = book_with_run(tmp_path / "book", "C-001", customer='Huber, "Wien"')
    with book:
        export_book(book, tmp_path / "out")
        with pytest.raises(LogBookError, match="not empty"):
            export_book(book, tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        names = path.read_text(encoding="utf-8").splitlines()[0].split(",")
        assert len(set(names)) == len(names), path.name
    with (tmp_path / "out" / "pieces.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["piece"], row["customer"], row["struck_utc"]) == ("C-001", 'Huber, "Wien"', "")
    month = tmp_path / "out" / "samples" / "furnace=small-furnace" / "month=2026-11"
    with (month / f"{run}.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    # 60 rows of control and setpoint, and two of three readings of load (tests.run_folders)
    assert len(rows) == 60 + 60 + 40
    assert {(r["name"], r["role"], r["unit"]) for r in rows} == {
        ("control", "control", "degC"),
        ("load", "load", "degC"),
        ("setpoint", "signal", "degC"),
    }
    assert rows[0]["utc"].startswith("2026-11-25 07:15:02")


def test_with_pyarrow_readings_are_parquet_by_furnace_and_month(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow", reason="pyarrow is not installed: the export writes CSV only")
    import pandas as pd

    book, run = book_with_run(tmp_path / "book", "C-001")
    with book:
        export_book(book, tmp_path / "out")
    table = pd.read_parquet(tmp_path / "out" / "samples")
    assert set(table["furnace"].astype(str)) == {"small-furnace"}
    assert set(table["month"].astype(str)) == {"2026-11"}
    assert set(table["run"]) == {run}
    assert len(table) == 60 + 60 + 40  # as in the CSV
    assert list(pd.read_parquet(tmp_path / "out" / "pieces.parquet")["piece"]) == ["C-001"]
