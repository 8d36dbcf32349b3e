"""A run, its recipe and its verification, with what the log book adds: shared by the commands that need all three."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from soakwitness.cli.common import WrongUse

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correction import Correction
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.recipes.model import Recipe
    from soakwitness.analysis.runs import Run
    from soakwitness.analysis.verification.model import PieceInfo, Verification


@dataclass(frozen=True)
class Verified:
    """A run with its recipe and what was found."""

    run: Run
    recipe: Recipe
    verification: Verification


def recipe_for(run: Run, path: Path | None) -> Recipe:
    """The recipe file of that path, else the one that the run carries."""
    from soakwitness.analysis.recipes.file import load_recipe, parse_recipe

    if path is not None:
        return load_recipe(path)
    if run.header.recipe_file:
        return parse_recipe(run.header.recipe_file, f"{run.path / 'run.json'}, recipe")
    raise WrongUse(f"{run.header.run} carries no recipe. Name one: --recipe FILE.toml")


def from_logbook(logbook: Path, run: Run) -> tuple[tuple[PieceInfo, ...], Mapping[str, Correction]]:
    """Pieces of a run and corrections of its sensors; nothing where there is no log book."""
    if not (logbook / "logbook.sqlite").exists():
        return (), {}
    from soakwitness.analysis.calibration.keeping import corrections_for
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.verification.model import PieceInfo

    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        pieces = tuple(
            PieceInfo(
                p.piece,
                p.thickness_mm,
                p.foil,
                p.heated_faces,
                p.blades,
                None if p.charge is None else str(p.charge),
                p.place,
            )
            for p in pieces_in_run(book, run.header.run)
        )
        corrections, refused = corrections_for(book, run.header)
    for words in refused:
        click.echo(words, err=True)
    return pieces, corrections


def verify_run(
    folder: Path,
    recipe_path: Path | None,
    logbook: Path,
    *,
    packet: PacketModel | None = None,
    unit: Literal["C", "F"] | None = None,
) -> Verified:
    """Open a run, find its recipe and what the log book knows, and verify it."""
    from soakwitness.analysis.runs import open_run
    from soakwitness.analysis.verification.verifying import verify

    run = open_run(folder)
    recipe = recipe_for(run, recipe_path)
    pieces, corrections = from_logbook(logbook, run)
    found = verify(run, recipe, packet=packet, pieces=pieces, corrections=corrections, unit=unit or recipe.unit)
    return Verified(run, recipe, found)
