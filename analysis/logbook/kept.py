"""Verdicts and figures kept for every run, with the version of the rules they were made by; earlier verdicts stay."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.evidence.run_figures import (
    ConditionFigures,
    RunFigures,
    condition_from,
    run_figures_from,
)
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.analysis.rules import RULES_VERSION


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


@dataclass(frozen=True)
class KeptVerdict:
    """A verdict as it was kept: the version of the rules, when it was made, and the answer of ``verify --json``.

    Of an earlier one ``replaced_utc`` says when another took its place, and ``why`` what was other then.
    """

    run: str
    recipe_digest: str
    rules: str
    made_utc: str
    verdict: str
    answer: Mapping[str, Any]
    replaced_utc: str | None = None
    why: str = ""


def stale_runs(book: LogBook, runs: Iterable[str] | None = None) -> list[str]:
    """Runs without figures of this version of the rules.

    ``runs``: only these; else all that are neither struck out nor doubtful. Returns run ids in the order of their
    start; missing folders are left out.
    """
    table = "standing_runs" if runs is None else "runs"
    rows = book.rows(
        f"SELECT r.run FROM {table} r LEFT JOIN figures f ON f.run = r.run AND f.analysis_version = ? "
        "WHERE f.run IS NULL AND r.missing = 0 ORDER BY r.started_utc",
        RULES_VERSION,
    )
    stale = [row["run"] for row in rows]
    if runs is None:
        return stale
    wanted = set(runs)
    return [run for run in stale if run in wanted]


def forget(book: LogBook, *, stamp: Stamp) -> None:
    """Have all figures computed anew; verdicts stay beside them until there is another."""
    with book.writing(stamp):
        book.connection.execute("DELETE FROM figures")


def keep(book: LogBook, done: Sequence[tuple[Computed, str | None]], *, stamp: Stamp) -> None:
    """Keep figures and verdicts.

    ``done``: each with what is other than in the verdict kept so far, which is put aside then; None: nothing.
    """
    with book.writing(stamp):
        for computed, why in done:
            if why is not None:
                _put_aside(book, computed.run, why, stamp)
            _keep(book, computed, stamp)


def _put_aside(book: LogBook, run: str, why: str, stamp: Stamp) -> None:
    book.connection.execute(
        "INSERT INTO earlier_verdicts "
        "(run, recipe_digest, analysis_version, made_utc, verdict, answer, replaced_utc, why) "
        "SELECT run, recipe_digest, analysis_version, made_utc, verdict, answer, ?, ? FROM verdicts WHERE run = ?",
        (stamp.at_utc, why, run),
    )


def _keep(book: LogBook, c: Computed, stamp: Stamp) -> None:
    book.connection.execute(
        "INSERT OR REPLACE INTO figures (run, recipe_digest, analysis_version, made_utc, audit, condition) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        (c.run, c.recipe_digest, RULES_VERSION, stamp.at_utc, c.audit, c.condition),
    )
    book.connection.execute("DELETE FROM verdicts WHERE run = ?", (c.run,))
    if c.verdict is not None and c.recipe_digest is not None:
        book.connection.execute(
            "INSERT INTO verdicts (run, recipe_digest, analysis_version, made_utc, verdict, answer) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (c.run, c.recipe_digest, RULES_VERSION, stamp.at_utc, c.verdict, c.answer),
        )


def kept_figures(book: LogBook, runs: Iterable[str]) -> dict[str, RunFigures]:
    """Figures for the audit of these runs, as far as they are kept."""
    rows = (book.row("SELECT run, audit FROM figures WHERE run = ?", run) for run in dict.fromkeys(runs))
    return {row["run"]: run_figures_from(json.loads(row["audit"])) for row in rows if row is not None}


def kept_condition(book: LogBook, runs: Iterable[str]) -> dict[str, ConditionFigures]:
    """The furnace's own figures of these runs, as far as they are kept."""
    rows = (book.row("SELECT run, condition FROM figures WHERE run = ?", run) for run in dict.fromkeys(runs))
    return {row["run"]: condition_from(json.loads(row["condition"])) for row in rows if row is not None}


def furnace_condition(book: LogBook, furnace: str, *, newest: int = -1) -> tuple[ConditionFigures, ...]:
    """The furnace's own figures of its newest runs, else of all, in the order of their start."""
    rows = book.rows(
        "SELECT f.condition FROM figures f JOIN standing_runs r ON r.run = f.run WHERE r.furnace = ? "
        "ORDER BY r.started_utc DESC LIMIT ?",
        furnace,
        newest,
    )
    return tuple(condition_from(json.loads(row["condition"])) for row in reversed(rows))


def kept_answer(book: LogBook, run: str) -> dict[str, Any] | None:
    """Verdict of a run as ``verify --json`` gives it, if one is kept that is up to date."""
    row = book.row(
        "SELECT v.answer FROM verdicts v JOIN figures f ON f.run = v.run AND f.analysis_version = v.analysis_version "
        "WHERE v.run = ? AND v.analysis_version = ?",
        run,
        RULES_VERSION,
    )
    if row is None:
        return None
    answer: dict[str, Any] = json.loads(row["answer"])
    return answer


def last_verdict(book: LogBook, run: str) -> KeptVerdict | None:
    """The verdict kept last, whether it is up to date or not."""
    row = book.row("SELECT *, NULL AS replaced_utc, '' AS why FROM verdicts WHERE run = ?", run)
    return None if row is None else _verdict(row)


def earlier_verdicts(book: LogBook, run: str) -> tuple[KeptVerdict, ...]:
    """Verdicts that others took the place of, oldest first."""
    rows = book.rows("SELECT * FROM earlier_verdicts WHERE run = ? ORDER BY entry", run)
    return tuple(_verdict(row) for row in rows)


def _verdict(row: sqlite3.Row) -> KeptVerdict:
    return KeptVerdict(
        row["run"],
        row["recipe_digest"],
        row["analysis_version"],
        row["made_utc"],
        row["verdict"],
        json.loads(row["answer"]),
        row["replaced_utc"],
        row["why"],
    )
