"""What all entries share: a wrong one is struck through, never deleted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, joined

Table = Literal[
    "piece_facts",
    "batch_pieces",
    "charge_pieces",
    "hardness",
    "treatments",
    "sensor_lives",
    "calibrations",
    "calibrations_applied",
    "surveys",
    "place_differences",
    "accuracy_tests",
    "dispositions",
    "run_recipes",
    "measured_packets",
    "run_strikes",
    "run_confirmations",
    "run_loads",
    "inspections",
    "cutout_tests",
    "upkeep",
    "set_aside",
    "photos",
    "piece_notes",
    "plans",
    "plan_resets",
]

# what a person calls an entry of each table
KINDS: dict[str, Table] = {
    "piece": "piece_facts",
    "batch": "batch_pieces",
    "charge": "charge_pieces",
    "hardness": "hardness",
    "treatment": "treatments",
    "sensor": "sensor_lives",
    "calibration": "calibrations",
    "applied": "calibrations_applied",
    "survey": "surveys",
    "place": "place_differences",
    "accuracy": "accuracy_tests",
    "disposition": "dispositions",
    "recipe": "run_recipes",
    "packet": "measured_packets",
    "run": "run_strikes",
    "confirmation": "run_confirmations",
    "load": "run_loads",
    "inspection": "inspections",
    "cutout": "cutout_tests",
    "upkeep": "upkeep",
    "set-aside": "set_aside",
    "photo": "photos",
    "note": "piece_notes",
    "plan": "plans",
    "plan-reset": "plan_resets",
}
ABOUT_PIECE = ("piece", "batch", "charge", "hardness", "treatment", "inspection", "photo", "note")


@dataclass(frozen=True)
class Struck:
    """A struck entry about a piece: what it is called, its facts, and who struck it, when and why."""

    kind: str
    entry: int
    facts: dict[str, object]
    struck_utc: str
    struck_by: str
    struck_why: str


def struck_entries(book: LogBook, piece: str) -> tuple[Struck, ...]:
    """Everything about a piece that was struck through, in the order of the striking."""
    found: list[Struck] = []
    for kind in ABOUT_PIECE:
        for row in book.rows(f"SELECT * FROM {KINDS[kind]} WHERE piece = ? AND struck_utc IS NOT NULL", piece):
            facts = {
                name: row[name]
                for name in row.keys()  # noqa: SIM118 (a Row is no dict)
                if row[name] not in (None, "") and name != "entry" and not name.startswith("struck_")
            }
            found.append(Struck(kind, row["entry"], facts, row["struck_utc"], row["struck_by"], row["struck_why"]))
    return tuple(sorted(found, key=lambda s: s.struck_utc))


def strike(book: LogBook, table: Table, entries: Sequence[int], *, why: str, stamp: Stamp) -> None:
    """Strike entries through; they stay readable with who, when and why.

    Raises LogBookError if an entry does not exist, is struck already, or no reason is given.
    """
    if not why.strip():
        raise LogBookError(Says.of("Say why the entry is struck through{why}.", why=Field("why", around=ASIDE)))
    with book.writing(stamp):
        for entry in entries:
            row = book.row(f"SELECT struck_utc, struck_by FROM {table} WHERE entry = ?", entry)
            if row is None:
                kind = next(word for word, name in KINDS.items() if name == table)
                raise LogBookError(joined([f"There is no entry {entry} ({kind}).", *_where_numbers_stand(table)]))
            if row["struck_utc"] is not None:
                raise LogBookError(f"Entry {entry} was struck by {row['struck_by']} at {row['struck_utc']} already.")
            book.connection.execute(
                f"UPDATE {table} SET struck_utc = ?, struck_by = ?, struck_why = ? WHERE entry = ?",
                (stamp.at_utc, stamp.by, why.strip(), entry),
            )


def _where_numbers_stand(table: Table) -> tuple[str, NextCommand]:
    command = _SHOW_NUMBERS.get(table)
    if command is None:
        return "Numbers of entries stand in the tables of:", NextCommand.of("logbook", "export", "DIR")
    return "Numbers are shown by:", command


def check_run(book: LogBook, run: str) -> None:
    """Refuse a run that the log book does not have."""
    if book.row("SELECT 1 FROM runs WHERE run = ?", run) is None:
        raise LogBookError(joined([f"{run}: no such run in the log book. List them with:", NextCommand.of("runs")]))


_HISTORY = NextCommand.of("piece", "history", "PIECE")
_SENSORS = NextCommand.of("sensor", "list")
_SHOW_NUMBERS: dict[Table, NextCommand] = {
    "sensor_lives": _SENSORS,
    "calibrations": _SENSORS,
    "place_differences": NextCommand.of("place", "list"),
    "upkeep": NextCommand.of("upkeep", "FURNACE"),
    "set_aside": NextCommand.of("today", "--set-aside"),
    "measured_packets": NextCommand.of("packet", "list"),
    "piece_facts": _HISTORY,
    "charge_pieces": _HISTORY,
    "hardness": _HISTORY,
    "treatments": _HISTORY,
    "inspections": _HISTORY,
    "photos": _HISTORY,
    "piece_notes": _HISTORY,
    "cutout_tests": NextCommand.of("cutout", "FURNACE"),
}
