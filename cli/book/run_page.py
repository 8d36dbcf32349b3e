"""One run: the verdict's sentence, the next act, how long each blade soaked, the chart, marks, findings, its record."""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.handing_out import hand_out
from soakwitness.cli.book.run_in_book import (
    LOOKS,
    Answer,
    RunInBook,
    chart_runs,
    clock_s,
    had_bars,
    is_recorded,
    log_lines,
    period_words,
    run_by_id,
    run_in_book,
    unit_of,
    without_verdict,
)
from soakwitness.cli.book.settled_where import linked_parts
from soakwitness.cli.book.working import JobRefused
from soakwitness.cli.charts.run_data import MOST_POINTS, chart_data
from soakwitness.cli.guide.searching import defined_at
from soakwitness.cli.words.kept_words import decided_words
from soakwitness.cli.words.page_words import kept_on_page, on_page
from soakwitness.firmware_bridge.common.wording import moment
from soakwitness.firmware_bridge.errors import RunFolderError

SEVERITY = {"fail": ("fail", "bad"), "warn": ("warning", "wait"), "note": ("note", "note")}


def routes(desk: Desk) -> list[Route]:
    """The page of a run, the data of its chart, its verdict made anew, and its sheet."""
    in_unit: dict[tuple[str, str], Answer] = {}  # by run and when its verdict was kept: sentences not in degC

    async def page(request: Request) -> Response:
        run = await asyncio.to_thread(run_in_book, desk, request.path_params["run"])
        if run.unit != "C" and run.kept is not None:
            run = replace(run, in_unit=in_unit.get((run.entry.run, run.kept.made_utc)))
        desk.states.begin(asyncio.to_thread(_read_ahead, desk, run))
        return desk.page(request, "run.html", here="runs", **shown_of(request, run))

    async def chart(request: Request) -> Response:
        name, asked = request.path_params["run"], request.query_params
        part = {key: _number(asked.get(word)) for key, word in (("from_s", "from"), ("to_s", "to"))}
        points = _number(asked.get("points"))
        most = MOST_POINTS if points is None else int(min(max(points, 100), 2 * MOST_POINTS))
        try:
            data = await asyncio.to_thread(_chart, desk, name, part, most)
        except (RunFolderError, OSError, ValueError) as error:
            raise HTTPException(404, on_page(error)) from None
        return Response(json.dumps(data, allow_nan=False, separators=(",", ":")), media_type="application/json")

    async def judged(request: Request) -> Response:
        entry = await asyncio.to_thread(run_by_id, desk, request.path_params["run"])
        if "over" in request.query_params and is_recorded(entry):
            return JSONResponse({"run": entry.run, "recorded": True})
        try:
            found = await desk.worker.ask("verdict", run=entry.folder.name)
            if found["answer"] is not None:
                in_unit[entry.run, await asyncio.to_thread(_made_utc, desk, entry.run)] = found["answer"]
        except JobRefused as error:
            return JSONResponse({"refused": str(error)}, status_code=409)
        act = found["next"] and kept_on_page(found["next"])
        return JSONResponse({"run": entry.run, "verdict": found["verdict"], "says": found["says"], "next": act})

    async def estimate(request: Request) -> Response:
        entry = await asyncio.to_thread(run_by_id, desk, request.path_params["run"])
        try:
            return JSONResponse(await desk.worker.ask("estimate", run=entry.folder.name))
        except JobRefused as error:
            raise HTTPException(409, str(error)) from None

    async def sheet(request: Request) -> Response:
        entry = await asyncio.to_thread(run_by_id, desk, request.path_params["run"])
        return await hand_out(desk, f"{entry.run}.pdf", run=entry.folder.name)

    return [
        Route("/runs/{run}", page, name="run"),
        Route("/runs/{run}/chart.json", chart, name="chart_data"),
        Route("/runs/{run}/judged.json", judged, name="judged"),
        Route("/runs/{run}/estimate.json", estimate, name="estimate"),
        Route("/runs/{run}/sheet.pdf", sheet, name="run_sheet"),
    ]


