"""What a person saw and did beside the runs: kept, taken back by striking, handed to the audit, carried out."""

from __future__ import annotations

import csv
import sqlite3
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import exporting, opening
from soakwitness.analysis.logbook.backing_up import back_up, restore
from soakwitness.analysis.logbook.care import rebuild
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.cutouts import add_cutout_test, cutout_tests
from soakwitness.analysis.logbook.entries import strike, struck_entries
from soakwitness.analysis.logbook.evidence import choose, gather
from soakwitness.analysis.logbook.history import piece_history
from soakwitness.analysis.logbook.inspections import KINDS, RESULTS, add_inspection, inspections_of
from soakwitness.analysis.logbook.opening import LogBook, open_logbook, statements
from soakwitness.analysis.logbook.pieces import change_piece, piece_named
from soakwitness.analysis.logbook.run_loads import bind_loads, enter_load, load_of_run, load_words
from soakwitness.analysis.logbook.runs import give_recipe, take_in
from soakwitness.analysis.logbook.treatments import add_treatment, left_out_since, treatments_of, treatments_since
from soakwitness.analysis.recomputing.refreshing import refresh
from tests.furnace_days import HARDEN
from tests.log_books import LATER, STAMP, book_with_run, new_book
from tests.run_folders import sealed_run

SEEN = "2026-11-25T10:00:00Z"


