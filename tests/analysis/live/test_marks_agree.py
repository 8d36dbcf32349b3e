"""Every short sequence of marks: the soak clock, fed mark by mark, and the verification tell the same story."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.clock_charges import Charge, charges_of
from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.verification.inputs.stays import Stay, drop_unnamed, known_of, stays_of
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.marks.expecting import ChargeRow, expected_next
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

Word = tuple[Act, tuple[str, ...]]
ALPHABET: tuple[Word | None, ...] = (
    ("load", ()),
    ("load", ("A",)),
    ("load", ("B",)),
    ("pull", ()),
    ("pull", ("A",)),
    ("pull", ("B",)),
    ("plates", ()),
    ("hand-warm", ()),
    None,  # the newest mark that stands is struck out
)
LONGEST = 5
EVERY_S = 10.0
HOT = Recipe("hot", "C", (Hold(1, 1050.0, 6.0, 6.0, 900.0, dip_s=120.0),), load="hot", load_at_c=1050.0)
COLD = replace(HOT, load="cold", load_at_c=None)
IN_BOOK = (PieceInfo("A", charge="1"), PieceInfo("B", charge="1"))


def sequences(longest: int) -> Iterator[tuple[Word | None, ...]]:
    for length in range(1, longest + 1):
        yield from product(ALPHABET, repeat=length)


def marks_by_step(words: tuple[Word | None, ...]) -> list[tuple[Mark, ...]]:
    """The marks of the run as they stand after each word; the k-th is made at k x 10 s."""
    marks: list[Mark] = []
    steps = []
    for number, word in enumerate(words, start=1):
        if word is not None:
            marks.append(Mark(EVERY_S * number, word[0], word[1], mark_id=f"{number:06x}"))
        elif standing := [at for at, mark in enumerate(marks) if not mark.struck]:
            marks[standing[-1]] = replace(marks[standing[-1]], struck=True)
        steps.append(tuple(marks))
    return steps


def moves(stays: tuple[Stay, ...]) -> list[tuple[str | None, float | None, float | None]]:
    return [(stay.piece, stay.load_s, stay.pull_s) for stay in stays]


def fed(recipe: Recipe, steps: list[tuple[Mark, ...]], known: tuple[PieceInfo, ...] = ()) -> SoakClock:
    clock = SoakClock(recipe, known=known, every_s=EVERY_S)
    clock.read(0.0, {"control": 1050.0})
    for number, marks in enumerate(steps, start=1):
        clock.read(EVERY_S * number, {"control": 1050.0}, marks=marks)
    return clock


def told_by(clock: SoakClock) -> set[str | None]:
    """Who is in, as the living sentence and the alarms go by it; None: somebody without a name."""
    state = clock.state()
    assert state is not None
    return {name for piece in state.pieces for name in (piece.pieces or (None,))}


CASES = [(HOT, ()), (COLD, ()), (HOT, IN_BOOK), (COLD, IN_BOOK)]
NAMES = ["hot", "cold", "hot, in the log book", "cold, in the log book"]
Move = tuple[str | None, float | None, float | None]


def there_by_verify(recipe: Recipe, marks: tuple[Mark, ...], book: tuple[PieceInfo, ...]) -> list[Move]:
    """Stays of which it is known since when; without a load mark that is the start where a charge rides the ramp."""
    stays = moves(drop_unnamed(stays_of(marks, book)))
    since = [
        (piece, 0.0 if load_s is None and recipe.load == "cold" else load_s, pull_s) for piece, load_s, pull_s in stays
    ]
    return sorted((move for move in since if move[1] is not None), key=str)


def counted(charges: tuple[Charge, ...]) -> list[Move]:
    return sorted(((s.piece, s.load_s, s.pull_s) for charge in charges for s in charge.stays), key=str)


@pytest.mark.parametrize(("recipe", "book"), CASES, ids=NAMES)
def test_clock_and_verification_agree(recipe: Recipe, book: tuple[PieceInfo, ...]) -> None:
    for words in sequences(LONGEST - 2):
        steps = marks_by_step(words)
        there = there_by_verify(recipe, steps[-1], book)
        clock = fed(recipe, steps, book)
        assert counted(clock.charges) == there, words
        assert told_by(clock) == {piece for piece, _, pull_s in there if pull_s is None}, words


def test_longer_sequences_too_are_read_alike() -> None:
    for words in sequences(LONGEST):
        marks = marks_by_step(words)[-1]
        assert counted(charges_of(marks, loaded_cold_s=None)) == there_by_verify(HOT, marks, ()), words


def test_no_load_time_is_invented_and_no_pull_moves() -> None:
    for words in sequences(LONGEST):
        steps = marks_by_step(words)
        stays = stays_of(steps[-1])
        loads = {m.t_s for m in steps[-1] if m.act == "load" and not m.struck}
        assert {s.load_s for s in stays} <= {*loads, None}, words
        assert all(s.load_s is None or s.pull_s is None or s.pull_s >= s.load_s for s in stays), words
        assert stays == stays_of([m for m in steps[-1] if not m.struck]), words
        if len(steps) > 1 and None not in words:
            before = sorted((s.load_s or -1.0, s.pull_s) for s in stays_of(steps[-2]) if s.pull_s is not None)
            after = [(s.load_s or -1.0, s.pull_s) for s in stays if s.pull_s is not None]
            assert all(after.count(one) >= before.count(one) for one in before), words
            named = {(s.piece, s.again, s.pull_s) for s in stays_of(steps[-2]) if s.piece and s.pull_s is not None}
            assert named <= {(s.piece, s.again, s.pull_s) for s in stays}, words


def test_the_order_of_entry_does_not_matter() -> None:
    for words in sequences(3):
        marks = marks_by_step(words)[-1]
        assert stays_of(marks) == stays_of(marks[::-1]), words


@pytest.mark.parametrize(("recipe", "book"), CASES, ids=NAMES)
def test_whose_turn_it_is_agrees_with_who_is_in_for_the_verification(
    recipe: Recipe, book: tuple[PieceInfo, ...]
) -> None:
    """After every sequence: a press names somebody who is in, and the verification takes it as just that."""
    practice = practice_of(recipe)
    for words in sequences(LONGEST - 1):
        marks = marks_by_step(words)[-1]
        known = known_of(marks, book)
        row = ChargeRow.of(marks, practice, known)
        there = {piece for piece, _, pull_s in there_by_verify(recipe, marks, book) if pull_s is None}
        since_unknown = {s.piece for s in stays_of(marks, book) if s.load_s is None and s.pull_s is None}
        inside = {stay.piece for stay in row.inside}
        assert there <= inside <= there | since_unknown, words
        expected = expected_next(marks, practice=practice, known=known, temp_c=1050.0)
        at_s = EVERY_S * (len(words) + 1)
        after = stays_of((*marks, Mark(at_s, expected.act, expected.names, mark_id="ffffff")), book)
        if expected.act == "pull" and expected.names:
            assert {s.piece for s in after if s.pull_s == at_s} == set(expected.names), words
            assert set(expected.names) <= inside, words
        if expected.act == "plates" and expected.names:
            assert {s.piece for s in after if s.plates_s == at_s} == set(expected.names), words
