"""What the log book has of the three runs by which a new furnace is got to know; nothing is counted or computed."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.logbook.opening import LogBook


@dataclass(frozen=True)
class RunWithSensor:
    """A run and one sensor of it."""

    run: str
    sensor: str


@dataclass(frozen=True)
class PlaceOnRecord:
    """A place difference that stands [degC, K]: the work's place against a sensor of the furnace, ``run`` where known.

    ``ended``: somebody said that the work stands elsewhere since.
    """

    sensor: str
    at_c: float
    difference_c: float
    expanded_c: float
    done_on: str
    run: str | None
    ended: bool


@dataclass(frozen=True)
class PacketOnRecord:
    """The text of a packet file that counts for runs, by its name."""

    name: str
    text: str


@dataclass(frozen=True)
class FirstRunsOnRecord:
    """Of a furnace, the oldest first. ``empty``: runs said to hold nothing. ``surveys``: the days of its surveys.

    ``second``: runs with a sensor that was in no piece: a survey's, or a load's in an empty run. ``loaded``: runs with
    a load sensor that were not empty. ``packets``: what the log book keeps as measured, then what runs of this furnace
    carry. ``runs``: all of it that stand.
    """

    empty: tuple[str, ...]
    second: tuple[RunWithSensor, ...]
    places: tuple[PlaceOnRecord, ...]
    surveys: tuple[str, ...]
    loaded: tuple[RunWithSensor, ...]
    packets: tuple[PacketOnRecord, ...]
    runs: frozenset[str]


_HERE = "FROM standing_runs r WHERE r.furnace = ?1"
_EMPTY = (
    f"SELECT r.run {_HERE} AND EXISTS (SELECT 1 FROM run_loads l WHERE l.run = r.run AND l.empty "
    "AND l.struck_utc IS NULL) ORDER BY r.started_utc"
)
_SENSORS = (
    "SELECT s.run, s.sensor, s.role FROM run_sensors s JOIN standing_runs r USING (run) WHERE r.furnace = ?1 "
    "AND s.role IN ('load', 'survey') ORDER BY r.started_utc, s.rowid"
)
_PLACES = (
    "SELECT s.sensor, p.at_c, p.difference_c, p.expanded_c, p.done_on, p.run, p.ended_utc IS NOT NULL AS ended "
    "FROM place_differences p JOIN sensor_lives s ON s.entry = p.life WHERE s.furnace = ?1 AND p.struck_utc IS NULL "
    "ORDER BY p.done_on, p.entry"
)
_KEPT = (
    "SELECT p.name, p.text FROM measured_packets m JOIN packet_files p ON p.digest = m.packet_digest "
    "WHERE m.struck_utc IS NULL ORDER BY m.since, m.entry"
)
_CARRIED = (
    "SELECT DISTINCT p.name, p.text FROM standing_runs r LEFT JOIN run_recipes g ON g.entry = (SELECT max(entry) "
    "FROM run_recipes WHERE run = r.run AND struck_utc IS NULL) "
    "JOIN packet_files p ON p.digest = coalesce(g.packet_digest, r.packet_digest) WHERE r.furnace = ?1"
)


def first_runs_on_record(book: LogBook, furnace: str) -> FirstRunsOnRecord:
    """What the log book has of a furnace's first runs."""
    empty = tuple(row["run"] for row in book.rows(_EMPTY, furnace))
    sensors = book.rows(_SENSORS, furnace)
    surveys = book.rows(
        "SELECT done_on FROM surveys WHERE furnace = ? AND struck_utc IS NULL ORDER BY done_on, entry", furnace
    )
    return FirstRunsOnRecord(
        empty=empty,
        second=tuple(
            RunWithSensor(row["run"], row["sensor"])
            for row in sensors
            if row["role"] == "survey" or row["run"] in empty
        ),
        places=tuple(
            PlaceOnRecord(**{**dict(row), "ended": bool(row["ended"])}) for row in book.rows(_PLACES, furnace)
        ),
        surveys=tuple(row["done_on"] for row in surveys),
        loaded=tuple(
            RunWithSensor(row["run"], row["sensor"])
            for row in sensors
            if row["role"] == "load" and row["run"] not in empty
        ),
        packets=tuple(
            PacketOnRecord(row["name"], row["text"]) for row in (*book.rows(_KEPT), *book.rows(_CARRIED, furnace))
        ),
        runs=frozenset(row["run"] for row in book.rows(f"SELECT r.run {_HERE}", furnace)),
    )
