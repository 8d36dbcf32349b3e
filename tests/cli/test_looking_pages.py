"""Runs and pieces to look at in the book: filters, charts, sheets, lives; by a real server and a headless Chromium."""

from __future__ import annotations

import html
import json
import re
import shutil
import time
import urllib.parse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.dispositions import add_disposition
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.kept import Computed, keep
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import give_recipe, run_named, take_in
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.cli.book.piece_page import of_piece
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.cli.books import INJECTED, ServedBook, served
from tests.cli.browsers import Watched
from tests.cli.sample_books import GOOD, ROOT, SHORT, sample_book
from tests.log_books import STAMP
from tests.run_folders import STARTED_UTC, fill, new_run

SIZES = [(390, 844, "dark"), (1280, 900, "light")]
# what has a name for who cannot see: a text, a label, or aria-label
NAMELESS = """() => [...document.querySelectorAll("a, button, input, select, summary, [tabindex='0'], [role=img]")]
  .filter(e => e.tabIndex >= 0 || e.getAttribute("role") === "img")
  .filter(e => !e.textContent.trim() && !e.getAttribute("aria-label") && !e.labels?.[0]?.textContent.trim())
  .map(e => e.outerHTML.slice(0, 200))"""


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBook]:
    with served(sample_book(tmp_path_factory.mktemp("samples") / "book", "good", "short-soak", "gap")) as book:
        yield book


def answer_with_markup() -> str:
    """A kept verdict whose every sentence carries markup."""
    words = {"says": f"Says {INJECTED}", "next": f"Do {INJECTED}"}
    finding = {"code": "short soak", "severity": "fail", "step": 1, **words}
    hold = {
        "step": 1, "kind": "hold", "target_c": 1040.0, "band_c": [1034.0, 1046.0], "required_s": 20.0, "judged": True,
        "enter_s": 20.0, "leave_s": 50.0, "control_enter_s": 10.0, "soak_s": {"low": 1.0, "best": 10.0, "high": 30.0},
        "verdict": "fail",
        "pieces": [{"piece": INJECTED, "soak_s": {"best": 10.0}, "verdict": "fail", "pull_s": 50.0}],
    }  # fmt: skip
    return json.dumps(
        {
            "verdict": "fail",
            "in_short": {"says": f"Short {INJECTED}", "next": f"Next {INJECTED}", "not_known": [f"this {INJECTED}"]},
            "steps": [hold],
            "findings": [{**finding, "at_s": 30.0, "until_s": 40.0, "pieces": [INJECTED]}],
            "sensor_error": {"says": f"error {INJECTED}"},
            "decision_rule": {"says": f"rule {INJECTED}"},
            "decided_on": INJECTED,
            "sensor": INJECTED,
            "would_prove": [INJECTED],
            "not_seen": [INJECTED],
        }
    )


def book_with_markup(folder: Path) -> tuple[Path, str]:
    """A log book in which every text that a person or another program wrote carries markup."""
    columns = (
        Column(f"control {INJECTED}", "sensor", "C", role="control"),
        Column(f"load {INJECTED}", "sensor", "C", role="load"),
    )
    run = RunFolder.create(
        folder,
        columns=columns,
        furnace_name=f"Shed {INJECTED}",
        started_utc=1_795_590_902.0,
        every_s=1.0,
        recipe_name=f"Blades {INJECTED}",
        recipe_file='name = "x"',
        operator=f"Ana {INJECTED}",
    )
    for second in range(60):
        run.write_row(second, 1_795_590_902.0 + second, {columns[0].name: 1030.0 + second, columns[1].name: 1000.0})
    run.write_event(10, 1_795_590_912.0, "mark", "load; id a1; pieces M-1")
    run.write_event(20, 1_795_590_922.0, "mark", f"note; id a2; note {INJECTED}")
    run.close()
    with open_logbook(folder, create=True) as book:
        take_in(book, stamp=STAMP)
        name = run_named(book, run.path.name).run
        enter_markup(book, name)
    return folder, name


