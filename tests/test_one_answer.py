"""``verify``, ``recompute`` and ``sheet`` give one answer; the long form is ``tests/campaigns/one_answer.py``."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.make_sample_logs import RUNS, SAMPLES
from tests.random_books import Drawn, answers, differing, drawn_book


@pytest.mark.parametrize("name", RUNS)
def test_on_the_sample_logs(tmp_path: Path, name: str) -> None:
    run = tmp_path / "runs" / name
    shutil.copytree(SAMPLES / name, run)
    assert differing(answers(Drawn(tmp_path, run, ()))) == []


@pytest.mark.parametrize("seed", range(12))
def test_on_random_log_books(tmp_path: Path, seed: int) -> None:
    assert differing(answers(drawn_book(seed, tmp_path))) == []
