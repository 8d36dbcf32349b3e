"""*Now*: the runs that are being recorded; when none is, the sentence about the last one."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.plans_kept import PlanAhead, plans_ahead
from soakwitness.cli.book.run_in_book import to_be_judged, without_verdict
from soakwitness.cli.book.working import JobRefused
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.page_words import kept_on_page
from soakwitness.firmware_bridge.version import VERSION

MOST_BROWSERS = 200
MOST_PLANS = 3
SEALED_WITHIN_S = 120.0
SEAL_LOOKED_FOR_S = 0.3
ASKED_AGAIN_S = 5.0
ASKED_AGAIN = 12  # a watch finds the recipe of a run that has none, and judges it, in a process of its own


@dataclass(frozen=True)
class LastRun:
    """The run that began last, in words."""

    run: str
    furnace: str
    recipe: str | None
    began: str
    verdict: str | None
    says: str
    next: str | None
    stale: bool


def routes(desk: Desk) -> list[Route]:
    """The page, the stream of states, and what the book says of itself."""

    async def now(request: Request) -> Response:
        last, ahead = (None, []) if desk.states.recording() else await asyncio.to_thread(quiet, desk)
        may_mark = request.state.device.rights == "mark"
        return desk.page(request, "now.html", here="now", last=last, ahead=ahead, may_mark=may_mark)

    async def states(request: Request) -> Response:
        if desk.states.browsers >= MOST_BROWSERS:
            return PlainTextResponse("Too many browsers look at this page.\n", status_code=503)
        return StreamingResponse(desk.states.stream(), media_type="text/event-stream; charset=utf-8")

    async def about(request: Request) -> Response:
        return JSONResponse({"logbook": str(desk.logbook), "version": VERSION})

    return [Route("/", now, name="now"), Route("/states", states), Route("/about", about)]


def quiet(desk: Desk) -> tuple[LastRun | None, Sequence[PlanAhead]]:
    """What is shown while nothing records: the last run, and the plans of coming ones."""
    return last_run(desk), plans_ahead(desk, None)[1][:MOST_PLANS]


def last_run(desk: Desk) -> LastRun | None:
    """The run of the log book that began last, with the sentence of its kept verdict."""
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.logbook.runs import list_runs

    try:
        with desk.open_book() as book:
            for entry in list_runs(book, newest=1):
                kept = last_verdict(book, entry.run)
                stale = entry.run in to_be_judged(book, [entry])
                short = {} if kept is None else kept.answer.get("in_short") or {}
                return LastRun(
                    entry.run,
                    entry.furnace,
                    entry.recipe_name,
                    shown_time(entry.started_utc, entry.zone),
                    None if kept is None else kept.verdict,
                    short.get("says") or without_verdict(entry, stale=stale),
                    short.get("next") and kept_on_page(short["next"]),
                    stale,
                )
    except LogBookError:
        pass
    return None


def judge_when_over(desk: Desk) -> Callable[[str, str], Awaitable[None]]:
    """What is done when a run is over: its verdict is asked for, and shown where the run stood."""

    async def over(furnace: str, run: str) -> None:
        for _ in range(int(SEALED_WITHIN_S / SEAL_LOOKED_FOR_S)):
            if (desk.logbook / "runs" / run / "seal.json").exists():
                break
            await asyncio.sleep(SEAL_LOOKED_FOR_S)
        for _ in range(ASKED_AGAIN):
            last = await _verdict(desk, run)
            desk.states.set_last(furnace, run, last)
            if last["verdict"] is not None:
                break
            await asyncio.sleep(ASKED_AGAIN_S)

    return over


async def _verdict(desk: Desk, run: str) -> dict[str, Any]:
    """The verdict on a run by the worker; else the one that someone else kept meanwhile; else why there is none."""
    try:
        found: dict[str, Any] = await desk.worker.ask("verdict", run=run)
        return found | {"next": found["next"] and kept_on_page(found["next"])}
    except JobRefused as error:
        refused = str(error)
    last = await asyncio.to_thread(last_run, desk)
    if last is not None and last.run == run and last.verdict is not None:
        return {"run": run, "verdict": last.verdict, "says": last.says, "next": last.next}
    return {"run": run, "verdict": None, "says": "The run is over and sealed.", "next": refused}
