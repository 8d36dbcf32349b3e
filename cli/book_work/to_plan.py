"""A plan for a page: made as the command ``plan`` makes it, its card in the same words, its picture in both shapes."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.book_work.forms import Values, enter
from soakwitness.cli.book_work.looking import Progress, telling
from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from soakwitness.cli.commands.plan import Planned
    from soakwitness.cli.sheets.in_html import Shape

SHAPES: tuple[Shape, ...] = ("wide", "narrow")
NOT_ASKED = ("chart", "sheet", "paper", "as_json", "force")  # what the command writes; the page writes its own
PAPERS = ("A4", "letter")


def plan_to_look_at(
    logbook: Path, values: Values, *, by: str, files: Mapping[str, Path], progress: Progress
) -> dict[str, Any]:
    """The card of what a page's form holds, with its charts as SVG; or what was refused, and at which field."""
    made, said = _made(logbook, values, by=by, files=files, progress=progress)
    return said if made is None else _shown(made) | {"notes": said["notes"]}


def card_to_print(
    logbook: Path, values: Values, *, by: str, files: Mapping[str, Path], paper: str, progress: Progress
) -> dict[str, Any]:
    """The same card on paper, in a file of its own that the caller clears away."""
    from soakwitness.cli.commands.plan import write_card

    if paper not in PAPERS:
        raise WrongUse(f"{paper!r} is no paper. There is: {', '.join(PAPERS)}.")
    made, said = _made(logbook, values, by=by, files=files, progress=progress)
    if made is None:
        raise WrongUse(said["refused"])
    target = Path(tempfile.mkdtemp(prefix="soakwitness-")) / "card.pdf"
    try:
        write_card(made, target, logbook=logbook, paper=paper)
    except BaseException:
        shutil.rmtree(target.parent)
        raise
    return {"file": str(target)}


def _made(
    logbook: Path, values: Values, *, by: str, files: Mapping[str, Path], progress: Progress
) -> tuple[Planned | None, dict[str, Any]]:
    found: list[Planned] = []
    with telling(progress):
        said = enter(logbook, "plan", values, by=by, files=files, does=lambda *words: found.append(_planned(*words)))
    return next(iter(found), None), said


def _planned(words: Sequence[str], asked: dict[str, Any]) -> Planned:
    """What the command makes of its words, before it tells or writes anything."""
    from soakwitness.cli.commands.plan import plan, planned

    with plan.make_context("plan", list(words[1:]), obj=asked) as context:
        return planned(**{name: value for name, value in context.params.items() if name not in NOT_ASKED})


def _shown(made: Planned) -> dict[str, Any]:
    from soakwitness.analysis.planning.plan import plan_to_dict
    from soakwitness.cli.charts.plan_chart import draw_plan
    from soakwitness.cli.sheets.blocks import Chart
    from soakwitness.cli.sheets.in_html import svg_alone
    from soakwitness.cli.words.plan_words import card_of

    plan = made.plan
    chart = Chart(lambda figure, box: draw_plan(figure, box, plan, made.when, made.unit), "")
    return {
        "card": asdict(card_of(plan, made.when, made.unit, made.warnings)),
        "starts_utc": made.when.starts_utc,
        "furnace": plan.inputs.furnace.name,
        "recipe_digest": plan.inputs.recipe.digest,
        "holds": plan_to_dict(plan)["holds"],
        "charts": {shape: svg_alone(chart, shape) for shape in SHAPES},
    }
