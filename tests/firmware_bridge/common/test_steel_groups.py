"""Which group an open designation belongs to; model and simulated furnace each have their own figures of it."""

from __future__ import annotations

import pytest

from soakwitness.analysis.packet.piece import PEAK_C
from soakwitness.firmware_bridge.common.steel_groups import steel_group
from soakwitness.firmware_bridge.simulated.heated_packet import TRANSFORMS_AT_C


@pytest.mark.parametrize(
    ("steel", "group"),
    [("S44004", "stainless"), ("440C", "stainless"), ("1.4116", "stainless"), ("A2", "tool"), ("D2", "tool"),
     ("1.2379", "tool"), ("52100", "carbon"), ("O1", "carbon"), ("1095", "carbon"), ("1.2842", "carbon"),
     ("15N20", "carbon"), ("100Cr6", "carbon"), ("105WCr6", "carbon"), ("10Cr15CoMoV", "unknown"),  # 15 % of chromium
     (None, "unknown"), ("what", "unknown")],
)  # fmt: skip
def test_steel_groups(steel: str | None, group: str) -> None:
    assert steel_group(steel) == group


@pytest.mark.parametrize("group", PEAK_C)
def test_the_simulated_furnace_has_another_figure_within_what_the_model_allows_for(group: str) -> None:
    """A furnace that knew the model's own figure would prove it right whatever it is."""
    expected_c, spread_c = PEAK_C[group]
    assert 0.0 < abs(TRANSFORMS_AT_C[group] - expected_c) <= spread_c
