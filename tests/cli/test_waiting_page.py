"""*Waiting*: the sentences of ``today``, and door dips that are confirmed by a button."""

from __future__ import annotations

import json
import re
import shutil
import time
import urllib.parse
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from starlette.applications import Starlette
from starlette.requests import Request

from soakwitness.analysis.waiting.waiting_acts import Concern, WaitingAct
from soakwitness.cli.book.app import PAGES
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.devices import Devices
from soakwitness.cli.book.settled_where import settled_where
from soakwitness.cli.book.states import States
from soakwitness.cli.book.working import WorkerProcess
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.runfolder.late import strike_late
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_header, read_marks
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.cli.axe import broken_rules, needs_axe
from tests.cli.books import ServedBook, served, until
from tests.cli.browsers import chromium
from tests.make_sample_logs import SAMPLES
from tests.run_folders import COLUMNS


def run(*words: object) -> Result:
    done = CliRunner().invoke(soakwitness, [str(word) for word in words])
    assert done.exit_code == 0, done.stderr
    return done


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    """A log book with the sample ``good``, its marks struck out: A was pulled at 6401 s, B at 6431 s."""
    folder = tmp_path / "runs" / read_header(SAMPLES / "good").run
    shutil.copytree(SAMPLES / "good", folder)
    for mark in read_marks(folder):
        strike_late(folder, mark.mark_id, why="a test", by=None, now_utc=1.8e9)
    run("piece", "add", "A", "B", "--thickness-mm", 3, "--logbook", tmp_path)
    run("piece", "charge", "last", "A", "B", "--logbook", tmp_path)
    return tmp_path


def page(book: ServedBook) -> str:
    status, _, text = book.ask("GET", "/waiting")
    assert status == 200
    return re.sub(r"\s+", " ", unescape(text))


def test_it_says_what_today_says_and_where_it_is_settled(tmp_path: Path) -> None:
    """What a page has is a link there, filled in as the command is; what only a terminal has is typed out."""
    begun = time.time() - 7200.0
    made = RunFolder.create(tmp_path, columns=COLUMNS, furnace_name="Ana's & shed", started_utc=begun, every_s=1.0)
    made.close()
    made.seal(sealed_utc=begun + 60.0)
    told = json.loads(run("today", "--json", "--logbook", tmp_path).stdout)["waiting"]
    with served(tmp_path) as book:
        text = page(book)
    links = {
        "cut-out test": "/furnace/cut-out?furnace=Ana%27s+%26+shed",
        "first runs": "/enter/charge?furnace=Ana%27s+%26+shed&empty=yes",
        "look": None,  # it has no recipe: a terminal names one
    }
    assert {act["kind"] for act in told} == set(links)
    for act in told:
        assert re.sub(r"\s+", " ", act["says"]) in text
        link = links[act["kind"]]
        assert (act["settle"] in text) == (link is None)
        assert link is None or f'<a class="step" href="{link}">' in text


def test_what_a_command_settles_is_settled_on_the_page_that_has_it(tmp_path: Path) -> None:
    """Each kind of settling command that ``analysis/waiting`` makes."""
    desk = Desk(tmp_path, States(tmp_path), Devices(tmp_path), WorkerProcess(tmp_path))
    request = Request({"type": "http", "app": Starlette(routes=[r for one in PAGES for r in one.routes(desk)])})
    about = (Concern("piece", "B-1"), Concern("piece", "B-2"), Concern("run", "r1"), Concern("furnace", "Ana's & shed"))
    furnace = "furnace=Ana%27s+%26+shed"
    for kind, words, path in (
        ("temper", "piece treatment temper B-1 B-2", "/pieces/B-1/treatment?kind=temper"),
        ("cold treatment", "piece treatment 'cold treatment' B-1", "/pieces/B-1/treatment?kind=cold+treatment"),
        ("hardness", "piece hardness B-1 HRC --after temper", "/pieces/B-1/hardness"),
        ("decision", "disposition r1 --decide DECISION --why REASON", "/runs/r1/decide"),
        ("recording", "runs r1", "/runs/r1"),
        ("look", "verify r1", "/runs/r1"),
        ("hot", "mark pull --run r1", "/"),
        ("temper", "piece add B-1 B-2", "/enter/charge"),
        ("first runs", "piece charge next --empty --furnace shed", f"/enter/charge?{furnace}&empty=yes"),
        ("first runs", "condition shed", f"/look/condition?{furnace}"),
        ("cut-out test", "cutout shed --set TEMPERATURE", f"/furnace/cut-out?{furnace}"),
    ):
        act = WaitingAct(kind, "soon", Says("."), about, f"soakwitness {words}", ())
        assert settled_where(request, act).path == path, words
        assert settled_where(request, act).typed is None, words
    for words, page in (
        ("calibrate --help", "calibration"),
        ("logbook backup FILE.zip", "files"),
        ("record FURNACE.toml", "first-run"),
        ("verify r1 --recipe RECIPE.toml", "verify"),
        ("runs --doubtful", None),
        ("today r1 --not-needed temper --why REASON", None),
        ("piece charge r1 PIECE", None),
    ):
        act = WaitingAct("look", "soon", Says("."), about, f"soakwitness {words}", ())
        found = settled_where(request, act)
        assert found.typed == f"soakwitness {words}"
        assert found.path == (page and f"/guide/{page}"), words


