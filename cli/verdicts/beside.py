"""Several runs verified and drawn over each other."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from soakwitness.cli.options.common import CHART_ENDINGS, WrongUse, check_output, find_run
from soakwitness.cli.verdicts.verified import verify_run
from soakwitness.firmware_bridge.common.units import Unit


def compare_runs(
    names: Sequence[str], logbook: Path, *, chart: Path | None, align: str | None, unit: Unit | None, force: bool
) -> None:
    """Draw the named runs over each other; ``align`` is ``start``, a step's number, or the hottest hold for None."""
    from soakwitness.cli.charts.runs_chart import MOST_RUNS, beside, save_runs_chart, title_words

    if not 2 <= len(names) <= MOST_RUNS:
        raise WrongUse(
            f"runs --compare takes 2 to {MOST_RUNS} runs, not {len(names)}: runs --compare A B --chart FILE."
        )
    if chart is None:
        raise WrongUse(f"Say where the picture goes: runs --compare {' '.join(names)} --chart FILE.png")
    check_output(chart, force=force, suffixes=CHART_ENDINGS)
    found = [verify_run(find_run(name, logbook), None, logbook) for name in names]
    holds = [h for h in found[0].verification.holds if h.found]
    step = _step(align, [h.step for h in holds], max(holds, key=lambda h: h.target_c).step if holds else None)
    runs = beside([(one.run, one.verification) for one in found], step)
    shown = unit or found[0].recipe.unit
    save_runs_chart(runs, chart, unit=shown)
    click.echo(title_words(runs, shown))
    click.echo(f"Chart: {chart}")


def _step(align: str | None, steps: Sequence[int], hottest: int | None) -> int | None:
    if align is None:
        return hottest
    if align == "start":
        return None
    if not align.isdigit() or int(align) not in steps:
        known = ", ".join(map(str, steps)) or "none was found"
        raise WrongUse(f"--align {align}: say start, or the step of a hold of the first run ({known}).")
    return int(align)