def enter_markup(book: LogBook, run: str) -> None:
    who = replace(STAMP, by=f"Ben {INJECTED}")
    texts = {name: f"{name} {INJECTED}" for name in ("steel", "lot", "stamp", "customer", "order", "note")}
    add_pieces(book, [Piece("M-1", **texts)], stamp=who)  # type: ignore[arg-type]
    charge_pieces(book, ["M-1"], run=run, place=f"slot {INJECTED}", note=INJECTED, stamp=who)
    test = HardnessReading((60.0, 60.1, 60.2))
    when = {"measured_utc": "2026-11-26T08:00:00Z", "side": "after", "step": "temper"}
    add_hardness(book, "M-1", test, **when, spot=INJECTED, tester=INJECTED, note=INJECTED, stamp=who)  # type: ignore[arg-type]
    add_treatment(book, ["M-1"], "temper", start_utc="2026-11-26T07:00:00Z", oven=INJECTED, note=INJECTED, stamp=who)
    digest = run_named(book, run).recipe_digest
    keep(book, [(Computed(run, digest, "fail", answer_with_markup(), "{}", "{}"), None)], stamp=who)
    add_disposition(book, run, "scrap", finding="short soak", step=1, why=INJECTED, stamp=who)
    add_disposition(book, run, "hold back", why=INJECTED, stamp=who)


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_markup_in_every_field_is_shown_as_text(
    browser: Any, tmp_path: Path, width: int, height: int, scheme: str
) -> None:
    folder, run = book_with_markup(tmp_path / "book")
    with served(folder) as book:
        at = Watched(browser, width, height, scheme)
        shown = {
            "runs?words=<script>window.broken=1</script>&month=2026-11": ("<script>window.broken=1</script>",),
            "runs": (f"Short {INJECTED}", f"Shed {INJECTED}", f"Blades {INJECTED}"),
            f"runs/{run}": (
                f"Short {INJECTED}", f"Next {INJECTED}", f"Says {INJECTED}", f"Do {INJECTED}", f"slot {INJECTED}",
                f"Decided about short soak, step 1: scrap: {INJECTED} (Ben {INJECTED}, ", f"rule {INJECTED}",
                f"recorded by Ana {INJECTED}",
            ),
            f"runs/over-each-other?run={run}&run={run}": (f"Short {INJECTED}",),
            "pieces": (f"steel {INJECTED}", f"customer {INJECTED}"),
            "pieces?lot=<b>7</b>": ("0 pieces found.",),
            "pieces/M-1": (f"note {INJECTED}", f"the run failed by {INJECTED}", INJECTED),
        }  # fmt: skip
        for path, words in shown.items():
            at.tab.goto(book.address + path)
            said = at.tab.text_content("body") + "".join(
                at.tab.eval_on_selector_all("input, option", "all => all.map(e => e.value)")
            )
            for each in words:
                assert each in said, (path, each)
            assert at.tab.evaluate("window.broken") is None
            assert at.fits(width), path
            assert at.tab.evaluate(NAMELESS) == []
        at.tab.goto(f"{book.address}runs/{run}")
        at.tab.locator("figure[data-ready]").wait_for()
        assert f"control {INJECTED}" in at.tab.text_content("figure .legend")
        at.tab.locator("figure .plot").focus()
        at.tab.keyboard.press("ArrowRight")
        assert f"control {INJECTED} 1" in at.tab.text_content("figure .reading")
        assert at.tab.locator("script").count() == at.tab.locator("script[src^='/static/']").count()
        assert at.problems == []
        assert all(url.startswith(book.address) for url in at.asked)


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_from_a_soft_blade_to_its_run_and_why(
    browser: Any, tmp_path: Path, width: int, height: int, scheme: str
) -> None:
    """C-03 is soft. Which run was it hardened in, what was wrong, and on paper: by taps alone."""
    with served(sample_book(tmp_path / "book", "good", "short-soak")) as book:
        at = Watched(browser, width, height, scheme)
        tab = at.tab
        tab.goto(f"{book.address}pieces")
        tab.get_by_label("Words").fill("c-03")
        tab.get_by_role("button", name="Find").click()
        tab.get_by_role("link", name="C-03").click()
        assert tab.text_content("h1").startswith("C-03 has 55.1 HRC after temper")
        tab.get_by_role("link", name="Too short:").click(timeout=60_000)  # judged while one looks
        tab.locator("figure[data-ready]").wait_for()
        assert "were at 1040 °C for 11.2 of 15 min" in tab.text_content("h1")
        assert "11.2 of 15 min" in tab.text_content("section")
        # the flag leads to its place in the chart, the place is read aloud
        tab.get_by_role("button", name="1:48:14 short soak").click()
        assert tab.text_content("figure .reading").startswith("1:48:1")
        chart = "document.querySelector('figure').runChart"
        assert tab.evaluate(f"{chart}.part[1] - {chart}.part[0]") == pytest.approx(1200)
        with tab.expect_response(lambda answer: "from=" in answer.url):
            tab.get_by_role("button", name="15 min at 1040").click()
        tab.locator("figure .plot").focus()
        before = tab.evaluate(f"{chart}.part")
        tab.keyboard.press("+")
        closer = tab.evaluate(f"{chart}.part")
        assert before[0] <= closer[0] < closer[1] <= before[1]
        tab.keyboard.press("Home")
        assert tab.evaluate(f"{chart}.part") == tab.evaluate(f"{chart}.whole")
        tab.locator("summary", has_text="How was this decided?").click()
        tab.get_by_role("link", name="How each figure is defined").click()
        assert tab.text_content("h1") == "How the figures are defined"
        tab.go_back()
        printed = tab.get_by_role("link", name="Print its sheet").get_attribute("href")
        answer = tab.request.get(book.address.rstrip("/") + printed)
        assert (answer.status, answer.headers["content-type"], answer.body()[:5]) == (200, "application/pdf", b"%PDF-")
        piece = tab.request.get(f"{book.address}pieces/c-03/sheet.pdf")
        assert piece.body()[:5] == b"%PDF-"
        assert at.problems == []
        assert all(url.startswith(book.address) for url in at.asked)
        if Path("/proc/self/maps").exists():  # nothing of this was loaded into the serving process
            loaded = Path(f"/proc/{book.child.pid}/maps").read_text(encoding="utf-8")
            assert not re.search("numpy|pandas|scipy|matplotlib", loaded)


