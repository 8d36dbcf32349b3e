"""Which page of the book has what a command does: where a sentence's commands lead, and what settles what waits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.requests import Request

from soakwitness.cli.book.desk import way
from soakwitness.cli.words.commands_in_text import typed_words
from soakwitness.cli.words.page_words import PageOfCommand, kept_parts, page_of

if TYPE_CHECKING:
    from soakwitness.analysis.waiting.waiting_acts import WaitingAct

Named = Mapping[str, str]  # the run, the piece, the furnace that a sentence is about
# Pages of the guide about what only a terminal has.
GUIDE = {
    "accuracy": "calibration",
    "calibrate": "calibration",
    "logbook": "files",
    "packet": "packet",
    "place": "survey",
    "ports": "wiring",
    "record": "first-run",
    "sensor": "sensor-life",
    "survey": "survey",
    "verify": "verify",
}


@dataclass(frozen=True)
class LinkedPart:
    """A piece of a sentence, and the page that it leads to."""

    text: str
    path: str | None = None


@dataclass(frozen=True)
class SettledWhere:
    """Where what waits is settled: the page with ``act`` on what leads there; else ``typed`` into a terminal, and the
    page of the guide that says how.
    """

    act: str
    path: str | None
    typed: str | None = None


def linked_parts(request: Request, text: str, about: Named) -> list[LinkedPart]:
    """A kept sentence as a page says it, its commands links to what they stand for of the run that it is about."""
    parts = []
    for part in kept_parts(text):
        page = page_of(part.words) if part.words else None
        parts.append(LinkedPart(part.text, None if page is None else _path(request, page, about, part.words)))
    return parts


def settled_where(request: Request, act: WaitingAct) -> SettledWhere:
    """Where what waits is settled."""
    words = typed_words(act.settle)
    about: dict[str, str] = {}
    for one in reversed(act.concerns):  # of several the first
        about[one.about] = one.name
    if act.kind == "hot":
        return SettledWhere("Mark it on the page Now", way(request, "now"))
    if words[:1] in (("runs",), ("verify",)) and not any(word.startswith("--") for word in words):
        return SettledWhere("Open the run", way(request, "run", run=about["run"]))
    page = page_of(words)
    path = None if page is None else _path(request, page, about, words)
    if page is not None and path is not None:
        return SettledWhere(page.act, path)
    guide = GUIDE.get(words[0])
    return SettledWhere("How it is done", guide and way(request, "guide_page", page=guide), act.settle)


def _path(request: Request, page: PageOfCommand, about: Named, words: tuple[str, ...]) -> str | None:
    """The page, filled in as far as the command is; None where it is of something that is not named."""
    if not page.route or (page.of and page.of not in about):
        return None
    if page.of == "furnace":
        asks = urlencode({"furnace": about["furnace"]})
        path = way(request, "look", look=page.route) if page.route == "condition" else way(request, page.route)
        return path and f"{path}?{asks}"
    of = {page.of: about[page.of]} if page.of else {}
    if page.route == "strike_mark":
        of["mark"] = words[words.index("--strike") + 1]
    path = way(request, page.route, **of)
    asked = _asked(page, about, words)
    return f"{path}?{urlencode(asked)}" if path and asked else path


def _asked(page: PageOfCommand, about: Named, words: tuple[str, ...]) -> list[tuple[str, str]]:
    """What the command has filled in already."""
    if page.command == ("piece", "treatment"):
        return [("kind", words[2])]
    if page.command == ("piece", "charge", "next"):
        return [("furnace", about["furnace"]), *([("empty", "yes")] if "--empty" in words else [])]
    return []
