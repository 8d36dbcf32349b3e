"""*Furnace* and what commands tell on pages, by a real server, its worker and a headless Chromium."""

from __future__ import annotations

import json
import re
import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from click.testing import CliRunner

from soakwitness.analysis.logbook.cutouts import add_cutout_test
from soakwitness.analysis.logbook.furnace_work import add_upkeep
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.cli.book.told_text import ToldBlock, told_blocks
from soakwitness.cli.main import soakwitness
from soakwitness.cli.words.page_words import kept_on_page
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.cli.books import INJECTED, ServedBook, served, until
from tests.cli.browsers import Watched
from tests.cli.sample_books import ROOT, SHORT, sample_book
from tests.log_books import STAMP
from tests.run_folders import COLUMNS

SIZES = [(390, 844, "dark"), (1280, 900, "light")]
FURNACE = "shed furnace"


def commanded(*words: str) -> str:
    """What a command prints."""
    done = CliRunner().invoke(soakwitness, words, standalone_mode=False)
    assert done.exception is None, done.output
    return done.stdout


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A furnace with a calibration, a survey, an accuracy test, a tested cut-out and upkeep."""
    scratch = tmp_path_factory.mktemp("shop")
    folder = sample_book(scratch / "book", "good", "short-soak")
    run = shutil.copytree(ROOT / "sample_logs" / "calibration" / "run", scratch / "calibration")
    place, reference = f"--logbook={folder}", "--reference=reference"
    commanded("accuracy", str(run), reference, place)
    commanded("calibrate", str(run), reference, place)
    commanded("survey", str(run), "--sensors=survey", "--band=8", place)
    with open_logbook(folder) as book:
        done = "2026-03-01T08:00:00Z"
        add_upkeep(book, FURNACE, "elements", done_utc=done, stamp=replace(STAMP, by=INJECTED), note=INJECTED)
        add_cutout_test(book, FURNACE, done_on="2026-03-01", set_c=900.0, tripped_c=908.0, stamp=STAMP, note=INJECTED)
        fit_sensor(book, FURNACE, "load", fitted_utc=done, stamp=STAMP, serial=INJECTED)
    return folder


@pytest.fixture(scope="module")
def book(shop: Path) -> Iterator[ServedBook]:
    with served(shop) as book:
        yield book


def shows(at: Watched, words: str) -> None:
    """Wait for the page that a button leads to."""
    at.tab.locator("main", has_text=words).wait_for()


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_what_is_due_for_a_furnace_is_entered_from_its_page(browser: Any, tmp_path: Path, width: int) -> None:
    """A furnace without a test of its cut-out: from the sentence to the form, and what it enters is the command's."""
    begun = time.time() - 7200.0
    made = RunFolder.create(tmp_path, columns=COLUMNS, furnace_name=FURNACE, started_utc=begun, every_s=1.0)
    made.close()
    made.seal(sealed_utc=begun + 60.0)
    with served(tmp_path) as book:
        at = Watched(browser, width, 844)
        at.tab.goto(f"{book.address}furnace")
        assert "soakwitness cutout" not in at.tab.text_content("main")
        at.tab.locator(".due").get_by_role("link", name="Enter a test of its cut-out").click()
        at.tab.get_by_role("button").click()
        shows(at, "Say what the cut-out is set to.")
        at.tab.get_by_label("Set to").fill("900")
        at.tab.get_by_label("It cut at").fill("899,5")
        at.tab.get_by_label("Note").fill(INJECTED)
        assert at.fits(width)
        at.tab.get_by_role("button").click()
        shows(at, "It is entered")
        said = at.tab.text_content("main")
        assert f"set to 900 °C, cut at 899.5 °C, {INJECTED}" in said
        assert "no test of its over-temperature cut-out" not in said
        at.tab.get_by_role("link", name="Enter what was done to it").click()
        at.tab.get_by_role("button").click()
        shows(at, "Pick what it was done to.")
        at.tab.get_by_label("door seal").check()
        assert at.fits(width)
        at.tab.get_by_role("button").click()
        shows(at, "door seal, by this computer")
        assert at.tab.evaluate("window.broken") is None
        assert [one for one in at.problems if "422" not in one] == []
        assert book.ask("GET", "/furnace/cut-out?furnace=nobody")[0] == 404
        assert book.ask("GET", "/furnace/upkeep")[0] == 404
    entered = json.loads(commanded("cutout", FURNACE, "--json", f"--logbook={tmp_path}"))["tests"]
    assert [(one["set_c"], one["tripped_c"], one["entered_by"]) for one in entered] == [(900.0, 899.5, "this computer")]


def test_next_on_a_run_s_page_leads_to_the_page_that_has_it(tmp_path: Path) -> None:
    folder = sample_book(tmp_path / "book", "short-soak")
    commanded("verify", SHORT, f"--logbook={folder}")
    with served(folder) as book:
        page = book.ask("GET", f"/runs/{SHORT}")[2]
        marks = f"/runs/{SHORT}/marks"
        assert f'Mark the pull and the plates: <a href="{marks}">Enter or strike marks, on the run' in page
        assert f'strike it out: <a href="{marks}/m02/strike">Strike beside it' in page
        assert book.ask("GET", f"{marks}/m02/strike")[0] == 200
    nexts = re.findall(r"<b>Next</b>.*?</p>", page)
    assert len(nexts) > 5
    assert not any("soakwitness" in one and "in a terminal" not in one for one in nexts)


