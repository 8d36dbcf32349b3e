"""A verified run beside the plan that was kept for it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from soakwitness.analysis.planning.plan_and_run import PlanAndRun
    from soakwitness.cli.verdicts.verified import Verified


def beside_plan(found: Verified, logbook: Path) -> PlanAndRun | None:
    """How the plan did; None for a run that is not the log book's, or had no plan."""
    from soakwitness.cli.verdicts.verified import is_in_logbook

    if not is_in_logbook(logbook, found.run) or not (logbook / "logbook.sqlite").exists():
        return None
    from soakwitness.analysis.logbook.plans import plan_of_run
    from soakwitness.analysis.planning.plan_and_run import plan_and_run
    from soakwitness.cli.options.entering import open_book

    header = found.run.header
    with open_book(logbook) as book:
        kept = plan_of_run(book, header.furnace_name, found.recipe.digest, header.started_utc)
    return None if kept is None else plan_and_run(kept.plan, found.answer("C"))