def _made_utc(desk: Desk, run: str) -> str:
    from soakwitness.analysis.logbook.kept import last_verdict

    with desk.open_book() as book:
        kept = last_verdict(book, run)
    return "" if kept is None else kept.made_utc


def _read_ahead(desk: Desk, run: RunInBook) -> None:
    """Read a run while the browser loads the scripts of its chart, which is going to ask for it."""
    with contextlib.suppress(RunFolderError, OSError, ValueError):
        desk.lines.lines(run.entry.folder)


def _chart(desk: Desk, name: str, part: dict[str, float | None], most: int) -> dict[str, Any]:
    from soakwitness.analysis.logbook.kept import last_verdict

    entry = run_by_id(desk, name)
    with desk.open_book() as book:
        verdict, unit = last_verdict(book, entry.run), unit_of(book, entry)
    lines = desk.lines.lines(entry.folder)
    return chart_data(lines, None if verdict is None else verdict.answer, unit=unit, most=most, **part)


def _number(text: str | None) -> float | None:
    try:
        value = math.nan if text is None else float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def shown_of(request: Request, run: RunInBook) -> dict[str, Any]:
    """What the page's template is given."""
    entry, answer = run.entry, run.answer
    short = answer.get("in_short") or {}
    return {
        "run": run,
        "entry": entry,
        "period": period_words(entry),
        "tag": answer.get("verdict"),
        "look": LOOKS.get(str(answer.get("verdict")), "wait"),
        "says": short.get("says") or without_verdict(entry, stale=run.stale),
        "next": linked_parts(request, short.get("next") or "", {"run": entry.run}),
        "not_seen": [kept_on_page(says) for says in answer.get("not_seen") or ()],
        "would_prove": [kept_on_page(says) for says in answer.get("would_prove") or ()],
        "not_known": short.get("not_known") or (),
        "bars": had_bars(answer, run.shown_in),
        "recorded": is_recorded(entry),
        "other_unit": run.kept is not None and run.shown_in != run.unit,
        "log": log_lines(run),
        "findings": findings_shown(request, run),
        "about_run": [decided_words(d, entry.zone) for d in run.decided if d.finding is None],
        "chart_runs": chart_runs(request, [entry], estimate=answer.get("temperature_from") == "packet estimate"),
        "clock_s": clock_s(entry),
        "on_record": run.on_record,
        "audit": urlencode({"suspect": entry.run}),
        "plan": entry.recipe_digest and urlencode({"recipe_path": entry.recipe_digest, "furnace": entry.furnace}),
        "same_furnace": urlencode({"furnace": entry.furnace}),
        "earlier_run": run.before and urlencode([("run", entry.run), ("run", run.before)]),
    }


def findings_shown(request: Request, run: RunInBook) -> list[dict[str, Any]]:
    """Findings, what fails first; each with what was decided about it."""
    order = list(SEVERITY)
    found = []
    for number, finding in enumerate(run.answer.get("findings", ())):
        word, look = SEVERITY.get(finding["severity"], ("note", "note"))
        found.append(
            {
                "number": number,
                "code": finding["code"],
                "defined": defined_at(finding["code"]),
                "word": word,
                "look": look,
                "says": finding["says"],
                "next": linked_parts(request, finding["next"], {"run": run.entry.run}),
                "at_s": finding.get("at_s"),
                "at": None if finding.get("at_s") is None else moment(finding["at_s"]),
                "decided": [
                    decided_words(d, run.entry.zone)
                    for d in run.decided
                    if d.finding == finding["code"] and d.step in (None, finding.get("step"))
                ],
                "order": order.index(finding["severity"]) if finding["severity"] in order else len(order),
            }
        )
    return sorted(found, key=lambda one: one["order"])
