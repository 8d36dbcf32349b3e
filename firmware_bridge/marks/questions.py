"""What a mark leaves to be asked, in words: one sentence with the times, and the next step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from soakwitness.firmware_bridge.common.surfaces import Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, Value, listed, moment
from soakwitness.firmware_bridge.marks.undoing import strike_out

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
    next: Says

    def next_of(self, run: str | None) -> Says:
        """The same for a run that is not the one that is recorded: its name belongs to the command."""
        if run is None:
            return self.next
        values = tuple((name, _of_run(value, run)) for name, value in self.next.values)
        return Says(self.next.template, values)


def _of_run(value: Value, run: str) -> Value:
    return NextCommand.of("mark", "--run", run, *value.words[1:]) if isinstance(value, NextCommand) else value


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
    at, first = Field("at", metavar="TIME"), _strike(about.first)
    following = Says.of(then, who=listed(pieces), strike=_strike(mark), first=first, at=at)
    return Question(kind, mark, pieces, f"The {mark.act} mark at {moment(mark.t_s)} {says}", following)


def _strike(mark: Mark | None) -> NextCommand:
    return strike_out((mark and mark.mark_id) or "ID")


def _words(kind: Kind, mark: Mark, pieces: Sequence[str], about: About) -> tuple[str, str]:
    """The sentence, and the template of the next step."""
    who, strike = listed(pieces), "strike it out: {strike}"
    it, its = ("it", "its") if len(pieces) == 1 else ("them", "their")
    if kind == "not in the charge":
        return (
            f"names {who}, which is not in the charge: {_inside(about.inside)}.",
            f"If {{who}} did go in, enter its load mark with {{at}}; if the name is wrong, {strike}",
        )
    if kind == "in already":
        since = "the start" if about.since_s is None else moment(about.since_s)
        return (
            f"names {who}, in since {since} already: nothing changes for {it}.",
            f"If a pull came before it, enter that with {{at}}; else {strike}",
        )
    if kind == "again":
        first = "another" if about.first is None else f"that at {moment(about.first.t_s)}"
        return (
            f"names {who}, but {its} {mark.act} mark is {first}: the first counts.",
            "If the later one is right, strike the first one out: {first}",
        )
    if kind == "not pulled":
        return (
            f"names {who}, which no pull mark took out: it does not count.",
            f"Enter the pull mark with {{at}}; if the name is wrong, {strike}",
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
