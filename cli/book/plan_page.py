"""*Plan*: before a run, what to type, when to load, when to take out; made by a worker, kept by a button, printed."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.form_page import form_routes
from soakwitness.cli.book.handing_out import hand_out
from soakwitness.cli.book.look_page import picture
from soakwitness.cli.book.looked import Looked, LookedLately
from soakwitness.cli.book.plan_asked import (
    CLOCK,
    PlanOffered,
    RecipeOffered,
    address_of,
    begun_with,
    clock_of,
    files_of,
    filled_in,
    first,
    offered,
    recipes_offered,
    unfit,
)
from soakwitness.cli.book.plans_kept import STRIKE, PlanTold, kept_already, plans_ahead
from soakwitness.cli.book.sent_forms import Filled, Said, Values, send, values_of
from soakwitness.cli.words.page_words import fields_of

PAPERS = {"A4": "A4", "letter": "Letter"}
MADE_ANEW = "The log book changed since this plan was made, and it was made anew. Keep it if it still holds."
MADE = "made"  # stands in the address of a plan, not in that of a form which is filled in already


def routes(desk: Desk) -> list[Route]:
    """The form with the plan that came of it, how far it is, its pictures, its card on paper, and what keeps it."""
    said = Said()
    pages = PlanPages(desk, said)
    return [
        Route("/plan", pages.page, name="plan", methods=["GET"]),
        Route("/plan/progress.json", pages.progress, name="plan_progress"),
        Route("/plan/chart-{shape}.svg", pages.chart, name="plan_chart"),
        Route("/plan/card.pdf", pages.card, name="plan_card"),
        entry_route("/plan/keep", pages.keep, desk.tokens, name="plan_kept"),
        *form_routes(desk, said, STRIKE),
    ]


class PlanPages:
    """All of *Plan*: a plan is made once for all who ask for it, and is there for some minutes."""

    def __init__(self, desk: Desk, said: Said) -> None:
        self._desk = desk
        self._said = said
        self._lately = LookedLately(desk, "plan", lambda found: PlanTold(**found))
        self._keeping = asyncio.Lock()  # a button that is tapped twice keeps one plan

    async def page(self, request: Request) -> Response:
        """The form; from what was filled in, the plan."""
        values = _asked(request)
        found = await asyncio.to_thread(offered, self._desk, values)
        if MADE not in request.query_params:
            return await self._shown(request, found, Filled(begun_with(values, found)))
        refused = unfit(values, found, self._desk)
        if refused is not None:
            return await self._shown(request, found, refused, status=422)
        if any(first(values, name) for name in CLOCK) or not first(values, "starts"):
            return RedirectResponse(_address(request, address_of(values, self._desk)), status_code=303)
        about = _about(values, found.recipes)
        looked = self._lately.ask(instead_of=request.query_params.get("anew", ""), **about)
        told = looked.found
        if told is not None and told.refused is not None:
            self._lately.forget(**about)
            return await self._shown(request, found, Filled(values, told.refused, told.field, told.named), status=422)
        return await self._shown(request, found, Filled(values), looked)

    async def _shown(
        self, request: Request, found: PlanOffered, filled: Filled, looked: Looked | None = None, *, status: int = 200
    ) -> Response:
        looked = None if looked is None else replace(looked)  # it may be done while the kept ones are read
        told: PlanTold | None = None if looked is None else looked.found
        pairs = _pairs(filled.values)
        kept, ahead = await asyncio.to_thread(plans_ahead, self._desk, told)
        return self._desk.page(
            request,
            "plan.html",
            here="plan",
            status=status,
            filled=filled,
            offered=found,
            clock=clock_of(filled.values),
            looked=looked,
            told=told,
            card=None if told is None else told.card,
            pairs=pairs,
            query=urlencode(pairs),
            anew=None if looked is None or looked.at is None else looked.at.isoformat(),
            papers=PAPERS,
            kept=kept,
            ahead=ahead,
            said=self._said.take(request),
            called=fields_of("plan"),
            may=request.state.device.rights == "mark",
        )

    async def progress(self, request: Request) -> Response:
        """How far a plan is."""
        looked = await self._looked(request)
        far = None if looked is None else looked.progress
        return JSONResponse({"done": looked is None or looked.at is not None, "progress": far})

    async def chart(self, request: Request) -> Response:
        """The picture of a plan, for a wide page or for a phone."""
        looked = await self._looked(request)
        charts = {} if looked is None or looked.found is None else looked.found.charts or {}
        return picture(charts.get(request.path_params["shape"]))

    async def _looked(self, request: Request) -> Looked | None:
        values = _asked(request)
        recipes, _ = await asyncio.to_thread(recipes_offered, self._desk, values)
        return self._lately.kept(**_about(values, recipes))

    async def card(self, request: Request) -> Response:
        """The card to print, for one of two papers."""
        values, paper = _asked(request), request.query_params.get("paper", "A4")
        found = await asyncio.to_thread(offered, self._desk, values)
        recipe, refused = found.recipe(first(values, "recipe_path")), unfit(values, found, self._desk)
        if refused is not None or recipe is None or paper not in PAPERS:
            raise HTTPException(404)
        name = f"plan {recipe.name} {first(values, 'starts')[:10]}.pdf"
        return await hand_out(self._desk, name, job="plan card", paper=paper, **_about(values, found.recipes))

    async def keep(self, request: Request, form: FormData) -> Response:
        """Keep a plan as the command keeps it, and no plan twice."""
        values = filled_in(values_of(form))
        found = await asyncio.to_thread(offered, self._desk, values)
        refused, notes = unfit(values, found, self._desk), []
        if refused is None and not first(values, "furnace"):
            refused = Filled(values, "A plan is kept for one furnace. Choose it, and plan again.", "furnace")
        if refused is None:
            async with self._keeping:
                about = _about(values, found.recipes)
                looked = self._lately.kept(**about)
                told = None if looked is None else looked.found
                if self._lately.outdated(**about):
                    notes = [MADE_ANEW]
                elif not await asyncio.to_thread(kept_already, self._desk, told):
                    to_keep = {**values, "keep": ["yes"]}
                    outcome = await send(
                        self._desk, self._said, request, "plan", to_keep, files=files_of(found.recipes, values)
                    )
                    refused = outcome.filled if outcome.done is None else None
                    notes = list(outcome.notes)
                    self._lately.holds(**about)
        if refused is not None:
            return await self._shown(request, found, refused, status=422)
        said = [("said", self._said.put(notes))] if notes else []
        return RedirectResponse(_address(request, [*_pairs(values), *said]), status_code=303)


def _asked(request: Request) -> Values:
    query = request.query_params
    return filled_in({name: query.getlist(name) for name in query})


def _about(values: Values, recipes: Sequence[RecipeOffered]) -> dict[str, Any]:
    """What the worker is asked; the same for whoever asks."""
    return {"values": values, "files": files_of(recipes, values), "by": "book"}


def _pairs(values: Mapping[str, Sequence[str]]) -> list[tuple[str, str]]:
    return [(name, text) for name, texts in values.items() for text in texts]


def _address(request: Request, pairs: Sequence[tuple[str, str]]) -> str:
    return f"{way(request, 'plan')}?{urlencode([*pairs, (MADE, 'yes')])}"
