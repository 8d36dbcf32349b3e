"""Time zones by name and by offset, from the import to the sheet."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness

RECIPE = """name = "Blades"
unit = "C"
[[step]]
ramp = "full power"
to = 800
[[step]]
hold_minutes = 1
tolerance = 8
"""


def said(book: Path, *words: str, tz: str = "UTC") -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana", "TZ": tz}
    return CliRunner().invoke(soakwitness, [*words], env=env)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Two minutes at 800, begun at 08:15 by the logger's clock."""
    rows = [f"2026-07-01T08:{15 + s // 60:02d}:{s % 60:02d},{min(20 + 13 * s, 800)}\n" for s in range(0, 181, 5)]
    path = tmp_path / "log.csv"
    path.write_text("Time,Temp\n" + "".join(rows))
    (tmp_path / "blades.toml").write_text(RECIPE)
    return path


def brought(tmp_path: Path, log: Path, *zone: str, tz: str = "UTC") -> tuple[Path, Result]:
    words = ("--time", "Time", "--sensor", "control=Temp", "--recipe", str(tmp_path / "blades.toml"))
    done = said(tmp_path / "book", "import", str(log), *words, *zone, tz=tz)
    assert done.exit_code == 0, (done.stderr, done.exception)
    return Path(done.stdout.splitlines()[-1]), done


@pytest.mark.parametrize(
    ("zone", "utc", "local"),
    [("+02:00", "T061500Z", "08:15:00"), ("Z", "T081500Z", "08:15:00"), ("-0330", "T114500Z", "08:15:00")],
)
def test_a_log_from_a_clock_with_a_fixed_offset_is_verified(
    tmp_path: Path, log: Path, zone: str, utc: str, local: str
) -> None:
    run, _ = brought(tmp_path, log, "--zone", zone)
    assert utc in run.name
    book = tmp_path / "book"
    found = said(book, "verify", str(run))
    assert found.exit_code in (0, 3, 4), found.exception
    assert said(book, "logbook", "recompute", "--processes", "1").exit_code == 0
    sheet = tmp_path / "sheet.html"
    assert said(book, "sheet", str(run), "--out", str(sheet)).exit_code == 0
    said_as = "UTC" if zone == "Z" else zone
    words = sheet.read_text(encoding="utf-8")
    assert f"Wednesday 1 July 2026, {local[:5]} to" in words
    assert f", {said_as} ·" in words
    assert "2026-07-01 08:15" in said(book, "runs").stdout


def test_a_zone_that_nobody_here_can_read_any_more_is_no_end_of_the_run(tmp_path: Path, log: Path) -> None:
    run, _ = brought(tmp_path, log, "--zone", "+02:00")
    header = run / "run.json"
    header.write_text(header.read_text(encoding="utf-8").replace('"+02:00"', '"Mars/Base"'), encoding="utf-8")
    found = said(tmp_path / "book", "verify", str(run))
    assert found.exit_code in (0, 3, 4), found.exception


def test_a_log_of_local_times_is_taken_in_the_computer_s_zone_which_is_named(tmp_path: Path, log: Path) -> None:
    run, done = brought(tmp_path, log, tz="Europe/Vienna")
    assert "T061500Z" in run.name  # summer time: two hours before Greenwich's
    assert "Local times were taken in Europe/Vienna, the computer's zone." in done.stderr
    assert "2026-07-01 08:15 CEST" in said(tmp_path / "book", "runs").stdout
    marks = tmp_path / "marks.csv"
    marks.write_text("time,act,pieces\n2026-07-01T08:15:30,load,A\n")
    run, _ = brought(tmp_path, log, "--again", "--marks", str(marks), tz="Europe/Vienna")
    assert said(tmp_path / "book", "mark", "--list", "--run", str(run)).stdout.startswith("0:00:30  Load of A")


def test_a_log_that_says_its_zone_or_counts_seconds_needs_none(tmp_path: Path, log: Path) -> None:
    log.write_text("Time,Temp\n0,20\n60,30\n")
    run, done = brought(tmp_path, log, tz="Europe/Vienna")
    assert "computer's zone" not in done.stderr
    assert '"zone": "Europe' not in (run / "run.json").read_text(encoding="utf-8")


def test_a_start_without_a_zone_is_the_computer_s(tmp_path: Path, log: Path) -> None:
    log.write_text("Time,Temp\n0,20\n60,30\n")
    run, done = brought(tmp_path, log, "--start", "2026-07-01T08:15", tz="Europe/Vienna")
    assert "T061500Z" in run.name
    assert "2026-07-01T08:15 was taken in Europe/Vienna, the computer's zone." in done.stderr
    run, _ = brought(tmp_path, log, "--again", "--start", "2026-07-01T08:15", "--zone", "-05:00", tz="Europe/Vienna")
    assert "T131500Z" in run.name


def test_what_is_entered_with_a_local_time_names_the_zone(tmp_path: Path) -> None:
    book = tmp_path / "book"
    assert said(book, "piece", "add", "B-041").exit_code == 0
    words = ("piece", "treatment", "cold treatment", "B-041", "--start", "2026-07-01T08:15", "--lowest", "-78")
    done = said(book, *words, tz="Europe/Vienna")
    assert done.exit_code == 0
    assert "2026-07-01T08:15 was taken in Europe/Vienna, the computer's zone." in done.stderr
    other = said(book, *words, "--zone", "+01:00")
    assert "computer's zone" not in other.stderr
    shown = said(book, "piece", "history", "B-041", "--json").stdout
    assert "2026-07-01T06:15:00Z" in shown
    assert "2026-07-01T07:15:00Z" in shown
