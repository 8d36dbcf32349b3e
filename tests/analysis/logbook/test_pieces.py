from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.batches import add_to_batch, all_batches, batch_named, batches_of, take_from_batch
from soakwitness.analysis.logbook.entries import strike, struck_entries
from soakwitness.analysis.logbook.pieces import (
    Piece,
    add_pieces,
    change_piece,
    find_piece,
    piece_named,
    search,
    spelled_out,
)
from tests.log_books import LATER, STAMP, new_book


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (["B-008..B-011"], ("B-008", "B-009", "B-010", "B-011")),
        (["B-8..11", "X"], ("B-8", "B-9", "B-10", "B-11", "X")),
        (["7..9", "8"], ("7", "8", "9")),
    ],
)
def test_ranges_are_written_out(given: list[str], expected: tuple[str, ...]) -> None:
    assert spelled_out(given) == expected


BAD_NAMES = [
    "B-9..B-3", "A-1..B-5", "a b", "", "x/y", "1..5000", "..", "<b>", "--help", "-1..3", "=A1", "+1", "@x",
    "B" * 61, "B" * 5000, "B-" + "0" * 60 + "1..2", "B" * 60 + "1..2", "1" * 5000 + "..2", "1.." + "1" * 5000,
]  # fmt: skip


@pytest.mark.parametrize("bad", BAD_NAMES, ids=lambda name: name[:12])
def test_a_name_or_range_that_cannot_be_is_refused(bad: str) -> None:
    with pytest.raises(LogBookError):
        spelled_out([bad])


def test_a_change_keeps_the_old_facts_struck_through(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001", steel="S44004", thickness_mm=3.0, customer="Huber") as book:
        now = change_piece(book, "b-001", why="measured again", stamp=LATER, thickness_mm=2.6, stamp_text="H1")
        assert (now.thickness_mm, now.customer, now.stamp) == (2.6, "Huber", "H1")
        (old,) = struck_entries(book, "b-001")
        assert (old.kind, old.facts["thickness_mm"], old.struck_by, old.struck_why) == (
            "piece",
            3.0,
            "Ben",
            "measured again",
        )
        with pytest.raises(LogBookError, match="why"):
            change_piece(book, "B-001", why=" ", stamp=LATER, thickness_mm=2.0)


def test_a_struck_piece_is_gone_and_its_name_free(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001") as book:
        strike(book, "piece_facts", [piece_named(book, "B-001").entry], why="typed twice", stamp=STAMP)
        assert find_piece(book, "B-001") is None
        add_pieces(book, [Piece("B-001", steel="O1")], stamp=LATER)
        assert piece_named(book, "B-001").steel == "O1"
        with pytest.raises(LogBookError, match="typed twice|already"):
            strike(book, "piece_facts", [1], why="again", stamp=LATER)
        with pytest.raises(LogBookError, match="no entry 99"):
            strike(book, "piece_facts", [99], why="none", stamp=LATER)


def test_search_finds_words_in_any_place(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001..B-003", customer="Huber & Söhne", order="2026/17", steel="S44004") as book:
        add_pieces(book, [Piece("C-001", customer="Maier", lot="7733", note="wet foil", stamp="M7")], stamp=STAMP)
        assert [p.id for p in search(book, "huber 002")] == ["B-002"]
        assert [p.id for p in search(book, "foil m7")] == ["C-001"]
        assert [p.id for p in search(book, exact={"order": "2026/17"})] == ["B-001", "B-002", "B-003"]
        assert search(book, "2026/1", exact={"customer": "Maier"}) == ()
        assert search(book, "%") == ()


def test_an_impossible_thickness_is_refused(tmp_path: Path) -> None:
    with new_book(tmp_path) as book, pytest.raises(LogBookError, match="millimetres"):
        add_pieces(book, [Piece("B-001", thickness_mm=3000.0)], stamp=STAMP)


def test_an_unknown_piece_is_answered_with_those_alike(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001..B-003") as book, pytest.raises(LogBookError, match="Alike: B-001, B-002, B-003"):
        piece_named(book, "B-0041")


def test_batches_take_each_piece_once_and_strike_it_out(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001..B-003") as book:
        add_to_batch(book, "spring", ["B-001..B-002"], stamp=STAMP, note="chef's")
        assert add_to_batch(book, "Spring", ["B-002", "b-003"], stamp=STAMP).pieces == ("B-001", "B-002", "B-003")
        assert batches_of(book, "B-003") == ("spring",)
        assert take_from_batch(book, "spring", ["B-001"], why="other steel", stamp=STAMP).pieces == ("B-002", "B-003")
        assert [b.name for b in all_batches(book)] == ["spring"]
        with pytest.raises(LogBookError, match="is not in the batch"):
            take_from_batch(book, "spring", ["B-001"], why="again", stamp=STAMP)
        with pytest.raises(LogBookError, match="The newest are spring"):
            batch_named(book, "summer")
        with pytest.raises(LogBookError, match="no such piece"):
            add_to_batch(book, "summer", ["X-1"], stamp=STAMP)
        assert [b.name for b in all_batches(book)] == ["spring"]
