"""Words looked for in the guide, places on its pages, and where findings are defined."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.verification.results.verification import FINDING_CODES
from soakwitness.cli.book.guide_html import as_html
from soakwitness.cli.guide.pages import ORDER, page_text
from soakwitness.cli.guide.searching import DEFINED_UNDER, anchor_of, defined_at, find_in_guide
from tests.cli.books import INJECTED, ServedBook, served
from tests.cli.browsers import Watched
from tests.cli.sample_books import SHORT, sample_book

SIZES = [(390, 844, "dark"), (1280, 900, "light")]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ServedBook]:
    with served(sample_book(tmp_path / "book", "short-soak")) as book:
        yield book


def anchors(page: str) -> list[str]:
    return re.findall(r'<h\d id="([^"]+)"', as_html(page_text(page), link=lambda name: None))


def test_every_heading_of_a_page_has_a_place_of_its_own() -> None:
    for page in ORDER:
        there = anchors(page)
        assert len(there) == len(set(there)) == len(re.findall(r"^#+ ", page_text(page), re.M)), page


def test_every_finding_leads_to_a_place_that_is_there() -> None:
    assert set(DEFINED_UNDER) <= set(FINDING_CODES)
    for code in FINDING_CODES:
        page, anchor = defined_at(code)
        assert anchor in anchors(page), code
        assert page == "definitions" or f"`{code}`" in page_text(page)


def test_all_words_are_in_what_is_found() -> None:
    found = find_in_guide("Theil-Sen slope")
    assert [(one.page, one.heading) for one in found] == [("definitions", "Ramps")]
    assert "median slope between readings (Theil-Sen)" in found[0].says
    assert all(len(one.says) < 220 for one in find_in_guide("the"))
    assert find_in_guide("  ") == []
    assert [one.says for one in find_in_guide("soak dip") if "soak" not in one.says.replace("soakwitness", "")] == []
    assert find_in_guide("soak no-such-word") == []
    # one word in the heading over it: the definition of the soak is found by what the heading names
    assert ("definitions", "the-soak") in [(one.page, one.anchor) for one in find_in_guide("soak dip_seconds")]


def test_places_are_plain() -> None:
    assert anchor_of("What the sensor's error leaves open") == "what-the-sensors-error-leaves-open"
    assert anchor_of("°C & °F") == "c-f"


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_words_are_looked_for_and_a_verdict_leads_to_its_definition(
    browser: Any, book: ServedBook, width: int, height: int, scheme: str
) -> None:
    at = Watched(browser, width, height, scheme)
    tab = at.tab
    tab.goto(f"{book.address}guide")
    tab.get_by_label("Words").fill("Theil-Sen")
    tab.get_by_role("button", name="Find").click()
    assert tab.text_content("h1") == "1 place in the guide."
    assert at.fits(width)
    tab.get_by_role("link", name="Ramps").click()
    tab.wait_for_url(f"{book.address}guide/definitions#ramps")
    tab.goto(f"{book.address}guide?words={INJECTED}")
    assert tab.input_value("input[name=words]") == INJECTED
    assert tab.evaluate("window.broken") is None
    tab.goto(f"{book.address}runs/{SHORT}")
    short = tab.locator(".found li").filter(has_text="short soak").first
    short.get_by_role("link", name="How was this decided?").click(timeout=60_000)
    tab.wait_for_url(f"{book.address}guide/definitions#the-soak")
    assert tab.evaluate("document.getElementById('the-soak').getBoundingClientRect().top") < height
    assert at.problems == []
