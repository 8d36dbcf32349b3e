"""Doubtful runs from a terminal: kept apart in one quiet line, listed when asked for, confirmed or struck out."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from tests.run_folders import doubtful_run, sealed_run


def said(book: Path, *words: str) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    return CliRunner().invoke(soakwitness, [*words], env=env)


def listed(book: Path, *words: str) -> list[str]:
    return [run["run"] for run in json.loads(said(book, "runs", *words, "--json").stdout)]


def test_doubtful_runs_are_kept_apart_and_confirmed(tmp_path: Path) -> None:
    sure, first, second = (make(tmp_path).name for make in (sealed_run, doubtful_run, doubtful_run))
    for _ in range(2):  # before the log book knows them, and after
        shown = said(tmp_path, "runs")
        assert shown.exit_code == 0, shown.exception
        assert sure in shown.stdout
        assert first not in shown.stdout
        assert shown.stderr == "2 doubtful heatings kept apart: soakwitness runs --doubtful\n"
        assert listed(tmp_path, "--doubtful") == sorted([first, second])
        assert listed(tmp_path, "last") == [sure]
        assert said(tmp_path, "logbook", "check").exit_code == 0
        assert said(tmp_path, "logbook", "rebuild").exit_code == 0
    asked = said(tmp_path, "runs", "--doubtful")
    assert asked.stderr.startswith("A heating: soakwitness runs RUN --heating; none: soakwitness runs RUN --strike")
    apart = " ".join(asked.stdout.split())
    assert "doubtful: level above 70 °C, by the heater or by hot bricks" in apart
    named = " ".join(said(tmp_path, "runs", first, "--check").stderr.split())
    assert named.startswith(f"{first} may be no heating: level above 70 °C")
    done = said(tmp_path, "runs", first, "--heating")
    assert done.exit_code == 0, done.exception
    assert f"soakwitness verify {first}" in " ".join(done.stdout.split())
    assert sorted(listed(tmp_path)) == sorted([sure, first])
    assert said(tmp_path, "runs", second, "--strike", "--why", "bricks").exit_code == 0
    assert said(tmp_path, "runs").stderr == ""
    again = said(tmp_path, "runs", first, "--heating")
    assert "is not doubtful" in str(again.exception)
    assert said(tmp_path, "runs", "--heating").exit_code == 2
