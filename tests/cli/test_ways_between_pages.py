"""From a piece and from a run to what can be entered of them, by a real server and a headless Chromium."""

from __future__ import annotations

import http.client
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.photos import photos_of
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.cli.main import soakwitness
from tests.cli.books import served
from tests.cli.browsers import Watched
from tests.cli.sample_books import SHORT, sample_book
from tests.log_books import STAMP

SIZES = [(390, 844, "dark"), (1280, 900, "light")]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """C-03 with a reading near its tip and a photograph."""
    folder = sample_book(tmp_path / "book", "short-soak")
    Image.new("RGB", (400, 200), "#c14f00").save(tmp_path / "a.jpg")
    with open_logbook(folder) as book:
        test = HardnessReading((54.1, 54.3, 54.2))
        when: Any = {"measured_utc": "2026-03-05T08:00:00Z", "side": "after", "step": "temper"}
        add_hardness(book, "C-03", test, **when, along_pct=90.0, across_pct=50.0, stamp=STAMP)
    words = ["piece", "photo", "C-03", str(tmp_path / "a.jpg"), f"--logbook={folder}", "--note=the edge"]
    soakwitness.main(words, standalone_mode=False)
    return folder


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_a_piece_shows_what_it_has_and_leads_to_its_forms(
    browser: Any, folder: Path, width: int, height: int, scheme: str
) -> None:
    with open_logbook(folder) as book:
        (photo,) = photos_of(book, "C-03")
    with served(folder) as book:
        at = Watched(browser, width, height, scheme)
        tab = at.tab
        tab.goto(f"{book.address}pieces/C-03")
        assert "54.2" in tab.text_content("svg.blade-map .read")
        picture = tab.locator(".life img.photo")
        assert picture.get_attribute("src") == f"/photos/{photo.digest}.jpg"
        picture.scroll_into_view_if_needed()
        tab.locator("img.photo").first.evaluate("picture => picture.decode()")
        assert at.fits(width)
        for word, path in (("Enter hardness", "hardness"), ("Photograph it", "photo"), ("Enter something", "enter")):
            tab.get_by_role("link", name=word).click()
            tab.wait_for_url(f"{book.address}pieces/C-03/{path}")
            tab.go_back()
        tab.goto(f"{book.address}runs/{SHORT}")
        for word, path in (("Decide about it", "decide"), ("Enter or strike marks", "marks")):
            tab.get_by_role("link", name=word).click()
            tab.wait_for_url(f"{book.address}runs/{SHORT}/{path}")
            tab.go_back()
        assert at.fits(width)
        assert at.problems == []


def test_a_piece_without_placed_readings_has_no_map(tmp_path: Path) -> None:
    with served(sample_book(tmp_path / "book", "good")) as book:
        with closing(http.client.HTTPConnection("127.0.0.1", book.port, timeout=10)) as connection:
            connection.request("GET", "/pieces/C-03")
            text = connection.getresponse().read().decode()
        assert "blade-map" not in text.replace("blade_map", "")
        assert "Enter hardness" in text


@pytest.mark.browser
def test_a_verdict_that_comes_does_not_stop_who_is_leaving(browser: Any, folder: Path) -> None:
    with served(folder) as book:
        tab = Watched(browser, 390, 844).tab
        held: dict[str, Any] = {}
        tab.route("**/judged.json", lambda route: held.update(verdict=route))
        tab.route("**/pieces/C-03/enter", lambda route: held.update(page=route))
        tab.goto(f"{book.address}pieces/C-03")
        tab.locator("[data-judged]").first.wait_for(state="attached")
        tab.get_by_role("link", name="Enter something").click(no_wait_after=True)
        while "page" not in held or "verdict" not in held:
            tab.wait_for_timeout(20)
        held["verdict"].fulfill(json={"verdict": "fail", "says": "Too short."})
        tab.wait_for_timeout(300)  # in which the page would load itself anew; it cannot be asked while it is being left
        held["page"].continue_()
        tab.wait_for_url(f"{book.address}pieces/C-03/enter")
