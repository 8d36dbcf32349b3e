"""The book's pages in a browser (headless Chromium where there is one), and what they say of real runs."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.guide.pages import ORDER
from soakwitness.cli.telling.book_file import running_book, stop_book
from soakwitness.firmware_bridge.connecting.furnace_file import template
from tests.cli.books import INJECTED, ServedBook, a_state, served, until
from tests.cli.browsers import Watched

WIDTH = "line => line.x2.baseVal.value - line.x1.baseVal.value"
ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-c", "from soakwitness.cli.main import main; main()"]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ServedBook]:
    with served(tmp_path / "book") as book:
        yield book


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), [(390, 844, "light"), (1280, 800, "dark"), (360, 640, "dark")])
def test_a_browser_shows_the_sentence_and_says_when_it_is_old(
    browser: Any, book: ServedBook, width: int, height: int, scheme: str, tmp_path: Path
) -> None:
    seen = Watched(browser, width, height, scheme)
    tab = seen.tab
    for t_s in range(0, 1200, 60):
        book.tell(a_state(t_s, every_s=1.0))
    tab.goto(book.address)
    tab.locator(".sentence", has_text="Step 4").wait_for()
    for place in ("names", "sentence", "detail", "alarm", "readings", "record", "legend"):
        assert INJECTED in tab.text_content(f"article .{place}"), place
    assert tab.evaluate("window.broken") is None
    assert tab.locator(".chart path.line").count() == 2
    assert "Last reading" in tab.text_content(".record")
    assert seen.fits(width)
    tab.screenshot(path=str(tmp_path / "page.png"), full_page=True)
    tab.locator("article.stale").wait_for(timeout=10_000)
    assert "The recorder is silent" in tab.text_content(".record")
    assert all(url.startswith(book.address) for url in seen.asked)
    assert not seen.problems


@pytest.mark.browser
def test_a_page_says_when_the_book_itself_is_gone(browser: Any, book: ServedBook) -> None:
    seen = Watched(browser, 900, 800)
    book.tell(a_state(0))
    seen.tab.goto(book.address)
    seen.tab.locator(".sentence", has_text="Step 4").wait_for()
    book.stop()
    seen.tab.locator("#line", has_text="No word from the book").wait_for(timeout=25_000)


@pytest.mark.browser
def test_a_time_without_readings_stays_blank_and_is_hatched(browser: Any, book: ServedBook) -> None:
    tab = browser.new_page(viewport={"width": 900, "height": 800})
    for t_s in range(0, 1260, 60):
        temp = None if 600 <= t_s <= 840 else 1040.0
        book.tell(a_state(t_s, readings=[{"name": "chamber", "role": "control", "temp": temp}]))
    tab.goto(book.address)
    tab.locator(".sentence", has_text="Step 4").wait_for()
    line = tab.locator(".chart path.line")
    assert line.get_attribute("d").count("M") == 2
    hatched = tab.locator(".chart rect.unread")
    assert hatched.count() == 1
    # from the last reading at 540 s to the next at 900 s, of 1,200 s
    share = float(hatched.get_attribute("width")) / float(tab.locator(".chart line.grid").first.evaluate(WIDTH))
    assert share == pytest.approx(360 / 1200, abs=0.01)
    assert "hatched: nothing was read" in tab.text_content(".legend")


@pytest.mark.browser
def test_the_age_of_a_reading_is_the_servers_not_the_pages(browser: Any, book: ServedBook) -> None:
    book.tell(a_state(0, reading_age_s=51.0))
    tab = browser.new_page(viewport={"width": 900, "height": 800})
    tab.goto(book.address)
    tab.locator(".sentence", has_text="Step 4").wait_for()
    said = re.search(r"Last reading (\d+)\ss ago", tab.text_content(".record"))
    assert said is not None
    assert 51 <= int(said[1]) <= 60


def test_every_page_of_the_guide_is_html_and_its_links_lead_somewhere(book: ServedBook) -> None:
    _, _, listed = book.ask("GET", "/guide")
    for name in ORDER:
        assert f'href="/guide/{name}"' in listed
        status, _, body = book.ask("GET", f"/guide/{name}")
        assert status == 200
        shown = re.sub(
            r"<pre>.*?</pre>|<code>.*?</code>", "", body.split("<article", 1)[1].split("</article>")[0], flags=re.S
        )
        assert "<h1 id=" in shown
        assert not re.search(r"`|\*\*|^#|^\||\n {4}\S", re.sub(r"<[^>]*>", "", shown), re.M), name
        assert all(link in ORDER for link in re.findall(r'href="/guide/([^"]+)"', shown))


def test_the_navigation_links_only_pages_that_are_there(book: ServedBook) -> None:
    _, _, body = book.ask("GET", "/")
    links = re.findall(r'<a href="(/[^"]*)"', body.split("<nav", 1)[1].split("</nav>")[0])
    assert links[0] == "/"
    for link in links:
        assert book.ask("GET", link)[0] == 200


def shop(folder: Path) -> Path:
    """A furnace file and a recipe of a short hold."""
    (folder / "shed.toml").write_text(template("simulated"), encoding="utf-8")
    shutil.copy(ROOT / "sample_logs" / "recipes" / "paring-blades.toml", folder / "harden.toml")
    return folder


def record(folder: Path, *words: str) -> subprocess.Popen[str]:
    """A recording of the simulated furnace, sixty times as fast, with its page."""
    command = [*PROGRAM, "record", "shed.toml", "--recipe", "harden.toml", "--speed", "60", "--logbook", "book", *words]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.browser
def test_a_recorded_run_is_seen_from_its_first_reading_to_its_verdict(browser: Any, tmp_path: Path) -> None:
    folder, logbook = shop(tmp_path), tmp_path / "book"
    recording = record(folder, "--for", "12m", "--page", "--port", "0")
    try:
        found = until(lambda: running_book(logbook))
        seen = Watched(browser, 390, 844)
        seen.tab.goto(found.address)
        seen.tab.locator(".telling", has_text="Step 2").wait_for(timeout=20_000)
        late = Watched(browser, 1280, 800, "dark")  # comes later and has the past all the same
        until(lambda: "rows" in (seen.tab.text_content(".record") or ""))
        time.sleep(3)
        late.tab.goto(found.address)
        late.tab.locator(".chart path.line").first.wait_for()
        assert (
            late.tab.locator(".chart path.line").first.get_attribute("d").count("L") > 5
        )  # a busy computer misses slots
        recording.wait(timeout=60)
        assert recording.returncode == 0
        seen.tab.locator(".sentence", has_text="Not proven").wait_for(timeout=60_000)
        assert seen.tab.text_content("article .tag") == "not proven"
        seen.tab.goto(found.address + "runs")
        assert "Not proven" in seen.tab.text_content(".log")
        until(lambda: seen.tab.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)"))
        assert seen.fits(390)
        assert not seen.problems
        assert not late.problems
    finally:
        recording.kill()
        recording.communicate()
        stop_book(logbook)


def test_ctrl_c_ends_the_recording_and_not_the_book(tmp_path: Path) -> None:
    folder, logbook = shop(tmp_path), tmp_path / "book"
    recording = record(folder, "--page", "--port", "0")
    try:
        found = until(lambda: running_book(logbook))
        until(lambda: list(logbook.glob("runs/*/samples.csv")))
        time.sleep(2.0)
        recording.send_signal(signal.SIGINT)
        out, err = recording.communicate(timeout=30)
        assert recording.returncode == 0, err
        assert found.address in err
        assert running_book(logbook) == found
        again = record(folder, "--for", "60s", "--page", "--new")
        assert found.address in again.communicate(timeout=60)[1]
    finally:
        recording.kill()
        stop_book(logbook)


def test_the_command_serves_until_it_is_ended(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    (tmp_path / "book").mkdir()
    command = [*PROGRAM, "book", "--logbook", "book", "--port", "0"]
    serving = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    request.addfinalizer(serving.kill)
    assert serving.stdout is not None
    address = serving.stdout.readline().strip()
    assert address.startswith("http://127.0.0.1:")
    second = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=30)
    assert second.returncode == 2
    assert address in second.stderr
    stop = subprocess.run([*command[:6], "--stop"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (stop.returncode, stop.stdout) == (0, f"The book at {address} is ended.\n")
    out, err = serving.communicate(timeout=10)
    assert serving.returncode == 0, err
    assert "Traceback" not in err
    again = subprocess.run([*command[:6], "--stop"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "No book serves" in again.stdout


def test_runs_are_listed_newest_first_and_paged(tmp_path: Path) -> None:
    runs = tmp_path / "book" / "runs"
    runs.mkdir(parents=True)
    for k in range(23):
        name = f"202601{k + 1:02}T070000Z_shed_{k:04}"
        (runs / name).mkdir()
        header = json.loads((ROOT / "sample_logs" / "good" / "run.json").read_text())
        header["run"], header["started_utc"] = name, f"2026-01-{k + 1:02}T07:00:00Z"
        header["furnace"]["name"] = INJECTED
        (runs / name / "run.json").write_text(json.dumps(header))
    with served(tmp_path / "book") as book:
        _, _, first = book.ask("GET", "/runs")
        days = re.findall(r"<time>\w+ (\d+) January 2026", first)
        assert days == [str(k) for k in range(23, 3, -1)]
        assert INJECTED not in first
        older = re.search(r'href="(/runs\?page=2)"', first)
        assert older is not None
        _, _, second = book.ask("GET", older[1])
        assert re.findall(r"<time>\w+ (\d+) January 2026", second) == ["3", "2", "1"]
        assert "page=3" not in second
        assert book.ask("GET", "/runs?page=%00%27%22")[0] == 200
