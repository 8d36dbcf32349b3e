"""What is asked of a mark, word by word: what it names, since when, and the next step."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.marks.questions import About, Kind, question
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

NOTHING = About()
FIRST = Mark(600.0, "pull", ("A",), mark_id="p1")


def words(kind: Kind, act: Act, *pieces: str, about: About = NOTHING, mark_id: str | None = "m7") -> tuple[str, str]:
    asked = question(kind, Mark(5130.0, act, pieces, mark_id=mark_id), pieces, about)
    assert (asked.kind, asked.pieces, asked.mark.act) == (kind, pieces, act)
    return asked.says, str(asked.next)


STRIKE = "soakwitness mark --strike m7 --why REASON"


@pytest.mark.parametrize(
    ("inside", "who"),
    [
        (("A", "B"), "A and B are in"),
        (("A",), "A is in"),
        ((), "nothing is in"),
        ((None,), "a charge without names is in"),
        (("A", None), "A and a charge without names are in"),
    ],
)
def test_a_name_that_is_not_in_the_charge(inside: tuple[str | None, ...], who: str) -> None:
    assert words("not in the charge", "pull", "X", about=About(inside=inside)) == (
        f"The pull mark at 1:25:30 names X, which is not in the charge: {who}.",
        f"If X did go in, enter its load mark with --at TIME; if the name is wrong, strike it out: {STRIKE}",
    )


@pytest.mark.parametrize(("since_s", "since"), [(None, "the start"), (600.0, "0:10:00"), (0.0, "0:00:00")])
def test_a_piece_that_is_in_already(since_s: float | None, since: str) -> None:
    assert words("in already", "load", "A", about=About(since_s)) == (
        f"The load mark at 1:25:30 names A, in since {since} already: nothing changes for it.",
        f"If a pull came before it, enter that with --at TIME; else strike it out: {STRIKE}",
    )
    several, _ = words("in already", "load", "A", "B", about=About(since_s))
    assert several == f"The load mark at 1:25:30 names A and B, in since {since} already: nothing changes for them."


def test_a_second_pull_of_the_same_pieces() -> None:
    assert words("again", "pull", "A", about=About(first=FIRST)) == (
        "The pull mark at 1:25:30 names A, but its pull mark is that at 0:10:00: the first counts.",
        "If the later one is right, strike the first one out: soakwitness mark --strike p1 --why REASON",
    )
    says, then = words("again", "pull", "A", "B")
    assert says == "The pull mark at 1:25:30 names A and B, but their pull mark is another: the first counts."
    assert then.endswith("soakwitness mark --strike ID --why REASON")


def test_plates_of_a_piece_that_was_not_pulled() -> None:
    assert words("not pulled", "plates", "A") == (
        "The plates mark at 1:25:30 names A, which no pull mark took out: it does not count.",
        f"Enter the pull mark with --at TIME; if the name is wrong, strike it out: {STRIKE}",
    )


def test_a_piece_that_may_have_been_in_more_than_one_charge() -> None:
    assert words("which charge", "pull", "A", about=About(600.0)) == (
        "The pull mark at 1:25:30 names A, which no load mark names, and more than one charge without names is in: "
        "it is taken to have gone in with the last of them, at 0:10:00.",
        "If it went in earlier, enter load marks with the names, and strike out those without.",
    )


@pytest.mark.parametrize(("since_s", "since"), [(None, ""), (600.0, " at 0:10:00")])
def test_a_piece_that_the_log_book_does_not_have_in_this_run(since_s: float | None, since: str) -> None:
    assert words("not in the log book", "pull", "A", about=About(since_s)) == (
        "The pull mark at 1:25:30 names A, which the log book does not have in this run: it is taken to have gone in "
        f"with the charge loaded without names{since}.",
        f"If the name is wrong, strike it out: {STRIKE}",
    )


@pytest.mark.parametrize(
    ("act", "what"), [("pull", "nothing is in"), ("plates", "nothing that was pulled waits for it")]
)
def test_a_mark_that_changes_nothing(act: Act, what: str) -> None:
    assert words("nothing waits", act) == (
        f"The {act} mark at 1:25:30 changes nothing: {what}.",
        f"If it was made once too often, strike it out: {STRIKE}",
    )
    # A mark that has no id yet is struck out by the one it will get.
    assert "--strike ID" in words("nothing waits", act, mark_id=None)[1]