@pytest.mark.browser
def test_a_decision_is_made_from_a_pieces_page_and_stands_there(browser: Any, tmp_path: Path) -> None:
    with served(sample_book(tmp_path / "book", "short-soak")) as book:
        at = Watched(browser, 390, 844)
        tab = at.tab
        tab.goto(f"{book.address}pieces/C-03")
        tab.get_by_role("link", name="Too short:").wait_for(timeout=60_000)
        tab.get_by_role("link", name="Decide about this run").click()
        section = tab.locator("section", has_text="Short soak, step 4")
        section.get_by_role("radio", name="use as it is").check()
        section.get_by_label("Why").fill("cut-off test at 60 HRC")
        section.get_by_role("button", name="Enter").click()
        tab.get_by_role("link", name="C-03").click()
        decided = tab.locator("li", has_text="Too short:").locator(".decided")
        assert decided.text_content().startswith(
            "Decided about short soak, step 4: use as it is: cut-off test at 60 HRC ("
        )
        tab.goto(f"{book.address}pieces/C-03/enter")
        assert tab.get_by_role("link", name="Decide").get_attribute("href") == f"/runs/{SHORT}/decide"
        assert at.problems == []


@pytest.mark.browser
def test_a_list_fills_with_verdicts_while_one_looks(browser: Any, tmp_path: Path) -> None:
    with served(sample_book(tmp_path / "book", "good", "short-soak")) as book:
        at = Watched(browser, 1280, 900)
        at.tab.goto(f"{book.address}runs")
        at.tab.get_by_role("link", name="Too short:").wait_for(timeout=60_000)
        at.tab.locator(".log .tag.bad", has_text="fail").wait_for()
        assert at.problems == []


NOW = "It is being compared with its recipe now."


@pytest.mark.parametrize(
    "path", ["/", "/runs", f"/runs/{SHORT}", f"/runs/{SHORT}/decide", "/enter", "/pieces/C-03", "/pieces/C-03/enter"]
)
def test_a_run_without_a_verdict_says_what_is_under_way_and_is_asked_for(tmp_path: Path, path: str) -> None:
    with served(sample_book(tmp_path / "book", "short-soak")) as book:
        page = book.ask("GET", path)[2]
        assert NOW in page.replace("One of its runs is", "It is")
        (asked,) = set(re.findall(r'data-judged="([^"]+)"', page))
        assert asked.removesuffix("?over") == f"/runs/{SHORT}/judged.json"
        assert "being_judged.js" in page
        told = json.loads(book.ask("GET", asked)[2])
        assert (told["verdict"], told["says"][:10]) == ("fail", "Too short:")
        after = book.ask("GET", path)[2]
        assert NOW not in after
        assert "data-judged" not in after