def test_a_run_that_may_be_no_heating_is_asked_about_and_has_a_page(tmp_path: Path) -> None:
    """An hour ago: only the last 30 days are asked for."""
    start_s = time.time() - 3600.0
    run = RunFolder.create(tmp_path, columns=COLUMNS, furnace_name="small furnace", started_utc=start_s, every_s=1.0)
    run.write_event(0, start_s, "doubtful", "level above 70 °C, by the heater or by hot bricks")
    run.write_row(0, start_s, {"control": 90.0})
    run.seal(sealed_utc=start_s + 1)
    with served(tmp_path) as book:
        text = page(book)
        assert "may be no heating: level above 70 °C, by the heater or by hot bricks." in text
        assert "soakwitness runs --doubtful" in text
        assert f'href="/runs/{run.path.name}"' in text
        assert book.ask("GET", f"/runs/{run.path.name}")[0] == 200


def test_dips_are_confirmed_by_a_button_as_the_command_confirms_them(logbook: Path) -> None:
    folder = next((logbook / "runs").iterdir())
    question = "Were these the pulls of A and B, in the order of the rack?"
    with served(logbook) as book:
        text: Any = until(lambda: text if question in (text := page(book)) else None, 60.0)
        assert 'asked for <a href="#unmarked">below</a>' in text
        assert "Nothing else is waiting" not in text
        action = re.search(r'action="(/waiting/[^"]*/inferred)"', text)
        token = re.search(r'name="form_token" value="([^"]+)"', text)
        assert action is not None
        assert token is not None
        kind, origin = "application/x-www-form-urlencoded", book.address.rstrip("/")
        body = urllib.parse.urlencode({"form_token": token[1]}).encode()
        status, headers, _ = book.ask("POST", action[1], body, content_type=kind, origin=origin)
        assert status == 303
        assert "entered as inferred, ± 10 s" in unescape(book.ask("GET", headers["location"])[2])
        assert question not in page(book)
        status, _, text = book.ask("POST", action[1], body, content_type=kind, origin=origin)
        assert (status, "nothing is offered" in text) == (422, True)
    made = [mark for mark in read_marks(folder) if not mark.struck]
    assert [(m.act, m.pieces, m.by, m.origin, m.within_s) for m in made] == [
        ("pull", ("A",), "this computer", "inferred", 10.0),
        ("pull", ("B",), "this computer", "inferred", 10.0),
    ]
    assert check_record(folder).intact


def test_a_new_furnace_shows_its_three_first_runs_and_which_is_next(tmp_path: Path) -> None:
    begun = time.time() - 7200.0
    made = RunFolder.create(tmp_path, columns=COLUMNS, furnace_name="new shed", started_utc=begun, every_s=1.0)
    made.close()
    made.seal(sealed_utc=begun + 60.0)
    with served(tmp_path) as book:
        text = book.ask("GET", "/waiting")[2]
    steps = re.findall(r'<li><span class="tag[^"]*">([^<]*)</span> ([^<]*)</li>', text)
    assert [(stands, re.split("[,:.]", says)[0]) for stands, says in steps] == [
        ("next", "Empty"),  # nobody said that its only run was empty
        ("later", "A wandering second sensor"),
        ("later", "A packet with a sensor"),
    ]
    told = json.loads(run("today", "--first-runs", "--json", "--logbook", tmp_path).stdout)["furnaces"][0]
    for (stands, says), one in zip(steps, told["first_runs"], strict=True):
        asked = text if stands == "next" else says  # the next one in the sentence above the three
        assert one["missing"] in unescape(asked)
        assert one["good_for"] in unescape(asked).lower()
    assert 'href="/guide/first-runs"' in text


def test_a_book_without_runs_says_so(tmp_path: Path) -> None:
    with served(tmp_path / "none") as book:
        assert book.ask("GET", "/waiting")[0] == 200


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_keeps_the_rules_of_accessibility(logbook: Path, scheme: str) -> None:
    needs_axe()
    with served(logbook) as book, chromium() as browser:
        tab = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme=scheme)
        tab.goto(book.address + "waiting")
        assert broken_rules(tab) == []
