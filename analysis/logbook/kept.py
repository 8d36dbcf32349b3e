"""Verdicts and figures kept for every run, with the version of the analysis that made them; recomputed in parallel.

Recomputation repeats what run folders and entries say, so that it is written in portions: what is done stays done.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.condition.figures import (
    ConditionFigures,
    RunFigures,
    condition_from,
    run_figures_from,
)
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.inputs import RunInputs, run_inputs
from soakwitness.analysis.logbook.moments import Stamp
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import find_run_entry, give_recipe, run_named, runs_listed
from soakwitness.firmware_bridge.errors import BridgeError

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.model import Recipe
    from soakwitness.analysis.runs import Run
    from soakwitness.analysis.verification.model import Verification

ANALYSIS_VERSION = "2"
"""Raise it whenever verification or measuring gives other figures: all runs are recomputed then."""

FEW = 8  # up to here a second process would start slower than the work is done
PORTION = 100
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Computed:
    """Figures of one run as JSON text; ``verdict`` None where it could not be judged, and ``trouble`` says why."""

    run: str
    recipe_digest: str | None
    verdict: str | None
    answer: str | None
    audit: str
    condition: str
    trouble: str | None = None


def compute(inputs: RunInputs) -> Computed:
    """Verify and measure one run.

    Parameters
    ----------
    inputs : RunInputs
        Its folder and what the log book knows.

    Returns
    -------
    Computed
        Verdict and figures; what cannot be had is left out and said.
    """
    from soakwitness.analysis.recipes.file import parse_recipe
    from soakwitness.analysis.runs import open_run
    from soakwitness.analysis.verification.verifying import verify

    run = open_run(inputs.folder)
    recipe = verification = trouble = None
    try:
        if inputs.recipe is not None:
            recipe = parse_recipe(inputs.recipe, f"recipe of {inputs.run}")
            verification = verify(run, recipe, pieces=inputs.pieces(), corrections=inputs.used_corrections())
    except AnalysisError as error:
        trouble = str(error)
    return measured(inputs, run, recipe, verification, trouble=trouble)


def measured(
    inputs: RunInputs,
    run: Run,
    recipe: Recipe | None,
    verification: Verification | None,
    *,
    trouble: str | None = None,
) -> Computed:
    """Measure a run that was opened and verified already.

    Parameters
    ----------
    inputs : RunInputs
        What the log book knows of it.
    run : Run
        The run.
    recipe : Recipe or None
        Recipe it was judged by.
    verification : Verification or None
        What was found.
    trouble : str, optional
        Why it could not be judged.

    Returns
    -------
    Computed
        Verdict and figures.
    """
    from soakwitness.analysis.condition.figures import to_plain
    from soakwitness.analysis.condition.health import condition_figures
    from soakwitness.analysis.condition.measuring import run_figures
    from soakwitness.analysis.verification.report import as_json

    figures = run_figures(run, recipe, verification, sensor=inputs.sensor, ended_utc=inputs.ended_utc)
    loaded = bool(inputs.charged) or any(m.act == "load" and not m.struck for m in run.marks)
    condition = condition_figures(run, recipe, verification, figures, charged=True if loaded else None)
    return Computed(
        run=inputs.run,
        recipe_digest=inputs.recipe_digest,
        verdict=verification.verdict if verification else None,
        answer=_text(as_json(verification)) if verification else None,
        audit=_text(to_plain(figures)),
        condition=_text(to_plain(condition)),
        trouble=trouble,
    )


def _text(data: dict[str, Any]) -> str:
    return json.dumps(_finite(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _finite(value: Any) -> Any:
    """Plain data without NaN or infinity, which JSON cannot say."""
    if isinstance(value, dict):
        return {str(key): _finite(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(part) for part in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return round(value, 4) if isinstance(value, float) else value


def stale_runs(book: LogBook, runs: Iterable[str] | None = None) -> list[str]:
    """Runs without figures of this version of the analysis.

    Parameters
    ----------
    book : LogBook
        The open log book.
    runs : iterable of str, optional
        Only these; else all.

    Returns
    -------
    list of str
        Run ids in the order of their start; missing folders are left out.
    """
    rows = book.rows(
        "SELECT r.run FROM runs r LEFT JOIN figures f ON f.run = r.run AND f.analysis_version = ? "
        "WHERE f.run IS NULL AND r.missing = 0 ORDER BY r.started_utc",
        ANALYSIS_VERSION,
    )
    stale = [row["run"] for row in rows]
    if runs is None:
        return stale
    wanted = set(runs)
    return [run for run in stale if run in wanted]


def forget(book: LogBook, *, stamp: Stamp) -> None:
    """Drop all kept verdicts and figures; they repeat what run folders and entries say and are computed anew."""
    with book.writing(stamp):
        book.connection.execute("DELETE FROM figures")
        book.connection.execute("DELETE FROM verdicts")


def refresh(
    book: LogBook,
    *,
    stamp: Stamp,
    runs: Iterable[str] | None = None,
    processes: int = 1,
    progress: Progress | None = None,
) -> tuple[str, ...]:
    """Compute verdicts and figures that are missing or of another version of the analysis.

    Parameters
    ----------
    book : LogBook
        The open log book.
    stamp : Stamp
        When and by whom.
    runs : iterable of str, optional
        Only these; else all.
    processes : int
        How many processes may work at once.
    progress : callable, optional
        Gets how many runs are done, of how many.

    Returns
    -------
    tuple of str
        What could not be read or judged, a sentence each.
    """
    entries = runs_listed(book, stale_runs(book, runs))
    tasks = [run_inputs(book, entry) for entry in entries]
    troubles: list[str] = []
    waiting: list[Computed] = []
    for number, (task, done) in enumerate(zip(tasks, _computed(tasks, processes), strict=True), start=1):
        if isinstance(done, str):
            troubles.append(f"{task.run}: {done}")
        else:
            waiting.append(done)
            if done.trouble:
                troubles.append(f"{task.run}: {done.trouble}")
        if len(waiting) >= PORTION:
            _keep(book, waiting, stamp)
            waiting.clear()
        if progress is not None:
            progress(number, len(tasks))
    _keep(book, waiting, stamp)
    return tuple(troubles)


def _computed(tasks: Sequence[RunInputs], processes: int) -> Iterator[Computed | str]:
    if processes < 2 or len(tasks) <= FEW:
        yield from map(_guarded, tasks)
        return
    # spawn: a fork would copy whatever threads the numeric libraries have started
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from pool.map(_guarded, tasks, chunksize=4)


def _guarded(task: RunInputs) -> Computed | str:
    try:
        return compute(task)
    except (AnalysisError, BridgeError) as error:
        return str(error)


def _keep(book: LogBook, done: Sequence[Computed], stamp: Stamp) -> None:
    if not done:
        return
    with book.writing(stamp):
        for c in done:
            book.connection.execute(
                "INSERT OR REPLACE INTO figures (run, recipe_digest, analysis_version, made_utc, audit, condition) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (c.run, c.recipe_digest, ANALYSIS_VERSION, stamp.at_utc, c.audit, c.condition),
            )
            if c.verdict is not None and c.recipe_digest is not None:
                book.connection.execute(
                    "INSERT OR REPLACE INTO verdicts (run, recipe_digest, analysis_version, made_utc, verdict, answer) "
                    "VALUES (?, ?, ?, ?, ?, ?)",
                    (c.run, c.recipe_digest, ANALYSIS_VERSION, stamp.at_utc, c.verdict, c.answer),
                )


def keep_verified(book: LogBook, run: Run, recipe: Recipe, verification: Verification, *, stamp: Stamp) -> bool:
    """Keep what a verification found just now.

    A run that had no recipe so far is judged by this one from now on.

    Parameters
    ----------
    book : LogBook
        The open log book, its list of runs in step with the folders.
    run : Run
        The run.
    recipe : Recipe
        Recipe it was verified by.
    verification : Verification
        What was found.
    stamp : Stamp
        When and by whom.

    Returns
    -------
    bool
        False where the run is judged by another recipe: trying one out changes nothing.
    """
    entry = find_run_entry(book, run.header.run)
    if entry is None or not recipe.text:
        return False
    with book.writing(stamp):
        if entry.recipe_digest is None:
            give_recipe(book, entry.run, recipe.name, recipe.text, stamp=stamp)
            entry = run_named(book, entry.run)
        inputs = run_inputs(book, entry)
        if inputs.recipe != recipe.text:
            return False
        _keep(book, [measured(inputs, run, recipe, verification)], stamp)
    return True


def kept_figures(book: LogBook, runs: Iterable[str]) -> dict[str, RunFigures]:
    """Figures for the audit of these runs, as far as they are kept."""
    rows = (book.row("SELECT run, audit FROM figures WHERE run = ?", run) for run in dict.fromkeys(runs))
    return {row["run"]: run_figures_from(json.loads(row["audit"])) for row in rows if row is not None}


def kept_condition(book: LogBook, runs: Iterable[str]) -> dict[str, ConditionFigures]:
    """The furnace's own figures of these runs, as far as they are kept."""
    rows = (book.row("SELECT run, condition FROM figures WHERE run = ?", run) for run in dict.fromkeys(runs))
    return {row["run"]: condition_from(json.loads(row["condition"])) for row in rows if row is not None}


def furnace_condition(book: LogBook, furnace: str) -> tuple[ConditionFigures, ...]:
    """The furnace's own figures of all its runs, in the order of their start."""
    rows = book.rows(
        "SELECT f.condition FROM figures f JOIN runs r ON r.run = f.run WHERE r.furnace = ? ORDER BY r.started_utc",
        furnace,
    )
    return tuple(condition_from(json.loads(row["condition"])) for row in rows)


def kept_answer(book: LogBook, run: str) -> dict[str, Any] | None:
    """Verdict of a run as ``verify --json`` gives it, if one is kept that is up to date."""
    row = book.row("SELECT answer FROM verdicts WHERE run = ? AND analysis_version = ?", run, ANALYSIS_VERSION)
    if row is None:
        return None
    answer: dict[str, Any] = json.loads(row["answer"])
    return answer
