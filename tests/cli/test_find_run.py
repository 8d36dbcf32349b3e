"""Runs are found by path, name, run id, the beginning of one, or as the last one that began."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import WrongUse, find_run

FIRST, SECOND = "20260302T070410Z_shed_0001", "20260303T070410Z_shed_0002"


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    """Two runs; the folder of the first one was copied in under a person's own name, which sorts last."""
    for folder, run in (("spring blades", FIRST), (SECOND, SECOND)):
        made = tmp_path / "runs" / folder
        made.mkdir(parents=True)
        (made / "run.json").write_text(json.dumps({"run": run}))
    return tmp_path


@pytest.mark.parametrize("name", ["spring blades", "spring", FIRST, "20260302", "0001"])
def test_a_renamed_folder_is_found_by_its_name_and_by_its_run_id(logbook: Path, name: str) -> None:
    assert find_run(name, logbook) == logbook / "runs" / "spring blades"


def test_last_is_the_run_that_began_last(logbook: Path) -> None:
    assert find_run("last", logbook).name == SECOND


def test_several_and_none_are_refused(logbook: Path) -> None:
    with pytest.raises(WrongUse, match="2 runs fit"):
        find_run("2026", logbook)
    with pytest.raises(WrongUse, match="soakwitness runs"):
        find_run("20270101", logbook)


def test_a_folder_that_is_no_run_is_not_last(logbook: Path) -> None:
    (logbook / "runs" / "zzz").mkdir()
    assert find_run("last", logbook).name == SECOND


@pytest.mark.parametrize("words", [["runs", "x" * 300], ["runs", "--logbook", "x" * 300]])
def test_a_name_that_no_disk_can_hold_is_refused_in_a_line(words: list[str]) -> None:
    refused = CliRunner().invoke(soakwitness, words)
    assert (refused.exit_code, refused.stderr.count("\n")) == (2, 1)
    assert "too long" in refused.stderr
