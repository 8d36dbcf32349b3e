"""Which piece was in the furnace from when to when."""

from __future__ import annotations

from soakwitness.analysis.verification.inputs.stays import Stay, drop_unnamed, stays_of
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark


def mark(t_s: float, act: Act, *pieces: str, struck: bool = False) -> Mark:
    return Mark(t_s, act, pieces, struck=struck)


def table(*marks: Mark, pieces: tuple[PieceInfo, ...] = ()) -> list[tuple[object, ...]]:
    return [(s.piece, s.charge, s.load_s, s.pull_s, s.plates_s) for s in drop_unnamed(stays_of(marks, pieces))]


def test_without_marks_there_is_one_unnamed_stay():
    assert stays_of(()) == (Stay(None, None, None),)


def test_pieces_of_the_log_book_without_marks():
    assert table(pieces=(PieceInfo("A", charge="1"), PieceInfo("B", charge="1"))) == [
        ("A", "1", None, None, None),
        ("B", "1", None, None, None),
    ]


def test_named_pieces_pulled_one_by_one():
    marks = (
        mark(10, "load", "A", "B"),
        mark(100, "pull", "A"),
        mark(120, "plates", "A"),
        mark(130, "pull", "B"),
        mark(175, "plates", "B"),
    )
    assert table(*marks) == [("A", "charge 1", 10, 100, 120), ("B", "charge 1", 10, 130, 175)]


def test_a_pull_without_names_pulls_all_that_are_in():
    assert table(mark(10, "load", "A", "B"), mark(100, "pull"), mark(110, "plates")) == [
        ("A", "charge 1", 10, 100, 110),
        ("B", "charge 1", 10, 100, 110),
    ]


def test_two_charges():
    marks = (mark(10, "load", "A"), mark(100, "pull", "A"), mark(200, "load", "B"), mark(300, "pull", "B"))
    assert table(*marks) == [("A", "charge 1", 10, 100, None), ("B", "charge 2", 200, 300, None)]


def test_pieces_named_first_when_they_leave_came_in_with_the_unnamed_charge():
    assert table(mark(10, "load"), mark(100, "pull", "A"), mark(130, "pull", "B")) == [
        ("A", "charge 1", 10, 100, None),
        ("B", "charge 1", 10, 130, None),
    ]


def test_an_unnamed_load_mark_loads_what_the_log_book_has():
    pieces = (PieceInfo("A", thickness_mm=3.0), PieceInfo("B"))
    assert table(mark(10, "load"), mark(100, "pull", "B"), pieces=pieces) == [
        ("A", "charge 1", 10, None, None),
        ("B", "charge 1", 10, 100, None),
    ]
    assert stays_of((mark(10, "load"),), pieces)[0].info == pieces[0]


def test_unnamed_pulls_one_by_one_are_one_more_piece_each():
    marks = (mark(10, "load"), mark(100, "pull"), mark(110, "plates"), mark(200, "pull"), mark(230, "plates"))
    assert table(*marks) == [(None, "charge 1", 10, 100, 110), (None, "charge 1", 10, 200, 230)]


def test_a_struck_mark_says_nothing():
    assert table(mark(10, "load", "A"), mark(50, "pull", "A", struck=True)) == [("A", "charge 1", 10, None, None)]


def test_a_piece_that_goes_in_again_has_two_stays():
    marks = (
        mark(10, "load", "A"),
        mark(100, "pull", "A"),
        mark(150, "hand-warm", "A"),
        mark(200, "load", "A"),
        mark(300, "pull", "A"),
    )
    first, second = stays_of(marks)
    assert (first.load_s, first.pull_s, first.hand_warm_s, first.again) == (10, 100, 150, 1)
    assert (second.load_s, second.pull_s, second.again) == (200, 300, 2)
