"""What happened in the last weeks, read at once for everyone it concerns: runs, their pieces, what came after."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import RunEntry, list_runs
from soakwitness.analysis.logbook.sensors import SensorLife, calibrations, sensor_lives
from soakwitness.firmware_bridge.runfolder.contents import Mark


@dataclass(frozen=True)
class LaterStep:
    """What was entered for a piece: a treatment (``hardness`` False), or a hardness test and its stage.

    ``over_utc``: when it was over, as far as that was said.
    """

    at_utc: str
    over_utc: str
    what: str
    not_done: bool = False
    hardness: bool = False


@dataclass(frozen=True)
class Lately:
    """Runs that began since a moment and stand, and what belongs to them; pieces by their names in small letters.

    ``charged``: pieces of a run in the order of their entry. ``hottest_c``: hottest reading of a run [degC], where that
    was measured. ``judged``: the verdict kept last, up to date or not. ``empty``: runs that held nothing. ``tests``:
    runs that a calibration, a survey or an accuracy test was made from.
    """

    runs: tuple[RunEntry, ...]
    marks: Mapping[str, tuple[Mark, ...]]
    charged: Mapping[str, tuple[str, ...]]
    steps: Mapping[str, tuple[LaterStep, ...]]
    known: frozenset[str]
    coupons: frozenset[str]
    hottest_c: Mapping[str, float]
    judged: Mapping[str, str]
    decided: Mapping[str, tuple[tuple[str | None, int | None], ...]]
    empty: frozenset[str]
    tests: frozenset[str]


_SINCE = "IN (SELECT run FROM standing_runs WHERE started_utc >= ?1 AND started_utc < ?2)"
_LATE = (
    f"IN (SELECT p.piece FROM charges c JOIN charge_pieces p USING (charge) WHERE c.run {_SINCE} "
    f"UNION SELECT piece FROM run_marks WHERE run {_SINCE})"
)
_FROM_RUNS = ("calibrations", "surveys", "accuracy_tests", "place_differences")


def read_lately(book: LogBook, *, since_utc: str, until_utc: str) -> Lately:
    """Read the runs that began from one moment on and before another, and what came after them."""
    when = since_utc, until_utc
    facts = book.rows(f"SELECT piece, coupon FROM piece_facts WHERE struck_utc IS NULL AND piece {_LATE}", *when)
    heat = (  # measured of the folder as it is; of a run that goes on, an earlier heat says nothing
        "SELECT h.run, max(h.hottest_c) AS c FROM run_heat h JOIN runs r ON r.run = h.run AND r.files = h.files "
        f"WHERE h.run {_SINCE} AND h.hottest_c IS NOT NULL GROUP BY h.run"
    )
    tests = " UNION ".join(f"SELECT run FROM {table} WHERE struck_utc IS NULL" for table in _FROM_RUNS)
    loads = f"SELECT run FROM run_loads WHERE run {_SINCE} AND empty AND struck_utc IS NULL"
    return Lately(
        runs=list_runs(book, since_utc=since_utc, until_utc=until_utc),
        marks=_marks(book, *when),
        charged=_charged(book, *when),
        steps=_steps(book, *when),
        known=frozenset(row["piece"].casefold() for row in facts),
        coupons=frozenset(row["piece"].casefold() for row in facts if row["coupon"]),
        hottest_c={row["run"]: row["c"] for row in book.rows(heat, *when)},
        judged={r["run"]: r["verdict"] for r in book.rows(f"SELECT * FROM verdicts WHERE run {_SINCE}", *when)},
        decided=_decided(book, *when),
        empty=frozenset(row["run"] for row in book.rows(loads, *when)),
        tests=frozenset(row["run"] for row in book.rows(tests) if row["run"] is not None),
    )


def failing_findings(book: LogBook, run: str) -> tuple[tuple[str, int | None], ...]:
    """Code and step of the findings for which a run failed, by the verdict kept last."""
    row = book.row("SELECT answer FROM verdicts WHERE run = ?", run)
    answer: dict[str, Any] = {} if row is None else json.loads(row["answer"])
    return tuple((f["code"], f["step"]) for f in answer.get("findings", ()) if f.get("severity") == "fail")


def _marks(book: LogBook, *when: str) -> dict[str, tuple[Mark, ...]]:
    rows = book.rows(f"SELECT * FROM run_marks WHERE run {_SINCE} ORDER BY run, number, rowid", *when)
    found: dict[tuple[str, int], Mark] = {}
    for row in rows:
        key = (row["run"], row["number"])
        pieces = (*(found[key].pieces if key in found else ()), *([] if row["piece"] is None else [row["piece"]]))
        later, struck = bool(row["entered_later"]), bool(row["struck"])
        found[key] = Mark(row["t_s"], row["act"], pieces, row["note"], entered_later=later, struck=struck)
    by_run: dict[str, list[Mark]] = defaultdict(list)
    for (run, _), mark in found.items():
        by_run[run].append(mark)
    return {run: tuple(marks) for run, marks in by_run.items()}


def _charged(book: LogBook, *when: str) -> dict[str, tuple[str, ...]]:
    rows = book.rows(
        "SELECT c.run, p.piece FROM charges c JOIN charge_pieces p USING (charge) "
        f"WHERE c.run {_SINCE} AND p.struck_utc IS NULL ORDER BY c.number, p.entry",
        *when,
    )
    found: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        found[row["run"]].append(row["piece"])
    return {run: tuple(dict.fromkeys(pieces)) for run, pieces in found.items()}


def _steps(book: LogBook, *when: str) -> dict[str, tuple[LaterStep, ...]]:
    rows = book.rows(
        "SELECT piece, start_utc AS at_utc, coalesce(end_utc, start_utc) AS over_utc, kind AS what, not_done, "
        "0 AS hardness FROM treatments "
        f"WHERE struck_utc IS NULL AND start_utc >= ?1 AND piece {_LATE} UNION ALL "
        "SELECT piece, measured_utc, measured_utc, stage, 0, 1 FROM hardness "
        f"WHERE struck_utc IS NULL AND measured_utc >= ?1 AND piece {_LATE} ORDER BY at_utc",
        *when,
    )
    found: dict[str, list[LaterStep]] = defaultdict(list)
    for row in rows:
        one = LaterStep(row["at_utc"], row["over_utc"], row["what"], bool(row["not_done"]), bool(row["hardness"]))
        found[row["piece"].casefold()].append(one)
    return {piece: tuple(steps) for piece, steps in found.items()}


def _decided(book: LogBook, *when: str) -> dict[str, tuple[tuple[str | None, int | None], ...]]:
    rows = book.rows(f"SELECT * FROM dispositions WHERE struck_utc IS NULL AND run {_SINCE}", *when)
    found: dict[str, list[tuple[str | None, int | None]]] = defaultdict(list)
    for row in rows:
        found[row["run"]].append((row["finding"], row["step"]))
    return {run: tuple(decisions) for run, decisions in found.items()}


@dataclass(frozen=True)
class FurnaceInUse:
    """A furnace that had a run since a moment: its runs in all, when the first and the latest began.

    ``simulated``: no run of it was anything else.
    """

    furnace: str
    runs: int
    first_utc: str
    latest_utc: str
    simulated: bool


def furnaces_in_use(book: LogBook, *, since_utc: str) -> tuple[FurnaceInUse, ...]:
    """Furnaces that had a run since a moment, the latest used first."""
    rows = book.rows(
        "SELECT furnace, count(*) AS runs, min(started_utc) AS first_utc, max(started_utc) AS latest_utc, "
        "min(origin = 'simulated') AS simulated "
        "FROM standing_runs r GROUP BY furnace HAVING max(started_utc) >= ? ORDER BY max(started_utc) DESC",
        since_utc,
    )
    return tuple(
        FurnaceInUse(
            furnace=row["furnace"],
            runs=row["runs"],
            first_utc=row["first_utc"],
            latest_utc=row["latest_utc"],
            simulated=bool(row["simulated"]),
        )
        for row in rows
    )


@dataclass(frozen=True)
class LifeInForce:
    """A sensor life in force, hours above 950 degC and heats since it began, and the newest day of each check.

    ``due_on``: of the newest calibration that counts; ``calibrated_before``: an earlier life of this sensor was.
    """

    life: SensorLife
    hours_950: float
    heats: int
    calibrated: bool
    due_on: str | None
    calibrated_before: bool


def lives_in_force(book: LogBook, furnace: str) -> tuple[LifeInForce, ...]:
    """Sensor lives of a furnace that last, of sensors that the furnace's latest run has."""
    lives = sensor_lives(book, furnace)
    latest = book.rows(
        "SELECT sensor FROM run_sensors WHERE run = (SELECT run FROM standing_runs WHERE furnace = ? "
        "ORDER BY started_utc DESC LIMIT 1)",
        furnace,
    )
    here = {row["sensor"] for row in latest}
    made = {life.entry: [c for c in calibrations(book, life.entry) if c.kind == "calibration"] for life in lives}
    found = []
    for life in lives:
        if life.ended_utc is None and life.sensor in here:
            former = [one.entry for one in lives if one.sensor == life.sensor and one.entry != life.entry]
            row = book.row(
                "SELECT total(h.hours_950) AS hours, count(*) AS heats FROM run_heat h "
                "JOIN standing_runs r USING (run) "
                "WHERE r.furnace = ? AND h.sensor = ? AND r.started_utc >= ? AND h.hottest_c >= 300",
                furnace,
                life.sensor,
                life.fitted_utc,
            )
            assert row is not None
            own = made[life.entry]
            before, due_on = any(made[entry] for entry in former), own[-1].due_on if own else None
            found.append(LifeInForce(life, row["hours"], row["heats"], bool(own), due_on, before))
    return tuple(found)


def first_run_utc(book: LogBook) -> str | None:
    """When the first run on record began; None where there is none."""
    row = book.row("SELECT min(started_utc) AS at_utc FROM standing_runs")
    return None if row is None else row["at_utc"]
