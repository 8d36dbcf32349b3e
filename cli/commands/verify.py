"""``soakwitness verify``: compare a run with its recipe."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    check_output,
    find_run,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.screen import screen_width, wrapped
from soakwitness.cli.verdicts.planned import beside_plan
from soakwitness.cli.verdicts.verified import given_packet, packet_option, verify_run
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.cli.verdicts.verified import Verified

EXIT_STATUS = {"pass": 0, "fail": 3, "not proven": 4}


@click.command()
@click.argument("run")
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path), help="Recipe file; else the run's own.")
@packet_option
@click.option("--chart", type=click.Path(path_type=Path), help="Draw the run as FILE.png, .svg or .pdf.")
@click.option("--compare-with", multiple=True, metavar="RUN", help="Put a proven run beside it; may be repeated.")
@click.option("--all", "everything", is_flag=True, help="Say everything: each step, finding, what would prove it.")
@click.option("--exit-zero", is_flag=True, help="Exit status 0 whatever the verdict, for scripts.")
@json_option
@unit_option
@logbook_option
@force_option
def verify(
    run: str,
    recipe_path: Path | None,
    packet_path: Path | None,
    chart: Path | None,
    compare_with: tuple[str, ...],
    everything: bool,
    exit_zero: bool,
    as_json: bool,
    unit: Unit | None,
    logbook: Path,
    force: bool,
) -> int:
    """Compare RUN with its recipe and say pass, fail or not proven.

    Said are the verdict with its reason, what to do next, a line a hold and what is not known; --all says the rest.
    RUN is a run folder, a run's name or the beginning of it, or "last". Exit status: 0 pass, 3 fail, 4 not proven,
    2 wrong use or a wrong file.

    Example: soakwitness verify sample_logs/good
    """
    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    packet = given_packet(packet_path)
    folder = find_run(run, logbook)
    others = [find_run(name, logbook) for name in compare_with]
    found = verify_run(folder, recipe_path, logbook, packet=packet)
    if others:
        found = _beside(found, others, recipe_path, logbook)
    if chart is not None:
        from soakwitness.cli.charts.run_chart import save_run_chart

        save_run_chart(found.run, found.verification, found.recipe, chart, unit=unit)
    _show(found, run, logbook, as_json=as_json, everything=everything or bool(others), unit=unit, chart=chart)
    return 0 if exit_zero else EXIT_STATUS[found.verification.verdict]


def _beside(found: Verified, others: list[Path], recipe_path: Path | None, logbook: Path) -> Verified:
    """Verify the proven runs too and add what differs."""
    from soakwitness.analysis.verification.results.comparing import compare

    compared = []
    for folder in others:
        other = verify_run(folder, recipe_path, logbook)
        compared.append(compare(found.verification, found.run, other.verification, other.run))
    return replace(found, verification=replace(found.verification, compared=tuple(compared)))


def _show(
    found: Verified,
    asked: str,
    logbook: Path,
    *,
    as_json: bool,
    everything: bool,
    unit: Unit | None,
    chart: Path | None,
) -> None:
    beside = beside_plan(found, logbook)
    if as_json:
        from soakwitness.analysis.verification.results.hold_equivalents import equivalents_of_holds

        amounts = [amount.as_dict() for amount in equivalents_of_holds(found.run, found.verification)]
        planned = {} if beside is None else {"plan": beside.as_dict()}
        print_json(found.answer(unit) | {"comparison": amounts} | planned)
        return
    unit = unit or found.recipe.unit
    if not everything:
        from soakwitness.cli.words.verify_in_short import short_lines

        click.echo("\n".join(short_lines(found.recipe, found.verification, unit=unit, ask=asked)))
    else:
        from soakwitness.cli.words.verify_in_full import verify_lines

        click.echo("\n".join(verify_lines(found.run, found.recipe, found.verification, unit=unit)))
    if beside is not None:
        from soakwitness.analysis.planning.plan_and_run import how_it_did

        click.echo("\n".join(wrapped(how_it_did(beside), screen_width())))
    if everything and found.inputs.packet is not None and found.verification.by_estimate:
        click.echo(f"By the {found.inputs.packet.says}.")
    if chart is not None:
        click.echo(f"\nChart: {chart}")
