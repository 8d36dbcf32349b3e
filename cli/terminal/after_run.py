"""What ``watch`` does with a run that is over, in a process of its own: find its recipe, verify it, draw it.

Writes ``reports/verdict.txt``, ``verdict.json`` and ``chart.svg`` beside the record and prints one line.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import plain, run_main
from soakwitness.cli.options.screen import say

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.recipes.recognising import Recognised
    from soakwitness.analysis.record.run import Run
    from soakwitness.cli.verdicts.verified import Verified
    from soakwitness.firmware_bridge.common.units import Unit


def recipes_in(folder: Path) -> tuple[list[Recipe], list[str]]:
    """All recipes of a folder, and what is wrong with files that are none."""
    from soakwitness.analysis.errors import RecipeError
    from soakwitness.analysis.recipes.recipe_file import load_recipe

    recipes, wrong = [], []
    for path in sorted(folder.glob("*.toml")):
        try:
            recipes.append(load_recipe(path))
        except RecipeError as error:
            wrong.append(str(error))
    return recipes, wrong


def recognise_run(run: Run, recipes: list[Recipe]) -> Recognised:
    """Which recipe a run followed, by its setpoint where one was logged."""
    from soakwitness.analysis.recipes.recognising import levels, recognise

    setpoint = run.signal("setpoint")
    if setpoint is not None:
        by_setpoint = recognise(levels(run.t_s, setpoint), recipes, by_setpoint=True)
        if by_setpoint.recipe is not None:
            return by_setpoint
    trace = run.trace("control") or run.trace("recording") or (run.traces[0] if run.traces else None)
    found = levels(trace.t_s, trace.temp_c) if trace is not None else ()
    return recognise(found, recipes, by_setpoint=False)


@click.command()
@click.argument("run", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--recipes", type=click.Path(path_type=Path, file_okay=False))
@click.option("--logbook", type=click.Path(path_type=Path, file_okay=False), required=True)
@click.option("--unit", type=click.Choice(["C", "F"]), default=None)
def after_run(run: Path, recipes: Path | None, logbook: Path, unit: str | None) -> None:
    """Verify RUN and write what was found beside it."""
    from soakwitness.analysis.record.run import open_run

    opened = open_run(run)
    path: Path | None = None
    if not opened.header.recipe_file:
        if recipes is None:
            say("not verified: watch was given no recipe; say --recipe FILE, or --recipes FOLDER")
            return
        known, wrong = recipes_in(recipes)
        for words in wrong:
            say(words, err=True)
        found = recognise_run(opened, known)
        if found.recipe is None:
            say(f"not verified: {found.says}")
            return
        path = Path(found.recipe.source)
        _remember(logbook, opened.header.run, found.recipe)
    say(_verify(run, path, logbook, unit))


def _remember(logbook: Path, run: str, recipe: Recipe) -> None:
    """Keep in the log book by which recipe the run is judged."""
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.logbook.runs import give_recipe, take_in
    from soakwitness.analysis.packet.packet_file import named_packet
    from soakwitness.cli.options.entering import new_stamp

    stamp = new_stamp("watch")
    beside = named_packet(recipe)
    packet = None if beside is None else (beside.name, beside.text)
    with open_logbook(logbook, told=lambda says: say(says, err=True)) as book:
        take_in(book, stamp=stamp)
        give_recipe(book, run, recipe.name, recipe.text, packet=packet, stamp=stamp)


def _verify(run: Path, recipe: Path | None, logbook: Path, unit: str | None) -> str:
    from soakwitness.cli.charts.run_chart import save_run_chart
    from soakwitness.cli.verdicts.verified import verify_run
    from soakwitness.cli.words.verify_in_full import verify_lines

    shown: Unit | None = "F" if unit == "F" else "C" if unit == "C" else None
    found = verify_run(run, recipe, logbook)
    reports = run / "reports"
    reports.mkdir(exist_ok=True)
    lines = verify_lines(found.run, found.recipe, found.verification, unit=shown or found.recipe.unit)
    (reports / "verdict.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = json.dumps(plain(found.answer(shown)), indent=1, ensure_ascii=False)
    (reports / "verdict.json").write_text(said + "\n", encoding="utf-8")
    save_run_chart(found.run, found.verification, found.recipe, reports / "chart.svg", unit=shown)
    says = found.verification.in_short.says.text(shown or found.recipe.unit)
    return f"{found.recipe.name}. {says} See {reports / 'verdict.txt'}{_asked(found)}"


def _asked(found: Verified) -> str:
    """What door dips without a mark are asked to be."""
    from soakwitness.analysis.verification.inferring import inferred_marks
    from soakwitness.cli.words.inferred_words import brief_question

    inferred = inferred_marks(found.run, found.recipe, found.inputs.pieces)
    return "".join(f". {words}" for words in brief_question(inferred, found.run.header.run))


if __name__ == "__main__":
    import sys

    sys.exit(run_main(after_run))
