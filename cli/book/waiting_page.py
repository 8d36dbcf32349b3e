"""*Waiting*: what waits for a person, in the sentences of ``soakwitness today``; and door dips to be confirmed."""

from __future__ import annotations

import asyncio
import contextlib
import shutil
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Said, onward, send
from soakwitness.cli.book.settled_where import SettledWhere, settled_where
from soakwitness.cli.book.working import JobRefused
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.page_words import on_page

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.waiting.waiting_acts import WaitingAct

LOOKS = {"at once": "bad", "today": "wait", "soon": "wait", "when it suits": "good"}
RUNS_LOOKED_AT = 5  # of the newest runs, for dips that no mark explains
WAITED_FOR_S = 2.0
KEPT = 200

Dips = dict[str, Any]


@dataclass(frozen=True)
class WaitingLine:
    """One thing that waits: its sentence, how urgent, where to look, and where it is settled.

    ``steps``: of a furnace's first runs all three, each after how it stands.
    """

    says: str
    urgency: str
    look: str
    settled: SettledWhere
    page: str | None
    steps: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True)
class ChargeAhead:
    """Pieces that are entered for a furnace's next run, in a sentence; ``query``: what plans it."""

    says: str
    query: str


def routes(desk: Desk) -> list[Route]:
    """The list, and what confirms the acts that door dips are offered as."""
    said, dips = Said(), DipsOffered(desk)

    async def waiting(request: Request) -> Response:
        return await shown(request, said.take(request))

    async def shown(
        request: Request, words: tuple[str, ...], refused: str | None = None, status: int = 200
    ) -> Response:
        from soakwitness.analysis.waiting.what_waits import LOOK_BACK_DAYS

        try:
            acts, charges, recording = await asyncio.to_thread(lines, desk, request)
            offered, looking = await dips.of_newest()
        except LogBookError as error:
            acts, charges, recording, offered, looking, refused = [], [], [], [], False, on_page(error)
        return desk.page(
            request,
            "waiting.html",
            here="waiting",
            status=status,
            acts=acts,
            days=LOOK_BACK_DAYS,
            recording=recording,
            charges=charges,
            dips=offered,
            looking=looking,
            said=words,
            refused=refused,
            may=request.state.device.rights == "mark",
        )

    async def confirmed(request: Request, form: FormData) -> Response:
        run = request.path_params["run"]
        outcome = await send(desk, said, request, "inferred", {"inferred": [run], "confirm": ["yes"]})
        if outcome.done is None:
            return await shown(request, (), outcome.filled.refused, 422)
        return onward(said, outcome, way(request, "waiting"))

    return [
        Route("/waiting", waiting, name="waiting"),
        entry_route("/waiting/{run}/inferred", confirmed, desk.tokens, name="inferred_confirmed"),
    ]


def lines(desk: Desk, request: Request) -> tuple[list[WaitingLine], list[ChargeAhead], list[str]]:
    """What waits now, what is entered for a next run, and what is being recorded, in words."""
    from soakwitness.analysis.logbook.runs import take_in
    from soakwitness.analysis.waiting.what_waits import what_waits
    from soakwitness.cli.words.waiting_words import recording_words
    from soakwitness.firmware_bridge.common.zones import computer_zone

    stamp = desk.stamp("book")
    with desk.open_book() as book:
        take_in(book, stamp=stamp)
        free = shutil.disk_usage(book.folder).free
        found = what_waits(book, now_utc=stamp.at_utc, zone=computer_zone(), free_bytes=free)
        steps = [_steps(book, act) for act in found.acts]
        charges = _charges(book, stamp.at_utc)
    made = [
        WaitingLine(
            act.says.text("C"),
            act.urgency,
            LOOKS[act.urgency],
            settled_where(request, act),
            _page(request, act.page),
            three,
        )
        for act, three in zip(found.acts, steps, strict=True)
    ]
    return made, charges, [recording_words(run, found.now_utc) for run in found.recording]


def _steps(book: LogBook, act: WaitingAct) -> list[tuple[str, str]]:
    """The three first runs of a furnace that is asked for the next of them."""
    from soakwitness.analysis.waiting.waiting_first_runs import first_runs
    from soakwitness.cli.words.first_runs_words import first_runs_steps

    return first_runs_steps(first_runs(book, act.concerns[-1].name), "C") if act.kind == "first runs" else []


def _charges(book: LogBook, now_utc: str) -> list[ChargeAhead]:
    """What is entered for the next run of each furnace."""
    from soakwitness.analysis.logbook.charges import furnaces_waited_for, pieces_waiting
    from soakwitness.analysis.waiting.waiting_acts import pieces_said

    found = {name: [one.piece for one in pieces_waiting(book, name, now_utc)] for name in furnaces_waited_for(book)}
    return [
        ChargeAhead(
            f"{pieces_said(pieces)} {'is' if len(pieces) == 1 else 'are'} entered for the next run of {furnace}.",
            urlencode({"furnace": furnace}),
        )
        for furnace, pieces in found.items()
        if pieces
    ]


def _page(request: Request, page: tuple[str, ...]) -> str | None:
    """The path of a page such as ``("run", ID)``."""
    if not page:
        return None
    return way(request, page[0], **({page[0]: page[1]} if len(page) > 1 else {}))


class DipsOffered:
    """What the door dips of the newest runs are offered as; the worker finds it once a seal."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._found: OrderedDict[tuple[str, str | None], Dips] = OrderedDict()
        self._finding: dict[tuple[str, str | None], asyncio.Task[None]] = {}

    async def of_newest(self) -> tuple[list[Dips], bool]:
        """What is offered, and whether some runs are still being looked at."""
        runs = await asyncio.to_thread(self._newest)
        for key in runs:
            if key not in self._found and key not in self._finding:
                self._finding[key] = asyncio.create_task(self._find(key, runs[key]))
        if self._finding:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(asyncio.shield(asyncio.gather(*self._finding.values())), WAITED_FOR_S)
        found = [self._found[key] for key in runs if key in self._found]
        return [one for one in found if one.get("question")], any(key in self._finding for key in runs)

    async def _find(self, key: tuple[str, str | None], about: Dips) -> None:
        try:
            self._found[key] = about | await self._desk.worker.ask("inferred", run=about["folder"])
        except JobRefused:
            self._found[key] = about  # it has no recipe, or cannot be read: its own page says so
        finally:
            self._finding.pop(key, None)
        while len(self._found) > KEPT:
            self._found.popitem(last=False)

    def _newest(self) -> dict[tuple[str, str | None], Dips]:
        """The newest sealed runs with a recipe."""
        from soakwitness.analysis.logbook.runs import list_runs

        with self._desk.open_book() as book:
            return {
                (entry.run, entry.seal): {
                    "run": entry.run,
                    "folder": entry.folder.name,
                    "furnace": entry.furnace,
                    "began": shown_time(entry.started_utc, entry.zone),
                }
                for entry in reversed(list_runs(book, newest=RUNS_LOOKED_AT))
                if entry.seal and entry.recipe_name and not entry.missing
            }
