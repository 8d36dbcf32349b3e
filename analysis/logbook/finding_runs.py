"""Runs found again: by furnace, month, piece, steel, verdict and words; a page of them, and how many there are."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import HAYSTACK
from soakwitness.analysis.logbook.runs import FROM_RUNS, STANDS, RunEntry, runs_listed
from soakwitness.analysis.record.moments import later
from soakwitness.firmware_bridge.common.zones import local_day

NOT_JUDGED = "not judged"
VERDICTS = ("pass", "fail", "not proven", NOT_JUDGED)
FURTHEST_ZONE_S = 14 * 3600.0  # no zone is further from UTC

_WITH_PIECES = (
    "r.run IN (WITH named (piece) AS MATERIALIZED ({pieces}) "
    "SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) "
    "WHERE p.struck_utc IS NULL AND p.piece IN (SELECT piece FROM named) "
    "UNION SELECT run FROM run_marks WHERE struck = 0 AND piece COLLATE NOCASE IN (SELECT piece FROM named))"
)
_IN_RUN = "r.run || char(10) || r.furnace || char(10) || ifnull(r.operator, '') || char(10) || ifnull(c.name, '')"

Only = Literal["standing", "struck", "doubtful"]
OF_KIND: dict[Only, str] = {
    "standing": STANDS,
    "struck": "r.run NOT IN (SELECT run FROM unstruck_runs)",
    "doubtful": "r.run IN (SELECT run FROM doubtful_runs)",
}


@dataclass(frozen=True)
class RunsAsked:
    """What a run must be to be found; None: it may be any.

    ``month`` such as ``2026-03``, in the zone of each run. ``steel``: of one of its pieces, or named by its recipe.
    ``verdict``: one of ``VERDICTS``. ``text``: words that must all occur in its name, furnace, operator, recipe, notes
    of marks, or in what is known of its pieces. ``only``: those that stand, were struck out, or are doubtful still.
    """

    furnace: str | None = None
    month: str | None = None
    piece: str | None = None
    steel: str | None = None
    verdict: str | None = None
    text: str = ""
    only: Only = "standing"


@dataclass(frozen=True)
class RunsFound:
    """Some of the runs that were found, the newest first; ``count``: how many there are in all."""

    entries: tuple[RunEntry, ...]
    count: int


def find_runs(book: LogBook, asked: RunsAsked, *, most: int | None = None, skip: int = 0) -> RunsFound:
    """Runs that are what was asked for: at most ``most``, after the ``skip`` newest.

    Raises LogBookError if the month or the verdict is none.
    """
    book.connection.create_function("local_month", 2, _local_month, deterministic=True)
    clauses = list(_clauses(book, asked))
    where = " AND ".join(clause for clause, _ in clauses)
    values = [value for _, some in clauses for value in some]
    rows = book.rows(f"SELECT r.run {FROM_RUNS} WHERE {where} ORDER BY r.started_utc DESC, r.run DESC", *values)
    names = [row["run"] for row in rows]
    return RunsFound(runs_listed(book, names[skip : None if most is None else skip + most]), len(names))


def _clauses(book: LogBook, asked: RunsAsked) -> Iterator[tuple[str, tuple[object, ...]]]:
    """Each condition with its values."""
    yield OF_KIND[asked.only], ()
    if asked.furnace is not None:
        yield "r.furnace = ? COLLATE NOCASE", (asked.furnace,)
    if asked.month is not None:
        first, last = _around(asked.month)
        yield (
            "r.started_utc BETWEEN ? AND ? AND local_month(r.started_utc, r.zone) = ?",
            (first, last, asked.month),
        )
    if asked.piece is not None:
        yield _WITH_PIECES.format(pieces="SELECT ?"), (asked.piece,)
    if asked.steel is not None:
        yield _of_steel(book, asked.steel)
    if asked.verdict is not None:
        yield _judged(asked.verdict)
    for word in asked.text.split():
        yield _telling(word)


def _around(month: str) -> tuple[str, str]:
    """Moments before and after a month in whatever zone."""
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", month):
        raise LogBookError(f"{month!r} is no month. Write it as 2026-03.")
    year, number = map(int, month.split("-"))
    after = f"{year + number // 12:04d}-{number % 12 + 1:02d}-01T00:00:00Z"
    return later(f"{month}-01T00:00:00Z", -FURTHEST_ZONE_S), later(after, FURTHEST_ZONE_S)


def _local_month(at_utc: str, zone: str | None) -> str:
    return local_day(at_utc, zone)[:7]


def _of_steel(book: LogBook, steel: str) -> tuple[str, tuple[object, ...]]:
    pieces = "SELECT piece FROM piece_facts WHERE struck_utc IS NULL AND steel = ? COLLATE NOCASE"
    recipes = [row["digest"] for row in book.rows("SELECT digest, text FROM recipes") if _names(row["text"], steel)]
    judged = f"coalesce(g.recipe_digest, r.recipe_digest) IN ({', '.join('?' * len(recipes))})"
    return f"({_WITH_PIECES.format(pieces=pieces)} OR {judged})", (steel, *recipes)


def _names(recipe: str, steel: str) -> bool:
    """Whether a recipe's text names a steel; one that cannot be read names none."""
    try:
        return str(tomllib.loads(recipe).get("steel", "")).casefold() == steel.casefold()
    except tomllib.TOMLDecodeError:
        return False


def _judged(verdict: str) -> tuple[str, tuple[object, ...]]:
    if verdict not in VERDICTS:
        raise LogBookError(f"{verdict!r} is no verdict. Use one of {', '.join(VERDICTS)}.")
    if verdict == NOT_JUDGED:
        return "(f.run IS NULL OR v.verdict IS NULL)", ()
    return "f.run IS NOT NULL AND v.verdict = ?", (verdict,)


def _telling(word: str) -> tuple[str, tuple[object, ...]]:
    """A word that occurs in a run, in a note of its marks or in what is known of one of its pieces."""
    known = f"SELECT piece FROM piece_facts WHERE struck_utc IS NULL AND instr(lower({HAYSTACK}), lower(?)) > 0"
    # each different name once: a run has many marks, and few with a note
    marked = "SELECT piece FROM (SELECT DISTINCT piece FROM run_marks) WHERE instr(lower(piece), lower(?)) > 0"
    noted = (
        "r.run IN (SELECT run FROM run_marks WHERE struck = 0 AND note <> '' AND instr(lower(note), lower(?)) > 0 "
        f"UNION SELECT run FROM run_marks WHERE struck = 0 AND piece IN ({marked}))"
    )
    clause = f"(instr(lower({_IN_RUN}), lower(?)) > 0 OR {noted} OR {_WITH_PIECES.format(pieces=known)})"
    return clause, (word, word, word, word)


def months_of_runs(book: LogBook) -> dict[str, int]:
    """Months in which runs began, each in its run's zone, the newest first, with how many there are."""
    rows = book.rows("SELECT started_utc, zone FROM standing_runs")
    counts = Counter(_local_month(row["started_utc"], row["zone"]) for row in rows)
    return dict(sorted(counts.items(), reverse=True))


def steels_known(book: LogBook) -> tuple[str, ...]:
    """Steels of the pieces on record."""
    rows = book.rows("SELECT DISTINCT steel FROM piece_facts WHERE struck_utc IS NULL AND steel > '' ORDER BY steel")
    return tuple(row["steel"] for row in rows)
