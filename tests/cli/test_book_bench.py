"""The page at the furnace in a browser: two furnaces, a device whose clock is wrong, what is refused, who may look."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.words.furnace_side import at_the_furnace_state
from soakwitness.cli.words.turn_words import turn_words
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.clocks import RealClock
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts, begin
from tests.analysis.live.test_at_the_furnace import HOT, LOAD, side
from tests.cli.books import a_state, served, until
from tests.cli.test_book_pages import Watched
from tests.fakes import make_furnace

RUN = "20260101T070000Z_shed_0001"
AHEAD = "const now = Date.now.bind(Date); Date.now = () => now() + 60000;"


def state(furnace: str, run: str = RUN, **more: Any) -> dict[str, Any]:
    """A run in which A and B are in since 60 s, at 700 s of 900 s."""
    found, utc_s = side(HOT, 700.0, [LOAD]), 1.8e9
    words = turn_words(found, utc_s=utc_s, zone=UTC, unit="C", clock=None, lead="Step 1")
    there = at_the_furnace_state(found, utc_s=utc_s) | {"turn": words, "log": [], "asked": []}
    told = {"utc_ms": 1.8e12, "alarm": None, "alarms": {}, "at_the_furnace": there, "hold": None, **more}
    return a_state(700.0, furnace=furnace, run=run, **told)


def target(tab: Any, number: int) -> Any:
    return tab.locator("article").nth(number).locator(".act")


@pytest.mark.browser
def test_two_furnaces_have_a_target_each_and_a_key_speaks_of_the_one_that_was_touched(
    browser: Any, tmp_path: Path
) -> None:
    with served(tmp_path / "book") as book:
        for furnace in ("small furnace", "oven"):
            book.tell(state(furnace))
        seen = Watched(browser, 390, 844)
        seen.tab.goto(book.address)
        for number in (0, 1):
            assert target(seen.tab, number).locator("b").text_content() == "A is out"
        seen.tab.keyboard.press("x")
        assert "Two furnaces record" in (seen.tab.text_content("#heard") or "")
        assert seen.tab.locator("#unsent li").count() == 0
        target(seen.tab, 1).click()  # there is no such run: refused in words, and kept until it is put away
        refused = seen.tab.locator("#unsent li", has_text="Not entered")
        refused.wait_for()
        assert "no such run" in refused.text_content()
        seen.tab.wait_for_timeout(1200)
        seen.tab.keyboard.press("x")
        until(lambda: seen.tab.locator("#unsent li", has_text="Not entered").count() == 2)
        seen.tab.locator("#unsent button").first.click()
        until(lambda: seen.tab.locator("#unsent li").count() == 1)
        assert seen.fits(390)


@pytest.mark.browser
def test_a_device_whose_clock_is_wrong_enters_typed_moments(browser: Any, tmp_path: Path) -> None:
    clock = RealClock()
    logbook = tmp_path / "book"
    recording = begin(make_furnace(), clock, RunFacts(logbook), alarms=Alarms(Alarm(), clock, bell=lambda: None))
    assert recording.keeper.folder is not None
    try:
        with served(logbook) as book:
            book.tell(state("shed", recording.keeper.folder.path.name))
            seen = Watched(browser, 844, 390)
            seen.tab.add_init_script(AHEAD)
            seen.tab.goto(book.address)
            until(lambda: "60\u00a0s ahead of the book's" in (seen.tab.text_content("#clock-says") or ""))
            seen.tab.keyboard.press("Enter")

            def entered() -> Any:
                recording.tend()
                return recording.desk.marks

            (mark,) = until(entered)
            assert (mark.act, mark.pieces, mark.by, mark.origin) == ("pull", ("A",), "this computer", "typed")
            assert mark.within_s == pytest.approx(60.0, abs=1.0)
            assert 0.0 <= mark.t_s < 60.0  # its own moment, put right
            assert not seen.problems
    finally:
        recording.release()


@pytest.mark.browser
def test_an_alarm_stands_once_and_the_sentence_does_not_repeat_it(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path / "book") as book:
        says = "control 1200 °C, over 1150 °C"
        book.tell(state("shed", alarm=says, alarms={"over-temperature": says}))
        seen = Watched(browser, 390, 844, "dark")
        seen.tab.goto(book.address)
        seen.tab.locator(".alarm", has_text="over").wait_for()
        assert "1150" not in seen.tab.text_content(".telling")
        seen.tab.click(".settings summary")
        seen.tab.check("#sound")
        assert seen.tab.evaluate("JSON.parse(localStorage.getItem('soakwitness.signals')).sound") is True
        assert not seen.problems
