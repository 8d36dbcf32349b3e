"""A write command killed at any SQL statement leaves all of it or nothing (the long form: tests/campaigns)."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.killed_writes import COMMANDS, Left, child, entries, finished, judged, prepared


@pytest.fixture(scope="module")
def origin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("killed") / "origin")


@pytest.mark.parametrize("number", range(10))
def test_a_killed_command_is_there_whole_or_not_at_all(origin: Path, tmp_path: Path, number: int) -> None:

    command = COMMANDS[number % len(COMMANDS)]
    before = entries(origin)
    shutil.copytree(origin, tmp_path / "whole")
    after, statements = finished(tmp_path / "whole", command)
    left = []
    for share in (0.35 + 0.06 * number, 0.97):  # within the writing, and just before its end
        folder = tmp_path / f"killed {share}"
        shutil.copytree(origin, folder)
        process = child(folder, str(1 + int(min(share, 1.0) * (statements - 1))), command)
        process.communicate()
        left.append(Left(command, process.returncode < 0, judged(folder, before, after)))
    assert all(one.killed for one in left)
    assert {one.outcome for one in left} <= {"all", "nothing"}
