"""*Furnace*: what is due for it, its sensors with their calibrations, its tests, surveys and upkeep."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book import enter_furnace
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.sent_forms import Said
from soakwitness.cli.book.settled_where import SettledWhere, settled_where
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.page_words import on_page
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.cutouts import CutOutTest
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.sensors import Check, SensorLife

LOOKS = {"pass": "good", "fail": "bad", "not proven": "wait"}


@dataclass(frozen=True)
class KeptLine:
    """Something on record of a furnace: when, what, and where more of it stands (the query of a look)."""

    when: str
    says: str
    tag: str | None = None
    look: str = ""
    asks: str | None = None
    struck: bool = False


def routes(desk: Desk) -> list[Route]:
    """The page: the furnaces, or the one that is asked for; and what is entered about it."""
    said = Said()

    async def page(request: Request) -> Response:
        asked = request.query_params.get("furnace", "").strip()
        try:
            shown = await asyncio.to_thread(_shown, desk, request, asked)
        except LogBookError as error:
            shown = {"furnace": None, "furnaces": (), "trouble": on_page(error)}
        done = bool(said.take(request))  # what the command said stands on the page
        return desk.page(request, "furnace.html", here="furnace", done=done, **shown)

    return [Route("/furnace", page, name="furnace"), *enter_furnace.routes(desk, said)]


def _shown(desk: Desk, request: Request, asked: str) -> dict[str, Any]:
    from soakwitness.analysis.logbook.runs import furnaces

    with desk.open_book_in_step() as book:
        known = {name.casefold(): name for name in furnaces(book)}
        if asked and asked.casefold() not in known:
            raise HTTPException(404, f"{asked}: the log book has no run of this furnace.")
        if not asked and len(known) != 1:
            listed = [(name, urlencode({"furnace": name})) for name in known.values()]
            return {"furnace": None, "furnaces": listed, "trouble": None}
        name = known[asked.casefold()] if asked else next(iter(known.values()))
        return _of(desk, request, book, name) | {"others": len(known) > 1}


def _of(desk: Desk, request: Request, book: LogBook, name: str) -> dict[str, Any]:
    from soakwitness.analysis.logbook.cutouts import cutout_tests
    from soakwitness.analysis.logbook.furnace_work import upkeep_of
    from soakwitness.analysis.logbook.runs import list_runs
    from soakwitness.analysis.logbook.sensors import accuracy_tests, sensor_lives, surveys
    from soakwitness.cli.book.run_in_book import unit_of

    newest = list_runs(book, furnace=name, newest=1)
    unit: Unit = unit_of(book, newest[-1]) if newest else "C"
    lives = sensor_lives(book, name)
    in_unit = {"unit": "F"} if unit == "F" else {}
    return {
        "furnace": name,
        "latest": None if not newest else (newest[-1].run, shown_time(newest[-1].started_utc, newest[-1].zone)),
        "due": _due(desk, request, book, name, unit),
        "lives": [_life(book, life, unit) for life in reversed(lives)],
        "accuracy": [_accuracy(test, unit) for test in reversed(accuracy_tests(book, name))],
        "surveys": [_survey(one, unit) for one in reversed(surveys(book, name))],
        "cutouts": [_cutout(test, unit) for test in reversed(cutout_tests(book, name))],
        "upkeep": [
            KeptLine(shown_time(one.done_utc), f"{one.part}{': ' if one.note else ''}{one.note}, by {one.entered_by}")
            for one in reversed(upkeep_of(book, name))
        ],
        "asks": urlencode({"furnace": name, **in_unit}),
    }


def _due(desk: Desk, request: Request, book: LogBook, name: str, unit: Unit) -> list[tuple[str, SettledWhere]]:
    """What waits for the furnace, each with where it is settled; of one that rested for long as well."""
    from soakwitness.analysis.logbook.lately import furnaces_in_use
    from soakwitness.analysis.logbook.set_aside import set_aside_entries
    from soakwitness.analysis.waiting.waiting_acts import AskedAbout
    from soakwitness.analysis.waiting.waiting_upkeep import waiting_furnaces
    from soakwitness.firmware_bridge.common.zones import computer_zone

    asking = AskedAbout(desk.stamp("book").at_utc, computer_zone(), set_aside_entries(book))
    found = [one for one in furnaces_in_use(book, since_utc="") if one.furnace == name]
    return [(act.says.text(unit), settled_where(request, act)) for act in waiting_furnaces(book, found, asking)]


def _life(book: LogBook, life: SensorLife, unit: Unit) -> dict[str, Any]:
    from soakwitness.analysis.logbook.calibration_records import heats_of
    from soakwitness.analysis.logbook.sensors import calibrations
    from soakwitness.cli.words.sensor_words import heat_words, life_words, made_words, standing_words

    heats = heats_of(book, life.furnace, life.sensor, after_utc=life.fitted_utc, before_utc=life.ended_utc)
    return {
        "says": life_words(life, None, unit),
        "heats": heat_words(life, heats, None, unit),
        "calibrations": [
            KeptLine(
                one.done_on,
                made_words(one) + standing_words(one),
                asks=urlencode({"number": one.entry, **({"unit": "F"} if unit == "F" else {})}),
                struck=one.struck_utc is not None,
            )
            for one in reversed(calibrations(book, life.entry, withdrawn=True))
        ],
    }


def _accuracy(test: Check, unit: Unit) -> KeptLine:
    result, due = test.result, f", due {test.due_on or 'never'}"
    says = f"{test.sensor} at {temperature(result['at_c'], unit)}: "
    says += (
        f"{difference(result['difference_c'], unit, signed=True)}, ±{difference(result['limit_c'], unit)} asked{due}"
    )
    return _judged(test, says, urlencode({"furnace": test.furnace, "sensor": test.sensor or "", "unit": unit}))


def _survey(one: Check, unit: Unit) -> KeptLine:
    result = one.result
    says = f"{temperature(result['target_c'], unit)} ±{difference(result['band_c'], unit)}: fits "
    says += f"±{difference(result['corrected']['about_target_c'], unit)}, {counted(len(result['sensors']), 'sensor')}, "
    return _judged(one, f"{says}due {one.due_on or 'never'}", urlencode({"show": one.entry, "unit": unit}))


def _judged(check: Check, says: str, asks: str) -> KeptLine:
    verdict = str(check.result.get("verdict"))
    return KeptLine(check.done_on, says, verdict, LOOKS.get(verdict, "wait"), asks)


def _cutout(test: CutOutTest, unit: Unit) -> KeptLine:
    cut = (
        f"cut at {temperature(test.tripped_c, unit)}"
        if test.tripped_c is not None
        else f"did not cut up to {temperature(test.reached_c, unit)}"
    )
    by_itself = ", by itself" if test.by_itself else ""
    note = f", {test.note}" if test.note else ""
    return KeptLine(test.done_on, f"set to {temperature(test.set_c, unit)}, {cut}{by_itself}{note}")
