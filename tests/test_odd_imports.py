"""Odd log files come in right or are refused: nothing silently wrong, no rows lost without a word."""

from __future__ import annotations

import pytest

from tests.campaigns.odd_imports import tried
from tests.odd_files import OddFile
from tests.odd_mixtures import mixture
from tests.odd_tables import odd_files


@pytest.mark.parametrize("case", odd_files(), ids=lambda case: case.name)
def test_an_odd_file_is_read_rightly_or_refused(case: OddFile) -> None:
    outcome = tried(case)
    assert outcome.fine, (outcome.what, outcome.said)


@pytest.mark.parametrize("number", range(60))
def test_a_file_put_together_by_chance_is_read_rightly_or_refused(number: int) -> None:
    outcome = tried(mixture(number))
    assert outcome.fine, (outcome.case.name, outcome.what, outcome.said)
