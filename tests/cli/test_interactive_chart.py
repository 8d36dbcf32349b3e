"""The interactive chart of a run in a headless Chromium, the data it asks for, and the small pictures."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.book.lines_kept import RUNS_KEPT, LinesKept
from soakwitness.firmware_bridge.runfolder.reader import read_header
from tests.cli.books import ServedBook, served
from tests.cli.browsers import Watched
from tests.cli.sample_books import GOOD, SHORT, sample_book
from tests.make_sample_logs import SAMPLES
from tests.run_folders import fill, new_run, sealed_run


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBook]:
    with served(sample_book(tmp_path_factory.mktemp("samples") / "book", "good", "short-soak", "gap")) as book:
        yield book


# how many points of the canvas have nearly a colour of the page
PAINTED = """colour => {
  const canvas = document.querySelector("figure canvas"), figure = document.querySelector("figure");
  const digits = getComputedStyle(figure).getPropertyValue(colour).trim().match(/[0-9a-f]{2}/g);
  const wanted = digits.map(two => parseInt(two, 16));
  const seen = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let count = 0;
  for (let k = 0; k < seen.length; k += 4)
    if (seen[k + 3] > 200 && [0, 1, 2].every(c => Math.abs(seen[k + c] - wanted[c]) < 30)) count++;
  return count;
}"""


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_band_and_flag_are_painted_in_the_pages_colours(browser: Any, samples: ServedBook, scheme: str) -> None:
    assert samples.ask("GET", f"/runs/{SHORT}/judged.json")[0] == 200
    at = Watched(browser, 1280, 900, scheme)
    at.tab.goto(f"{samples.address}runs/{SHORT}")
    at.tab.locator("figure[data-ready]").wait_for()
    for colour, least in (("--chamber", 300), ("--blade", 300), ("--bad", 60)):
        assert at.tab.evaluate(PAINTED, colour) > least, colour
    before = at.tab.evaluate(PAINTED, "--blade")
    at.tab.get_by_role("button", name="load").click()  # the line is hidden
    assert at.tab.evaluate(PAINTED, "--blade") < before / 3
    other = "light" if scheme == "dark" else "dark"
    at.tab.emulate_media(color_scheme=other)  # the evening comes while one looks
    at.tab.wait_for_timeout(200)
    assert at.tab.evaluate(PAINTED, "--chamber") > 300
    assert at.problems == []


# what colour the picture has at a time of the run [s] and a temperature
POINT = """([t_s, shown, down]) => {
  const figure = document.querySelector("figure"), u = figure.runChart.chart;
  const x = Math.round(u.valToPos(t_s, "x", true)), y = Math.round(u.valToPos(shown, "y", true)) + down;
  return [...u.ctx.getImageData(x, y, 1, 1).data].slice(0, 3).join();
}"""


@pytest.mark.browser
def test_a_hold_too_thin_to_be_seen_is_a_column_and_a_pull_has_its_sign(browser: Any, tmp_path: Path) -> None:
    """The hold of 780 degC began at 0:31 and lasts 10 min; C-01 failed, nothing did of the dummy."""
    run = read_header(SAMPLES / "pulled-one-by-one").run
    with served(sample_book(tmp_path / "book", "pulled-one-by-one")) as book:
        assert book.ask("GET", f"/runs/{run}/judged.json")[0] == 200
        at = Watched(browser, 1280, 900, "light")
        at.tab.goto(f"{book.address}runs/{run}")
        at.tab.locator("figure[data-ready]").wait_for()
        whole = {name: at.tab.evaluate(POINT, [t_s, 430, 0]) for name, t_s in (("hold", 2300), ("climb", 700))}
        assert whole["hold"] != whole["climb"]
        signs = [
            at.tab.evaluate(
                "at => [at, document.querySelector('figure').runChart.pulls().find(m => m.at_s === at).full]", t_s
            )
            for t_s in (5485.0, 6145.0)
        ]
        assert [full for _, full in signs] == [True, False]
        inked = """t_s => {
          const u = document.querySelector("figure").runChart.chart, x = Math.round(u.valToPos(t_s, "x", true));
          return [...u.ctx.getImageData(x - 2, u.bbox.top + 3, 1, 1).data].slice(0, 3).reduce((a, b) => a + b);
        }"""
        assert at.tab.evaluate(inked, 5485.0) < 200  # full: ink
        assert at.tab.evaluate(inked, 6145.0) > 600  # empty: paper
        assert "full where a piece failed" in at.tab.text_content("figure")
        at.tab.get_by_role("button", name="10 min at 780 °C").click()  # now its band is high enough
        at.tab.wait_for_timeout(400)
        assert at.tab.evaluate(POINT, [2300, 765, 0]) == at.tab.evaluate(POINT, [2200, 765, 0])
        assert at.problems == []


@pytest.mark.browser
def test_fingers_zoom_and_move_and_a_mouse_drags(browser: Any, samples: ServedBook) -> None:
    assert samples.ask("GET", f"/runs/{SHORT}/judged.json")[0] == 200  # else the page is shown anew when it is
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    tab = context.new_page()
    tab.goto(f"{samples.address}runs/{SHORT}")
    tab.locator("figure[data-ready]").wait_for()
    chart = "document.querySelector('figure').runChart"
    over = tab.locator(".u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    left, middle = box["x"], box["y"] + box["height"] / 2
    hands = context.new_cdp_session(tab)

    def touch(kind: str, *places: float) -> None:
        points = [{"x": left + place * box["width"], "y": middle, "id": k} for k, place in enumerate(places)]
        hands.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 0.5)
    touch("touchMove", 0.75)
    touch("touchEnd")
    assert tab.text_content("figure .reading").startswith("1:29:")  # three quarters of 1:58:55
    whole = tab.evaluate(f"{chart}.whole")
    touch("touchStart", 0.4, 0.6)
    touch("touchMove", 0.3, 0.7)
    touch("touchMove", 0.2, 0.8)
    touch("touchEnd")
    part = tab.evaluate(f"{chart}.part")
    assert part[1] - part[0] == pytest.approx((whole[1] - whole[0]) / 3, rel=0.05)
    touch("touchStart", 0.4, 0.6)
    touch("touchMove", 0.2, 0.4)
    touch("touchEnd")
    moved = tab.evaluate(f"{chart}.part")
    assert moved[0] - part[0] == pytest.approx(0.2 * (part[1] - part[0]), rel=0.1)
    context.close()
    at = Watched(browser, 1280, 900)
    at.tab.goto(f"{samples.address}runs/{SHORT}")
    at.tab.locator("figure[data-ready]").wait_for()
    at.tab.locator(".u-over").scroll_into_view_if_needed()
    box = at.tab.locator(".u-over").bounding_box()
    at.tab.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 100)
    at.tab.mouse.down()
    at.tab.mouse.move(box["x"] + 0.75 * box["width"], box["y"] + 102, steps=4)
    with at.tab.expect_response(lambda answer: "from=" in answer.url):
        at.tab.mouse.up()
    part = at.tab.evaluate(f"{chart}.part")
    assert (part[0] / whole[1], part[1] / whole[1]) == pytest.approx((0.5, 0.75), abs=0.01)
    at.tab.locator(".u-over").dblclick()
    assert at.tab.evaluate(f"{chart}.part") == whole
    assert at.problems == []


@pytest.mark.browser
def test_several_runs_stand_over_each_other_at_a_hold_or_from_their_starts(browser: Any, tmp_path: Path) -> None:
    with served(sample_book(tmp_path / "book", "good", "short-soak")) as book:
        for run in (GOOD, SHORT):
            assert book.ask("GET", f"/runs/{run}/judged.json")[0] == 200
        at = Watched(browser, 1280, 900)
        at.tab.goto(f"{book.address}runs")
        for box in at.tab.get_by_role("checkbox").all():
            box.check()
        at.tab.get_by_role("button", name="Lay the ticked runs").click()
        at.tab.locator("figure[data-ready]").wait_for()
        chart = "document.querySelector('figure').runChart"
        drawn = [json.loads(book.ask("GET", f"/runs/{run}/chart.json")[2]) for run in (SHORT, GOOD)]
        shifts = [one["holds"][-1]["aligned_s"] for one in drawn]
        assert at.tab.evaluate(f"{chart}.shift") == shifts
        at.tab.get_by_label("Set to nought at").select_option("start")
        assert at.tab.evaluate(f"{chart}.shift") == [0, 0]
        assert at.tab.locator(".legend button").count() == 4
        assert at.problems == []


def test_the_chart_is_asked_for_in_parts(samples: ServedBook) -> None:
    def lines(query: str) -> dict[str, Any]:
        status, headers, text = samples.ask("GET", f"/runs/{SHORT}/chart.json?{query}")
        assert (status, headers["content-type"]) == (200, "application/json")
        found: dict[str, Any] = json.loads(text)
        return found

    whole, part = lines(""), lines("from=3000&to=3600&points=100")
    assert part["part_s"] == [3000.0, 3600.0]
    assert all(2995 <= t <= 3605 for t in part["lines"][0]["t_s"])
    assert lines("from=nan&to=inf&points=x")["part_s"] == whole["part_s"]
    assert lines("from=9e9&to=-9e9")["lines"][0]["shown"][-1] is not None
    assert lines("points=1e99")["run"] == SHORT


def test_a_small_picture_breaks_where_nothing_was_read(samples: ServedBook) -> None:
    def strokes(run: str) -> list[int]:
        status, headers, svg = samples.ask("GET", f"/runs/{run}/thumbnail.svg")
        assert (status, headers["content-type"]) == (200, "image/svg+xml")
        return [path.count("M") for path in re.findall(r' d="([^"]+)"', svg)]

    runs = set(re.findall(r'href="/runs/([\w-]+_\d+)"', samples.ask("GET", "/runs")[2]))
    (gap,) = runs - {GOOD, SHORT}
    assert strokes(gap) == [2, 2]
    assert strokes(GOOD) == [1, 1]


def test_readings_are_kept_while_their_files_stay_as_they_are(tmp_path: Path) -> None:
    run = new_run(tmp_path)
    fill(run, 5)
    kept = LinesKept()
    first = kept.lines(run.path)
    assert first.stop_s == 4.0
    assert kept.lines(run.path) is first
    fill(run, 5, start=5)
    run.sync()
    assert kept.lines(run.path).stop_s == 9.0
    assert kept.picture(run.path).count("<path") == 2
    for k in range(RUNS_KEPT + 2):
        kept.lines(sealed_run(tmp_path / str(k), 10))
    assert len(kept._lines) == RUNS_KEPT
    run.close()
