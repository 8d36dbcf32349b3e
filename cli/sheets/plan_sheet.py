"""The card of a plan as a page to print, by the layout of the run sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.sheets.blocks import Box, Chart, Item, Items, Lines, Sheet
from soakwitness.cli.words import cautions
from soakwitness.cli.words.plan_words import When, card_of
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.analysis.planning.plan import Plan


def plan_sheet(
    plan: Plan, when: When, *, unit: Unit, shop: tuple[str, ...] = (), warnings: tuple[str, ...] = ()
) -> Sheet:
    """Everything on the card, in words, with the picture of what is expected."""
    card = card_of(plan, when, unit, warnings)
    steps = tuple(Item(part.heading, " ".join(part.says), part.care) for part in card.parts)
    return Sheet(
        title=f"Plan: {card.where}",
        where=card.where,
        tag="plan",
        tone="",
        sentence=card.headline,
        below=(),
        facts=(),
        blocks=(
            Chart(lambda figure, box: _draw(figure, box, plan, when, unit), "chamber and blade as they are expected"),
            Items("", steps, broad=True),
            Lines("Cautions", (cautions.NO_SAFETY_DEVICE, " ".join(cautions.GENERAL[:2]), cautions.DEFER), small=True),
        ),
        foot="A plan, not a record: what the run had is told by its verdict.",
        shop=shop,
        card=True,
    )


def _draw(figure: Figure, box: Box, plan: Plan, when: When, unit: Unit) -> None:
    from soakwitness.cli.charts.plan_chart import draw_plan

    draw_plan(figure, box, plan, when, unit)
