"""``soakwitness audit``: what a bad batch had that the good ones had not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
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
    from soakwitness.analysis.audit.auditing import Audit
    from soakwitness.analysis.evidence.batch_evidence import Evidence
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.verification.results.verification import WorkTemperature

NAMES = ("--suspect", "--good")


class NamesCommand(click.Command):
    """Options ``--suspect`` and ``--good`` take all words up to the next option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Repeat the option before each further word."""
        words: list[str] = []
        option = None
        for word in args:
            if word.startswith("-"):
                option = word.partition("=")[0]
            elif option in NAMES and words[-1] != option:
                words.append(option)
            words.append(word)
        return super().parse_args(ctx, words)


def _parted(context: click.Context, option: click.Parameter, names: tuple[str, ...]) -> tuple[str, ...]:
    """Lists with commas as single names."""
    return tuple(part for name in names for part in name.split(",") if part)


@click.command(cls=NamesCommand)
@click.option(
    "--suspect",
    multiple=True,
    required=True,
    metavar="NAME...",
    callback=_parted,
    help="Runs, pieces, ranges of pieces or batches, one after the other.",
)
@click.option(
    "--good",
    multiple=True,
    metavar="NAME...",
    callback=_parted,
    help="Likewise, to compare with; else found by recipe, sensor life and hardness.",
)
@click.option(
    "--recipe",
    "recipe_path",
    type=click.Path(path_type=Path),
    help="Recipe file, for runs that carry none; they are judged by it from now on.",
)
@click.option("--all", "every", is_flag=True, help="Show every cause and every figure.")
@click.option(
    "--chart",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draw the run over good ones, or the pieces: png, svg, pdf.",
)
@unit_option
@json_option
@force_option
@logbook_option
def audit(
    suspect: tuple[str, ...],
    good: tuple[str, ...],
    recipe_path: Path | None,
    every: bool,
    chart: Path | None,
    unit: Unit | None,
    as_json: bool,
    force: bool,
    logbook: Path,
) -> None:
    """Find what a bad batch had that the good ones had not: first within its run, then beside good runs.

    It claims no cause that the record does not carry, and says what is missing and the next cheap test.

    Example: soakwitness audit --suspect B-044 B-047 --good B-041
    """
    from soakwitness.analysis.audit.audit_report import as_json as plain
    from soakwitness.analysis.audit.auditing import audit as look
    from soakwitness.cli.words.audit_words import audit_lines

    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    with open_book(logbook) as book:
        evidence = _evidence(book, suspect, good, recipe_path)
        found = look(evidence)
        drawn = False
        if chart is not None:
            drawn = _draw(book, evidence, found, chart, unit or "C")
    if as_json:
        print_json(plain(found, unit or "C"))
    else:
        for line in audit_lines(found, unit or "C", every=every):
            say(line)
    if drawn:
        click.echo(str(chart), err=as_json)


def _evidence(book: LogBook, suspect: tuple[str, ...], good: tuple[str, ...], recipe_path: Path | None) -> Evidence:
    from soakwitness.analysis.logbook.evidence import choose, gather
    from soakwitness.analysis.logbook.runs import give_recipe, runs_listed
    from soakwitness.analysis.packet.packet_file import named_packet
    from soakwitness.analysis.recipes.recipe_file import load_recipe

    stamp = new_stamp(None)
    take_in_runs(book, stamp)
    chosen = choose(book, suspect, good)
    if recipe_path is not None:
        for entry in runs_listed(book, chosen.needed):
            if entry.recipe_digest is None:
                recipe = load_recipe(recipe_path)
                beside = named_packet(recipe)
                packet = None if beside is None else (beside.name, beside.text)
                give_recipe(book, entry.run, recipe.name, recipe.text, packet=packet, stamp=stamp)
        chosen = choose(book, suspect, good)
    refresh_runs(book, stamp, chosen.needed)
    return gather(book, chosen)


def _draw(book: LogBook, evidence: Evidence, found: Audit, path: Path, unit: Unit) -> bool:
    """Draw it; say so where there is nothing to draw."""
    from soakwitness.analysis.logbook.runs import runs_listed
    from soakwitness.cli.charts.audit_chart import save_audit_chart

    names = [] if found.run is None else [found.run, *found.good_runs[:8]]
    entries = {entry.run: entry for entry in runs_listed(book, names) if not entry.missing}
    folders = {run: entry.folder for run, entry in entries.items()}
    work = _work(book, entries[found.run]) if found.run in entries else None
    drawn = save_audit_chart(evidence, found, folders, path, unit=unit, work=work)
    if not drawn:
        say("Neither a run of the suspects nor their hardness is on record: there is nothing to draw.", err=True)
    return drawn


def _work(book: LogBook, entry: RunEntry) -> WorkTemperature | None:
    """The blade's temperature in a run, as its verdict rests on it."""
    from soakwitness.analysis.errors import AnalysisError
    from soakwitness.analysis.record.run import open_run
    from soakwitness.analysis.run_inputs.gathered import inputs_of_entry
    from soakwitness.firmware_bridge.errors import BridgeError

    try:
        inputs = inputs_of_entry(book, entry)
        return inputs.judged(open_run(entry.folder)).work if inputs.recipe is not None else None
    except (AnalysisError, BridgeError):
        return None
