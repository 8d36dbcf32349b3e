"""Enter a case of foreign_calibration_cases.py as its user would: files and commands, nothing from inside.

Places marked NEAREST are entered the nearest way that the commands of the day allow; change them when there is better.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.foreign_calibration_cases import Calibration, CalibrationCase, Certificate, Later

FURNACE = "foreign furnace"
FIRST_DAY = datetime(2025, 3, 3, 7, 0, tzinfo=UTC)
SERIAL = "K-801"
RECIPE = """name = "later hold"
unit = "C"
[[step]]
ramp = "full power"
to = {level}
[[step]]
hold_minutes = 20
tolerance = 10
"""


@dataclass(frozen=True)
class StretchFound:
    """What was said of one stretch."""

    reference_c: float
    error_c: float
    expanded_c: float


@dataclass(frozen=True)
class TableFound:
    """The correction as entered: to be added to readings, with U."""

    reading_c: tuple[float, ...]
    correction_c: tuple[float, ...]
    expanded_c: tuple[float, ...]


@dataclass(frozen=True)
class LaterFound:
    """What a verdict of the judged day takes for the correction; ``lapsed`` is what is said of an old one."""

    source: str
    correction_c: float
    expanded_c: float | None
    lapsed: Any


@dataclass(frozen=True)
class Answer:
    """What came of it: of the last calibration entered, and of the judged day."""

    refused: bool
    said: str
    stretches: tuple[StretchFound, ...] = ()
    table: TableFound | None = None
    later: LaterFound | None = None


def entered(case: CalibrationCase, folder: Path) -> Answer:
    """Enter everything of a case into a log book of its own in ``folder``; each calibration 90 days after the other."""
    book, answer = folder / "book", Answer(True, "nothing was entered")
    for number, calibration in enumerate(case.calibrations):
        answer = _calibrated(calibration, folder, book, FIRST_DAY + timedelta(days=90 * number))
        if answer.refused and number == 0:
            return answer
    if case.later is None:
        return answer
    return Answer(
        answer.refused,
        answer.said,
        answer.stretches,
        answer.table,
        _judged(case, case.later, book, folder / "later.toml"),
    )


def _calibrated(calibration: Calibration, folder: Path, book: Path, day: datetime) -> Answer:
    stated = calibration.stated
    paper = folder / "reference.toml"
    paper.write_text(certificate_toml(calibration.certificate, day), "utf-8")
    words = ["calibrate"]
    if calibration.log is not None:
        words.append(str(_logged(calibration, book, day)))
        words += ["--sensor", "reference", "--reference", "control"] if calibration.names_swapped else []
        words += [] if calibration.names_swapped else ["--reference", "reference"]
    else:
        sheet = folder / "readings.csv"
        sheet.write_text(_sheet(calibration), "utf-8")
        # NEAREST: resolution is to be taken from the digits; the hand meter's accuracy has no place beside a
        # certificate, so its owner leaves it out
        words += ["--readings", str(sheet), "--furnace", FURNACE, "--date", f"{day:%Y-%m-%d}"]
    words += ["--reference-certificate", str(paper)]
    words += ["--distance-mm", str(stated.distance_mm), "--gradient", str(stated.gradient_c_per_mm)]
    words += ["--cold-junction", str(stated.cold_junction_c), "--json"]
    return answer_of(*said(book, words))


def _sheet(calibration: Calibration) -> str:
    # NEAREST: the clock goes into the notes
    rows = [f"{row.reference},{row.sensor},{row.clock}" for row in calibration.sheet]
    return "\n".join(["reference,sensor,note", *rows]) + "\n"


def certificate_toml(paper: Certificate, day: datetime) -> str:
    """The certificate's file.

    NEAREST: a paper that states deviations (shown less true) is turned into corrections by a careful hand.
    """
    sign = -1.0 if paper.states == "deviation" else 1.0
    lines = [
        f'sensor = "type {paper.type}, 3 mm sheath"',
        f'serial = "{paper.serial}"',
        f'thermocouple = "{paper.type}"',
        'laboratory = "a laboratory"',
        f'number = "{paper.serial}-1"',
        f"date = {day - timedelta(days=paper.age_days):%Y-%m-%d}",
        'unit = "C"',
        f"drift = {paper.drift_c}",
    ]
    for point in paper.points:
        lines += ["[[point]]", f"temp = {point.temp_c}", f"correction = {sign * point.value_c}"]
        lines += [f"U = {point.expanded_c}", f"k = {point.k}"]
    return "\n".join(lines) + "\n"


def _columns(calibration: Calibration) -> tuple[Column, ...]:
    stated = calibration.stated
    return (
        Column(
            "control",
            "sensor",
            "C",
            role="control",
            thermocouple=calibration.sensor_type,
            resolution=stated.sensor_resolution_c,
            serial=SERIAL,
        ),
        Column(
            "reference",
            "sensor",
            "C",
            role="reference",
            thermocouple=calibration.reference_type,
            resolution=stated.reference_resolution_c,
            instrument_uncertainty=stated.readout_expanded_c,
            serial=calibration.reference_serial,
        ),
    )


def _logged(calibration: Calibration, book: Path, day: datetime) -> Path:
    log = calibration.log
    assert log is not None
    rows = [
        {"control": _number(sensor), "reference": _number(reference)}
        for sensor, reference in zip(log.sensor_c.tolist(), log.reference_c.tolist(), strict=True)
    ]
    return _recorded(book, _columns(calibration), day, log.every_s, rows)


def _number(value_c: float) -> float | None:
    return None if math.isnan(value_c) else value_c


def _recorded(
    book: Path, columns: Sequence[Column], day: datetime, every_s: float, rows: Sequence[dict[str, float | None]]
) -> Path:
    """A run folder as the recorder leaves it."""
    run = RunFolder.create(
        book, columns=columns, furnace_name=FURNACE, started_utc=day, every_s=every_s, zone="UTC", operator="Ana"
    )
    start_s = day.timestamp()
    run.write_event(0.0, start_s, "start")
    for number, row in enumerate(rows):
        run.write_row(number * every_s, start_s + number * every_s, row)
    end_s = len(rows) * every_s
    run.write_event(end_s, start_s + end_s, "end")
    run.seal(sealed_utc=start_s + end_s)
    return run.path


def said(book: Path, words: Sequence[str]) -> tuple[int, str, str]:
    """Run a command with nobody to answer questions: exit status, what came out, what was said beside it."""
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    answer = CliRunner().invoke(soakwitness, list(words), env=env)
    error = answer.exception
    if error is None or isinstance(error, SystemExit):
        return answer.exit_code, answer.stdout, answer.stderr
    status = getattr(error, "exit_code", None)  # an error made on purpose: the program's entry makes one line of it
    if status is None:
        raise error
    return status, answer.stdout, f"{answer.stderr}Error: {error}"


def answer_of(status: int, out: str, beside: str) -> Answer:
    """Read the answer of ``calibrate --json``."""
    if status != 0:
        return Answer(True, (beside or out).strip())
    found = json.loads(out)
    # NEAREST: doubts are taken to be said on stderr, or under one of these keys; the note on a new life is none
    beside = "\n".join(line for line in beside.splitlines() if "sensor life" not in line)
    beside += "".join(str(found[key]) for key in ("doubts", "warnings", "cautions", "findings") if found.get(key))
    stretches = tuple(StretchFound(p["reference_c"], p["error_c"], p["expanded_c"]) for p in found["points"])
    table = found["correction"]["table"] if found.get("correction") else None
    if table is None:
        return Answer(True, beside.strip(), stretches)
    kept = TableFound(tuple(table["reading_c"]), tuple(table["correction_c"]), tuple(table["expanded_c"]))
    return Answer(False, beside.strip(), stretches, kept)


def _judged(case: CalibrationCase, later: Later, book: Path, recipe: Path) -> LaterFound:
    """Heat for as many hours as it was hot, then a run on the judged day and its verdict."""
    calibration, chain = case.calibrations[0], case.truth.later
    columns = _columns(calibration)[:1]
    heats = max(1, math.ceil(later.hot_hours / 7.0))
    for number in range(heats):
        day = FIRST_DAY + timedelta(days=1 + (later.day - 3) * number / heats)
        _heated(book, columns, chain, day, later.judged_c, later.hot_hours / heats, 120.0)
    last = FIRST_DAY + timedelta(days=later.day)
    run = _heated(book, columns, chain, last, later.judged_c, 0.7, 10.0)
    # NEAREST: that the wire is thin has no place
    said(book, ["logbook", "rebuild"])
    recipe.write_text(RECIPE.format(level=later.judged_c), "utf-8")
    _, out, beside = said(book, ["verify", str(run), "--recipe", str(recipe), "--json", "--exit-zero"])
    if not out.startswith("{"):
        return LaterFound(f"no verdict: {beside.strip()}", 0.0, None, None)
    holds = [step for step in json.loads(out)["steps"] if step["kind"] == "hold"]
    known = holds[0]["sensor_error"] if holds else None
    if known is None:
        return LaterFound("no hold was found", 0.0, None, None)
    return LaterFound(known["source"], known["correction_c"], known["expanded_c"], known["lapsed"])


def _heated(
    book: Path, columns: Sequence[Column], chain: Any, day: datetime, level_c: float, hold_h: float, every_s: float
) -> Path:
    """Climb, hold and fall: the furnace is truly at the level, and the sensor shows what it shows."""
    climb = np.linspace(22.0, level_c, max(int(5400.0 / every_s), 2))
    hold = np.full(max(int(hold_h * 3600.0 / every_s), 2), level_c)
    fall = 22.0 + (level_c - 22.0) * np.exp(-np.arange(0.0, 4 * 5400.0, every_s) / 5400.0)
    true = np.concatenate([climb, hold, fall])
    shown = np.round(chain.shown_c(true) + 0.1 * np.sin(np.arange(true.size)), 1)
    return _recorded(book, columns, day, every_s, [{columns[0].name: value} for value in shown.tolist()])