@pytest.mark.parametrize("path", ["/", "/runs", "/runs/RUN", "/runs/RUN/decide", "/enter"])
def test_a_run_that_cannot_be_compared_says_so_and_is_waited_for_no_longer(tmp_path: Path, path: str) -> None:
    recipe = (ROOT / "sample_logs" / "recipes" / "paring-blades.toml").read_text()
    run = new_run(tmp_path / "book", recipe_name="Paring blades, harden", recipe_file=recipe)
    fill(run, 3)  # fewer readings than any comparison takes
    run.seal(sealed_utc=STARTED_UTC + 3)
    name = run.path.name
    with open_logbook(tmp_path / "book", create=True) as kept:
        take_in(kept, stamp=STAMP)
        (trouble,) = refresh(kept, stamp=STAMP).troubles
    assert trouble.count(f"{name}:") == 1
    assert f"soakwitness runs {name} --strike --why REASON" in trouble  # or it waits for a verdict for ever
    with served(tmp_path / "book") as book:
        page = book.ask("GET", path.replace("RUN", name))[2]
        assert NOW not in page
        assert "It could not be compared with its recipe" in page


@pytest.mark.browser
@pytest.mark.parametrize("path", ["", "enter", f"runs/{SHORT}/decide"])
def test_the_verdict_shows_itself_where_one_waits_for_it(browser: Any, tmp_path: Path, path: str) -> None:
    with served(sample_book(tmp_path / "book", "short-soak")) as book:
        at = Watched(browser, 390, 844)
        at.tab.goto(book.address + path)
        at.tab.get_by_text("Too short:").first.wait_for(timeout=60_000)
        assert at.tab.locator(".where .tag.bad", has_text="fail").count() == 1
        assert NOW not in at.tab.text_content("main")
        assert at.problems == []


@pytest.mark.browser
def test_a_verdict_that_comes_takes_nothing_away_that_is_filled_in(browser: Any, tmp_path: Path) -> None:
    with served(sample_book(tmp_path / "book", "short-soak")) as book:
        at, held = Watched(browser, 390, 844), []
        at.tab.route("**/judged.json*", lambda route: held.append(route))
        at.tab.goto(f"{book.address}runs/{SHORT}/decide")
        at.tab.locator("summary").first.click()
        at.tab.get_by_label("Why").fill("half a reason")
        at.tab.locator("h1").click()  # the field is left; what is in it counts
        held[0].continue_()
        at.tab.get_by_text("The verdict is there.").wait_for(timeout=60_000)
        assert at.tab.get_by_label("Why").input_value() == "half a reason"
        at.tab.unroute("**/judged.json*")
        at.tab.get_by_role("link", name="Show it").click()
        at.tab.locator("h1", has_text="Too short:").wait_for()
        assert at.problems == []


# flags as (place, width of the words) in a picture from 0 to 300; then where each is put: row, begin of the words
STAIRS = [
    ([(100, 60), (130, 80)], [[0, 40], [1, 50]]),  # to the left, each staff beside the words below
    ([(20, 60), (50, 80)], [[1, 20], [0, 50]]),  # no room to the left: the other way round
    ([(100, 60), (290, 60)], [[0, 40], [0, 230]]),  # far from each other: one row
    ([(150, 290), (160, 40)], [[-1, 150], [0, 120]]),  # words that fit nowhere are left to the list
]


@pytest.mark.browser
def test_words_in_a_picture_stand_on_no_others(browser: Any, samples: ServedBook) -> None:
    tab = browser.new_page()
    tab.goto(f"{samples.address}runs")
    asked = (
        "([f, m]) => import('/static/chart_painting.js').then((p) => [p.placedFlags(f, 0, 300), p.placedMarks(...m)])"
    )
    for flags, placed in STAIRS:
        given = [{"x": x, "wide": wide} for x, wide in flags]
        found, _ = tab.evaluate(asked, [given, [[], [], 0, 300]])
        assert [[one["row"], one["begin"]] for one in found] == placed
    # 10 px from the edge, 30 px from it, 4 px and 30 px behind another line
    marks = [10, 40, 44, 74]
    assert tab.evaluate(asked, [[], [marks, marks, 0, 300]])[1] == ["", "left", "", "left"]
    assert tab.evaluate(asked, [[], [marks, marks, 0, 600]])[1] == ["right", "", "right", "right"]


