"""What every page of the book is given."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import NoMatchFound

from soakwitness.cli.book.devices import THIS_COMPUTER, Devices
from soakwitness.cli.book.doors import FormTokens
from soakwitness.cli.book.encrypting import Encryption
from soakwitness.cli.book.in_step import InStep
from soakwitness.cli.book.lines_kept import LinesKept
from soakwitness.cli.book.states import States
from soakwitness.cli.book.working import WorkerProcess

if TYPE_CHECKING:
    from jinja2 import Environment

    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.record.moments import Stamp

# Pages in the order of the navigation: word, name of the route. One without a route is not linked.
NAVIGATION = (
    ("Now", "now"),
    ("Waiting", "waiting"),
    ("Plan", "plan"),
    ("Enter", "enter"),
    ("Runs", "runs"),
    ("Pieces", "pieces"),
    ("Furnace", "furnace"),
    ("Guide", "guide"),
)
OF_THIS_COMPUTER = (("Devices", "devices"),)

PATIENCE_S = 0.5  # a page does not wait for another writer; the next one takes in what is new


@dataclass(frozen=True)
class Desk:
    """The log book's folder, what records, devices, the worker, form tokens, the clock; and the templates.

    ``recipes``: a folder of recipe files beside those that the log book keeps.
    ``lines``: readings of the runs looked at last. ``in_step`` keeps the list of runs in step with the run folders.
    ``looker``: a second worker, for what can take minutes: whoever enters something does not wait for it.
    """

    logbook: Path
    states: States
    devices: Devices
    worker: WorkerProcess
    tokens: FormTokens = field(default_factory=FormTokens)
    lines: LinesKept = field(default_factory=LinesKept)
    in_step: InStep = field(default_factory=InStep)
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    encryption: Encryption | None = None
    recipes: Path | None = None
    looker: WorkerProcess = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "looker", WorkerProcess(self.logbook))

    @contextlib.contextmanager
    def open_book(self) -> Iterator[LogBook]:
        """Open the log book in the thread that asks. Raises LogBookError where there is none yet."""
        from soakwitness.analysis.logbook.opening import open_logbook

        with open_logbook(self.logbook) as book:
            yield book

    @contextlib.contextmanager
    def open_book_in_step(self) -> Iterator[LogBook]:
        """The same, with what is new in the run folders taken in; while another one writes, as it was before."""
        from soakwitness.analysis.errors import LogBookError
        from soakwitness.analysis.logbook.opening import open_logbook

        with open_logbook(self.logbook, wait_s=PATIENCE_S) as book:
            with contextlib.suppress(LogBookError):
                self.in_step.look(book, self.stamp("book"))
            yield book

    def stamp(self, by: str) -> Stamp:
        """Who enters something, and when."""
        from soakwitness.analysis.record.moments import Stamp, utc_text

        return Stamp(utc_text(self.now()), by)

    def page(self, request: Request, template: str, *, here: str, status: int = 200, **shown: Any) -> HTMLResponse:
        """A page from its template. ``here`` is the name of the route that the navigation marks."""
        text = page_text(
            template,
            here=here,
            navigation=self._navigation(request),
            form_token=self.tokens.of(request),
            way=lambda name, **parts: way(request, name, **parts),
            **shown,
        )
        return HTMLResponse(text, status_code=status)

    def _navigation(self, request: Request) -> Sequence[tuple[str, str, str]]:
        own = OF_THIS_COMPUTER if request.state.device is THIS_COMPUTER else ()
        found = ((word, name, way(request, name)) for word, name in (*NAVIGATION, *own))
        return [(word, name, path) for word, name, path in found if path is not None]


def way(request: Request, name: str, **parts: Any) -> str | None:
    """Path of a page by the name of its route; None where the book has no such page."""
    try:
        return str(request.app.url_path_for(name, **parts))
    except NoMatchFound:
        return None


def page_text(template: str, **shown: Any) -> str:
    """A page as text."""
    return _templates().get_template(template).render(**shown)


@cache
def _templates() -> Environment:
    from jinja2 import Environment, FunctionLoader

    folder = files("soakwitness.cli.book") / "templates"

    def text(name: str) -> str | None:
        place = folder / name
        return place.read_text(encoding="utf-8") if "/" not in name and place.is_file() else None

    made = Environment(autoescape=True, loader=FunctionLoader(text), trim_blocks=True, lstrip_blocks=True)
    made.filters["json"] = json.dumps
    return made
