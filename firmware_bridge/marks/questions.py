"""What a mark leaves to be asked, in words: one sentence with the times, and the next step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from soakwitness.firmware_bridge.common.wording import listed, moment

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.runfolder.contents import Mark

Kind = Literal[
    "not in the charge",
    "in already",
    "again",
    "not pulled",
    "nothing waits",
    "which charge",
    "not in the log book",
]


@dataclass(frozen=True)
class Question:
    """What a mark leaves to be asked: ``says`` is one sentence with the times, ``next`` what to do about it.

    For these pieces it changes nothing, unless ``kind`` is ``which charge`` or ``not in the log book``.
    """

    kind: Kind
    mark: Mark
    pieces: tuple[str, ...]
    says: str
    next: str


@dataclass(frozen=True)
class About:
    """What a question is about.

    ``since_s`` [s] since when a piece is in, ``first`` the mark that counted before, ``inside`` who is in (None: those
    without a name).
    """

    since_s: float | None = None
    first: Mark | None = None
    inside: tuple[str | None, ...] = ()


def question(kind: Kind, mark: Mark, pieces: tuple[str, ...], about: About) -> Question:
    """Put it into words."""
    says, then = _words(kind, mark, pieces, about)
    return Question(kind, mark, pieces, f"The {mark.act} mark at {moment(mark.t_s)} {says}", then)


def _strike(mark: Mark | None) -> str:
    return f"soakwitness mark --strike {(mark and mark.mark_id) or 'ID'} --why REASON"


def _words(kind: Kind, mark: Mark, pieces: Sequence[str], about: About) -> tuple[str, str]:
    who, strike = listed(pieces), f"strike it out: {_strike(mark)}"
    it, its = ("it", "its") if len(pieces) == 1 else ("them", "their")
    if kind == "not in the charge":
        return (
            f"names {who}, which is not in the charge: {_inside(about.inside)}.",
            f"If {who} did go in, enter its load mark with --at TIME; if the name is wrong, {strike}",
        )
    if kind == "in already":
        since = "the start" if about.since_s is None else moment(about.since_s)
        return (
            f"names {who}, in since {since} already: nothing changes for {it}.",
            f"If a pull came before it, enter that with --at TIME; else {strike}",
        )
    if kind == "again":
        first = "another" if about.first is None else f"that at {moment(about.first.t_s)}"
        return (
            f"names {who}, but {its} {mark.act} mark is {first}: the first counts.",
            f"If the later one is right, strike the first one out: {_strike(about.first)}",
        )
    if kind == "not pulled":
        return (
            f"names {who}, which no pull mark took out: it does not count.",
            f"Enter the pull mark with --at TIME; if the name is wrong, {strike}",
        )
    if kind == "which charge":
        return (
            f"names {who}, which no load mark names, and more than one charge without names is in: {it} is taken to "
            f"have gone in with the last of them, at {moment(about.since_s)}.",
            f"If {it} went in earlier, enter load marks with the names, and strike out those without.",
        )
    if kind == "not in the log book":
        since = "" if about.since_s is None else f" at {moment(about.since_s)}"
        return (
            f"names {who}, which the log book does not have in this run: {it} is taken to have gone in with the "
            f"charge loaded without names{since}.",
            f"If the name is wrong, {strike}",
        )
    what = "nothing is in" if mark.act == "pull" else "nothing that was pulled waits for it"
    return (f"changes nothing: {what}.", f"If it was made once too often, {strike}")


def _inside(inside: Sequence[str | None]) -> str:
    parts = [name for name in inside if name is not None]
    parts += ["a charge without names"] if None in inside else []
    return f"{listed(parts) if parts else 'nothing'} {'is' if len(parts) < 2 else 'are'} in"
