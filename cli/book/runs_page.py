"""*Runs*: each run with its verdict's sentence, found again by filters; and several of them over each other."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.run_in_book import (
    begun_words,
    chart_runs,
    is_recorded,
    known_pieces,
    run_by_id,
    to_be_judged,
    without_verdict,
)
from soakwitness.cli.verdicts.listed_runs import FILTERS
from soakwitness.cli.words.page_words import on_page
from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.errors import RunFolderError

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry

ON_A_PAGE = 20
MOST_OVER_EACH_OTHER = 6
TAGS = {"pass": "good", "fail": "bad", "not proven": "wait"}


@dataclass(frozen=True)
class ListedRun:
    """A run as the page lists it. ``look`` is the class of its tag; ``pieces`` as far as they find room."""

    run: str
    began: str
    furnace: str
    recipe: str | None
    says: str
    tag: str | None
    look: str
    pieces: tuple[str, ...] = ()
    more_pieces: int = 0
    on_record: frozenset[str] = frozenset()
    stale: bool = False


def routes(desk: Desk) -> list[Route]:
    """The list, a small picture of each run, and several runs over each other."""

    async def runs(request: Request) -> Response:
        asked = {name: request.query_params.get(name, "").strip() for name in FILTERS}
        number = request.query_params.get("page", "1")
        page = min(max(int(number), 1), 10**6) if number.isdecimal() and len(number) < 8 else 1
        try:
            shown = await asyncio.to_thread(runs_on_page, desk, asked, page)
        except LogBookError as error:
            shown = _no_runs(error)
        return desk.page(request, "runs.html", here="runs", asked=asked, page_number=page, **shown)

    async def thumbnail(request: Request) -> Response:
        entry = await asyncio.to_thread(run_by_id, desk, request.path_params["run"])
        try:
            svg = await asyncio.to_thread(desk.lines.picture, entry.folder)
        except (RunFolderError, OSError, ValueError) as error:
            raise HTTPException(404, on_page(error)) from None
        return Response(svg, media_type="image/svg+xml", headers={"cache-control": "private, max-age=300"})

    async def over_each_other(request: Request) -> Response:
        names = list(dict.fromkeys(request.query_params.getlist("run")))[:MOST_OVER_EACH_OTHER]
        found = await asyncio.to_thread(_side_by_side, desk, names)
        drawn = chart_runs(request, [entry for entry, *_ in found]) if found else None
        return desk.page(request, "compare.html", here="runs", entries=found, chart_runs=drawn)

    return [
        Route("/runs", runs, name="runs"),
        Route("/runs/over-each-other", over_each_other, name="over_each_other"),
        Route("/runs/{run}/thumbnail.svg", thumbnail, name="thumbnail"),
    ]


def _no_runs(error: LogBookError) -> dict[str, Any]:
    return {"trouble": on_page(error), "runs": (), "count": 0, "choices": {}, "earlier": None, "later": None}


def runs_on_page(desk: Desk, asked: Mapping[str, str], page: int) -> dict[str, Any]:
    """What the page shows: a page of the runs that are asked for, and what can be asked for."""
    from soakwitness.analysis.logbook.finding_runs import VERDICTS, RunsAsked, find_runs, months_of_runs, steels_known
    from soakwitness.analysis.logbook.runs import furnaces

    with desk.open_book_in_step() as book:
        choices = {
            "furnace": furnaces(book),
            "month": tuple(months_of_runs(book)),
            "steel": steels_known(book),
            "verdict": VERDICTS,
        }
        given: dict[str, Any] = {name: value for name, value in asked.items() if value and name != "words"}
        try:
            wanted = RunsAsked(**given, text=asked["words"])
            found = find_runs(book, wanted, most=ON_A_PAGE, skip=(page - 1) * ON_A_PAGE)
        except LogBookError as error:
            return _no_runs(error) | {"choices": choices}
        stale = to_be_judged(book, found.entries)
        runs = [listed_run(book, entry, stale=entry.run in stale) for entry in found.entries]
    whole = {name: value for name, value in asked.items() if value}
    return {
        "trouble": None,
        "runs": runs,
        "count": found.count,
        "counted": counted(found.count, "run"),
        "choices": choices,
        "earlier": urlencode({**whole, "page": page + 1}) if found.count > page * ON_A_PAGE else None,
        "later": urlencode({**whole, "page": page - 1}) if page > 1 else None,
    }


def warm_up(desk: Desk) -> None:
    """Load what the first page would have to wait for, and take in what is new in the run folders."""
    from soakwitness.analysis.logbook import finding_runs, history, kept  # noqa: F401

    with contextlib.suppress(LogBookError, OSError), desk.open_book_in_step():
        pass


PIECES_SHOWN = 8


def _side_by_side(desk: Desk, names: Sequence[str]) -> list[tuple[RunEntry, str, str, str | None, str]]:
    from soakwitness.analysis.logbook.runs import runs_listed

    with desk.open_book() as book:
        entries = runs_listed(book, names)
        stale = to_be_judged(book, entries)
        told = [(entry, *verdict_of(book, entry, stale=entry.run in stale)) for entry in entries]
    return [(entry, begun_words(entry), says, tag, TAGS.get(tag or "", "wait")) for entry, says, tag in told]


def listed_run(book: LogBook, entry: RunEntry, *, stale: bool = False) -> ListedRun:
    """One run with its sentence."""
    from soakwitness.analysis.logbook.charges import pieces_in_run

    says, tag = verdict_of(book, entry, stale=stale)
    pieces = tuple(dict.fromkeys(charged.piece for charged in pieces_in_run(book, entry.run)))
    shown, more = pieces[:PIECES_SHOWN], max(0, len(pieces) - PIECES_SHOWN)
    look = TAGS.get(tag or "", "wait")
    return ListedRun(
        entry.run,
        begun_words(entry),
        entry.furnace,
        entry.recipe_name,
        says,
        tag,
        look,
        shown,
        more,
        known_pieces(book, shown),
        stale,
    )


def verdict_of(book: LogBook, entry: RunEntry, *, stale: bool) -> tuple[str, str | None]:
    """The sentence of the verdict kept last, and the tag of the run."""
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.rules import RULES_VERSION

    kept = last_verdict(book, entry.run)
    if entry.missing:
        return "Its folder is missing.", "missing"
    if is_recorded(entry):
        return without_verdict(entry, stale=stale), None
    if kept is not None:
        says = (kept.answer.get("in_short") or {}).get("says") or ""
        return says + ("" if kept.rules == RULES_VERSION else f" By rules {kept.rules}."), kept.verdict
    return without_verdict(entry, stale=stale), None
