"""One piece: what it is and has, what is not on record, and its whole life as dated sentences."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.record.moments import from_utc_text
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.handing_out import hand_out
from soakwitness.cli.book.run_in_book import LOOKS, to_be_judged
from soakwitness.cli.charts.run_data import had_words
from soakwitness.cli.words.hardness_words import hardness_now, newest
from soakwitness.cli.words.kept_words import decided_words
from soakwitness.cli.words.page_words import ON_PAGE
from soakwitness.cli.words.piece_words import known_words, step_words, waiting_words
from soakwitness.firmware_bridge.common.wording import duration, listed, temperature
from soakwitness.firmware_bridge.common.zones import zone_on_record

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.dispositions import Disposition
    from soakwitness.analysis.logbook.history import History, Step
    from soakwitness.analysis.logbook.opening import LogBook


@dataclass(frozen=True)
class LifeLine:
    """Something that happened to a piece. ``run``: the run that it was, with the sentence of its verdict."""

    day: str
    time: str
    kind: str
    says: str
    about: str
    run: str | None = None
    tag: str | None = None
    look: str = ""
    had: tuple[str, ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    decided: tuple[str, ...] = ()
    photo: str | None = None


def routes(desk: Desk) -> list[Route]:
    """The page of a piece, and its sheet."""

    async def page(request: Request) -> Response:
        shown = await asyncio.to_thread(shown_of, desk, request.path_params["piece"])
        return desk.page(request, "piece.html", here="pieces", **shown)

    async def sheet(request: Request) -> Response:
        shown = await asyncio.to_thread(shown_of, desk, request.path_params["piece"])
        piece = shown["life"].piece.id
        return await hand_out(desk, f"{piece}.pdf", piece=piece)

    return [Route("/pieces/{piece}", page, name="piece"), Route("/pieces/{piece}/sheet.pdf", sheet, name="piece_sheet")]


def shown_of(desk: Desk, name: str) -> dict[str, Any]:
    """What the page's template is given; a piece that is not on record is not found."""
    from soakwitness.analysis.logbook.entries import struck_entries
    from soakwitness.analysis.logbook.hardness import hardness_of
    from soakwitness.analysis.logbook.history import piece_history
    from soakwitness.analysis.logbook.pieces import find_piece
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.cli.charts.blade_map import blade_svg, placed
    from soakwitness.cli.words.hardness_words import spread_words
    from soakwitness.cli.words.piece_words import struck_lines

    with desk.open_book_in_step() as book:
        if find_piece(book, name) is None:
            raise HTTPException(404, f"{name}: there is no such piece on record.")
        life = piece_history(book, name)
        runs = [step.source for step in life.steps if isinstance(step.source, RunEntry)]
        stale = to_be_judged(book, runs)
        tests = hardness_of(book, life.piece.id)
        last = newest(tests)
        return {
            "life": life,
            "map": blade_svg(last) if placed(last) else None,
            "spread": spread_words(tests),
            "flagged": [(f, f.next.text("C", ON_PAGE)) for f in life.findings],
            "known": known_words(life.piece, life.batches),
            "says": _says(life, hardness_now(tests) if last else None),
            "lines": [line for step in reversed(life.steps) for line in [_line(book, life, step, stale)]],
            "waiting": [waiting_words(charged) for charged in life.waiting],
            "struck": struck_lines(struck_entries(book, life.piece.id)),
            "audit": urlencode({"suspect": life.piece.id}),
            "its_runs": urlencode({"piece": life.piece.id}),
            "stale": sorted(stale),
        }


def _says(life: History, hard: str | None) -> str:
    """The sentence that leads: what it has now, else how far it is."""
    name = life.piece.id
    if hard is not None:
        return f"{name} has {hard}."
    done = [step.kind for step in life.steps if not step.not_done]
    if not done:
        return f"{name} waits for its run." if life.waiting else f"{name}: nothing is on record yet."
    return f"{name}: the last that is on record is {done[-1]}. Hardness is not on record."


def _line(book: LogBook, life: History, step: Step, stale: Collection[str]) -> LifeLine:
    from soakwitness.analysis.logbook.photos import Photo
    from soakwitness.analysis.logbook.runs import RunEntry

    at = from_utc_text(step.start_utc)
    if not isinstance(step.source, RunEntry):
        there = at.astimezone()
        says, about = step_words(step, "C")
        photo = step.source.digest if isinstance(step.source, Photo) else None
        return LifeLine(_day(there), f"{there:%H:%M}", step.kind, says, about, photo=photo)
    from soakwitness.analysis.logbook.dispositions import dispositions_of
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.cli.book.runs_page import verdict_of

    entry = step.source
    there = at.astimezone(zone_on_record(entry.zone))
    says, tag = verdict_of(book, entry, stale=entry.run in stale)
    kept = last_verdict(book, entry.run)
    answer = {} if kept is None else kept.answer
    return LifeLine(
        _day(there),
        f"{there:%H:%M}",
        step.kind,
        of_piece(answer, life.piece.id) or says,
        step_words(step, "C")[0],
        entry.run,
        tag,
        LOOKS.get(tag or "", "wait"),
        tuple(_had(answer, life.piece.id)),
        tuple((f["code"], f["says"]) for f in _findings(answer, life.piece.id)),
        tuple(
            decided_words(d, entry.zone) for d in dispositions_of(book, entry.run) if _of_it(d, answer, life.piece.id)
        ),
    )


def _day(at: Any) -> str:
    return f"{at.day} {at:%b %Y}"


def _had(answer: Mapping[str, Any], piece: str) -> Iterator[str]:
    """What this piece had in each judged hold."""
    for step in answer.get("steps", ()):
        for one in step.get("pieces", ()) if step.get("kind") == "hold" and step.get("judged") else ():
            if (one.get("piece") or "").casefold() == piece.casefold():
                had = had_words({**step, "soak_s": one.get("soak_s")})
                late = one.get("quench_delay_s")
                plates = "" if late is None else f", in the quench after {duration(late)}"
                yield f"{had} at {temperature(step['target_c'], 'C')}: {one.get('verdict')}{plates}"


def of_piece(answer: Mapping[str, Any], piece: str) -> str | None:
    """What failed of this very piece, or that only others' failed; None where the run's own sentence leads with it."""
    failed = [f for f in answer.get("findings", ()) if f["severity"] == "fail"]
    whose = [{name.casefold() for name in f["pieces"]} for f in failed]
    if not failed or not whose[0] or piece.casefold() in whose[0]:
        return None
    own = [str(f["says"]) for f, names in zip(failed, whose, strict=True) if not names or piece.casefold() in names]
    if own:
        return " ".join(dict.fromkeys(own))
    others = listed(list(dict.fromkeys(name for f in failed for name in f["pieces"])))
    return f"Nothing failed of {piece}; the run failed by {others}."


def _of_it(decided: Disposition, answer: Mapping[str, Any], piece: str) -> bool:
    """Whether a decision is about the whole run, or about a finding that is not the others' alone."""
    about = [
        f for f in answer.get("findings", ()) if f["code"] == decided.finding and decided.step in (None, f["step"])
    ]
    return not about or any(_is_about(f, piece) for f in about)


def _is_about(finding: Mapping[str, Any], piece: str) -> bool:
    return not finding["pieces"] or piece.casefold() in {name.casefold() for name in finding["pieces"]}


def _findings(answer: Mapping[str, Any], piece: str) -> Sequence[Mapping[str, Any]]:
    """Findings that fail or warn and are about this piece, or about no piece in particular."""
    return [f for f in answer.get("findings", ()) if f["severity"] in ("fail", "warn") and _is_about(f, piece)]
