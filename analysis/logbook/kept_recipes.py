"""Recipes that the log book keeps: the texts that its runs are judged by."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass

from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import FROM_RUNS, STANDS

_KEPT = (
    "SELECT c.digest, c.name, c.text, max(r.started_utc) AS last_utc, r.zone, "
    f"coalesce(g.packet_digest, r.packet_digest) AS packet_digest {FROM_RUNS} WHERE {STANDS} AND c.digest IS NOT NULL "
)
_DIGEST = re.compile(r"[0-9a-f]{8,64}")


@dataclass(frozen=True)
class KeptRecipe:
    """A recipe's text, and the newest run by it: when it began, in what zone, and with what measured packet."""

    digest: str
    name: str
    text: str
    last_utc: str
    zone: str | None
    packet_digest: str | None


def kept_recipes(book: LogBook) -> tuple[KeptRecipe, ...]:
    """The newest text of each name, the one used last first."""
    newest: dict[str, KeptRecipe] = {}
    for row in book.rows(_KEPT + "GROUP BY c.digest ORDER BY last_utc DESC"):
        newest.setdefault(row["name"].casefold(), _recipe(row))
    return tuple(newest.values())


def kept_recipe(book: LogBook, named: str) -> KeptRecipe | None:
    """A recipe by its name, as it was last, or by the beginning of its digest, whatever its name; None: there is none.

    At least 8 signs of the digest are asked for.
    """
    found = next((one for one in kept_recipes(book) if one.name.casefold() == named.casefold()), None)
    if found is not None or not _DIGEST.fullmatch(named):
        return found
    rows = book.rows(_KEPT + "AND c.digest GLOB ? GROUP BY c.digest", f"{named}*")
    return _recipe(rows[0]) if len(rows) == 1 else None


def _recipe(row: sqlite3.Row) -> KeptRecipe:
    return KeptRecipe(**{name: row[name] for name in KeptRecipe.__dataclass_fields__})
