"""*Runs*: the runs of the log book, the newest first, each with the sentence of its kept verdict."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.working import JobRefused
from soakwitness.cli.options.entering import shown_time
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry

ON_A_PAGE = 20
THUMBNAILS_KEPT = 400
TAGS = {"pass": "good", "fail": "bad", "not proven": "wait"}


@dataclass(frozen=True)
class ListedRun:
    """A run as the page lists it. ``look`` is the class of its tag."""

    run: str
    began: str
    furnace: str
    recipe: str | None
    says: str
    tag: str | None
    look: str


def routes(desk: Desk) -> list[Route]:
    """The list, and a small picture of each run."""
    drawn: OrderedDict[tuple[str, str | None], str] = OrderedDict()

    async def runs(request: Request) -> Response:
        before = request.query_params.get("before") or None
        try:
            listed, older = await asyncio.to_thread(runs_on_page, desk, before)
        except LogBookError as error:
            return desk.page(request, "runs.html", here="runs", runs=(), older=None, before=None, trouble=str(error))
        return desk.page(request, "runs.html", here="runs", runs=listed, older=older, before=before, trouble=None)

    async def thumbnail(request: Request) -> Response:
        entry = await asyncio.to_thread(run_by_id, desk, request.path_params["run"])
        key = (entry.run, entry.seal)
        if key not in drawn or entry.seal is None:
            try:
                drawn[key] = (await desk.worker.ask("thumbnail", run=entry.folder.name))["svg"]
            except JobRefused as error:
                raise HTTPException(404, str(error)) from None
        drawn.move_to_end(key)
        while len(drawn) > THUMBNAILS_KEPT:
            drawn.popitem(last=False)
        return Response(drawn[key], media_type="image/svg+xml", headers={"cache-control": "max-age=300"})

    return [
        Route("/runs", runs, name="runs"),
        Route("/runs/{run}/thumbnail.svg", thumbnail, name="thumbnail"),
    ]


def run_by_id(desk: Desk, run: str) -> RunEntry:
    """A run of the log book by its whole id; what is none is not found."""
    from soakwitness.analysis.logbook.runs import runs_listed

    with desk.open_book() as book:
        found = runs_listed(book, [run])
    if not found:
        raise HTTPException(404)
    return found[0]


def runs_on_page(desk: Desk, before_utc: str | None) -> tuple[list[ListedRun], str | None]:
    """Runs that began before then, the newest first, and before when the next page begins; None where none is older."""
    from soakwitness.analysis.logbook.runs import list_runs, take_in

    with desk.open_book() as book:
        take_in(book, stamp=desk.stamp("book"))
        found = list_runs(book, until_utc=before_utc, newest=ON_A_PAGE + 1)
        shown = found[-ON_A_PAGE:]
        older = shown[0].started_utc if len(found) > ON_A_PAGE else None
        return [listed_run(book, entry) for entry in reversed(shown)], older


def listed_run(book: LogBook, entry: RunEntry) -> ListedRun:
    """One run with its sentence."""
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.rules import RULES_VERSION

    kept = last_verdict(book, entry.run)
    says, tag = "Not compared with its recipe yet." if entry.recipe_name else "It carries no recipe.", None
    if entry.missing:
        says, tag = "Its folder is missing.", "missing"
    elif kept is not None:
        says, tag = (kept.answer.get("in_short") or {}).get("says") or "", kept.verdict
        says += "" if kept.rules == RULES_VERSION else f" By rules {kept.rules}."
    elif entry.seal is None:
        recorded = is_held(entry.folder / RUN_LOCK)
        says = "It is being recorded." if recorded else "It was cut off."
    began = shown_time(entry.started_utc, entry.zone)
    return ListedRun(entry.run, began, entry.furnace, entry.recipe_name, says, tag, TAGS.get(tag or "", "wait"))
