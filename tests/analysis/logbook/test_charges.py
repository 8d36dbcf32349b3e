from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.charges import (
    bind_waiting,
    charge_pieces,
    pieces_in_run,
    places_of,
    runs_of_piece,
)
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.record.moments import Stamp
from tests.log_books import STAMP, book_with_run, new_book
from tests.run_folders import sealed_run


def test_two_charges_of_one_run_keep_their_numbers_and_packets(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-001..C-004", thickness_mm=3.0)
    with book:
        assert charge_pieces(book, ["C-001", "C-002"], stamp=STAMP, run=run, foil=True, place="front") == 1
        assert charge_pieces(book, ["C-003"], stamp=STAMP, run=run, foil=False, heated_faces=1, blades=2) == 2
        assert charge_pieces(book, ["C-004"], stamp=STAMP, run=run, number=2) == 2
        inside = {c.piece: c for c in pieces_in_run(book, run)}
        assert (inside["C-001"].charge, inside["C-001"].foil, inside["C-001"].place) == (1, True, "front")
        assert (inside["C-003"].foil, inside["C-003"].heated_faces, inside["C-003"].blades) == (False, 1, 2)
        assert (inside["C-004"].foil, inside["C-004"].thickness_mm) == (None, 3.0)
        assert [c.run for c in runs_of_piece(book, "C-003")] == [run]


def test_pieces_named_by_a_mark_are_in_the_run_too(tmp_path: Path) -> None:
    # the sealed run of tests.run_folders has a load mark for B-041 and B-042
    book, run = book_with_run(tmp_path, "B-041", "C-001", thickness_mm=2.5)
    with book:
        charge_pieces(book, ["C-001"], stamp=STAMP, run=run)
        found = pieces_in_run(book, run)
        assert [(c.piece, c.entry > 0, c.thickness_mm) for c in found] == [
            ("C-001", True, 2.5),
            ("B-041", False, 2.5),
            ("B-042", False, None),
        ]
        assert [c.run for c in runs_of_piece(book, "B-041")] == [run]


def test_a_piece_goes_into_a_charge_once_and_only_if_it_exists(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-001")
    with book:
        charge_pieces(book, ["C-001"], stamp=STAMP, run=run)
        with pytest.raises(LogBookError, match="already"):
            charge_pieces(book, ["c-001"], stamp=STAMP, run=run, number=1)
        with pytest.raises(LogBookError, match="no such piece"):
            charge_pieces(book, ["C-9"], stamp=STAMP, run=run)
        with pytest.raises(LogBookError, match="no such run"):
            charge_pieces(book, ["C-001"], stamp=STAMP, run="20260101T000000Z_x_0000")
        with pytest.raises(LogBookError, match="the run the charge was in, or"):
            charge_pieces(book, ["C-001"], stamp=STAMP)
        with pytest.raises(LogBookError, match="heated faces"):
            charge_pieces(book, ["C-001"], stamp=STAMP, run=run, heated_faces=4)
        with pytest.raises(LogBookError, match="not believable"):
            charge_pieces(book, ["C-001"], stamp=STAMP, run=run, blades=99)
        (charged,) = (c for c in pieces_in_run(book, run) if c.piece == "C-001")
        strike(book, "charge_pieces", [charged.entry], why="wrong run", stamp=STAMP)
        assert [c.piece for c in pieces_in_run(book, run)] == ["B-041", "B-042"]


def test_a_second_charge_of_the_same_piece_has_to_be_asked_for(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "C-001..C-002")
    with book:
        charge_pieces(book, ["C-001"], stamp=STAMP, run=run)
        with pytest.raises(LogBookError, match="C-001 is in charge 1 of .* already.*loaded again.*--charge 2"):
            charge_pieces(book, ["C-002", "c-001"], stamp=STAMP, run=run)
        assert [(c.piece, c.charge) for c in pieces_in_run(book, run) if c.entry] == [("C-001", 1)]
        assert charge_pieces(book, ["C-001"], stamp=STAMP, run=run, number=2) == 2
        assert [c.charge for c in pieces_in_run(book, run) if c.piece == "C-001"] == [1, 2]
        charge_pieces(book, ["C-002"], stamp=STAMP, next_of="small furnace")
        with pytest.raises(LogBookError, match="charge 1 of the next run of small furnace already"):
            charge_pieces(book, ["C-002"], stamp=STAMP, next_of="small furnace")


@pytest.mark.parametrize(
    ("entered", "bound"),
    [
        ("2026-11-25T06:00:00Z", 1),  # an hour before the run began, at 07:15:02
        ("2026-11-25T07:15:30Z", 1),  # while it was recorded, from 07:15:02 to 07:16:01
        ("2026-11-25T07:20:00Z", 0),  # it had ended by then
        ("2026-11-25T08:00:00Z", 0),  # too late to mean this one
        ("2026-11-22T06:00:00Z", 0),  # three days before
    ],
)
def test_a_charge_waits_for_the_furnace_s_next_run(tmp_path: Path, entered: str, bound: int) -> None:
    with new_book(tmp_path, "C-001..C-002") as book:
        charge_pieces(book, ["C-001"], stamp=Stamp(entered, "Ana"), next_of="small furnace")
        charge_pieces(book, ["C-002"], stamp=Stamp(entered, "Ana"), next_of="other furnace")
        assert bind_waiting(book, stamp=STAMP) == 0
        run = sealed_run(tmp_path).name
        take_in(book, stamp=STAMP)
        assert bind_waiting(book, stamp=STAMP) == bound
        assert ("C-001" in {c.piece for c in pieces_in_run(book, run)}) == bool(bound)
        assert [c.run for c in runs_of_piece(book, "C-002")] == [None]
        assert [c.run for c in runs_of_piece(book, "C-001")] == [run if bound else None]


def test_a_run_that_had_ended_before_the_entry_is_not_the_next_one(tmp_path: Path) -> None:
    """The sealed run of tests.run_folders lasts from 07:15:02 to 07:16:01; the entry is made four minutes later."""
    with new_book(tmp_path, "C-001") as book:
        run = sealed_run(tmp_path).name
        take_in(book, stamp=STAMP)
        charge_pieces(book, ["C-001"], stamp=Stamp("2026-11-25T07:20:00Z", "Ana"), next_of="small furnace")
        assert bind_waiting(book, stamp=STAMP) == 0
        assert "C-001" not in {c.piece for c in pieces_in_run(book, run)}
        book.connection.execute("UPDATE runs SET ended_utc = NULL")  # still being recorded
        assert bind_waiting(book, stamp=STAMP) == 1


def test_waiting_charges_keep_apart_from_those_entered_meanwhile(tmp_path: Path) -> None:
    early = Stamp("2026-11-25T06:00:00Z", "Ana")
    with new_book(tmp_path, "C-001..C-003") as book:
        charge_pieces(book, ["C-001"], stamp=early, next_of="small furnace")
        charge_pieces(book, ["C-002"], stamp=early, next_of="small furnace")
        run = sealed_run(tmp_path).name
        take_in(book, stamp=STAMP)
        charge_pieces(book, ["C-003"], stamp=STAMP, run=run)
        bind_waiting(book, stamp=STAMP)
        numbers = {c.piece: c.charge for c in pieces_in_run(book, run) if c.entry}
        assert numbers["C-003"] == 1
        assert len(set(numbers.values())) == 3


def test_slots_in_a_row_are_one_for_each_piece() -> None:
    assert places_of("1-3", 3) == ["1", "2", "3"]
    assert places_of(" 4 - 5 ", 2) == ["4", "5"]
    assert places_of("1-3", 1) == ["1-3"]
    assert places_of("front-left", 2) == ["front-left"] * 2
    assert places_of(None, 2) == [None, None]
    with pytest.raises(LogBookError, match="Place 1-6 is 6 slots for 2 pieces"):
        places_of("1-6", 2)
