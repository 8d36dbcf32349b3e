"""A run, its recipe and its verification, with what the log book adds: shared by the commands that need all three."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

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


def recipe_for(run: Run, path: Path | None, logbook: Path | None = None) -> Recipe:
    """The recipe file of that path, else the one that the run carries, else the one the log book judges it by."""
    from soakwitness.analysis.recipes.file import load_recipe, parse_recipe

    if path is not None:
        return load_recipe(path)
    if run.header.recipe_file:
        return parse_recipe(run.header.recipe_file, f"{run.path / 'run.json'}, recipe")
    if logbook is not None and (logbook / "logbook.sqlite").exists():
        from soakwitness.analysis.logbook.runs import find_run_entry, recipe_text
        from soakwitness.cli.entering import open_book

        with open_book(logbook) as book:
            entry = find_run_entry(book, run.header.run)
            if entry is not None and entry.recipe_digest is not None:
                return parse_recipe(recipe_text(book, entry.recipe_digest), f"{entry.recipe_name}, in the log book")
    raise WrongUse(f"{run.header.run} carries no recipe. Name one: --recipe FILE.toml")


def is_in_logbook(logbook: Path, run: Run) -> bool:
    """Whether a run folder is one of this log book's own."""
    return run.path.resolve().parent == (logbook / "runs").resolve()


def take_in(logbook: Path, run: Run) -> None:
    """Let the log book know of its newest runs and marks; where it cannot be written, that is said and no more."""
    if not is_in_logbook(logbook, run):
        return
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.cli.entering import new_stamp, open_book, take_in_runs

    try:
        with open_book(logbook, create=True) as book:
            take_in_runs(book, new_stamp(None))
    except LogBookError as error:
        click.echo(str(error), err=True)


def keep(logbook: Path, found: Verified) -> None:
    """Keep the verdict in the log book; a run without a recipe is judged by this one from now on."""
    if not is_in_logbook(logbook, found.run):
        return
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.kept import keep_verified
    from soakwitness.cli.entering import new_stamp, open_book

    try:
        with open_book(logbook, create=True) as book:
            keep_verified(book, found.run, found.recipe, found.verification, stamp=new_stamp(None))
    except LogBookError as error:
        click.echo(str(error), err=True)


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


def _with_wire_on_record(logbook: Path, run: Run) -> Run:
    """The run with type and tolerance class of its thermocouples, where only the log book knows them."""
    if not (logbook / "logbook.sqlite").exists():
        return run
    from soakwitness.analysis.calibration.keeping import with_wire_on_record
    from soakwitness.cli.entering import open_book

    with open_book(logbook) as book:
        return replace(run, header=with_wire_on_record(book, run.header))


def verify_run(
    folder: Path,
    recipe_path: Path | None,
    logbook: Path,
    *,
    packet: PacketModel | None = None,
) -> Verified:
    """Open a run, find its recipe and what the log book knows, and verify it."""
    from soakwitness.analysis.runs import open_run
    from soakwitness.analysis.verification.verifying import verify

    run = open_run(folder)
    take_in(logbook, run)
    run = _with_wire_on_record(logbook, run)
    recipe = recipe_for(run, recipe_path, logbook)
    pieces, corrections = from_logbook(logbook, run)
    found = verify(run, recipe, packet=packet, pieces=pieces, corrections=corrections)
    verified = Verified(run, recipe, found)
    if packet is None:
        keep(logbook, verified)
    return verified
