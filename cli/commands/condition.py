"""``soakwitness condition``: how the furnace itself is doing over many runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    LARGEST_NUMBER,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import new_stamp, open_book, refresh_runs, take_in_runs
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.condition.judging import Condition
    from soakwitness.analysis.logbook.opening import LogBook


@click.command()
@click.argument("furnace")
@click.option(
    "--runs",
    "newest",
    type=click.IntRange(8, LARGEST_NUMBER),
    default=300,
    show_default=True,
    help="Look at so many runs.",
)
@click.option("--all", "every", is_flag=True, help="Show every figure.")
@click.option(
    "--chart", type=click.Path(path_type=Path, dir_okay=False), help="Draw the figures over the dates: png, svg or pdf."
)
@unit_option
@json_option
@force_option
@logbook_option
def condition(
    furnace: str,
    newest: int,
    every: bool,
    chart: Path | None,
    unit: Unit | None,
    as_json: bool,
    force: bool,
    logbook: Path,
) -> None:
    """Say what is drifting in FURNACE since when, and tell mains, element, insulation and thermocouple apart.

    FURNACE is its name as in the furnace file. What was renewed or done to it is entered with: soakwitness upkeep.

    Example: soakwitness condition "small furnace"
    """
    from soakwitness.cli.words.condition_words import condition_json, condition_lines

    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    with open_book(logbook) as book:
        found = _condition(book, furnace, newest)
    if chart is not None:
        from soakwitness.cli.charts.condition_chart import save_condition_chart

        save_condition_chart(found, chart, unit=unit or "C")
    if as_json:
        print_json(condition_json(found, unit or "C"))
    else:
        for line in condition_lines(found, unit or "C", every=every):
            say(line)
    if chart is not None:
        click.echo(str(chart), err=as_json)


def _condition(book: LogBook, furnace: str, newest: int) -> Condition:
    from soakwitness.analysis.condition.judging import judge
    from soakwitness.analysis.condition.naming import Accuracy
    from soakwitness.analysis.logbook.furnace_work import upkeep_of
    from soakwitness.analysis.logbook.kept import furnace_condition
    from soakwitness.analysis.logbook.runs import furnaces, list_runs
    from soakwitness.analysis.logbook.sensors import accuracy_tests

    stamp = new_stamp(None)
    take_in_runs(book, stamp)
    entries = list_runs(book, furnace=furnace, newest=newest)
    if not entries:
        known = ", ".join(furnaces(book)[:8]) or "none"
        raise WrongUse(f"{furnace}: the log book has no run of this furnace. It knows: {known}.")
    refresh_runs(book, stamp, [e.run for e in entries])
    name = entries[-1].furnace
    tests = [t for t in accuracy_tests(book, name) if isinstance(t.result.get("difference_c"), (int, float))]
    accuracy = [Accuracy(t.done_on, float(t.result["difference_c"])) for t in tests]
    runs = furnace_condition(book, name, newest=newest)
    return judge(name, runs, accuracy=accuracy, upkeep=upkeep_of(book, name))