def looked_at(book: ServedBook, path: str) -> str:
    """A look's page when it is done."""
    return str(until(lambda: "Looking at it" not in (page := book.ask("GET", path)[2]) and page, within_s=60.0))


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_from_the_furnace_to_what_is_on_record_of_it(
    browser: Any, book: ServedBook, width: int, height: int, scheme: str
) -> None:
    at = Watched(browser, width, height, scheme)
    tab = at.tab
    tab.goto(book.address)
    tab.get_by_role("link", name="Furnace", exact=True).click()
    said = tab.text_content("main")
    for words in (f"elements: {INJECTED}, by {INJECTED}", f"cut at 908 °C, {INJECTED}", f"serial {INJECTED}"):
        assert words in said
    assert tab.evaluate("window.broken") is None
    assert at.fits(width)
    for link, words in (
        ("The whole survey", "every place was within 4.8 °C of 1050 °C"),  # of the sample's README
        ("All of this sensor", "difference"),
        ("Its record", "Budget of point 1"),
        ("What each calibration adds", "773.1 °C to 1063.7 °C"),  # its levels, 10 K to either side
        ("How it is doing", "too few to see a trend"),
    ):
        tab.get_by_role("link", name=link).first.click()
        tab.get_by_text("Looked at").wait_for(timeout=60_000)
        assert words in tab.text_content("main"), link
        if link != "What each calibration adds":
            tab.locator("figure.told img").first.evaluate("picture => picture.decode()")
        assert tab.locator("h1").count() == 1
        assert "--" not in tab.text_content("main")
        assert at.fits(width), link
        tab.goto(f"{book.address}furnace")
    assert at.problems == []
    assert all(url.startswith(book.address) for url in at.asked)
    if Path("/proc/self/maps").exists():
        loaded = Path(f"/proc/{book.child.pid}/maps").read_text(encoding="utf-8")
        assert not re.search("numpy|pandas|scipy|matplotlib", loaded)


@pytest.mark.browser
def test_why_a_run_is_bad_by_taps(browser: Any, book: ServedBook) -> None:
    at = Watched(browser, 390, 844)
    at.tab.goto(f"{book.address}runs/{SHORT}")
    at.tab.get_by_role("link", name="Beside good runs").click()
    at.tab.get_by_text("Looked at").wait_for(timeout=60_000)
    assert "packet lag ate the soak" in at.tab.text_content("h1")
    at.tab.reload()  # an address of its own, and what it found is kept
    assert "packet lag ate the soak" in at.tab.text_content("h1")
    assert at.fits(390)
    assert at.problems == []


def test_a_page_tells_every_word_of_the_command(book: ServedBook, shop: Path) -> None:
    page = looked_at(book, f"/look/audit?suspect={SHORT}")
    shown = re.sub(r"<[^>]+>", " ", page.replace("&#39;", "'"))
    told = " ".join(commanded("audit", f"--suspect={SHORT}", f"--logbook={shop}").split())
    for word in kept_on_page(told).split():
        assert word in shown, word


def test_what_the_command_refuses_is_refused_in_its_words(book: ServedBook) -> None:
    page = looked_at(book, "/look/audit?" + urlencode({"suspect": "<b>X-9</b>"}))
    assert "&lt;b&gt;X-9&lt;/b&gt;: no such run, piece or batch" in page
    page = looked_at(book, "/look/condition?" + urlencode({"furnace": INJECTED}))
    assert "the log book has no run of this furnace" in page
    assert INJECTED not in page
    assert "is not a valid integer" in looked_at(book, "/look/calibration?number=--out%3Dx.html")
    assert re.search("“.*”: &#39;x&#39; is not a valid integer", looked_at(book, "/look/survey?show=x"))
    assert book.ask("GET", "/look/record?furnace=x")[0] == 404
    assert book.ask("GET", "/look/audit/chart.svg?suspect=nobody")[0] == 404
    assert book.ask("GET", "/furnace?furnace=nobody")[0] == 404


def test_looking_anew_does_it_once(book: ServedBook) -> None:
    page = looked_at(book, "/look/survey?show=1&unit=C")
    anew = re.search(r'href="(/look/survey\?[^"]*anew[^"]*)"', page)
    assert anew is not None
    path = anew[1].replace("&amp;", "&")
    assert "Looking at it" in book.ask("GET", path)[2]
    again = looked_at(book, path)  # the address as it was does not begin it a third time
    assert "Looked at" in again
    assert path not in again.replace("&amp;", "&")


def test_lines_of_a_screen_become_sentences_again() -> None:
    """Broken at 80 columns, at a word that does not fit; columns stay, a heading is what ends without a stop."""
    first = "Pass: every place was within 4.8 °C of 1050 °C, or 6.4 °C with what each may be"
    text = f"{first}\nwrong by.\n\nWhat now\n  1. Grind.\n     next: Test.\na (°C)  low\nx       1"
    assert len(first) + 1 + len("wrong") > 80
    assert told_blocks(text) == [
        ToldBlock("says", f"{first} wrong by."),
        ToldBlock("heading", "What now"),
        ToldBlock("says", "1. Grind.", 1),
        ToldBlock("says", "next: Test.", 2),
        ToldBlock("figures", "a (°C)  low\nx       1"),
    ]


def test_a_log_book_that_is_none_yet_says_so(tmp_path: Path) -> None:
    with served(tmp_path / "none") as book:
        status, _, text = book.ask("GET", "/furnace")
        assert status == 200
        assert "No furnace yet" in text
