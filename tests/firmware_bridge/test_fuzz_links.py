"""Short form of the fuzz campaign: 20,000 frames and lines, none of them read wrongly."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.links import textlines
from soakwitness.firmware_bridge.links.modbus import ModbusLink
from tests.campaigns.fuzz_links import KINDS, fuzz_lines, fuzz_modbus


def test_no_wrong_value_from_bad_modbus_replies() -> None:
    score = fuzz_modbus(10_000, seed=1)
    assert score.wrong == 0
    assert (
        score.accepted > 1500
    )  # both of two replies good: about a quarter of 5,000 polls, and some bad ones are mended
    assert set(score.kinds) == set(KINDS)


def test_no_wrong_value_from_bad_lines() -> None:
    score = fuzz_lines(10_000, seed=1)
    assert score.wrong == 0
    assert score.accepted > 3000
    assert set(score.kinds) == set(KINDS)


def test_the_campaign_would_find_a_link_that_does_not_wait_for_late_replies(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ModbusLink, "_settle", lambda self: None)
    assert fuzz_modbus(2_000, seed=1).wrong > 0


def test_the_campaign_would_find_a_link_that_does_not_look_at_checksums(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(textlines, "_covered", lambda kind, data: data.rpartition(b"*")[0])
    assert fuzz_lines(2_000, seed=1).wrong > 0