def test_what_was_left_out_is_no_treatment_and_is_told(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-1")
    charge_pieces(book, ["C-1"], stamp=STAMP, run=run)
    give_recipe(book, run, "harden", HARDEN, stamp=STAMP)  # states a cold treatment and two tempers
    (entry,) = add_treatment(book, ["C-1"], "cold treatment", start_utc=SEEN, not_done=True, stamp=STAMP)
    assert treatments_of(book, "C-1")[0].not_done
    assert treatments_since(book, ["C-1"], since_utc="2026-11-25T07:15:02Z") == {"C-1": ()}
    assert left_out_since(book, ["C-1"], since_utc="2026-11-25T07:15:02Z") == {"C-1": ("cold treatment",)}
    told = [(f.code, f.says) for f in piece_history(book, "C-1").findings]
    assert ("not done", "The cold treatment was not done.") in told
    assert not [says for code, says in told if code == "not on record" and "cold" in says]
    add_treatment(book, ["C-1"], "cold treatment", start_utc="2026-11-25T12:00:00Z", lowest_c=-78.0, stamp=STAMP)
    assert "not done" not in [f.code for f in piece_history(book, "C-1").findings]  # caught up with
    strike(book, "treatments", [entry], why="it was", stamp=LATER)
    assert [t.not_done for t in treatments_of(book, "C-1")] == [False]


def test_what_was_not_done_has_no_temperature(tmp_path: Path) -> None:
    book = new_book(tmp_path, "C-1")
    with pytest.raises(LogBookError, match="not done has no end"):
        add_treatment(book, ["C-1"], "temper", start_utc=SEEN, not_done=True, shown_c=200.0, stamp=STAMP)
    with pytest.raises(LogBookError, match="not believable"):
        add_treatment(book, ["C-1"], "temper", start_utc=SEEN, second_c=2000.0, stamp=STAMP)


@pytest.mark.parametrize("kind", KINDS)
def test_a_look_is_kept_as_seen_and_struck_through_when_wrong(tmp_path: Path, kind: str) -> None:
    book = new_book(tmp_path, "C-1", "C-2")
    result, mm = (RESULTS[kind][0], None) if kind in RESULTS else (None, 0.8)
    entries = add_inspection(
        book, ["C-1..C-2"], kind, seen_utc=SEEN, side="after", step="quench", result=result, mm=mm, place="tip",
        stamp=STAMP,
    )  # fmt: skip
    (kept,) = inspections_of(book, "c-2")
    assert (kept.kind, kept.result, kept.mm, kept.place, kept.stage) == (kind, result, mm, "tip", "after quench")
    strike(book, "inspections", [entries[1]], why="was C-3", stamp=LATER)
    assert inspections_of(book, "C-2") == ()
    assert [(s.kind, s.struck_why) for s in struck_entries(book, "C-2")] == [("inspection", "was C-3")]
    assert len(inspections_of(book, "C-1")) == 1


@pytest.mark.parametrize(
    ("kind", "result", "mm", "word"),
    [
        ("warp", None, None, "How far is it off straight"),
        ("warp", "bent", None, "in millimetres, not 'bent'"),
        ("warp", None, 562.0, "562 mm is not believable"),
        ("crack", None, -1.0, "-1 mm is not believable"),
        ("crack", None, float("nan"), "not believable"),
        ("file test", None, None, "What did the file test show: skates, bites"),
        ("file test", "skids", None, "'skids' is no answer"),
        ("magnet", "weak", 3.0, "not told in millimetres"),
        ("spark test", None, None, "'spark test' is no look"),
    ],
)
def test_a_look_that_cannot_be_is_refused_with_what_can(
    tmp_path: Path, kind: str, result: str | None, mm: float | None, word: str
) -> None:
    book = new_book(tmp_path, "C-1")
    with pytest.raises(LogBookError, match=word):
        add_inspection(book, ["C-1"], kind, seen_utc=SEEN, result=result, mm=mm, stamp=STAMP)
    assert inspections_of(book, "C-1") == ()


def test_what_a_run_held_is_said_once_and_never_written_over(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-1")
    entry = enter_load(book, run=run, kg=3.2, fixtures="rack", fixtures_kg=1.1, stamp=STAMP)
    with pytest.raises(LogBookError, match=f"strike load {entry}"):
        enter_load(book, run=run, kg=3.0, stamp=LATER)
    with pytest.raises(LogBookError, match="Is 5 kg meant"):
        enter_load(book, run=run, kg=2.0, fixtures_kg=3.0, stamp=LATER)
    with pytest.raises(LogBookError, match="4000 g are 4 kg"):
        enter_load(book, run=run, kg=4000.0, stamp=LATER)
    strike(book, "run_loads", [entry], why="without the rack", stamp=LATER)
    enter_load(book, run=run, kg=2.1, stamp=LATER)
    there = load_of_run(book, run)
    assert there is not None
    assert (there.kg, load_words(there)) == (2.1, "2.1 kg")


def test_an_empty_furnace_holds_no_piece(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-1")
    with pytest.raises(LogBookError, match="cannot have been empty: 2 pieces in it, B-041"):  # so say its marks
        enter_load(book, run=run, empty=True, stamp=STAMP)
    book.connection.execute("DELETE FROM run_marks")
    entry = enter_load(book, run=run, empty=True, stamp=STAMP)
    with pytest.raises(LogBookError, match=f"was empty, says entry {entry} by Ana"):
        charge_pieces(book, ["C-1"], run=run, stamp=STAMP)
    with pytest.raises(LogBookError, match="Empty, and yet 2 kg"):
        enter_load(book, run=run, kg=2.0, empty=True, stamp=STAMP)
    strike(book, "run_loads", [entry], why="forgot one", stamp=LATER)
    charge_pieces(book, ["C-1"], run=run, stamp=STAMP)
    with pytest.raises(LogBookError, match="cannot have been empty: 1 piece in it, C-1"):
        enter_load(book, run=run, empty=True, stamp=STAMP)


def test_a_mass_that_waits_is_given_the_next_run(tmp_path: Path) -> None:
    run = sealed_run(tmp_path, 60).name
    book = new_book(tmp_path)
    furnace = "test furnace"
    enter_load(book, next_of=furnace, kg=2.5, stamp=type(STAMP)("2026-11-25T07:00:00Z", "Ana"))
    take_in(book, stamp=STAMP)
    furnace = book.row("SELECT furnace FROM runs")["furnace"]  # type: ignore[index]
    book.connection.execute("UPDATE run_loads SET waits_for = ?", (furnace,))
    assert bind_loads(book, stamp=STAMP) == 1
    there = load_of_run(book, run)
    assert there is not None
    assert there.kg == 2.5


def test_a_cut_out_is_tested_or_cut_by_itself(tmp_path: Path) -> None:
    book = new_book(tmp_path)
    add_cutout_test(book, "shed", done_on="2026-11-25", set_c=900.0, tripped_c=908.0, stamp=STAMP)
    add_cutout_test(book, "shed", done_on="2026-11-24", set_c=900.0, reached_c=960.0, stamp=STAMP)
    assert [(t.done_on, t.tripped_c, t.reached_c) for t in cutout_tests(book, "shed")] == [
        ("2026-11-24", None, 960.0),
        ("2026-11-25", 908.0, None),
    ]
    with pytest.raises(LogBookError, match="one of the two"):
        add_cutout_test(book, "shed", done_on="2026-11-25", set_c=900.0, stamp=STAMP)
    with pytest.raises(LogBookError, match="not believable"):
        add_cutout_test(book, "shed", done_on="2026-11-25", set_c=9000.0, tripped_c=900.0, stamp=STAMP)
    with pytest.raises(LogBookError, match="by itself"):
        add_cutout_test(book, "shed", done_on="2026-11-25", set_c=900.0, reached_c=900.0, by_itself=True, stamp=STAMP)
    strike(book, "cutout_tests", [2], why="wrong furnace", stamp=LATER)
    assert len(cutout_tests(book, "shed")) == 1


def full(folder: Path) -> tuple[LogBook, str]:
    """A log book with one of everything; its run held all six pieces, of which one is suspect."""
    book, run = book_with_run(folder, "C-1..C-5", lot="7733", thickness_mm=3.0)
    charge_pieces(book, ["C-1..C-5"], run=run, stamp=STAMP)
    change_piece(book, "C-5", why="a scrap", stamp=STAMP, coupon=True)
    add_treatment(book, ["C-1"], "cold treatment", start_utc=SEEN, not_done=True, stamp=STAMP)
    add_treatment(book, ["C-1"], "temper", start_utc=SEEN, oven="kitchen", shown_c=200, second_c=212, stamp=STAMP)
    add_inspection(book, ["C-1"], "warp", seen_utc=SEEN, mm=0.8, place="tip", stamp=STAMP)
    enter_load(book, run=run, kg=3.2, fixtures="rack", fixtures_kg=1.1, stamp=STAMP)
    furnace = book.row("SELECT furnace FROM runs")["furnace"]  # type: ignore[index]
    add_cutout_test(
        book, furnace, done_on="2026-11-25", set_c=1150.0, tripped_c=1100.0, by_itself=True, run=run, stamp=STAMP
    )
    return book, run


def test_the_audit_is_given_all_of_it(tmp_path: Path) -> None:
    book, run = full(tmp_path)
    give_recipe(book, run, "harden", HARDEN, stamp=STAMP)
    chosen = choose(book, ["C-1"])
    refresh(book, stamp=STAMP, runs=chosen.needed)
    found = gather(book, chosen)
    cold, temper = found.suspects[0].treatments
    assert (cold.not_done, temper.not_done, temper.oven, temper.shown_c, temper.second_c) == (
        True, False, "kitchen", 200.0, 212.0,
    )  # fmt: skip
    (warp,) = found.suspects[0].inspections
    assert (warp.kind, warp.mm, warp.place) == ("warp", 0.8, "tip")
    assert found.charge_kg == {run: 3.2}
    assert found.fixtures == {run: "rack"}
    assert [p.id for p in found.charges[run]] == ["C-1", "C-2", "C-3", "C-4", "C-5", "B-041", "B-042"]
    assert [p.id for p in found.charges[run] if p.coupon] == ["C-5"]
    assert [(c.set_c, c.tripped_c, c.by_itself) for c in found.cutouts] == [(1150.0, 1100.0, True)]


def test_a_rebuild_and_a_backup_keep_it_and_the_export_shows_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(exporting, "has_parquet", lambda: False)
    book, run = full(tmp_path / "book")
    rebuild(book, stamp=LATER)
    back_up(book, tmp_path / "all.zip", stamp=LATER)
    restore(tmp_path / "all.zip", tmp_path / "again")
    with open_logbook(tmp_path / "again") as again:
        assert piece_named(again, "C-5").coupon
        assert [t.second_c for t in treatments_of(again, "C-1")] == [None, 212.0]
        assert [i.mm for i in inspections_of(again, "C-1")] == [0.8]
        there = load_of_run(again, run)
        assert there is not None
        assert there.fixtures_kg == 1.1
        exporting.export_book(again, tmp_path / "out", samples=False)
    for name, count in (("inspections", 1), ("run_loads", 1), ("cutout_tests", 1), ("treatments", 2)):
        with (tmp_path / "out" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
            assert len(list(csv.DictReader(file))) == count, name


def test_every_table_of_entries_goes_out(tmp_path: Path) -> None:
    """What people entered stands in tables with struck_utc; none is left out of the export."""
    book = new_book(tmp_path)
    tables = [row[0] for row in book.rows("SELECT name FROM sqlite_master WHERE type = 'table'")]
    entered = [t for t in tables if "struck_utc" in [r[1] for r in book.rows(f"PRAGMA table_info({t})")]]
    asked = " ".join(exporting.TABLES.values())
    # which recipe a run was given is told by the verdicts and by ``logbook backup``
    assert [t for t in entered if t not in asked] == ["run_recipes"]


def test_a_book_of_schema_3_keeps_its_treatments(tmp_path: Path) -> None:
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    for number in (1, 2, 3):
        for statement in statements(Path(opening.__file__).with_name(f"schema_{number:03d}.sql")):
            raw.execute(statement)
    raw.execute("PRAGMA user_version = 3")
    raw.execute("INSERT INTO pieces VALUES ('C-1')")
    raw.execute("INSERT INTO piece_facts (piece, lot, entered_utc, entered_by) VALUES ('C-1', '77', ?, 'Ana')", (SEEN,))
    raw.execute(
        "INSERT INTO treatments (piece, kind, start_utc, shown_c, entered_utc, entered_by) "
        "VALUES ('C-1', 'temper', ?, 200.0, ?, 'Ana')",
        (SEEN, SEEN),
    )
    raw.close()
    (tmp_path / "runs").mkdir()
    with open_logbook(tmp_path) as book:
        (kept,) = treatments_of(book, "C-1")
        assert (kept.shown_c, kept.not_done, kept.oven, kept.second_c) == (200.0, False, None, None)
        assert (piece_named(book, "C-1").lot, piece_named(book, "C-1").coupon) == ("77", False)
