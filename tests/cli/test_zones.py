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
    assert f"2026-07-01 {local} ({zone})" in sheet.read_text(encoding="utf-8")
    assert "2026-07-01 08:15" in said(book, "runs").stdout


def test_a_zone_that_nobody_here_can_read_any_more_is_no_end_of_the_run(tmp_path: Path, log: Path) -> None:
    run, _ = brought(tmp_path, log, "--zone", "+02:00")
    header = run / "run.json"
    header.write_text(header.read_text(encoding="utf-8").replace('"+02:00"', '"Mars/Base"'), encoding="utf-8")
    found = said(tmp_path / "book", "verify", str(run))
    assert found.exit_code in (0, 3, 4), found.exception
