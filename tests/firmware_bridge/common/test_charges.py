"""Charges read out of marks: each rule by hand."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.marks.charges import Charges, Known, drop_unnamed, raised, read_charges
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

Line = tuple[str | None, str | None, float | None, float | None]


def mark(t_s: float, act: Act, *pieces: str, struck: bool = False) -> Mark:
    return Mark(t_s, act, pieces, mark_id=f"{act[:2]}{t_s:g}", struck=struck)


def stays(*marks: Mark, known: tuple[Known, ...] = (), cold_since_s: float | None = None) -> list[Line]:
    read = read_charges(marks, known=known, cold_since_s=cold_since_s)
    return [(s.piece, s.charge, s.load_s, s.pull_s) for s in drop_unnamed(read.stays)]


def asked(*marks: Mark, known: tuple[Known, ...] = ()) -> list[tuple[str, tuple[str, ...]]]:
    return [(q.kind, q.pieces) for q in read_charges(marks, known=known).questions]


# Loading


def test_without_a_load_mark_a_charge_is_in_since_the_start_where_it_rides_the_first_ramp() -> None:
    assert stays(cold_since_s=0.0) == [(None, None, 0.0, None)]
    assert stays(mark(90, "pull", "A"), cold_since_s=0.0) == [("A", None, 0.0, 90)]
    assert stays(mark(10, "load", "A"), cold_since_s=0.0) == [("A", "charge 1", 10, None)]
    assert stays() == [(None, None, None, None)]


def test_a_repeated_load_of_pieces_that_are_in_makes_no_second_charge() -> None:
    twice = (mark(10, "load", "A"), mark(20, "load", "A"))
    assert stays(*twice) == [("A", "charge 1", 10, None)]
    assert asked(*twice) == [("in already", ("A",))]
    assert stays(*twice, mark(30, "load", "B")) == [("A", "charge 1", 10, None), ("B", "charge 2", 30, None)]


def test_a_repeated_load_with_one_that_is_new_loads_that_one() -> None:
    assert stays(mark(10, "load", "A"), mark(20, "load", "A", "B")) == [
        ("A", "charge 1", 10, None),
        ("B", "charge 2", 20, None),
    ]


def test_after_a_pull_a_load_is_a_new_stay() -> None:
    marks = (mark(10, "load", "A"), mark(20, "pull", "A"), mark(30, "load", "A"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("A", "charge 2", 30, None)]
    assert asked(*marks) == []
    assert [s.again for s in read_charges(marks).stays] == [1, 2]


def test_small_and_capital_letters_name_the_same_piece() -> None:
    marks = (mark(10, "load", "b-041"), mark(20, "pull", "B-041"))
    assert stays(*marks) == [("b-041", "charge 1", 10, 20)]
    assert stays(*marks, known=(Known("B-041", "1"),)) == [("B-041", "charge 1", 10, 20)]


# The log book


BOTH = (Known("A", "1"), Known("B", "1"))


def test_an_unnamed_load_loads_the_pieces_of_the_log_book() -> None:
    assert stays(mark(10, "load"), mark(50, "pull", "B"), known=BOTH) == [
        ("A", "charge 1", 10, None),
        ("B", "charge 1", 10, 50),
    ]


def test_naming_them_afterwards_changes_nothing() -> None:
    named_too = (mark(10, "load"), mark(60, "load", "A", "B"))
    assert stays(*named_too, known=BOTH) == [("A", "charge 1", 10, None), ("B", "charge 1", 10, None)]
    assert asked(*named_too, known=BOTH) == [("in already", ("A", "B"))]


def test_a_piece_of_a_later_charge_of_the_log_book_goes_in_with_the_later_load() -> None:
    two = (Known("A", "1"), Known("B", "2"))
    for later in (mark(60, "load", "B"), mark(60, "load")):
        assert stays(mark(10, "load"), later, known=two) == [("A", "charge 1", 10, None), ("B", "charge 2", 60, None)]
    # Out before the second load, it was in with the first.
    gone = (mark(10, "load"), mark(30, "pull", "B"), mark(60, "load"))
    assert stays(*gone, known=two)[:2] == [("A", "charge 1", 10, None), ("B", "charge 1", 10, 30)]


def test_what_was_not_loaded_by_name_goes_in_with_the_load_without_names() -> None:
    assert stays(mark(10, "load", "A"), mark(60, "load"), known=BOTH) == [
        ("A", "charge 1", 10, None),
        ("B", "charge 2", 60, None),
    ]


# Pulling


def test_a_pull_of_a_piece_that_is_not_in_the_charge_is_asked_about_and_invents_no_load_time() -> None:
    marks = (mark(10, "load", "A"), mark(5000, "pull", "X"))
    assert stays(*marks) == [("A", "charge 1", 10, None)]
    (question,) = read_charges(marks).questions
    assert question.kind == "not in the charge"
    assert question.mark == marks[1]
    assert question.says == "The pull mark at 1:23:20 names X, which is not in the charge: A is in."
    assert "soakwitness mark --strike pu5000 --why" in str(question.next)


def test_only_the_wrong_name_of_several_does_not_count() -> None:
    marks = (mark(10, "load", "A", "B"), mark(20, "pull", "A", "X"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("B", "charge 1", 10, None)]
    assert asked(*marks) == [("not in the charge", ("X",))]
    assert read_charges(marks).counted == marks


def test_named_pieces_of_a_charge_without_names_went_in_with_it() -> None:
    marks = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "pull", "B"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("B", "charge 1", 10, 30)]
    assert asked(*marks) == []
    assert read_charges(marks).inside == ()


def test_of_two_charges_without_names_the_last_is_taken_and_that_is_asked() -> None:
    marks = (mark(10, "load"), mark(20, "load"), mark(30, "pull", "A"))
    assert ("A", "charge 2", 20, 30) in stays(*marks)
    assert asked(*marks) == [("which charge", ("A",))]
    assert marks[2] in read_charges(marks).counted


def test_one_charge_after_the_other_without_names_is_not_asked_about() -> None:
    marks = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "load"), mark(40, "pull", "B"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("B", "charge 2", 30, 40)]
    assert asked(*marks) == []


def test_a_name_that_the_log_book_does_not_have_in_this_run_counts_and_is_asked_about() -> None:
    marks = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "pull", "X"))
    assert ("X", "charge 1", 10, 30) in stays(*marks, known=BOTH)
    assert asked(*marks, known=BOTH) == [("not in the log book", ("X",))]
    assert asked(*marks) == []


def test_a_piece_pulled_again_after_a_load_without_names_went_in_with_that() -> None:
    marks = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "load"), mark(40, "pull", "A"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("A", "charge 2", 30, 40)]
    assert [s.again for s in read_charges(marks).stays if s.piece] == [1, 2]


def test_the_first_pull_counts_unless_it_is_struck() -> None:
    marks = [mark(10, "load", "A"), mark(20, "pull", "A"), mark(30, "pull", "A")]
    assert stays(*marks) == [("A", "charge 1", 10, 20)]
    assert asked(*marks) == [("again", ("A",))]
    assert "that at 0:00:20: the first counts" in read_charges(marks).questions[0].says
    assert "--strike pu20" in str(read_charges(marks).questions[0].next)
    marks[1] = mark(20, "pull", "A", struck=True)
    assert stays(*marks) == [("A", "charge 1", 10, 30)]


def test_a_pull_without_names_takes_out_everything_that_is_in() -> None:
    marks = (mark(10, "load", "A"), mark(20, "load"), mark(30, "pull"))
    assert stays(*marks) == [("A", "charge 1", 10, 30), (None, "charge 2", 20, 30)]
    # Nothing known is left of the unnamed charge: a piece of it was named.
    left = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "load", "B"), mark(40, "pull"))
    assert stays(*left) == [("A", "charge 1", 10, 20), ("B", "charge 2", 30, 40)]


def test_single_pulls_without_names_are_one_more_piece_each() -> None:
    marks = (mark(10, "load"), mark(20, "pull"), mark(30, "pull"))
    assert stays(*marks) == [(None, "charge 1", 10, 20), (None, "charge 1", 10, 30)]
    mixed = (mark(10, "load"), mark(20, "pull", "A"), mark(30, "pull"), mark(40, "pull", "B"))
    assert sorted(stays(*mixed), key=str) == [
        ("A", "charge 1", 10, 20),
        ("B", "charge 1", 10, 40),
        (None, "charge 1", 10, 30),
    ]


def test_a_pull_of_nothing_is_asked_about() -> None:
    marks = (mark(10, "load", "A"), mark(20, "pull"), mark(30, "pull"))
    assert stays(*marks) == [("A", "charge 1", 10, 20)]
    assert asked(*marks) == [("nothing waits", ())]
    # Another charge went in since: what was left of the first one by then, nobody can tell.
    later = (mark(10, "load"), mark(20, "pull"), mark(30, "load", "A"), mark(40, "pull"), mark(50, "pull"))
    assert stays(*later) == [(None, "charge 1", 10, 20), ("A", "charge 2", 30, 40)]


# After the pull


def after(*marks: Mark) -> list[tuple[str | None, float | None, float | None]]:
    return [(s.piece, s.plates_s, s.hand_warm_s) for s in drop_unnamed(read_charges(marks).stays)]


def test_plates_speak_of_what_was_pulled_last_and_hand_warm_of_all_that_wait() -> None:
    marks = (mark(10, "load", "A", "B"), mark(20, "pull", "A"), mark(30, "pull", "B"))
    assert after(*marks, mark(40, "plates"), mark(500, "hand-warm")) == [("A", None, 500), ("B", 40, 500)]


def test_plates_of_what_is_in_do_not_count_and_ask_for_the_pull() -> None:
    marks = (mark(10, "load", "A"), mark(15, "plates", "A"), mark(20, "pull", "A"), mark(25, "plates", "A"))
    assert after(*marks) == [("A", 25, None)]
    assert asked(*marks) == [("not pulled", ("A",))]
    assert asked(mark(15, "plates", "A")) == [("not pulled", ("A",))]
    assert stays(mark(15, "plates", "A"), mark(20, "load", "A")) == [("A", "charge 1", 20, None)]


@pytest.mark.parametrize("act", ["plates", "hand-warm"])
def test_a_name_that_no_charge_has_is_asked_about(act: Act) -> None:
    marks = (mark(10, "load", "A"), mark(20, "pull", "A"), mark(30, act, "X"))
    assert asked(*marks) == [("not in the charge", ("X",))]
    assert [s.piece for s in read_charges(marks).stays] == ["A"]


def test_the_first_name_a_piece_gets_may_come_with_the_plates() -> None:
    marks = (mark(10, "load"), mark(20, "pull"), mark(25, "plates", "A"), mark(30, "pull"), mark(35, "plates", "B"))
    assert stays(*marks) == [("A", "charge 1", 10, 20), ("B", "charge 1", 10, 30)]
    assert after(*marks) == [("A", 25, None), ("B", 35, None)]


def test_hand_warm_said_late_is_that_of_the_stay_before() -> None:
    marks = (mark(10, "load", "A"), mark(20, "pull", "A"), mark(30, "load", "A"), mark(40, "hand-warm", "A"))
    assert after(*marks) == [("A", None, 40), ("A", None, None)]


def test_plates_pressed_twice_are_those_of_the_first_time() -> None:
    marks = (mark(10, "load", "A"), mark(20, "pull"), mark(25, "plates"), mark(26, "plates"), mark(27, "plates", "A"))
    assert after(*marks) == [("A", 25, None)]
    assert asked(*marks) == [("nothing waits", ()), ("again", ("A",))]


# Questions


def test_what_one_more_mark_leaves_to_be_asked() -> None:
    before = (mark(10, "load", "A"), mark(15, "pull", "X"))
    wrong = mark(20, "pull", "Y")

    def read(*marks: Mark) -> Charges:
        return read_charges(marks)

    assert [q.pieces for q in raised(read(*before), read(*before, wrong))] == [("Y",)]
    # An earlier pull makes the one that is there a later one.
    there = (mark(10, "load", "A"), mark(30, "pull", "A"))
    assert [q.mark.t_s for q in raised(read(*there), read(*there, mark(20, "pull", "A")))] == [30]


def test_doors_and_notes_load_and_pull_nothing() -> None:
    assert stays(mark(5, "door", "A"), mark(6, "note", "A"), mark(10, "load", "B")) == [("B", "charge 1", 10, None)]
