"""Collects what a blade's page needs: its life out of the log book, and each of its runs judged for it alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.sheets.contents import SheetNotes
from soakwitness.cli.sheets.sources import with_marks_of

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.dispositions import Disposition
    from soakwitness.analysis.logbook.history import History
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.cli.verdicts.verified import Verified


@dataclass(frozen=True)
class RunOfPiece:
    """One run as it was for one blade, and what was ``decided`` about it.

    Without a verification where it cannot be judged, and ``trouble`` says why.
    """

    run: Run | None = None
    verification: Verification | None = None
    recipe: Recipe | None = None
    seal_digest: str | None = None
    trouble: str = ""
    decided: tuple[Disposition, ...] = ()


@dataclass(frozen=True)
class LifeOfPiece:
    """One blade's life with its runs, by their names."""

    life: History
    runs: dict[str, RunOfPiece]


def lives_of(logbook: Path, names: Sequence[str]) -> list[LifeOfPiece]:
    """The lives of pieces; every run is opened once, and judged for each piece alone."""
    from soakwitness.analysis.logbook.dispositions import dispositions_of
    from soakwitness.analysis.logbook.history import piece_history
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs

    with open_book(logbook) as book:
        take_in_runs(book, new_stamp(None))
        lives = [piece_history(book, name) for name in names]
        entries = {s.source.run: s.source for life in lives for s in life.steps if isinstance(s.source, RunEntry)}
        decided = {run: dispositions_of(book, run) for run in entries}
    opened = {run: _opened(entry, logbook) for run, entry in entries.items()}
    found = []
    for life in lives:
        runs = dict.fromkeys(s.source.run for s in life.steps if isinstance(s.source, RunEntry))
        own = {run: replace(_for_piece(opened[run], life.piece.id), decided=decided[run]) for run in runs}
        found.append(LifeOfPiece(life, own))
    return found


def names_in_batch(logbook: Path, batch: str) -> tuple[str, ...]:
    """The pieces of a batch."""
    from soakwitness.analysis.logbook.batches import batch_named
    from soakwitness.cli.options.entering import open_book

    with open_book(logbook) as book:
        found = batch_named(book, batch)
    if not found.pieces:
        raise WrongUse(f"--batch {batch}: no piece is in it. Put some in: soakwitness batch add {batch} PIECE...")
    return found.pieces


def _opened(entry: object, logbook: Path) -> Verified | str:
    """A run with its verdict, or why there is none: one that cannot be read does not take the others' page away."""
    from soakwitness.analysis.errors import AnalysisError
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.cli.verdicts.verified import verify_run
    from soakwitness.firmware_bridge.errors import BridgeError

    assert isinstance(entry, RunEntry)
    if entry.missing:
        return "its run folder is missing"
    try:
        return verify_run(entry.folder, None, logbook)
    except WrongUse as error:
        return error.message
    except (AnalysisError, BridgeError) as error:
        return str(error)


def _for_piece(found: Verified | str, piece: str) -> RunOfPiece:
    from soakwitness.cli.sheets.sources import digest_of

    if isinstance(found, str):
        return RunOfPiece(trouble=found)
    run = with_marks_of(found.run, SheetNotes(pieces=[piece]))
    judged = found.inputs.judged(found.run, [piece])
    return RunOfPiece(run, judged, found.recipe, digest_of(found.run.path / "seal.json"))
