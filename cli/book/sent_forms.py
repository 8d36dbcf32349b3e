"""How a page enters something: its form goes to the worker, which runs the command; what came of it is shown.

Done: the browser is sent on (303), so that loading the page anew enters nothing twice, and finds there what was said.
Refused: the form comes back with all that was filled in, the words of the command at the field that they are about.
"""

from __future__ import annotations

import json
import secrets
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.doors import FORM_TOKEN
from soakwitness.cli.book.working import JobRefused
from soakwitness.cli.words.page_words import fields_of, on_page

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.pieces import Piece

SAID_KEPT = 200
Values = dict[str, list[str]]


@dataclass(frozen=True)
class Filled:
    """What a form is shown with: what is filled in, and what was refused at which field; ``named``: that it names."""

    values: Mapping[str, Sequence[str]] = field(default_factory=dict)
    refused: str | None = None
    at: str | None = None
    named: Sequence[str] = ()

    def one(self, name: str, otherwise: str = "") -> str:
        """The first value of a field."""
        return next(iter(self.values.get(name, ())), otherwise)

    def all(self, name: str) -> Sequence[str]:
        """All values of a field."""
        return self.values.get(name, ())

    def refusal(self, *names: str) -> str | None:
        """The refusal, where it is about one of these fields."""
        return self.refused if self.at in names else None


@dataclass(frozen=True)
class Outcome:
    """What the command said: ``done`` and ``notes``; or ``filled`` where it refused."""

    done: str | None
    notes: Sequence[str]
    filled: Filled


class Said:
    """What commands said, until the page that follows shows it once; and which forms were entered."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, tuple[str, ...]] = OrderedDict()
        self._entered: OrderedDict[str, Outcome] = OrderedDict()

    def entered(self, key: str, outcome: Outcome) -> None:
        """Remember what came of a form."""
        self._entered[key] = outcome
        while len(self._entered) > SAID_KEPT:
            self._entered.popitem(last=False)

    def before(self, key: str) -> Outcome | None:
        """What came of this very form when it was sent before: a button that was tapped twice."""
        return self._entered.get(key)

    def put(self, lines: Sequence[str]) -> str:
        """Keep lines; return the name by which they are taken."""
        name = secrets.token_urlsafe(9)
        self._kept[name] = tuple(lines)
        while len(self._kept) > SAID_KEPT:
            self._kept.popitem(last=False)
        return name

    def take(self, request: Request) -> tuple[str, ...]:
        """The lines that a page is to show; none where they were shown already."""
        return self._kept.pop(request.query_params.get("said", ""), ())


def show(
    desk: Desk,
    request: Request,
    template: str,
    *,
    here: str = "enter",
    form: str | None = None,
    status: int = 200,
    **shown: Any,
) -> Response:
    """A page that enters something, by a form whose fields have their names; who may only look is told so."""
    may = request.state.device.rights == "mark"
    return desk.page(request, template, here=here, status=status, may=may, called=fields_of(form), **shown)


def values_of(form: FormData) -> Values:
    """What was filled in, field by field; files are none of it."""
    values: Values = {}
    for name, value in form.multi_items():
        if isinstance(value, str) and name != FORM_TOKEN:
            values.setdefault(name, []).append(value)
    return values


def of_names(values: Values) -> list[str]:
    """What had been seen of the pieces that are ticked, and of no others."""
    names = {name.casefold() for name in values.get("names", ())}
    return [one for one in values.get("seen", ()) if one.rpartition("=")[0].casefold() in names]


async def send(
    desk: Desk, said: Said, request: Request, form: str, values: Values, *, files: Mapping[str, str] | None = None
) -> Outcome:
    """Have the command of a form run, by this device.

    A form says what had been seen when it was filled in, so that the same one cannot be entered twice; who tapped its
    button twice is told what came of the first.
    """
    by = request.state.device.name
    key = json.dumps([by, form, values], sort_keys=True)
    try:
        found = await desk.worker.ask("enter", form=form, values=values, by=by, files=dict(files or {}))
    except JobRefused as error:  # no command: the worker could not be had
        found = {"refused": str(error), "field": None}
    if "done" in found:
        outcome = Outcome(found["done"], found.get("notes", ()), Filled())
        said.entered(key, outcome)
        return outcome
    if found.get("field") == "seen" and (first := said.before(key)) is not None:
        return first
    return Outcome(None, (), Filled(values, found["refused"], found.get("field"), found.get("named", ())))


def onward(said: Said, outcome: Outcome, path: str | None, **keep: str) -> Response:
    """To the page that follows, with what the command said."""
    name = said.put([*(outcome.done or "").splitlines(), *outcome.notes])
    query = urlencode({**{k: v for k, v in keep.items() if v}, "said": name})
    return RedirectResponse(f"{path or '/'}?{query}", status_code=303)


def seen_of(book: LogBook, name: str) -> str:
    """What is on record about a piece or run now, as a form carries it."""
    from soakwitness.analysis.logbook.newer_entries import told_about

    return f"{name}={len(told_about(book, name))}"


def the_piece(book: LogBook, request: Request) -> Piece:
    """The piece that a page is about; one that is none is not found."""
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.pieces import piece_named

    try:
        return piece_named(book, request.path_params["piece"])
    except LogBookError as error:
        raise HTTPException(404, on_page(error)) from None
