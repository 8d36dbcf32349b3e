"""Runs that wait: failed ones without a decision, those that may be no heatings, those nobody looked at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from soakwitness.analysis.logbook.doubting import doubtful_runs
from soakwitness.analysis.logbook.lately import Lately, failing_findings
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import RunEntry, runs_listed
from soakwitness.analysis.record.moments import seconds_between
from soakwitness.analysis.waiting.waiting_acts import AskedAbout, Concern, WaitingAct, began, command, concerns
from soakwitness.firmware_bridge.common.wording import Says, counted, listed


def undecided(book: LogBook, lately: Lately, asking: AskedAbout, *, asked_since_utc: str) -> Iterator[WaitingAct]:
    """Failed runs of which nobody said what was decided, of the whole run or of each finding it failed for.

    An empty run is asked for none: it held no piece of which anything could be decided.
    """
    for run in lately.runs:
        if lately.judged.get(run.run) != "fail" or run.run in lately.empty or run.started_utc < asked_since_utc:
            continue
        if not asking.wanted("decision", run.run, run.furnace):
            continue
        open_ones = _without_decision(book, lately, run)
        if open_ones is None:
            continue
        named = listed(list(dict.fromkeys(code for code, _ in open_ones)), most=3)
        about = f" ({named})" if named else ""
        says = f"{run_words(run, asking.zone)} failed{about}, and no decision is on record."
        yield WaitingAct(
            kind="decision",
            urgency="soon",
            says=Says.plain(says),
            concerns=(Concern("run", run.run), Concern("furnace", run.furnace)),
            settle=command("disposition", run.run, "--decide", "DECISION", "--why", "REASON"),
            page=("run", run.run),
            since_utc=run.ended_utc or run.started_utc,
            for_s=max(seconds_between(run.ended_utc or run.started_utc, asking.now_utc), 0.0),
        )


def _without_decision(book: LogBook, lately: Lately, run: RunEntry) -> list[tuple[str, int | None]] | None:
    """Findings without a decision; None where all is decided."""
    decided = lately.decided.get(run.run, ())
    if any(finding is None for finding, _ in decided):
        return None
    failing = failing_findings(book, run.run)
    left = [(code, step) for code, step in failing if not {(code, step), (code, None)} & set(decided)]
    return left if left or not decided else None


def doubted(book: LogBook, asking: AskedAbout, *, asked_since_utc: str) -> Iterator[WaitingAct]:
    """Sealed runs of which nobody said whether they were heatings, in one sentence."""
    doubts = doubtful_runs(book)
    runs = [
        run
        for run in sorted(runs_listed(book, doubts), key=lambda run: run.started_utc)
        if run.seal is not None
        and not run.missing
        and run.started_utc >= asked_since_utc
        and asking.wanted("doubtful", run.run, run.furnace)
    ]
    if not runs:
        return
    newest = runs[-1]
    says = f"{run_words(newest, asking.zone)} may be no heating: {doubts[newest.run]}."
    if len(runs) > 1:
        latest = f"{began(newest, asking.zone)} in {newest.furnace}"
        says = f"{counted(len(runs), 'run')} may be no heatings, the latest of {latest}."
    yield _of_runs("doubtful", runs, says, command("runs", "--doubtful"), ("run", newest.run), asking)


def unlooked(
    lately: Lately, asking: AskedAbout, recording: frozenset[str], *, asked_since_utc: str
) -> Iterator[WaitingAct]:
    """Runs without a verdict in one sentence, those with a recipe and those without apart.

    What a calibration or a survey was made from was looked at; so was an empty run without a recipe.
    """
    waiting = [
        run
        for run in lately.runs
        if run.run not in lately.judged
        and run.run not in (recording | lately.tests)
        and not (run.recipe_digest is None and run.run in lately.empty)
        and not run.missing
        and run.seal is not None
        and run.started_utc >= asked_since_utc
        and asking.wanted("look", run.run, run.furnace)
    ]
    for with_recipe in (True, False):
        runs = [run for run in waiting if (run.recipe_digest is not None) == with_recipe]
        if runs:
            yield _look(runs, asking, with_recipe=with_recipe)


def _look(runs: list[RunEntry], asking: AskedAbout, *, with_recipe: bool) -> WaitingAct:
    newest = runs[-1]
    lacks = "no verdict yet" if with_recipe else "no recipe, and so no verdict"
    says = f"{run_words(newest, asking.zone)} has {lacks}."
    if len(runs) > 1:
        latest = f"{began(newest, asking.zone)} in {newest.furnace}"
        says = f"{counted(len(runs), 'run')} have {lacks}, the latest of {latest}."
    settle = command("verify", newest.run, *([] if with_recipe else ["--recipe", "RECIPE.toml"]))
    return _of_runs("look", runs, says, settle, ("run", newest.run) if len(runs) == 1 else ("runs",), asking)


def _of_runs(
    kind: str, runs: Sequence[RunEntry], says: str, settle: str, page: tuple[str, ...], asking: AskedAbout
) -> WaitingAct:
    """What these runs wait for, oldest first; no haste."""
    since_utc = runs[0].ended_utc or runs[0].started_utc
    return WaitingAct(
        kind=kind,
        urgency="when it suits",
        says=Says.plain(says),
        concerns=concerns("run", (run.run for run in reversed(runs))),
        settle=settle,
        page=page,
        since_utc=since_utc,
        for_s=max(seconds_between(since_utc, asking.now_utc), 0.0),
    )


def run_words(run: RunEntry, zone: str | None) -> str:
    """A run in a sentence: ``The run of 2026-11-25 08:15 in small furnace``."""
    return f"The run of {began(run, zone)} in {run.furnace}"
