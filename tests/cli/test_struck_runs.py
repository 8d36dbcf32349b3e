"""Runs struck out, and which run is the last, from a terminal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from tests.run_folders import sealed_run


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def said(book: Path, *words: str) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    return CliRunner().invoke(soakwitness, [*words], env=env)


def imported(book: Path, folder: Path, began: str, *words: str) -> Result:
    log = folder / f"{began[:10]}.csv"
    log.write_text(f"Time,Temp\n{began},20\n{began[:-3]}40Z,21\n")
    return said(book, "import", str(log), "--time", "Time", "--sensor", "control=Temp", *words)


def test_last_is_the_run_that_came_in_last(book: Path, tmp_path: Path) -> None:
    new = Path(imported(book, tmp_path, "2026-11-20T07:00:00Z").stdout.strip())
    old = Path(imported(book, tmp_path, "2026-03-01T07:00:00Z").stdout.strip())
    assert json.loads(said(book, "runs", "last", "--json").stdout)[0]["run"] == old.name
    assert "20260301" in said(book, "logbook", "verdicts", "last").stdout
    recorded = sealed_run(book, 20)
    assert json.loads(said(book, "runs", "last", "--json").stdout)[0]["run"] == recorded.name
    (book / "recorder.json").unlink()
    assert json.loads(said(book, "runs", "last", "--json").stdout)[0]["run"] == max(new, old, recorded).name


def test_a_run_is_struck_out_listed_apart_and_stands_again(book: Path, tmp_path: Path) -> None:
    first = Path(imported(book, tmp_path, "2026-11-20T07:00:00Z").stdout.strip()).name
    second = Path(imported(book, tmp_path, "2026-11-21T07:00:00Z").stdout.strip()).name
    assert said(book, "runs", second, "--strike").exit_code == 2
    done = said(book, "runs", second, "--strike", "--why", "wrong column")
    assert done.exit_code == 0, done.exception
    assert "is struck out: it is kept" in done.stdout
    assert [run["run"] for run in json.loads(said(book, "runs", "--json").stdout)] == [first]
    assert said(book, "runs", "--struck").stdout.endswith("  struck out: wrong column\n")
    assert json.loads(said(book, "runs", second, "--json").stdout)[0]["struck"] == "wrong column"
    assert json.loads(said(book, "runs", "last", "--json").stdout)[0]["run"] == first
    assert said(book, "logbook", "check").exit_code == 0
    assert imported(book, tmp_path, "2026-11-21T07:00:00Z").exit_code == 0  # the same file once more, rightly
    assert imported(book, tmp_path, "2026-11-21T07:00:00Z").exit_code == 2
    assert said(book, "runs", second, "--unstrike", "--why", "the column was right").exit_code == 0
    assert len(json.loads(said(book, "runs", "--json").stdout)) == 3
