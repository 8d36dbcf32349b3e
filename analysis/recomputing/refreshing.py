"""Runs whose figures are out of date judged and measured anew, in parallel, and what changed by it.

This repeats what run folders and entries say, so that it is written in portions: what is done stays done.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.kept import Computed, keep, last_verdict, stale_runs
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import RunEntry, give_recipe, run_named, runs_listed
from soakwitness.analysis.packet.packet_file import named_packet
from soakwitness.analysis.recomputing.changes import what_changed
from soakwitness.analysis.recomputing.computing import compute, measured
from soakwitness.analysis.record.moments import Stamp
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.firmware_bridge.errors import BridgeError

FEW = 8  # up to here a second process would start slower than the work is done
PORTION = 100
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Changed:
    """A run whose kept verdict gave way to another, and what is other."""

    run: str
    why: str


@dataclass(frozen=True)
class Refreshed:
    """How many runs were judged, what could not be read or judged, a sentence each, and what changed."""

    count: int = 0
    troubles: tuple[str, ...] = ()
    changed: tuple[Changed, ...] = ()


@dataclass(frozen=True)
class _Task:
    """One run to compute, plain data for another process."""

    entry: RunEntry
    inputs: RunInputs | None
    trouble: str | None = None


def refresh(
    book: LogBook,
    *,
    stamp: Stamp,
    runs: Iterable[str] | None = None,
    processes: int = 1,
    progress: Progress | None = None,
) -> Refreshed:
    """Compute verdicts and figures that are missing, out of date or made by other rules.

    ``progress``: gets how many runs are done, of how many. Returns what happened. A verdict that changed stays in the
    log book beside the new one.
    """
    tasks = [_task(book, entry) for entry in runs_listed(book, stale_runs(book, runs))]
    troubles: list[str] = []
    changed: list[Changed] = []
    waiting: list[Computed] = []
    for number, (task, done) in enumerate(zip(tasks, _computed(tasks, processes), strict=True), start=1):
        if isinstance(done, str):
            troubles.append(_of_run(task.entry.run, done))
        else:
            waiting.append(done)
            if done.trouble:
                troubles.append(_of_run(task.entry.run, done.trouble))
        if len(waiting) >= PORTION:
            changed += keep_beside(book, waiting, stamp=stamp)
            waiting.clear()
        if progress is not None:
            progress(number, len(tasks))
    changed += keep_beside(book, waiting, stamp=stamp)
    return Refreshed(len(tasks), tuple(troubles), tuple(changed))


def _of_run(run: str, says: str) -> str:
    """A sentence that names its run, once."""
    return says if says.startswith(f"{run}:") else f"{run}: {says}"


def _task(book: LogBook, entry: RunEntry) -> _Task:
    try:
        return _Task(entry, inputs_of_entry(book, entry))
    except (AnalysisError, BridgeError) as error:
        return _Task(entry, None, str(error))


def _computed(tasks: Sequence[_Task], processes: int) -> Iterator[Computed | str]:
    if processes < 2 or len(tasks) <= FEW:
        yield from map(_guarded, tasks)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # spawn: a fork would copy whatever threads the numeric libraries have started
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from pool.map(_guarded, tasks, chunksize=4)


def _guarded(task: _Task) -> Computed | str:
    if task.inputs is None:
        return task.trouble or "its folder cannot be read"
    try:
        return compute(task.inputs, recipe_digest=task.entry.recipe_digest, ended_utc=task.entry.ended_utc)
    except (AnalysisError, BridgeError) as error:
        return str(error)


def keep_beside(book: LogBook, done: Sequence[Computed], *, stamp: Stamp) -> tuple[Changed, ...]:
    """Keep what was computed; a verdict of a sealed run that changes is put aside, not lost."""
    if not done:
        return ()
    pairs = [(computed, _why(book, computed)) for computed in done]
    keep(book, [(computed, why or None) for computed, why in pairs], stamp=stamp)
    return tuple(Changed(computed.run, why) for computed, why in pairs if why)


def _why(book: LogBook, computed: Computed) -> str:
    """What is other in the verdict kept so far; empty where nothing is, or where the run went on since."""
    old = last_verdict(book, computed.run)
    if old is None or not (old.answer.get("record") or {}).get("sealed", True):
        return ""
    answer = None if computed.answer is None else json.loads(computed.answer)
    return what_changed(old, answer, recipe_digest=computed.recipe_digest, trouble=computed.trouble)


def keep_judged(
    book: LogBook, run: Run, inputs: RunInputs, verification: Verification, *, stamp: Stamp
) -> tuple[Changed, ...] | None:
    """Keep what a verification found just now.

    A run that had no recipe so far is judged by this one from now on.

    ``book``: the open log book, its list of runs in step with the folders. Returns what changed by it; None where it is
    not kept: trying out another recipe or packet changes nothing.
    """
    entry, recipe = next(iter(runs_listed(book, [run.header.run])), None), inputs.recipe
    if entry is None or recipe is None or not recipe.text:
        return None
    with book.writing(stamp):
        if entry.recipe_digest is None:
            beside = named_packet(recipe)
            packet = None if beside is None else (beside.name, beside.text)
            give_recipe(book, entry.run, recipe.name, recipe.text, packet=packet, stamp=stamp)
            entry = run_named(book, entry.run)
        known = inputs_of_entry(book, entry)
        if known.recipe is None or known.recipe.text != recipe.text or _digest(known) != _digest(inputs):
            return None
        done = measured(
            replace(inputs, packet=known.packet),
            run,
            verification,
            recipe_digest=entry.recipe_digest,
            ended_utc=entry.ended_utc,
        )
        return keep_beside(book, [done], stamp=stamp)


def _digest(inputs: RunInputs) -> str | None:
    return None if inputs.packet is None else inputs.packet.file.digest
