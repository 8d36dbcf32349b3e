"""``soakwitness recipe``: draft a recipe, check it, draw it, say what to type into the controller."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    Finite,
    SuggestingGroup,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    nearest,
    print_json,
    unit_option,
    write_output,
)
from soakwitness.cli.options.screen import say
from soakwitness.cli.verdicts.recipe_warnings import recipe_warnings
from soakwitness.firmware_bridge.common.units import Unit, to_celsius
from soakwitness.firmware_bridge.common.wording import counted

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.run_inputs.controller_settings import Settings

recipe_argument = click.argument("file", type=click.Path(path_type=Path))


@click.group(cls=SuggestingGroup)
def recipe() -> None:
    """Draft, check and draw a recipe, or say what to type into the controller.

    Example: soakwitness recipe check harden.toml
    """


@recipe.command()
@recipe_argument
@click.option("--furnace", help="Furnace whose control sensor is to prove it: its name, or its file.")
@unit_option
@logbook_option
@json_option
def check(file: Path, furnace: str | None, unit: Unit | None, logbook: Path, as_json: bool) -> None:
    """Read a recipe and print each step as a sentence, with what looks unintended.

    Warnings never make it fail; a mistake is named with its step and key and gives exit status 2, a packet file that is
    named and missing too. With --furnace a band is named that is finer than the calibration of its control sensor can
    prove.

    Example: soakwitness recipe check harden.toml
    """
    from soakwitness.analysis.packet.packet_file import named_packet
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.analysis.recipes.sentences import recipe_sentences, step_sentences

    loaded = load_recipe(file)
    named_packet(loaded)
    steps, rest = step_sentences(loaded, unit), recipe_sentences(loaded, unit)
    warnings = recipe_warnings(loaded, logbook, unit)
    if furnace is not None:
        from soakwitness.analysis.run_inputs.provable_bands import unprovable_bands

        found = unprovable_bands(loaded, _settings(loaded, furnace, logbook))
        warnings = (*warnings, *(says.text(unit or loaded.unit) for says in found))
    if as_json:
        print_json(_as_json(loaded, steps, rest, warnings))
        return
    steel = f" ({loaded.steel})" if loaded.steel else ""
    say(f"{loaded.name}{steel}")
    for step, says in zip(loaded.steps, steps, strict=True):
        say(f"  {step.number}. {says}")
    for says in rest:
        say(says)
    for says in warnings:
        say(f"Warning: {says}", err=True)


@recipe.command()
@click.option("--from-steel", "steel", required=True, help="Designation, such as S44004; see: soakwitness steels.")
@click.option("--temper", type=Finite(), help="Draft its tempers instead, at this published temperature in --unit.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write; else it is printed.")
@unit_option
@logbook_option
@force_option
def new(steel: str, temper: float | None, out: Path | None, unit: Unit | None, logbook: Path, force: bool) -> None:
    """Draft a recipe from what is published for a steel, for you to confirm.

    Every number has its source beside it as a comment. What nobody published is left open as "?", and the recipe does
    not load until you have written your own number there.

    Example: soakwitness recipe new --from-steel S44004 --out harden-draft.toml
    """
    from soakwitness.analysis.metallurgy.published_treatments import OWN_FILE, find_steel, known_steels
    from soakwitness.analysis.recipes.draft import OPEN, hardening_draft, temper_draft

    steels = known_steels(logbook / OWN_FILE)
    found = find_steel(steel, steels)
    if found is None:
        known = [one.name for one in steels]
        raise WrongUse(
            f"--from-steel {steel}: no such steel is known here.{nearest(steel, known)} Known: {', '.join(known)}."
        )
    shown = unit or "C"
    text = hardening_draft(found, shown) if temper is None else temper_draft(found, to_celsius(temper, shown), shown)
    if out is None:
        click.echo(text, nl=False)
        return
    path = check_output(out, force=force, suffixes=(".toml",))
    write_output(path, text)
    left = text.count(f'"{OPEN}"')
    then = f" {counted(left, 'number')} to fill in: look for {OPEN}." if left else ""
    say(f"{path} drafted.{then} Read it, confirm each line, then: soakwitness recipe check {path}")


@recipe.command()
@recipe_argument
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write: png, svg or pdf.")
@unit_option
@force_option
def plot(file: Path, out: Path | None, unit: Unit | None, force: bool) -> None:
    """Draw a recipe: its line dashed, each hold's band, an inset of every hold.

    Without --out the picture stands beside the recipe, with the ending .png.

    Example: soakwitness recipe plot harden.toml --out harden.svg
    """
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.cli.charts.recipe_chart import save_recipe_chart

    loaded = load_recipe(file)
    path = check_output(out or file.with_suffix(".png"), force=force, suffixes=CHART_ENDINGS)
    save_recipe_chart(loaded, path, unit=unit)
    click.echo(str(path))


@recipe.command()
@recipe_argument
@click.option("--furnace", help="Furnace whose control sensor is to be truly there: its name, or its file.")
@unit_option
@logbook_option
@json_option
def program(file: Path, furnace: str | None, unit: Unit | None, logbook: Path, as_json: bool) -> None:
    """Say what to type into the controller, deliberate offset and extra minutes included.

    With --furnace the calibration of its control sensor counts too: what is typed in is what the sensor shows when the
    furnace is truly at the recipe's temperatures.

    Example: soakwitness recipe program harden.toml --unit F
    """
    from dataclasses import asdict

    from soakwitness.analysis.recipes.program import program_sentences, program_setpoints
    from soakwitness.analysis.recipes.recipe_file import load_recipe

    loaded = load_recipe(file)
    found = _settings(loaded, furnace, logbook) if furnace is not None else None
    set_to_c = None if found is None else found.set_to_c
    sentences = program_sentences(loaded, unit, set_to_c)
    if found is not None:
        sentences = (*sentences, *(says.text(unit or loaded.unit) for says in found.says))
    if as_json:
        steps = [asdict(step) for step in program_setpoints(loaded, set_to_c)]
        print_json({"schema": "soakwitness/program/1", "recipe": loaded.name, "says": sentences, "steps": steps})
        return
    say(f"{loaded.name}: type this into the controller.")
    for says in sentences:
        say(f"  {says}")


def _settings(loaded: Recipe, furnace: str, logbook: Path) -> Settings:
    from datetime import UTC, datetime

    from soakwitness.analysis.record.moments import utc_text
    from soakwitness.analysis.run_inputs.controller_settings import settings_for
    from soakwitness.cli.options.entering import furnace_named, open_book
    from soakwitness.firmware_bridge.common.zones import computer_zone

    with open_book(logbook) as book:
        name = furnace_named(book, furnace)
        return settings_for(book, name, loaded, at_utc=utc_text(datetime.now(UTC)), zone=computer_zone())


def _as_json(
    loaded: Recipe, steps: tuple[str, ...], rest: tuple[str, ...], warnings: tuple[str, ...]
) -> dict[str, Any]:
    from dataclasses import asdict

    listed = [asdict(step) | {"says": says} for step, says in zip(loaded.steps, steps, strict=True)]
    return {
        "schema": "soakwitness/recipe/1",
        "name": loaded.name,
        "steel": loaded.steel,
        "digest": loaded.digest,
        "steps": listed,
        "says": rest,
        "warnings": warnings,
    }
