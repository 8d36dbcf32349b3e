"""Short form of the campaign in ``tests/campaigns/heatings.py``: odd furnaces, power cuts, doors, interference."""

from __future__ import annotations

import pytest

from tests.campaigns.heatings import judge, ways
from tests.odd_furnaces import HEAVY, Days

WAYS = [way for way in ways(12, 40) if way.build is not HEAVY]  # the long form has that one too


@pytest.mark.parametrize("days", WAYS, ids=[f"{way.build.name}-{way.seed}" for way in WAYS])
def test_no_heating_is_missed_split_merged_or_invented(days: Days) -> None:
    counts = judge(days)
    assert counts.heatings >= 3
    assert counts.told == []