@pytest.mark.browser
def test_a_chart_on_a_phone_has_room_for_its_numbers(browser: Any, samples: ServedBook) -> None:
    """Half of the last time stands right of the last line: 52 px is the widest, 0:00:00."""
    at = Watched(browser, 390, 844)
    at.tab.goto(f"{samples.address}runs/{SHORT}")
    at.tab.locator("[data-judged]").first.wait_for(state="detached", timeout=60_000)
    at.tab.locator("figure[data-ready]").wait_for()
    chart = "document.querySelector('figure').runChart.chart"
    right = at.tab.evaluate(f"{chart}.width - ({chart}.bbox.left + {chart}.bbox.width) / devicePixelRatio")
    assert right >= 26
    wide = "(words) => { const c = document.createElement('canvas').getContext('2d'); "
    wide += "c.font = '14px system-ui, sans-serif'; return c.measureText(words).width; }"
    left = at.tab.evaluate(f"{chart}.bbox.left / devicePixelRatio")
    assert left >= at.tab.evaluate(wide, "1000 °C") + 15  # uPlot's own tick and gap


RECIPE_IN_F = """
name = "Paring blades in Fahrenheit, harden"
unit = "F"
load = "cold"

[[step]]
ramp = "full power"
to = 1436

[[step]]
hold_minutes = 10
tolerance = 14

[[step]]
ramp = "full power"
to = 1904

[[step]]
hold_minutes = 15
tolerance = 11
"""


@pytest.mark.browser
def test_a_recipe_in_fahrenheit_is_told_in_fahrenheit(browser: Any, tmp_path: Path) -> None:
    folder = sample_book(tmp_path / "book", "short-soak")
    with open_logbook(folder) as book:
        give_recipe(book, SHORT, "Paring blades in Fahrenheit, harden", RECIPE_IN_F, stamp=STAMP)
    with served(folder) as shown:
        at = Watched(browser, 1280, 900)
        at.tab.goto(f"{shown.address}runs/{SHORT}")
        at.tab.locator("h1", has_text="were at 1904 °F for").wait_for(timeout=60_000)
        at.tab.locator("figure[data-ready]").wait_for()
        assert "15 min at 1904 °F" in at.tab.text_content("section")
        at.tab.locator("figure .plot").focus()
        at.tab.keyboard.press("ArrowRight")
        assert re.search(r"control \d{4}[.\d]* °F", at.tab.text_content("figure .reading"))
        assert "°C" not in at.tab.text_content("main")
        assert at.problems == []


def test_filters_and_pages_are_plain_addresses(samples: ServedBook) -> None:
    def listed(query: str) -> list[str]:
        status, _, text = samples.ask("GET", f"/runs?{query}")
        assert status == 200
        return re.findall(r'<a href="/runs/(\w+-furnace_\d+)"', text)

    every = listed("")
    assert {SHORT, GOOD} < set(every)
    assert listed("piece=C-03") == [SHORT]
    assert listed("steel=s44004") == every  # their recipe names it
    assert listed("steel=1.2519") == []
    assert listed("words=huber") == [SHORT]
    assert listed("month=2026-03") == every
    assert listed("month=2026-04") == []
    assert listed("page=2") == []
    assert listed("page=rubbish") == every
    for query, words in (("month=March", "is no month"), ("verdict=passed", "is no verdict")):
        assert words in samples.ask("GET", f"/runs?{query}")[2]


NOWHERE = ("runs/none", "runs/none/chart.json", "runs/none/thumbnail.svg", "runs/none/sheet.pdf", "pieces/none")


def test_a_gap_in_a_life_leads_to_where_the_page_enters_it(tmp_path: Path) -> None:
    folder = sample_book(tmp_path / "book", "short-soak")
    asked = RECIPE_IN_F.replace('load = "cold"', 'load = "cold"\norder = ["harden", "cold treatment", "temper"]')
    with open_logbook(folder) as book:
        give_recipe(book, SHORT, "With a cold treatment", asked, stamp=STAMP)
    told = CliRunner().invoke(soakwitness, ["piece", "history", "C-03", "--logbook", str(folder)]).output
    assert "is not on record. Enter it: soakwitness piece treatment" in re.sub(r"\s+", " ", told)
    with served(folder) as book:
        page = re.sub(r"\s+", " ", html.unescape(book.ask("GET", "/pieces/C-03")[2]))
    assert "is not on record. Enter it: Enter something else, on the piece's page" in page
    assert "soakwitness " not in page


