"""What a command tells of a furnace, a survey, a calibration, a batch: its words and its chart, by the worker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.looked import LookedLately
from soakwitness.cli.book.told_text import ToldBlock, told_blocks
from soakwitness.cli.words.page_words import kept_on_page


@dataclass(frozen=True)
class LookOffered:
    """What a look is called, what it asks for, the page that the navigation marks, and whether it can tell more."""

    word: str
    asks: tuple[str, ...]
    here: str = "furnace"
    more: bool = False


@dataclass(frozen=True)
class ToldLook:
    """What a command told: its words, what it said beside them, its chart as SVG."""

    blocks: Sequence[ToldBlock]
    notes: Sequence[str]
    chart: str | None


OFFERED = {
    "condition": LookOffered("How it is doing", ("furnace",), more=True),
    "sensors": LookOffered("Sensors and calibrations", ("furnace",)),
    "calibration": LookOffered("Record of a calibration", ("number",)),
    "accuracy": LookOffered("Accuracy tests", ("furnace", "sensor")),
    "survey": LookOffered("Survey", ("show",), more=True),
    "audit": LookOffered("What a bad batch had that good ones had not", ("suspect", "good"), "pieces", more=True),
}
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"  # a picture by itself: its lines have styles
SEVERAL = ("suspect", "good")


def routes(desk: Desk) -> list[Route]:
    """A page for each look, how far it is, and its chart."""
    lately = LookedLately(desk, "look", _told)

    async def page(request: Request) -> Response:
        look, about = _asked(request)
        offered, asked = OFFERED[look], about["asked"]
        shown: dict[str, Any] = {"look": look, "offered": offered, "asked": asked, "looked": None}
        if asked.get(offered.asks[0]):
            looked = lately.ask(look=look, instead_of=request.query_params.get("anew", ""), **about)
            shown |= {"looked": looked} | _addresses(request, looked, about, more=offered.more)
        return desk.page(request, "look.html", here=offered.here, **shown)

    async def progress(request: Request) -> Response:
        look, about = _asked(request)
        looked = lately.kept(look=look, **about)
        far = None if looked is None else looked.progress
        return JSONResponse({"done": looked is None or looked.at is not None, "progress": far})

    async def chart(request: Request) -> Response:
        look, about = _asked(request)
        looked = lately.kept(look=look, **about)
        return picture(None if looked is None or looked.found is None else looked.found.chart)

    return [
        Route("/look/{look}", page, name="look"),
        Route("/look/{look}/progress.json", progress, name="look_progress"),
        Route("/look/{look}/chart.svg", chart, name="look_chart"),
    ]


def picture(svg: str | None) -> Response:
    """A picture by itself; one that there is not is not found."""
    if svg is None:
        raise HTTPException(404)
    return Response(svg, media_type="image/svg+xml", headers={"content-security-policy": PICTURE_POLICY})


def _told(found: dict[str, Any]) -> ToldLook:
    notes = [kept_on_page(line) for line in found["notes"] if line.strip()]
    blocks = [
        one if one.kind == "figures" else replace(one, text=kept_on_page(one.text))
        for one in told_blocks(found["text"])
    ]
    return ToldLook(blocks, notes, found["chart"])


def _asked(request: Request) -> tuple[str, dict[str, Any]]:
    look, given = request.path_params["look"], request.query_params
    if look not in OFFERED:
        raise HTTPException(404)
    asked = {name: _texts(name, given.getlist(name)) for name in OFFERED[look].asks}
    asked = {name: texts for name, texts in asked.items() if texts}
    return look, {"asked": asked, "unit": "F" if given.get("unit") == "F" else "C", "every": given.get("all") == "yes"}


def _texts(name: str, given: list[str]) -> list[str]:
    """What was asked for; several names may be written in one field."""
    parted = [part for text in given for part in (text.replace(",", " ").split() if name in SEVERAL else [text])]
    return [text.strip() for text in parted if text.strip()]


def _addresses(request: Request, looked: Any, about: dict[str, Any], *, more: bool) -> dict[str, Any]:
    """Where the same stands anew, with all of it, and what belongs to it."""
    pairs = [(name, text) for name, texts in about["asked"].items() for text in texts]
    pairs += [("unit", "F")] if about["unit"] == "F" else []
    whole = [*pairs, ("all", "yes")] if about["every"] else pairs
    anew = None if looked.at is None else urlencode([*whole, ("anew", looked.at.isoformat())])
    every = None if about["every"] or not more else urlencode([*pairs, ("all", "yes")])
    clock = None if looked.at is None else f"{looked.at.astimezone():%H:%M}"
    return {"whole": urlencode(whole), "anew": anew, "every": every, "clock": clock}
