"""What one press means, with pieces: whose turn it is, in the order of the rack."""

from __future__ import annotations

from itertools import product

import pytest

from soakwitness.firmware_bridge.marks.charges import Known, read_charges
from soakwitness.firmware_bridge.marks.expecting import Expected, Practice, expected_next, names_meant
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

HOT, COLD, TEMPER = Practice("hot"), Practice("cold"), Practice("hot", quenched=False)
Word = tuple[Act, tuple[str, ...]]
# In the order of entry; in the rack they stand the other way round.
RACK = (Known("B-1", "1", 3), Known("B-2", "1", 2), Known("B-3", "1", 1))


def marks(*words: str) -> tuple[Mark, ...]:
    """``pull B-1`` and so on, one each ten seconds."""
    split = [word.split() for word in words]
    return tuple(
        Mark(10.0 * n, act, tuple(names), mark_id=f"{n:06x}")  # type: ignore[arg-type]
        for n, (act, *names) in enumerate(split, start=1)
    )


def pressed(times: int, practice: Practice, known: tuple[Known, ...] = (), *before: str) -> list[str]:
    """What so many presses of ``next`` enter in a hot furnace, as words."""
    made = list(marks(*before))
    for n in range(len(made) + 1, len(made) + 1 + times):
        expected = expected_next(made, practice=practice, known=known, temp_c=1050.0)
        made.append(Mark(10.0 * n, expected.act, expected.names, mark_id=f"{n:06x}"))
    return [" ".join((one.act, *one.pieces)) for one in made[len(before) :]]


def test_one_press_after_the_other_goes_through_the_rack() -> None:
    through = ["pull B-3", "plates B-3", "pull B-2", "plates B-2", "pull B-1", "plates B-1"]
    assert pressed(7, HOT, RACK) == ["load", *through]
    assert pressed(6, COLD, RACK) == through  # it rides the ramp: nobody pressed for the load
    assert pressed(6, HOT, RACK, "load B-1 B-2 B-3") == through
    # Pieces that only the load mark names come in its order.
    assert pressed(4, HOT, (), "load X A") == ["pull X", "plates X", "pull A", "plates A"]


def test_a_single_piece_is_named_and_a_charge_without_names_is_not() -> None:
    assert pressed(3, HOT, (), "load B-1") == ["pull B-1", "plates B-1", "load"]
    assert pressed(3, HOT, (), "load") == ["pull", "plates", "load"]
    assert pressed(4, COLD) == ["pull", "plates", "pull", "plates"]


def test_what_is_tempered_comes_out_together() -> None:
    assert pressed(3, TEMPER, RACK) == ["load", "pull", "load"]
    twice = Practice("hot", quenched=False, rounds=2)
    again = ["load B-3 B-2 B-1", "pull", "load"]
    assert pressed(6, twice, RACK) == ["load", "pull", "hand-warm", *again]
    about = expected_next(marks("load", "pull", "hand-warm"), practice=twice, known=RACK, temp_c=200.0)
    assert about == Expected("load", ("B-3", "B-2", "B-1"), ("B-3", "B-2", "B-1"))


def test_after_the_last_of_a_cold_loaded_furnace_they_cool() -> None:
    one = (Known("B-1", "1"),)
    assert pressed(4, COLD, one) == ["pull B-1", "plates B-1", "hand-warm", "load"]


def test_two_charges_of_the_log_book_go_in_one_after_the_other() -> None:
    two = (Known("A", "1"), Known("B", "1"), Known("C", "2"))
    assert expected_next((), practice=HOT, known=two, temp_c=1050.0) == Expected("load", ("A", "B"))
    all_of_one = ("load", "pull A", "plates A", "pull B", "plates B")
    assert expected_next(marks(*all_of_one), practice=HOT, known=two) == Expected("load", ("C",))
    assert pressed(8, HOT, two)[5:] == ["load", "pull C", "plates C"]


def test_a_piece_pulled_out_of_turn_leaves_the_others_in_theirs() -> None:
    assert pressed(4, HOT, RACK, "load", "pull B-2") == ["plates B-2", "pull B-3", "plates B-3", "pull B-1"]
    # A load that nobody marked: what came out tells that the rest is in.
    assert pressed(2, HOT, RACK, "pull B-2") == ["plates B-2", "pull B-3"]
    # Its look-alike: nothing came out, nothing is known to be in.
    assert pressed(1, HOT, RACK, "door") == ["load"]


def test_plates_that_nobody_marked_wait_for_no_one_once_the_next_is_out() -> None:
    assert pressed(2, HOT, RACK, "load", "pull B-3", "pull B-2", "plates B-2") == ["pull B-1", "plates B-1"]
    assert pressed(1, HOT, RACK, "load", "pull B-3", "pull B-2") == ["plates B-2"]


@pytest.mark.parametrize(
    ("act", "before", "names"),
    [
        ("pull", ("load",), ("B-3",)),
        ("pull", ("load", "pull B-3"), ("B-2",)),
        ("plates", ("load", "pull B-3"), ("B-3",)),  # a contact on the plates closes the pull under way
        ("plates", ("load", "pull B-3", "plates B-3"), ()),  # nothing is under way: it is asked, and changes nothing
        ("plates", ("load", "pull"), ()),  # all came out together
        ("plates", ("load", "pull B-3 B-2"), ("B-3", "B-2")),
        ("door", ("load",), ()),
        ("load", (), ()),
        ("hand-warm", ("load", "pull B-3"), ()),
    ],
)
def test_whom_a_key_or_a_contact_speaks_of(act: str, before: tuple[str, ...], names: tuple[str, ...]) -> None:
    assert names_meant(act, marks(*before), practice=HOT, known=RACK) == names


ALPHABET: tuple[Word, ...] = (
    ("load", ()), ("load", ("A",)), ("load", ("B",)), ("pull", ()), ("pull", ("A",)), ("pull", ("B",)),
    ("plates", ()), ("hand-warm", ()),
)  # fmt: skip
IN_BOOK = (Known("A", "1", 2), Known("B", "1", 1))


@pytest.mark.parametrize("known", [(), IN_BOOK], ids=["marks alone", "in the log book"])
@pytest.mark.parametrize("practice", [HOT, COLD, Practice("unknown"), Practice("cold", quenched=False, rounds=2)])
def test_a_press_counts_whatever_was_marked_before(practice: Practice, known: tuple[Known, ...]) -> None:
    """After every sequence of up to four marks: it leaves no question, and undoing it leaves what was."""
    for length in range(5):
        for words in product(ALPHABET, repeat=length):
            before = [Mark(10.0 * n, act, names) for n, (act, names) in enumerate(words, start=1)]
            expected = expected_next(before, practice=practice, known=known, temp_c=1050.0)
            made = Mark(10.0 * (length + 1), expected.act, expected.names, mark_id="press")
            read = read_charges([*before, made], known=known, cold_since_s=practice.cold_since_s)
            assert all(question.mark != made for question in read.questions), (words, expected)
            assert made in read.counted, (words, expected)
            assert set(expected.names) <= set(expected.pieces), (words, expected)
