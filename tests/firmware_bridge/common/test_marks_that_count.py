"""Which marks counted, and whose the nameless ones were: each rule by hand, beside ``test_charges``."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.common.charges import Known, read_charges
from soakwitness.firmware_bridge.runfolder.model import Act, Mark

Told = tuple[str | None, int, float | None, float | None, float | None]


def mark(t_s: float, act: Act, *pieces: str, struck: bool = False) -> Mark:
    return Mark(t_s, act, pieces, mark_id=f"{act[:2]}{t_s:g}", struck=struck)


def counted(*marks: Mark, known: tuple[Known, ...] = ()) -> list[float]:
    """Moments of the marks that counted."""
    return [one.t_s for one in read_charges(marks, known=known).counted]


def told(*marks: Mark, known: tuple[Known, ...] = ()) -> list[Told]:
    """Piece, which time, pull, plates, hand-warm of every stay."""
    stays = read_charges(marks, known=known).stays
    return [(s.piece, s.again, s.pull_s, s.plates_s, s.hand_warm_s) for s in stays]


def asked(*marks: Mark, known: tuple[Known, ...] = ()) -> list[str]:
    return [one.kind for one in read_charges(marks, known=known).questions]


LOAD, PULL = mark(10, "load", "A", "B"), mark(20, "pull", "A")


@pytest.mark.parametrize(
    ("more", "counts"),
    [
        (mark(30, "load", "A"), True),  # after a pull it is a new stay
        (mark(30, "load", "B"), False),
        (mark(30, "load", "B", "C"), True),
        (mark(30, "pull", "B"), True),
        (mark(30, "pull", "A"), False),
        (mark(30, "pull", "X"), False),
        (mark(30, "pull", "X", "B"), True),
        (mark(30, "pull"), True),
        (mark(30, "plates"), True),
        (mark(30, "plates", "A"), True),
        (mark(30, "plates", "B"), False),
        (mark(30, "plates", "B", "A"), True),
        (mark(30, "plates", "X"), False),
        (mark(30, "hand-warm"), True),
        (mark(30, "hand-warm", "A"), True),
        (mark(30, "hand-warm", "B"), False),
        (mark(30, "door"), False),
        (mark(30, "pull", "B", struck=True), False),
    ],
)
def test_a_mark_counts_where_it_changes_something_for_one_piece_at_least(more: Mark, counts: bool) -> None:
    assert counted(LOAD, PULL, more) == [10, 20, *([30] if counts else [])]


def test_what_waits_for_nothing_does_not_count() -> None:
    assert counted(LOAD, mark(20, "plates")) == [10]
    assert counted(LOAD, mark(20, "hand-warm")) == [10]
    assert counted(LOAD, mark(20, "pull"), mark(30, "pull")) == [10, 20]
    assert asked(LOAD, mark(20, "pull"), mark(30, "plates")) == []
    assert asked(LOAD, mark(20, "pull"), mark(30, "plates"), mark(40, "plates")) == ["nothing waits"]
    assert asked(LOAD, mark(20, "pull"), mark(30, "hand-warm"), mark(40, "hand-warm")) == ["nothing waits"]
    # At the very start, too, a pull is later than nothing.
    assert told(mark(0, "pull", "A"), mark(0, "plates")) == [(None, 1, None, None, None), ("A", 1, 0, 0, None)]


def test_a_nameless_load_after_the_pull_may_have_a_piece_again_but_not_one_before() -> None:
    first = (mark(10, "load", "A"), mark(20, "pull", "A"))
    # At the same moment it was in again, a moment before it was not.
    assert counted(*first, mark(20, "load"), mark(30, "pull", "A")) == [10, 20, 20, 30]
    assert asked(mark(10, "load", "A"), mark(15, "load"), mark(20, "pull", "A"), mark(30, "pull", "A")) == ["again"]
    again = told(*first, mark(25, "load"), mark(30, "pull", "A"), mark(40, "plates", "A"))
    assert [line for line in again if line[0] == "A"] == [("A", 1, 20, None, None), ("A", 2, 30, 40, None)]
    # Of the charge that it was in with its name it cannot come a second time.
    assert asked(mark(10, "load"), mark(20, "pull", "A"), mark(30, "pull", "A")) == ["again"]


def test_of_nameless_charges_the_one_with_something_left_is_taken() -> None:
    # The first one's only piece came out, and another charge went in: it is out of that.
    emptied = (mark(10, "load"), mark(20, "pull"), mark(30, "load"), mark(40, "pull", "A"))
    read = read_charges(emptied)
    assert [(s.piece, s.charge, s.load_s, s.pull_s) for s in read.stays if s.piece] == [("A", "charge 2", 30, 40)]
    assert read.questions == ()
    # With something left of both, nobody knows, and that is asked.
    assert asked(mark(10, "load"), mark(30, "load"), mark(40, "pull", "A")) == ["which charge"]


def test_a_piece_that_is_in_gets_no_nameless_plates() -> None:
    # Somebody without a name came out, and A is in again: its plates are too early.
    marks = (mark(10, "load"), mark(20, "pull"), mark(30, "load", "A"), mark(40, "plates", "A"))
    assert asked(*marks) == ["not pulled"]
    assert counted(*marks) == [10, 20, 30]


def test_the_first_name_goes_to_what_was_pulled_last_without_one() -> None:
    pulls = (mark(10, "load"), mark(20, "pull"), mark(30, "pull"))
    assert told(*pulls, mark(40, "plates", "A")) == [(None, 1, 20, None, None), ("A", 1, 30, 40, None)]
    both = told(*pulls, mark(40, "plates", "A"), mark(50, "plates", "B"))
    assert both == [("B", 1, 20, 50, None), ("A", 1, 30, 40, None)]
    # A third name has nobody left.
    assert asked(*pulls, mark(40, "plates", "A"), mark(50, "plates", "B"), mark(60, "plates", "C")) != []
    # One that waits for them by its own name goes first.
    own = (mark(5, "load", "A"), mark(8, "pull", "A"), *pulls, mark(40, "plates", "A"))
    assert [line for line in told(*own) if line[0] == "A"] == [("A", 1, 8, 40, None)]


def test_hand_warm_of_a_piece_that_is_in_again_is_that_of_the_stay_before() -> None:
    twice = (mark(10, "load", "A"), mark(20, "pull", "A"), mark(30, "load", "A"), mark(40, "hand-warm", "A"))
    assert told(*twice) == [("A", 1, 20, None, 40), ("A", 2, None, None, None)]
    # Plates are not said late.
    late = (*twice[:3], mark(40, "plates", "A"))
    assert told(*late) == [("A", 1, 20, None, None), ("A", 2, None, None, None)]
    assert asked(*late) == ["not pulled"]


def test_names_are_spelled_as_the_log_book_spells_them_else_as_first() -> None:
    assert told(mark(10, "load", "a-1"), mark(20, "pull", "A-1"), mark(30, "load", "A-1"))[1][0] == "a-1"
    assert told(mark(10, "load", "a-1"), known=(Known("A-1", "1"),))[0][0] == "A-1"
    assert told(mark(10, "load"), mark(20, "pull", "x"))[-1][0] == "x"


def test_who_is_in_is_said_without_what_was_named_since() -> None:
    # Of a nameless charge one was named: nobody else is known to be left.
    read = read_charges((mark(10, "load"), mark(20, "pull", "A"), mark(30, "load", "B"), mark(40, "plates", "X")))
    assert [q.says for q in read.questions] == [
        "The plates mark at 0:00:40 names X, which no pull mark took out: it does not count."
    ]
    (wrong,) = read_charges((mark(10, "load", "B"), mark(40, "pull", "X"))).questions
    assert wrong.says == "The pull mark at 0:00:40 names X, which is not in the charge: B is in."
