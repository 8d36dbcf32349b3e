"""A log book with calibrations that the release with schema version 3 made, opened by this one."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from soakwitness.analysis.logbook import opening
from soakwitness.analysis.logbook.calibration_records import heats_of, record_of_calibration
from soakwitness.analysis.logbook.opening import open_logbook, statements
from soakwitness.analysis.logbook.sensors import calibration_valid_on, calibrations, sensor_lives
from soakwitness.analysis.recomputing.measuring_hours import measure_hours_hot
from soakwitness.analysis.run_inputs.corrections_in_force import in_force
from tests.log_books import LATER
from tests.make_sample_logs import SAMPLES

ROWS = Path(__file__).with_name("book_of_schema_003.sql")
RUN = "20260403T073410Z_shed-furnace_00ca"


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Folder of that log book, its run in it."""
    shutil.copytree(SAMPLES / "calibration" / "run", tmp_path / "runs" / RUN)
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    raw.execute("PRAGMA foreign_keys = OFF")
    for number in (1, 2, 3):
        for statement in statements(Path(opening.__file__).with_name(f"schema_{number:03d}.sql")):
            raw.execute(statement)
    for statement in statements(ROWS):
        raw.execute(statement)
    raw.execute("PRAGMA user_version = 3")
    raw.close()
    return tmp_path


def test_its_calibrations_count_as_before_and_age_from_now_on(old: Path) -> None:
    with open_logbook(old) as book:
        assert book.rows("PRAGMA foreign_key_check") == []
        life = sensor_lives(book, "shed furnace", "control")[0]
        assert (life.diameter_mm, life.cuts) == (None, None)
        kept = calibration_valid_on(book, "shed furnace", "control", "2026-08-01")
        assert kept is not None
        assert (kept.entry, kept.kind, kept.counts_from) == (1, "calibration", "2026-04-03")
        assert [one.struck_why for one in calibrations(book, life.entry, withdrawn=True)] == [
            None,
            "the reference was overdue",
        ]
        assert record_of_calibration(book, 1) is None
        now = in_force(book, "shed furnace", "control", kept, at_utc="2026-08-01T08:00:00Z", zone="UTC")
        u_c = kept.correction["table"]["expanded_c"][0]
        # 120 days of 365 in which 2 K come, half-width
        assert now.table_expanded_c[0] == pytest.approx(2 * ((u_c / 2) ** 2 + (2 * 120 / 365) ** 2 / 3) ** 0.5)
    assert (old / "copies" / f"before-schema-{opening.SCHEMA_VERSION}.sqlite").exists()


def test_hours_hot_are_measured_from_its_folders_once(old: Path) -> None:
    with open_logbook(old) as book:
        measure_hours_hot(book, stamp=LATER)
        found = heats_of(book, "shed furnace", "control", after_utc="2026-01-01")
        # the sample is held for about an hour each at 780 and 1050 degC: above 950 a little over an hour
        assert found.heats == 1
        assert 0.9 < found.hours_950 < 1.5
        assert found.hours_950 < found.hours_800 < 3.0
        shutil.rmtree(old / "runs" / RUN)
        measure_hours_hot(book, stamp=LATER)
        assert heats_of(book, "shed furnace", "control", after_utc="2026-01-01") == found
