"""Writing the log book out: CSV for everyone, Parquet by furnace and month where pyarrow is there."""

from __future__ import annotations

import csv
import importlib.util
import shutil
from collections.abc import Callable
from pathlib import Path

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.photos import FOLDER as PHOTOS
from soakwitness.analysis.logbook.photos import all_photos, photo_path, photo_trouble
from soakwitness.analysis.logbook.runs import RunEntry, list_runs
from soakwitness.firmware_bridge.common.spreadsheets import defused
from soakwitness.firmware_bridge.errors import BridgeError
from soakwitness.firmware_bridge.runfolder.writer import reduced_name

Progress = Callable[[int, int], None]

TABLES = {
    "runs": "SELECT run, furnace, started_utc, ended_utc, zone, operator, origin, software, recipe_digest, seal, "
    "missing, doubtful FROM runs ORDER BY started_utc",
    "run_strikes": "SELECT * FROM run_strikes ORDER BY entry",
    "run_confirmations": "SELECT * FROM run_confirmations ORDER BY entry",
    "recipes": "SELECT digest, name, text FROM recipes ORDER BY name",
    "run_sensors": "SELECT * FROM run_sensors ORDER BY run, sensor",
    "marks": "SELECT * FROM run_marks ORDER BY run, t_s",
    "pieces": "SELECT * FROM piece_facts ORDER BY piece, entry",
    "batches": "SELECT * FROM batch_pieces ORDER BY batch, entry",
    "charges": "SELECT c.run, c.waits_for, c.number AS charge, p.entry, p.piece, p.place, p.foil, p.heated_faces, "
    "p.blades, p.note, p.entered_utc, p.entered_by, p.struck_utc, p.struck_by, p.struck_why "
    "FROM charge_pieces p JOIN charges c USING (charge) ORDER BY c.run, c.number, p.entry",
    "hardness": "SELECT * FROM hardness ORDER BY piece, measured_utc",
    "treatments": "SELECT * FROM treatments ORDER BY piece, start_utc",
    "inspections": "SELECT * FROM inspections ORDER BY piece, seen_utc",
    "photos": "SELECT * FROM photos ORDER BY piece, taken_utc, entry",
    "piece_notes": "SELECT * FROM piece_notes ORDER BY piece, at_utc, entry",
    "run_loads": "SELECT * FROM run_loads ORDER BY run, entry",
    "cutout_tests": "SELECT * FROM cutout_tests ORDER BY furnace, done_on, entry",
    "sensor_lives": "SELECT * FROM sensor_lives ORDER BY furnace, sensor, fitted_utc",
    "calibrations": "SELECT * FROM calibrations ORDER BY life, done_on",
    "calibration_records": "SELECT * FROM calibration_records ORDER BY calibration",
    "calibration_readings": "SELECT * FROM calibration_readings ORDER BY calibration, level, number",
    "calibrations_applied": "SELECT * FROM calibrations_applied ORDER BY entry",
    "run_heat": "SELECT run, sensor, hours_800, hours_950, hottest_c FROM run_heat ORDER BY run, sensor",
    "surveys": "SELECT * FROM surveys ORDER BY furnace, done_on",
    "place_differences": "SELECT * FROM place_differences ORDER BY life, done_on",
    "accuracy_tests": "SELECT * FROM accuracy_tests ORDER BY furnace, done_on",
    "verdicts": "SELECT run, recipe_digest, analysis_version, made_utc, verdict FROM verdicts ORDER BY run",
    "earlier_verdicts": "SELECT run, recipe_digest, analysis_version, made_utc, verdict, replaced_utc, why "
    "FROM earlier_verdicts ORDER BY run, entry",
    "measured_packets": "SELECT m.*, p.text FROM measured_packets m "
    "JOIN packet_files p ON p.digest = m.packet_digest ORDER BY m.since, m.entry",
    "figures": "SELECT run, recipe_digest, analysis_version, made_utc, condition FROM figures ORDER BY run",
    "upkeep": "SELECT * FROM upkeep ORDER BY furnace, done_utc, entry",
    "plans": "SELECT * FROM plans ORDER BY furnace, starts_utc, entry",
    "plan_resets": "SELECT * FROM plan_resets ORDER BY furnace, entry",
    "dispositions": "SELECT * FROM dispositions ORDER BY run, entry",
    "set_aside": "SELECT * FROM set_aside ORDER BY entry",
    "backups": "SELECT * FROM backups ORDER BY entry",
}


