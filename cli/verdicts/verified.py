"""A run, what is known of it, and its verification: shared by the commands that need all three."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from collections.abc import Callable

    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.run_inputs.known_inputs import RunInputs
    from soakwitness.analysis.run_inputs.measured_packets import UsedPacket
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.firmware_bridge.common.units import Unit

F = TypeVar("F", bound="Callable[..., Any]")


def packet_option(function: F) -> F:
    """Option ``--packet``, passed as ``packet_path``: a packet file in place of the one that counts."""
    return click.option(
        "--packet",
        "packet_path",
        type=click.Path(path_type=Path),
        help="Packet file; else the one that the recipe names, else the newest of the log book.",
    )(function)


@dataclass(frozen=True)
class Verified:
    """A run with what is known of it, its recipe and what was found."""

    run: Run
    inputs: RunInputs
    recipe: Recipe
    verification: Verification

    def answer(self, unit: Unit | None) -> dict[str, Any]:
        """What ``verify --json`` writes, its sentences in a unit, else in the recipe's."""
        return self.inputs.answer(self.verification, unit or self.recipe.unit)


def is_in_logbook(logbook: Path, run: Run) -> bool:
    """Whether a run folder is one of this log book's own."""
    return run.path.resolve().parent == (logbook / "runs").resolve()


def take_in(logbook: Path, run: Run) -> None:
    """Let the log book know of its newest runs and marks; where it cannot be written, that is said and no more."""
    if not is_in_logbook(logbook, run):
        return
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs

    try:
        with open_book(logbook, create=True) as book:
            take_in_runs(book, new_stamp(None))
    except LogBookError as error:
        click.echo(str(error), err=True)


def given_packet(path: Path | None) -> UsedPacket | None:
    """The packet file that was given with the command."""
    if path is None:
        return None
    from soakwitness.analysis.packet.packet_file import read_packet_file
    from soakwitness.analysis.run_inputs.measured_packets import used

    return used(read_packet_file(path), "option", str(path))


def known_inputs(
    logbook: Path, run: Run, *, recipe_path: Path | None = None, packet: UsedPacket | None = None
) -> RunInputs:
    """What is known of a run, with what was given in place of it; what on record is not used is said on stderr."""
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.analysis.run_inputs.gathered import run_inputs
    from soakwitness.cli.options.entering import open_book

    recipe = None if recipe_path is None else load_recipe(recipe_path)
    if (logbook / "logbook.sqlite").exists():
        with open_book(logbook) as book:
            found = run_inputs(book, run.path, run.header, run.marks, recipe=recipe, packet=packet)
    else:
        found = run_inputs(None, run.path, run.header, run.marks, recipe=recipe, packet=packet)
    for words in found.refused:
        click.echo(words.text(found.recipe.unit if found.recipe else "C"), err=True)
    return found


def _keep(logbook: Path, run: Run, inputs: RunInputs, verification: Verification) -> None:
    """Keep the verdict in the log book; a run without a recipe is judged by this one from now on."""
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.recomputing.refreshing import keep_judged
    from soakwitness.cli.options.entering import new_stamp, open_book

    try:
        with open_book(logbook, create=True) as book:
            changed = keep_judged(book, run, inputs, verification, stamp=new_stamp(None))
    except LogBookError as error:
        click.echo(str(error), err=True)
        return
    for one in changed or ():
        click.echo(f"Other than the verdict kept so far: {one.why}", err=True)


def verify_run(
    folder: Path,
    recipe_path: Path | None,
    logbook: Path,
    *,
    packet: UsedPacket | None = None,
) -> Verified:
    """Open a run, gather what is known of it, and verify it; what was judged by it is kept in the log book."""
    from soakwitness.analysis.record.run import open_run

    run = open_run(folder)
    take_in(logbook, run)
    inputs = known_inputs(logbook, run, recipe_path=recipe_path, packet=packet)
    recipe = inputs.recipe
    if recipe is None:
        raise WrongUse(f"{run.header.run} carries no recipe. Name one: --recipe FILE.toml")
    found = inputs.judged(run)
    if packet is None and is_in_logbook(logbook, run):
        _keep(logbook, run, inputs, found)
    return Verified(inputs.on_record(run), inputs, recipe, found)
