"""Plans made before a run, kept so that the run can be put beside them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.logbook.charges import RECENT_S, WAITS_AT_MOST_S
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp, later

GENERIC_PACKET = "generic"


@dataclass(frozen=True)
class KeptPlan:
    """A plan as it was made; ``packet`` is the digest of the packet's file, or ``generic``."""

    entry: int
    furnace: str
    recipe_digest: str
    recipe_name: str
    packet: str
    starts_utc: str
    plan: Mapping[str, Any]
    entered_utc: str
    entered_by: str


def keep_plan(book: LogBook, plan: Mapping[str, Any], *, packet: str, starts_utc: str, stamp: Stamp) -> KeptPlan:
    """Keep a plan for the next run of its furnace by its recipe. ``starts_utc``: when the furnace is to be started."""
    with book.writing(stamp):
        entry = book.insert(
            "plans",
            furnace=plan["furnace"],
            recipe_digest=plan["recipe_digest"],
            recipe_name=plan["recipe"],
            packet=packet,
            starts_utc=starts_utc,
            plan=json.dumps(plan, ensure_ascii=False, separators=(",", ":"), allow_nan=False),
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )
    row = book.row("SELECT * FROM plans WHERE entry = ?", entry)
    assert row is not None
    return _kept(row)


def plan_of_run(book: LogBook, furnace: str, recipe_digest: str, started_utc: str) -> KeptPlan | None:
    """The newest plan that was meant for a run: made before it, or just after its begin, and not two days earlier."""
    row = book.row(
        "SELECT * FROM plans WHERE furnace = ? COLLATE NOCASE AND recipe_digest = ? AND struck_utc IS NULL "
        "AND entered_utc <= ? AND max(entered_utc, starts_utc) >= ? ORDER BY entered_utc DESC, entry DESC LIMIT 1",
        furnace,
        recipe_digest,
        later(started_utc, RECENT_S),
        later(started_utc, -WAITS_AT_MOST_S),
    )
    return None if row is None else _kept(row)


def plans_since(book: LogBook, since_utc: str) -> tuple[KeptPlan, ...]:
    """Plans for furnaces that are started at a moment or later, in the order of their starts."""
    rows = book.rows(
        "SELECT * FROM plans WHERE struck_utc IS NULL AND starts_utc >= ? ORDER BY starts_utc, entry", since_utc
    )
    return tuple(_kept(row) for row in rows)


def plans_to_learn_from(book: LogBook, furnace: str, packet: str) -> tuple[KeptPlan, ...]:
    """Plans of a furnace with the same packet, made since it was said to learn anew, in the order of their making."""
    reset = book.row(
        "SELECT max(entered_utc) AS at FROM plan_resets WHERE furnace = ? COLLATE NOCASE AND struck_utc IS NULL",
        furnace,
    )
    rows = book.rows(
        "SELECT * FROM plans WHERE furnace = ? COLLATE NOCASE AND packet = ? AND struck_utc IS NULL "
        "AND entered_utc > ? "
        "ORDER BY entered_utc, entry",
        furnace,
        packet,
        (reset["at"] if reset else None) or "",
    )
    return tuple(_kept(row) for row in rows)


def learn_anew(book: LogBook, furnace: str, *, stamp: Stamp) -> int:
    """Leave out what runs so far taught the plans of a furnace; return the entry, which can be struck through."""
    with book.writing(stamp):
        return book.insert("plan_resets", furnace=furnace, entered_utc=stamp.at_utc, entered_by=stamp.by)


def _kept(row: sqlite3.Row) -> KeptPlan:
    values = {name: row[name] for name in KeptPlan.__dataclass_fields__}
    return KeptPlan(**{**values, "plan": json.loads(row["plan"])})
