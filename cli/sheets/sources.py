"""Collects what a run sheet needs: the run, its verification, and what the log book adds, put into words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.common import WrongUse
from soakwitness.cli.sheets.contents import SheetNotes
from soakwitness.cli.words import figures

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correction import Correction
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.pieces import Piece
    from soakwitness.analysis.recipes.model import Recipe
    from soakwitness.analysis.runs import Run
    from soakwitness.analysis.verification.model import Verification


@dataclass(frozen=True)
class SheetSources:
    """A run, what was found in it, and the notes of the log book."""

    run: Run
    verification: Verification
    recipe: Recipe
    notes: SheetNotes


def sheet_sources(
    folder: Path, recipe_path: Path | None, logbook: Path, *, unit: figures.Unit | None, customer: str | None
) -> SheetSources:
    """Open, verify and look up one run for its sheet.

    Raises
    ------
    WrongUse
        If ``customer`` has no piece in the run, or there is no log book to know customers from.
    """
    from soakwitness.cli.verified import from_logbook, verify_run

    found = verify_run(folder, recipe_path, logbook, unit=unit)
    _, corrections = from_logbook(logbook, found.run)
    notes = _notes(found.run, corrections, logbook, customer, unit or found.recipe.unit)
    return SheetSources(found.run, found.verification, found.recipe, notes)


def _notes(
    run: Run, corrections: Mapping[str, Correction], logbook: Path, customer: str | None, unit: figures.Unit
) -> SheetNotes:
    seal = run.path / "seal.json"
    sensors = [_correction_words(name, correction, unit) for name, correction in corrections.items()]
    digest = _digest(seal) if seal.exists() else None
    if not (logbook / "logbook.sqlite").exists():
        if customer is not None:
            raise WrongUse(f"--customer {customer}: there is no log book in {logbook} that knows customers.")
        return SheetNotes(sensors=sensors, seal_digest=digest)
    from soakwitness.analysis.logbook.dispositions import dispositions_of
    from soakwitness.analysis.logbook.opening import open_logbook

    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        pieces = _pieces(book, run)
        decided = [(d.finding or "run", _decision(d.decision, d.why)) for d in dispositions_of(book, run.header.run)]
    wanted = None
    if customer is not None:
        wanted = [p.id for p in pieces if (p.customer or "").casefold() == customer.casefold()]
        if not wanted:
            known = sorted({p.customer for p in pieces if p.customer}) or ["none on record"]
            raise WrongUse(
                f"--customer {customer}: no piece of theirs in this run. Customers here: {', '.join(known)}."
            )
    return SheetNotes(
        dispositions=decided,
        pieces=wanted,
        piece_words=[(p.id, _piece_words(p)) for p in pieces],
        sensors=sensors,
        seal_digest=digest,
        customer=customer,
    )


def _digest(path: Path) -> str:
    from soakwitness.firmware_bridge.runfolder.seal import file_sha256

    return f"SHA-256 {file_sha256(path)}"


def _pieces(book: LogBook, run: Run) -> list[Piece]:
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.pieces import find_piece

    found = [find_piece(book, charged.piece) for charged in pieces_in_run(book, run.header.run)]
    return [piece for piece in found if piece is not None]


def _piece_words(piece: Piece) -> str:
    thickness = f"{piece.thickness_mm:g} mm" if piece.thickness_mm else None
    stamp = f"stamp {piece.stamp}" if piece.stamp else None
    return ", ".join(word for word in (piece.steel, thickness, stamp) if word)


def _decision(decision: str, why: str) -> str:
    return f"{decision}: {why}" if why else decision


def _correction_words(name: str, correction: Correction, unit: figures.Unit) -> tuple[str, str, str]:
    values = correction.table_correction_c
    low, high = (figures.difference(edge, unit, signed=True) for edge in (min(values), max(values)))
    size = low if low == high else f"{low} to {high}"
    due = f", due {correction.due_on}" if correction.due_on else ""
    return (
        name,
        f"{size} ({correction.model}, of {correction.done_on}{due})",
        (f"±{figures.difference(max(correction.table_expanded_c), unit)} (calibration)"),
    )