@pytest.mark.parametrize("path", NOWHERE)
def test_what_is_not_on_record_is_not_found(samples: ServedBook, path: str) -> None:
    assert samples.ask("GET", f"/{path}")[0] == 404
    assert samples.ask("GET", "/runs/..%2f..%2flogbook.sqlite")[0] == 404
    assert samples.ask("GET", f"/pieces/{urllib.parse.quote(INJECTED, safe='')}")[0] == 404


@pytest.mark.browser
def test_a_run_whose_folder_is_gone_says_so(browser: Any, tmp_path: Path) -> None:
    folder = sample_book(tmp_path / "book", "good")
    shutil.rmtree(folder / "runs" / "good")
    with served(folder) as book:
        at = Watched(browser, 390, 844)
        at.tab.goto(f"{book.address}runs/{GOOD}")
        assert at.tab.text_content("h1") == "Its folder is missing: nothing of it can be looked at."
        assert "Its folder is missing." in book.ask("GET", "/runs")[2]
        assert at.problems == []


def test_while_another_program_writes_the_pages_come_all_the_same(tmp_path: Path) -> None:
    folder = sample_book(tmp_path / "book", "good")
    with served(folder) as book, open_logbook(folder) as other:
        other.connection.execute("BEGIN IMMEDIATE")
        shutil.copytree(ROOT / "sample_logs" / "short-soak", folder / "runs" / "short-soak")
        begun = time.monotonic()
        for path in ("/runs", f"/runs/{GOOD}", "/pieces/C-03"):
            assert book.ask("GET", path)[0] == 200
        assert time.monotonic() - begun < 9.0  # three times a short patience, and a loaded machine
        assert SHORT not in book.ask("GET", "/runs")[2]
        other.connection.rollback()
        assert SHORT in book.ask("GET", "/runs")[2]


def test_a_run_that_is_being_recorded_says_so(tmp_path: Path) -> None:
    run = new_run(tmp_path / "book")
    fill(run, 30)
    run.sync()
    lock = Lock(run.path / RUN_LOCK, {"who": "recorder"})
    with served(tmp_path / "book") as book:
        assert "It is being recorded." in book.ask("GET", "/runs")[2]
        assert "this is what is known so far" in book.ask("GET", f"/runs/{run.path.name}")[2]
        (entry,) = re.findall(r'data-judged="([^"]+)\?over"', book.ask("GET", f"/runs/{run.path.name}")[2])
        assert json.loads(book.ask("GET", f"{entry}?over")[2])["recorded"]
        data = json.loads(book.ask("GET", f"/runs/{run.path.name}/chart.json")[2])
        assert data["whole_s"] == [0.0, 29.0]
        run.close()
        lock.release()
        assert "It was cut off." in book.ask("GET", "/runs")[2]


def test_a_log_book_that_is_none_yet_says_so(tmp_path: Path) -> None:
    with served(tmp_path / "nothing") as book:
        for path in ("/runs", "/pieces"):
            status, _, text = book.ask("GET", path)
            assert status == 200
            assert "there is no log book here" in text


@pytest.mark.parametrize(
    ("piece", "says"),
    [
        ("C-01", None),  # the run's own sentence leads with it
        ("C-03", "C-03 took 45 s."),
        ("C-02", "Nothing failed of C-02; the run failed by C-01 and C-03."),
    ],
)
def test_a_piece_is_told_what_failed_of_itself(piece: str, says: str | None) -> None:
    short = {"severity": "fail", "pieces": ["C-01"], "says": "Too short."}
    late = {"severity": "fail", "pieces": ["C-03"], "says": "C-03 took 45 s."}
    assert of_piece({"findings": [short, late, {"severity": "warn", "pieces": [], "says": "A gap."}]}, piece) == says


def test_what_failed_of_all_is_told_in_the_runs_own_sentence() -> None:
    assert of_piece({"findings": [{"severity": "fail", "pieces": [], "says": "Too hot."}]}, "C-02") is None
    assert of_piece({}, "C-02") is None