def has_parquet() -> bool:
    """Whether pyarrow is installed."""
    return importlib.util.find_spec("pyarrow") is not None


def export_book(
    book: LogBook, goal: Path, *, samples: bool = True, progress: Progress | None = None
) -> tuple[Path, ...]:
    """Write every table as CSV (struck entries included, and marked so), the photographs, the readings of every run.

    In CSV a text that a spreadsheet would run as a formula has an apostrophe before it.

    ``goal``: folder to be made; it must not hold anything. ``samples``: whether the readings are written too: one file
    a run under ``samples/furnace=NAME/month=2026-11/``, a row for each reading of each column: ``run, utc, t_s, name,
    role, unit, value`` (``utc`` counted from the start by ``t_s``). ``progress``: gets how many runs were written, of
    how many.

    Raises LogBookError if the folder holds something, or cannot be written.
    """
    if goal.exists() and (not goal.is_dir() or any(goal.iterdir())):
        raise LogBookError(f"{goal} is there and not empty. Name a new folder.")
    try:
        goal.mkdir(parents=True, exist_ok=True)
        written = tuple(_table(book, goal, name, sql) for name, sql in TABLES.items())
        _photos(book, goal / PHOTOS)
        if samples:
            for number, entry in enumerate(runs := list_runs(book), start=1):
                _samples(goal / "samples", entry)
                if progress is not None:
                    progress(number, len(runs))
    except OSError as error:
        raise LogBookError(f"{goal} cannot be written: {error.strerror or error}.") from error
    return written


def _table(book: LogBook, goal: Path, name: str, sql: str) -> Path:
    cursor = book.connection.execute(sql)
    path = goal / f"{name}.csv"
    with path.open("x", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow([column[0] for column in cursor.description])
        out.writerows([defused(cell) for cell in row] for row in cursor)
    if has_parquet():
        import pandas as pd

        pd.read_sql_query(sql, book.connection).to_parquet(goal / f"{name}.parquet", index=False)
    return path


def _photos(book: LogBook, goal: Path) -> None:
    """The photographs themselves; one that is not what was kept stays behind: ``logbook check`` names it."""
    for photo in all_photos(book, struck=True):
        path = photo_path(book, photo)
        if photo_trouble(path, photo.digest) is None and not (goal / photo.file_name).exists():
            goal.mkdir(exist_ok=True)
            shutil.copyfile(path, goal / photo.file_name)


def _samples(goal: Path, entry: RunEntry) -> None:
    """Readings of one run in long form: the same columns whatever sensors a furnace has."""
    import pandas as pd

    from soakwitness.analysis.record.run import open_run

    if entry.missing:
        return
    try:
        run = open_run(entry.folder)
    except BridgeError:
        return  # ``logbook check`` says what is wrong with it
    folder = goal / f"furnace={reduced_name(entry.furnace)}" / f"month={entry.started_utc[:7]}"
    folder.mkdir(parents=True, exist_ok=True)
    frame = run.frame()
    units = frame.attrs["units"]
    roles = {column.name: column.role or column.kind for column in run.columns}
    long = frame.reset_index().melt(id_vars="t_s", var_name="name", value_name="value").dropna(subset=["value"])
    long.insert(0, "run", entry.run)
    start = pd.Timestamp(run.header.started_utc)
    long.insert(1, "utc", start + pd.to_timedelta(long["t_s"], unit="s"))
    long.insert(4, "role", long["name"].map(roles))
    long.insert(5, "unit", long["name"].map(units))
    if has_parquet():
        long.to_parquet(folder / f"{entry.run}.parquet", index=False)
    else:
        for name in ("run", "name"):
            long[name] = long[name].map(defused)
        long.to_csv(folder / f"{entry.run}.csv", index=False)
