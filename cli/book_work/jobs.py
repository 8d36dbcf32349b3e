"""The closed list of what the book can have done."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from soakwitness.cli.book_work import forms
from soakwitness.cli.options.common import WrongUse

Progress = Callable[[int, int], None]


def verdict(logbook: Path, progress: Progress, *, run: str) -> dict[str, Any]:
    """Judge a run as ``verify`` does, and keep that as it does; what came of it in short."""
    from soakwitness.cli.verdicts.verified import verify_run

    found = verify_run(_folder(logbook, run), None, logbook)
    unit, short = found.recipe.unit, found.verification.in_short
    return {
        "run": found.verification.run,
        "recipe": found.recipe.name,
        "verdict": found.verification.verdict,
        "says": short.says.text(unit),
        "next": None if short.next is None else short.next.text(unit),
        "answer": None if unit == "C" else found.answer(unit),  # the one in degC is kept in the log book
    }


def sheet(logbook: Path, progress: Progress, *, run: str | None = None, piece: str | None = None) -> dict[str, Any]:
    """Print the sheet of a run or of a piece."""
    from soakwitness.cli.book_work.to_look_at import print_sheet

    if piece is not None:
        return print_sheet(logbook, f"--piece={piece}")
    return print_sheet(logbook, "--", str(_folder(logbook, run or "")))


def estimate(logbook: Path, progress: Progress, *, run: str) -> dict[str, Any]:
    """The estimate of the blade in its packet, for the chart of a run."""
    from soakwitness.cli.book_work.to_look_at import packet_estimate

    return packet_estimate(logbook, _folder(logbook, run))


def inferred(logbook: Path, progress: Progress, *, run: str) -> dict[str, Any]:
    """What the door dips of a run that no mark explains are offered as."""
    from soakwitness.cli.commands.mark_inferred import found_in
    from soakwitness.cli.words.inferred_words import offered_words, question
    from soakwitness.firmware_bridge.common.wording import moment

    found, _ = found_in(_folder(logbook, run), logbook)
    return {
        "question": question(found.offered) if found.offered else None,
        "lines": [f"{moment(one.opening.at_s)} {offered_words(one)}" for one in found.offered],
    }


def enter(
    logbook: Path,
    progress: Progress,
    *,
    form: str,
    values: dict[str, list[str]],
    by: str,
    files: dict[str, str],
) -> dict[str, Any]:
    """Enter what a page's form holds, by the form's command; ``files`` are paths that the server made."""
    return forms.enter(logbook, form, values, by=by, files=_paths(files))


def _paths(files: dict[str, str]) -> dict[str, Path]:
    return {name: Path(path) for name, path in files.items()}


def look(
    logbook: Path, progress: Progress, *, look: str, asked: dict[str, list[str]], unit: str, every: bool
) -> dict[str, Any]:
    """What a command tells of a furnace, a calibration, a survey, a batch."""
    from soakwitness.cli.book_work.looking import told

    return told(logbook, look, asked, unit=unit, every=every, progress=progress)


def plan(
    logbook: Path, progress: Progress, *, values: dict[str, list[str]], by: str, files: dict[str, str]
) -> dict[str, Any]:
    """The plan of a run that a page asks for: nothing is kept by it."""
    from soakwitness.cli.book_work.to_plan import plan_to_look_at

    return plan_to_look_at(logbook, values, by=by, files=_paths(files), progress=progress)


def plan_card(
    logbook: Path, progress: Progress, *, values: dict[str, list[str]], by: str, files: dict[str, str], paper: str
) -> dict[str, Any]:
    """The same plan's card as a file to print."""
    from soakwitness.cli.book_work.to_plan import card_to_print

    return card_to_print(logbook, values, by=by, files=_paths(files), paper=paper, progress=progress)


JOBS: dict[str, Callable[..., dict[str, Any]]] = {
    "verdict": verdict,
    "sheet": sheet,
    "estimate": estimate,
    "inferred": inferred,
    "enter": enter,
    "look": look,
    "plan": plan,
    "plan card": plan_card,
}


def _folder(logbook: Path, run: str) -> Path:
    """The folder of a run of this log book, by the folder's name."""
    folder = logbook / "runs" / Path(run).name
    if not run or not (folder / "run.json").is_file():
        raise WrongUse(f"{run}: no such run in {logbook}. List them with: soakwitness runs")
    return folder
