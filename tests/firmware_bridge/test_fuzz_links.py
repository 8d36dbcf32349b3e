"""Short form of the fuzz campaign: 20,000 frames and lines, none of them read wrongly."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.links import modbus, textlines
from soakwitness.firmware_bridge.links.block_questions import Questions
from tests.campaigns.fuzz_links import KINDS, fuzz_lines, fuzz_modbus
from tests.campaigns.late_replies import INEVITABLE, LAYOUTS, campaign


def test_no_wrong_value_from_bad_modbus_replies() -> None:
    score = fuzz_modbus(10_000, seed=1)
    assert score.wrong == 0
    assert score.accepted > 0.25 * score.polls  # both of two replies good: a quarter; bad ones are asked again
    assert set(score.kinds) == set(KINDS)


def test_no_wrong_value_from_bad_lines() -> None:
    score = fuzz_lines(10_000, seed=1)
    assert score.wrong == 0
    assert score.accepted > 3000
    assert set(score.kinds) == set(KINDS)


def test_the_campaign_would_find_a_link_that_asks_one_length_again_and_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Questions, "choose", lambda self, block, now_s: self._of(block)[0])
    monkeypatch.setattr(modbus, "_LISTEN", 0.0)
    assert fuzz_modbus(2_000, seed=1).wrong > 0


def test_the_campaign_would_find_a_link_that_does_not_look_at_checksums(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(textlines, "_covered", lambda kind, data: data.rpartition(b"*")[0])
    assert fuzz_lines(2_000, seed=1).wrong > 0


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("along", [0, 1, 7])
def test_no_late_lone_doubled_or_mixed_up_reply_is_read_wrongly(layout: str, along: int) -> None:
    score = campaign(layout, along, 1_000, seed=11)
    assert (score.wrong, score.old) == (0, 0)
    assert score.missed_percent - score.percent(rule=INEVITABLE) < (5 if along == 0 else 2)


def test_an_instrument_that_leaves_unanswered_what_others_refuse_is_read_once_that_is_known() -> None:
    """Each of the four trials by a length that a block is read by costs 65 s, with the start 400 s of 4,000 at most.

    Between them the port is opened anew, which forgets nothing of it.
    """
    score = campaign("three blocks", 0, 4_000, seed=11, mute=True, calm_s=1e9)
    assert (score.wrong, score.old) == (0, 0)
    assert score.missed_percent < 10


def test_nor_after_the_program_was_started_anew_within_a_stall() -> None:
    score = campaign("two blocks of one table", 7, 4_000, seed=2, restarts=True)
    assert score.troubles["started anew"] > 0
    assert (score.wrong, score.old) == (0, 0)


def test_the_late_replies_would_find_such_a_link_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Questions, "choose", lambda self, block, now_s: self._of(block)[0])
    monkeypatch.setattr(modbus, "_LISTEN", 0.0)
    monkeypatch.setattr(Questions, "rest_s", lambda self, block, now_s: 0.0)
    monkeypatch.setattr(Questions, "confirms", lambda self, now_s, *, doubtful: None)
    score = campaign("two blocks of one table", 7, 3_000, seed=2)
    assert score.wrong > 0
    assert score.old > 0
