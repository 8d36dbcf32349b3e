"""*Enter*: where an evening's entries begin; the pages behind it are the modules ``enter_*``."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book import (
    enter_charge,
    enter_decision,
    enter_hardness,
    enter_inspection,
    enter_marks,
    enter_treatment,
    enter_words,
)
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.on_record import on_record
from soakwitness.cli.book.run_in_book import to_be_judged, without_verdict
from soakwitness.cli.book.sent_forms import Said, show, the_piece
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.page_words import on_page

RUNS, PIECES = 4, 30


def routes(desk: Desk) -> list[Route]:
    """The beginning, what can be entered of a piece, and all the forms."""
    said = Said()

    async def enter(request: Request) -> Response:
        try:
            found = await asyncio.to_thread(_beginning, desk, request.query_params.get("find", ""))
        except LogBookError as error:  # there is none yet: the first pieces make one
            found = {"runs": (), "pieces": (), "find": "", "trouble": on_page(error)}
        return show(desk, request, "enter.html", said=said.take(request), **found)

    async def piece(request: Request) -> Response:
        found = await asyncio.to_thread(_piece, desk, request)
        return show(desk, request, "enter_piece.html", said=said.take(request), **found)

    forms = (enter_hardness, enter_inspection, enter_treatment, enter_words, enter_decision, enter_marks, enter_charge)
    return [
        Route("/enter", enter, name="enter"),
        *(route for module in forms for route in module.routes(desk, said)),
        Route("/pieces/{piece}/enter", piece, name="enter_piece"),
    ]


def _beginning(desk: Desk, find: str) -> dict[str, Any]:
    """Newest runs with their pieces; newest pieces, or those that were looked for."""
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.dispositions import dispositions_of
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.logbook.pieces import find_piece, search
    from soakwitness.analysis.logbook.runs import list_runs, take_in

    with desk.open_book() as book:
        take_in(book, stamp=desk.stamp("book"))
        runs = []
        newest = list_runs(book, newest=RUNS)
        stale = to_be_judged(book, newest)
        for entry in reversed(newest):
            kept = last_verdict(book, entry.run)
            inside = [c.piece for c in pieces_in_run(book, entry.run) if find_piece(book, c.piece) is not None]
            runs.append(
                {
                    "run": entry.run,
                    "began": shown_time(entry.started_utc, entry.zone),
                    "furnace": entry.furnace,
                    "verdict": None if kept is None else kept.verdict,
                    "says": ({} if kept is None else kept.answer.get("in_short") or {}).get("says")
                    or without_verdict(entry, stale=entry.run in stale),
                    "stale": entry.run in stale,
                    "pieces": list(dict.fromkeys(inside)),
                    "decided": len(dispositions_of(book, entry.run)),
                }
            )
        return {"runs": runs, "pieces": search(book, find, limit=PIECES), "find": find}


def _piece(desk: Desk, request: Request) -> dict[str, Any]:
    from soakwitness.analysis.logbook.hardness import hardness_of
    from soakwitness.analysis.logbook.history import piece_history
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.cli.charts.blade_map import blade_svg, placed
    from soakwitness.cli.words.hardness_words import hardness_now, newest, spread_words
    from soakwitness.cli.words.piece_words import known_words, waiting_words

    with desk.open_book() as book:
        piece = the_piece(book, request)
        tests = hardness_of(book, piece.id)
        life = piece_history(book, piece.id)
        stale = to_be_judged(book, [step.source for step in life.steps if isinstance(step.source, RunEntry)])
    return {
        "piece": piece,
        "now": hardness_now(tests) if tests else None,
        "spread": spread_words(tests),
        "map": blade_svg(newest(tests)) if placed(newest(tests)) else None,
        "run": next((step.source.run for step in reversed(life.steps) if isinstance(step.source, RunEntry)), None),
        "stale": sorted(stale),
        "record": [on_record(step) for step in reversed(life.steps)],
        "known": known_words(piece, life.batches),
        "waiting": [(waiting_words(charged), charged.entry) for charged in life.waiting],
        "gaps": [finding.says for finding in life.findings],
    }
