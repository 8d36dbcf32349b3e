"""Plans as the worker made them, and those of them that are kept for coming runs: listed, found, struck through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage
from soakwitness.cli.book.sent_forms import Filled
from soakwitness.cli.options.entering import shown_time

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.plans import KeptPlan

BACK_S = 86400.0  # plans of today and of coming days are listed
# what a plan was asked by, and the fields of its form
ASKED = {"temper": "temper_path", "reaches": "reaches", "unit": "unit", "packet": "packet_path"}
REASONS = ("kept by mistake", "it will be done otherwise")


@dataclass(frozen=True)
class PlanTold:
    """What the worker made: the card in words and its pictures; else what was ``refused``, and at which ``field``.

    ``named``: every field that a refusal names.
    """

    card: Mapping[str, Any] | None = None
    charts: Mapping[str, str] | None = None
    starts_utc: str = ""
    furnace: str = ""
    recipe_digest: str = ""
    holds: Sequence[Mapping[str, Any]] = ()
    notes: Sequence[str] = ()
    refused: str | None = None
    field: str | None = None
    named: Sequence[str] = ()


@dataclass(frozen=True)
class PlanAhead:
    """A kept plan as it is listed; ``query``: by what it is made again."""

    entry: int
    when: str
    says: str
    by: str
    query: str


def plans_ahead(desk: Desk, made: PlanTold | None) -> tuple[PlanAhead | None, list[PlanAhead]]:
    """The kept plan that is just the one that was made, where there is one; and all kept ones of today and later."""
    from soakwitness.analysis.logbook.plans import plans_since
    from soakwitness.analysis.record.moments import later

    try:
        with desk.open_book() as book:
            kept = plans_since(book, later(desk.stamp("book").at_utc, -BACK_S))
            listed = [(one, _ahead(book, one)) for one in kept]
    except LogBookError:
        return None, []
    same = [shown for one, shown in listed if made is not None and _is_same(one, made)]
    return next(iter(same), None), [shown for _, shown in listed]


def kept_already(desk: Desk, made: PlanTold | None) -> bool:
    """Whether just this plan is kept."""
    return made is not None and plans_ahead(desk, made)[0] is not None


def _is_same(kept: KeptPlan, made: PlanTold) -> bool:
    whose = (kept.furnace.casefold(), kept.recipe_digest, kept.starts_utc)
    same = whose == (made.furnace.casefold(), made.recipe_digest, made.starts_utc)
    return same and list(kept.plan.get("holds", ())) == list(made.holds)


def _ahead(book: LogBook, kept: KeptPlan) -> PlanAhead:
    return PlanAhead(
        kept.entry,
        shown_time(kept.starts_utc),
        f"{kept.recipe_name}, {kept.furnace}",
        kept.entered_by,
        urlencode([*_asked(book, kept), ("made", "yes")]),
    )


def _asked(book: LogBook, kept: KeptPlan) -> list[tuple[str, str]]:
    """What a kept plan was asked by, as far as it says: its pieces by their names, or as many blades alike."""
    from soakwitness.analysis.logbook.pieces import find_piece

    about = [("recipe_path", kept.recipe_digest), ("furnace", kept.furnace), ("starts", kept.starts_utc)]
    asked = kept.plan.get("asked") or {}
    about += [(field, str(asked[name])) for name, field in ASKED.items() if name in asked]
    holds = kept.plan.get("holds") or [{}]
    pieces = holds[-1].get("pieces") or []
    names = [str(one["piece"]) for one in pieces]
    if names and all(find_piece(book, name) is not None for name in names):
        if "foil" in asked:
            about += [("foil", "yes" if asked["foil"] else "no")]
        return about + [("pieces", name) for name in names]
    for one in pieces[:1]:
        foil = "yes" if one.get("foil") else "no"
        about += [("thickness_mm", f"{one['thickness_mm']:g}"), ("count", str(len(pieces))), ("foil", foil)]
    return about


def _one(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    entry = request.path_params["entry"]
    found = [one for one in plans_ahead(desk, None)[1] if one.entry == entry]
    if not found:
        raise HTTPException(404, f"Plan {entry} is not among those that are kept for coming runs.")
    return {"plan": found[0], "reasons": REASONS}


STRIKE = FormPage(
    path="/plan/strike/{entry:int}",
    name="strike_plan",
    template="strike_plan.html",
    form="strike of a run",
    context=_one,
    about=lambda request, values: {"kind": ["plan"], "entry": [str(request.path_params["entry"])]},
    onward=lambda request: way(request, "plan"),
    here="plan",
)
