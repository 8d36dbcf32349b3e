"""*Plan* in the book: the command's plan from a form, kept by a button, printed; by a real server and its workers."""

from __future__ import annotations

import asyncio
import hashlib
import html
import re
import shutil
import subprocess
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator, Mapping, MutableMapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from starlette.applications import Starlette
from starlette.routing import Route

from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.packets import keep_measured
from soakwitness.analysis.packet.packet_file import packet_text
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.cli.book import plan_page
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.devices import THIS_COMPUTER, Devices
from soakwitness.cli.book.states import States
from soakwitness.cli.book.working import WorkerProcess
from soakwitness.cli.main import soakwitness
from soakwitness.cli.telling.book_file import stop_book
from soakwitness.cli.telling.joining import join_or_start
from tests.cli.axe import broken_rules
from tests.cli.books import INJECTED, ServedBook, served, until
from tests.cli.browsers import Watched
from tests.entry_shop import run_words
from tests.furnace_days import TEMPER
from tests.log_books import STAMP
from tests.make_sample_logs import SAMPLES

SIZES = [(390, 844, "dark"), (390, 844, "light"), (1280, 900, "dark"), (1280, 900, "light")]
FURNACE = "shed furnace"
NAME = "Paring blades, harden"
DAY = f"{datetime.now(UTC) + timedelta(days=2):%Y-%m-%d}"
STARTS = f"{DAY}T07:30:00Z"
Asked = Mapping[str, str | Sequence[str]]


def digest_of(book: Path, name: str = NAME) -> str:
    with open_logbook(book) as opened:
        row = opened.row("SELECT digest FROM recipes WHERE name = ?", name)
    assert row is not None
    return str(row["digest"])


def words_of(text: str) -> str:
    """What a page says, its tags left out."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def address(asked: Asked) -> str:
    return "/plan?" + urllib.parse.urlencode({**asked, "made": "yes"}, doseq=True)


def planned(book: ServedBook, path: str) -> str:
    """The page of a plan when it is made."""

    def made() -> str | None:
        status, headers, text = book.ask("GET", path)
        if status == 303:
            return planned(book, headers["location"])
        assert status == 200, words_of(text)
        return None if "Planning ..." in text else text

    return str(until(made, within_s=120.0))


def refused(book: ServedBook, asked: Asked) -> tuple[int, str]:
    """What stands in the page as refused, when it is known."""
    path = address(asked)
    for _ in range(3):
        status, headers, _ = book.ask("GET", path)
        path = headers.get("location", path)
    status, text = until(lambda: (got := book.ask("GET", path)) and ("Planning" not in got[2]) and (got[0], got[2]), 60)
    if status == 200:
        return status, words_of(text)
    return status, words_of(" ".join(re.findall(r'class="refused"[^>]*>(.*?)</(?:p|div)>', text, re.DOTALL)))


def command(book: Path, *words: str) -> str:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "COLUMNS": "100000", "SOAKWITNESS_USER": "Ana"}
    done = CliRunner().invoke(soakwitness, ["plan", *words], env=env)
    assert done.exit_code == 0, done.output
    return done.stdout


def test_the_page_says_what_the_command_says(book: ServedBook, logbook: Path) -> None:
    asked = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS}
    for more, words in (
        ({"thickness_mm": "2,6", "count": "6", "foil": "yes"}, ["--thickness", "2.6", "--count", "6", "--foil"]),
        ({"pieces": ["B-044", "B-041 B-042"]}, [f"--piece={name}" for name in ("B-044", "B-041", "B-042")]),
    ):
        page = planned(book, address({**asked, **more}))
        said = command(logbook, NAME, "--furnace", FURNACE, "--at", STARTS, *words).splitlines()
        text = words_of(page)
        assert f"<h1>{html.escape(said[0])}</h1>" in page
        for line in said[1:]:
            heading, sentences = line[:10].strip(), " ".join(line[10:].split())
            assert f"{heading} {sentences}" in text or line in text, line
        assert "from 2 runs of this furnace" in text
        assert "--" not in text.replace("packet fit --help", "")


def test_an_hour_becomes_a_moment_in_an_address_that_stays(book: ServedBook, logbook: Path) -> None:
    asked = {"recipe_path": digest_of(logbook), "hour": "7:30", "day": DAY, "furnace": "", "thickness_mm": "3"}
    status, headers, _ = book.ask("GET", address(asked))
    assert status == 303
    query = urllib.parse.parse_qs(headers["location"].partition("?")[2])
    assert set(query) == {"recipe_path", "thickness_mm", "starts", "made"}
    moment = datetime.fromisoformat(query["starts"][0]).astimezone()
    assert f"{moment:%Y-%m-%dT%H:%M}" == f"{DAY}T07:30"
    page = planned(book, headers["location"])
    assert 'value="07:30"' in page
    assert f'value="{DAY}"' in page
    status, headers, _ = book.ask("GET", address({"recipe_path": digest_of(logbook)}))
    now = datetime.fromisoformat(urllib.parse.parse_qs(headers["location"])["starts"][0])
    assert abs((datetime.now(UTC) - now).total_seconds()) < 60


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"recipe_path": ""}, "Choose the recipe of the run."),
        ({"recipe_path": "../../etc/passwd"}, "is not known here any more. Choose the recipe"),
        ({"thickness_mm": "thick"}, "'thick' is no thickness in mm. Write one such as 2.6"),
        ({"thickness_mm": "0"}, "'0' is no thickness"),
        ({"count": "2.5"}, "'2.5' is no number of packets. Write one from 1 to 100."),
        ({"count": "101"}, "'101' is no number of packets"),
        ({"pieces": "B-041", "count": "2"}, "Pieces are chosen above, which bring their thickness"),
        ({"pieces": "B-999"}, "B-999: no such piece."),
        ({"hour": "25:00"}, "'25:00' is no hour. Write one such as 8:30."),
        ({"day": DAY}, f"{DAY} is a day: say the hour, too."),
        ({"day": "soon", "hour": "8:30"}, "'soon' is no day."),
        ({"day": "2026-01-02", "hour": "8:30"}, "2026-01-02 8:30 lies behind."),
        ({"starts": "soon"}, "'soon' is no date and time."),
        ({"furnace": "another"}, "another: no furnace of this name is known here."),
        ({"furnace": "/etc/x.toml"}, "/etc/x.toml: no furnace of this name is known here."),
        ({"temper_path": "0" * 64}, "The temper's recipe that was chosen is not known"),
        ({"reaches": "hot"}, "hot: 'hot' is no temperature with its minutes."),
        ({"foil": "perhaps"}, "'perhaps' is neither yes nor no."),
    ],
)
def test_what_cannot_be_planned_is_said_at_its_field_in_words_of_the_page(
    shop: Path, more: dict[str, str], says: str, samples: ServedBook
) -> None:
    status, words = refused(samples, {"recipe_path": digest_of(shop), **more})
    assert (status, says in words) == (422, True), words
    assert "--" not in words


@pytest.fixture(scope="module")
def samples(shop: Path) -> Iterator[ServedBook]:
    with served(shop) as book:
        yield book


def test_what_was_filled_in_stands_there_again_with_the_refusal(samples: ServedBook, shop: Path) -> None:
    path = address({"recipe_path": digest_of(shop), "pieces": ["B-044", "B-9"], "foil": "no", "count": "x"})
    status, _, text = samples.ask("GET", path)
    assert status == 422
    for field in (
        'name="pieces" value="B-044" checked',
        'name="pieces" value="B-9"',
        f'value="{digest_of(shop)}" checked',
        'name="foil" value="no" checked',
        'value="x"',
    ):
        assert field in text


def plans(book: Path) -> list[dict[str, Any]]:
    def rows(opened: LogBook) -> list[dict[str, Any]]:
        return [dict(row) for row in opened.rows("SELECT * FROM plans WHERE struck_utc IS NULL ORDER BY entry")]

    with open_logbook(book) as opened:
        return rows(opened)


def sent(book: ServedBook, page: str, path: str, values: Asked, **headers: str) -> tuple[int, dict[str, str], str]:
    token = re.search(r'name="form-token" content="([^"]+)"', page)
    body = urllib.parse.urlencode({"form_token": token[1] if token else "", **values}, doseq=True).encode()
    kind, origin = "application/x-www-form-urlencoded", book.address.rstrip("/")
    return book.ask("POST", path, body, content_type=kind, origin=origin, **headers)


def test_a_plan_is_kept_once_as_the_command_keeps_it_and_struck(
    book: ServedBook, logbook: Path, shop: Path, tmp_path: Path
) -> None:
    asked: dict[str, Any] = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS, "pieces": "B-044"}
    page = planned(book, address(asked))
    assert plans(logbook) == []
    assert "Keep this plan" in page
    for _ in range(2):  # a button that is tapped twice
        status, headers, _ = sent(book, page, "/plan/keep", asked)
        assert status == 303
        page = planned(book, headers["location"])
        assert "It is kept as plan 1 by this computer" in words_of(page)
    (kept,) = plans(logbook)
    words = Path(shutil.copytree(shop, tmp_path / "words"))
    run_words(words, "plan", NAME, "--furnace", FURNACE, "--at", STARTS, "--piece", "B-044", "--keep", "--by=Ana")
    (theirs,) = plans(words)
    same = ("furnace", "recipe_digest", "recipe_name", "packet", "starts_utc", "plan")
    assert {name: kept[name] for name in same} == {name: theirs[name] for name in same}
    assert kept["entered_by"] == "this computer"
    assert "Paring blades, harden, shed furnace</a>" in book.ask("GET", "/")[2].partition("A plan is kept for ")[2]
    listed = book.ask("GET", "/plan")[2]
    again = re.search(r'<a href="(/plan\?[^"]*)">Paring blades, harden, shed furnace</a>', listed)
    assert again is not None
    assert "It is kept as plan 1" in planned(book, html.unescape(again[1]))
    strike = book.ask("GET", "/plan/strike/1")[2]
    assert "Strike plan 1 through?" in strike
    assert sent(book, strike, "/plan/strike/1", {"why": ["kept by mistake", ""]})[0] == 303
    assert plans(logbook) == []
    assert "Kept for coming runs" not in book.ask("GET", "/plan")[2]
    assert book.ask("GET", "/plan/strike/1")[0] == 404


def test_a_kept_plan_comes_back_as_it_was_asked(logbook: Path, tmp_path: Path) -> None:
    """Its temper's recipe and the climb given by hand too; they decide about the evening and the arrival."""
    recipes = tmp_path / "recipes"
    recipes.mkdir()
    (recipes / "temper.toml").write_text(TEMPER, encoding="utf-8")
    with served(logbook, "--recipes", str(recipes)) as book:
        comes_back(book, logbook, load_recipe(recipes / "temper.toml").digest)


def comes_back(book: ServedBook, logbook: Path, temper: str) -> None:
    """Plan, keep, reopen: the address, that it is kept, and the card."""
    more = {"temper_path": temper, "reaches": "600:20, 900:45", "foil": "no"}
    asked: dict[str, Any] = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS, **more}
    asked |= {"pieces": ["B-041", "B-044"]}
    page = planned(book, address(asked))
    assert "Temper 1" in words_of(page)
    assert "The climb is what you gave." in words_of(page)
    assert sent(book, page, "/plan/keep", asked)[0] == 303
    listed = book.ask("GET", "/plan")[2]
    again = re.search(r'<a href="(/plan\?[^"]*)">Paring blades, harden, shed furnace</a>', listed)
    assert again is not None
    reopened = urllib.parse.parse_qs(html.unescape(again[1]).partition("?")[2])
    assert reopened == {name: [text] if isinstance(text, str) else text for name, text in asked.items()} | {
        "made": ["yes"]
    }
    text = planned(book, html.unescape(again[1]))
    assert "It is kept as plan 1" in text
    card = re.compile(r'<dl class="card">.*?</dl>', re.DOTALL)
    assert card.findall(text) == card.findall(page)


def measured_packets_in(logbook: Path) -> dict[str, str]:
    """Two measured packets, the older one blacker inside; their digests by their names."""
    generic = generic_packet(PacketSpec(thickness_mm=3.0), "S44004")
    digests = {}
    with open_logbook(logbook) as opened:
        for name, since, eps in (("black.toml", "2026-03-01", 0.8), ("bright.toml", "2026-03-02", 0.4)):
            tight = tuple(0.3 * one for one in generic.spread)
            text = packet_text(replace(generic, eps_o=eps, spread=tight, fitted=True, fitted_from=name))
            keep_measured(opened, name, text, since=since, foil=True, stamp=STAMP)
            digests[name] = hashlib.sha256(text.encode()).hexdigest()
    return digests


def test_unit_and_packet_are_chosen_as_with_the_command(book: ServedBook, logbook: Path) -> None:
    packets = measured_packets_in(logbook)
    asked = {
        "recipe_path": digest_of(logbook),
        "furnace": FURNACE,
        "starts": STARTS,
        "thickness_mm": "3",
        "foil": "yes",
    }
    offered = re.findall(r'name="packet_path" value="(\w*)"', book.ask("GET", "/plan")[2])
    assert offered == [packets["bright.toml"], packets["black.toml"], ""]
    words = ["--thickness", "3", "--foil", "--furnace", FURNACE, "--at", STARTS]
    lags = []
    for name in packets:
        more = {"packet_path": packets[name], "unit": "F"}
        page = planned(book, address({**asked, **more}))
        said = command(logbook, NAME, *words, "--packet", name, "--unit", "F").splitlines()
        assert f"<h1>{html.escape(said[0])}</h1>" in page
        lag = re.search(rf"The lag is measured, here (.*?): measured packet {name}", words_of(page))
        assert lag is not None
        assert lag[0] in " ".join(" ".join(said).split())
        lags.append(lag[1])
        assert "1904 °F" in said[0]  # 1040 °C
    assert lags[0] != lags[1]
    assert sent(book, page, "/plan/keep", {**asked, **more})[0] == 303
    (kept,) = plans(logbook)
    assert kept["packet"] == packets["bright.toml"]
    again = re.search(r'<a href="(/plan\?[^"]*)">Paring blades, harden, shed', book.ask("GET", "/plan")[2])
    assert again is not None
    reopened = urllib.parse.parse_qs(html.unescape(again[1]).partition("?")[2])
    assert {name: reopened[name] for name in more} == {name: [text] for name, text in more.items()}
    status, says = refused(book, {**asked, "packet_path": "0" * 64})
    assert (status, "The packet that was chosen is not known here" in says) == (422, True)


def test_a_plan_is_made_anew_when_the_log_book_knows_better_by_now(book: ServedBook, logbook: Path) -> None:
    asked: dict[str, Any] = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS, "pieces": "B-044"}
    page = planned(book, address(asked))
    assert "Type 1040 °C" in words_of(page)
    measured = ("--at", "1040", "--difference", "-6", "--uncertainty", "2", "--why", "paint")
    run_words(logbook, "place", "enter", "control", "--furnace", FURNACE, *measured)
    status, headers, _ = sent(book, page, "/plan/keep", asked)  # what is on the screen is of before
    assert status == 303
    assert plans(logbook) == []
    assert "it was made anew. Keep it if it still holds." in words_of(book.ask("GET", headers["location"])[2])
    page = planned(book, address(asked))
    assert "Type 1046 °C" in words_of(page)  # 1040 and the 6 that the work has less
    assert sent(book, page, "/plan/keep", asked)[0] == 303
    assert [plan["entry"] for plan in plans(logbook)] == [1]
    assert "It is kept as plan 1" in words_of(book.ask("GET", address(asked))[2])


def test_another_charge_for_the_same_start_is_another_plan(book: ServedBook, logbook: Path) -> None:
    asked: dict[str, Any] = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS}
    for thickness in ("3", "5"):
        page = planned(book, address({**asked, "thickness_mm": thickness}))
        assert sent(book, page, "/plan/keep", {**asked, "thickness_mm": thickness})[0] == 303
    assert len(plans(logbook)) == 2


def test_for_no_furnace_in_particular_nothing_is_kept(book: ServedBook, logbook: Path) -> None:
    asked = {"recipe_path": digest_of(logbook), "starts": STARTS}
    page = planned(book, address(asked))
    assert "Keep this plan" not in page
    assert "The climb is a guess" in page
    status, _, text = sent(book, page, "/plan/keep", asked)
    assert status == 422
    assert plans(logbook) == []
    assert "A plan is kept for one furnace." in text


def test_who_may_only_look_plans_and_keeps_nothing(logbook: Path) -> None:
    token = Devices(logbook).add("visitor", "look")
    with served(logbook, "--lan") as book:
        cookie = f"soakwitness-{book.port}={token}"
        asked = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS, "thickness_mm": "3"}

        def page() -> str | None:
            status, _, text = book.ask("GET", address(asked), cookie=cookie)
            return text if status == 200 and "Planning" not in text else None

        text = str(until(page, within_s=60.0))
        assert "Type 1040" in text
        assert "Keep this plan" not in text
        assert "This device may look, and mark nothing" in text
        assert sent(book, text, "/plan/keep", asked, cookie=cookie)[0] == 403
    assert plans(logbook) == []


def test_a_form_from_elsewhere_keeps_nothing(book: ServedBook, logbook: Path) -> None:
    asked = {"recipe_path": digest_of(logbook), "furnace": FURNACE, "starts": STARTS}
    assert sent(book, "", "/plan/keep", asked)[0] == 403
    assert book.ask("GET", "/plan/keep")[0] in (404, 405)
    assert plans(logbook) == []


@pytest.mark.parametrize(("paper", "size"), [("A4", "595"), ("letter", "612 x 792")])
def test_the_card_is_printed_on_one_page(
    samples: ServedBook, shop: Path, tmp_path: Path, paper: str, size: str
) -> None:
    asked = {"recipe_path": digest_of(shop), "furnace": FURNACE, "starts": STARTS, "count": "6", "paper": paper}
    with urllib.request.urlopen(
        f"{samples.address}plan/card.pdf?{urllib.parse.urlencode(asked)}", timeout=120
    ) as answer:
        assert answer.headers["content-type"] == "application/pdf"
        assert "Paring%20blades%2C%20harden" in answer.headers["content-disposition"]
        printed = tmp_path / "card.pdf"
        printed.write_bytes(answer.read())
    if shutil.which("pdfinfo") is None:
        pytest.skip("poppler-utils is not installed")
    about = subprocess.run(["pdfinfo", str(printed)], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages: +1\n", about)
    assert f"Page size:       {size}" in about
    own = tmp_path / "own.pdf"
    command(shop, NAME, "--furnace", FURNACE, "--at", STARTS, "--count", "6", "--sheet", str(own), "--paper", paper)
    both = [
        subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True)
        for pdf in (printed, own)
    ]
    assert both[0].stdout == both[1].stdout
    assert samples.ask("GET", f"/plan/card.pdf?{urllib.parse.urlencode({**asked, 'paper': 'A0'})}")[0] == 404


def test_a_folder_of_recipes_comes_beside_those_of_the_runs(logbook: Path, tmp_path: Path) -> None:
    folder = tmp_path / "recipes"
    shutil.copytree(SAMPLES / "recipes", folder)
    (folder / "broken.toml").write_text('name = "Broken"\n')
    changed = (folder / "paring-blades.toml").read_text().replace("hold_minutes = 10", "hold_minutes = 11", 1)
    (folder / "paring-blades.toml").write_text(changed)
    with served(logbook, "--recipes", str(folder)) as book:
        text = book.ask("GET", "/plan")[2]
        offered = re.findall(r'name="recipe_path" value="(\w+)"(?: checked)?><span>([^<]*)<small>([^<]*)', text)
        names = [html.unescape(name) for _, name, _ in offered]
        assert names == [
            NAME,
            "Chef's blades, loaded hot",
        ]
        assert [says for _, _, says in offered] == ["S44004, used 2026-03-03", "S44004, not used yet"]
        assert "broken.toml" in text
        assert offered[0][0] != digest_of(logbook)
        page = planned(book, address({"recipe_path": offered[1][0], "starts": STARTS, "thickness_mm": "4"}))
        assert "Chef" in words_of(page)
        older = words_of(book.ask("GET", f"/plan?recipe_path={digest_of(logbook)}")[2])
        assert "as it was used 2026-03-03" in older


def test_a_book_that_a_recording_starts_is_given_the_folder_too(tmp_path: Path) -> None:
    joined = join_or_start(tmp_path / "none", port=0, idle_s=60.0, recipes=SAMPLES / "recipes")
    try:
        with urllib.request.urlopen(f"{joined.address}plan", timeout=30) as answer:
            assert "Paring blades, harden" in answer.read().decode()
    finally:
        stop_book(tmp_path / "none")


def test_a_book_without_recipes_says_what_makes_one_known(tmp_path: Path) -> None:
    with served(tmp_path / "none") as book:
        status, _, text = book.ask("GET", "/plan")
        assert status == 200
        assert "No recipe is known here yet." in text
        assert book.ask("GET", address({"recipe_path": "x"}))[0] == 422
    with served(tmp_path / "none", "--recipes", str(SAMPLES / "recipes")) as book:
        chosen = re.search(r'name="recipe_path" value="(\w+)"', book.ask("GET", "/plan")[2])
        assert chosen is not None
        page = planned(book, address({"recipe_path": chosen[1], "starts": STARTS}))
        assert "It cannot be kept" in page


def test_nothing_that_can_be_touched_is_a_word_of_a_controller(samples: ServedBook, shop: Path) -> None:
    """A plan asks nothing of the furnace, and no row of it is rate, target and time."""
    page = planned(samples, address({"recipe_path": digest_of(shop), "furnace": FURNACE, "starts": STARTS}))
    touched = re.findall(
        r"<(?:button|summary|label|legend|option)\b.*?</(?:button|summary|label|legend|option)>", page, re.DOTALL
    )
    touched += re.findall(r'<a class="step".*?</a>', page)
    assert touched
    for one in touched:
        assert not re.search(r"\b(start|stop|run it|send|setpoint|program|rate)\b", words_of(one), re.IGNORECASE), one
    assert "<table" not in page


def test_a_plan_that_is_done_while_its_page_is_made_is_no_empty_page(
    logbook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page says that it is planning, as it was when it was asked for; its next look shows the plan."""
    desk = Desk(logbook, States(logbook / "runs"), Devices(logbook), WorkerProcess(logbook))
    done = asyncio.Event()

    class Looker:
        async def ask(self, job: str, **about: object) -> dict[str, object]:
            await done.wait()
            return {"card": {"headline": "Type 1040", "where": "", "parts": []}, "charts": {}, "notes": []}

    object.__setattr__(desk, "looker", Looker())

    def kept(desk: Desk, told: object) -> tuple[None, list[object]]:
        desk_loop.call_soon_threadsafe(done.set)
        time.sleep(0.3)  # in which the plan is done
        return None, []

    monkeypatch.setattr(plan_page, "plans_ahead", kept)
    app = Starlette(routes=[*plan_page.routes(desk), Route("/guide/{page}", lambda request: None, name="guide_page")])
    path, _, query = address({"recipe_path": digest_of(logbook), "starts": STARTS}).partition("?")
    scope = {"type": "http", "method": "GET", "path": path, "query_string": query.encode(), "headers": [], "app": app}

    async def asked() -> str:
        said: list[bytes] = []

        async def send(message: MutableMapping[str, Any]) -> None:
            said.append(message.get("body", b""))

        await app({**scope, "state": {"device": THIS_COMPUTER}}, receive, send)
        return b"".join(said).decode()

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b""}

    async def both() -> tuple[str, str]:
        nonlocal desk_loop
        desk_loop = asyncio.get_running_loop()
        return await asked(), await asked()

    desk_loop: asyncio.AbstractEventLoop
    first, second = asyncio.run(both())
    assert "Planning ..." in first
    assert "<h1>Type 1040</h1>" in second


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), SIZES)
def test_an_evening_with_ten_minutes(browser: Any, logbook: Path, width: int, height: int, scheme: str) -> None:
    """From a charge that waits to its plan, kept; by taps alone, and once with keys."""
    run_words(logbook, "piece", "charge", "next", "B-044", "--furnace", FURNACE, "--foil", "--place", "2")
    with served(logbook) as book:
        at = Watched(browser, width, height, scheme)
        tab = at.tab
        tab.goto(f"{book.address}waiting")
        assert "B-044 is entered for the next run of shed furnace." in tab.text_content("main")
        tab.get_by_role("link", name="Plan this run").click()
        assert tab.locator("input[name=pieces][value='B-044']").is_checked()
        assert at.fits(width)
        assert broken_rules(tab) == []
        tab.get_by_label(re.compile("^Switched on at")).fill("06:30")
        tab.get_by_role("button", name="Make the plan").press("Enter")
        tab.get_by_role("button", name="Keep this plan").wait_for(timeout=120_000)
        assert tab.text_content("h1").startswith("Type 1040 °C and ")
        assert "B-044" in tab.text_content("dl")
        tab.locator("figure img").first.evaluate("picture => picture.decode()")
        shape = "narrow" if width < 600 else "wide"
        assert f"chart-{shape}.svg" in tab.evaluate("document.querySelector('figure img').currentSrc")
        assert at.fits(width)
        assert broken_rules(tab) == []
        assert tab.locator("dl dt").all_text_contents()[0] == "Ready"
        tab.get_by_role("button", name="Keep this plan").click()
        tab.get_by_text("It is kept as plan 1").wait_for(timeout=60_000)
        assert "is kept: verify puts the next run" in tab.text_content(".said")
        assert at.problems == []
        assert all(url.startswith(book.address) for url in at.asked)
        if Path("/proc/self/maps").exists():  # nothing of this was loaded into the serving process
            loaded = Path(f"/proc/{book.child.pid}/maps").read_text(encoding="utf-8")
            assert not re.search("numpy|pandas|scipy|matplotlib", loaded)
    (kept,) = plans(logbook)
    assert f"{datetime.fromisoformat(kept['starts_utc']).astimezone():%H:%M}" == "06:30"


@pytest.mark.browser
def test_from_a_run_another_like_it_is_planned_without_a_script(browser: Any, logbook: Path) -> None:
    with served(logbook) as book:
        tab = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844}).new_page()
        tab.goto(f"{book.address}runs")
        tab.locator(".log.runs a[href^='/runs/2026']").first.click()
        tab.get_by_role("link", name="Plan another like this").click()
        assert tab.locator(f"input[value='{digest_of(logbook)}']").first.is_checked()
        tab.locator("summary", has_text="Other blades").click()
        tab.get_by_label(re.compile("^Or their thickness")).fill("3,2")
        tab.get_by_role("button", name="Make the plan").click()
        until(lambda: tab.reload() and "Planning" not in tab.text_content("h1"), within_s=120.0)
        assert "The blade: 3.2 mm" in tab.text_content("dl")


@pytest.mark.browser
def test_markup_in_names_is_shown_as_text(browser: Any, logbook: Path) -> None:
    recipe = (SAMPLES / "recipes" / "paring-blades.toml").read_text().replace(NAME, INJECTED)
    from soakwitness.analysis.logbook.runs import give_recipe, list_runs
    from tests.log_books import STAMP

    with open_logbook(logbook) as opened:
        run = list_runs(opened)[-1]
        give_recipe(opened, run.run, INJECTED, recipe, stamp=STAMP)
    run_words(logbook, "piece", "add", "M-1", "--steel", INJECTED)
    run_words(logbook, "piece", "charge", "next", "M-1", "--furnace", FURNACE)
    with served(logbook) as book:
        at = Watched(browser, 390, 844)
        for path in ("plan", "waiting"):
            at.tab.goto(book.address + path)
            assert at.tab.evaluate("window.broken") is None
            assert at.fits(390)
        asked = {"recipe_path": digest_of(logbook, INJECTED), "furnace": FURNACE, "starts": STARTS}
        at.tab.goto(book.address.rstrip("/") + address(asked))
        at.tab.get_by_role("button", name="Keep this plan").click(timeout=120_000)
        at.tab.get_by_text("It is kept as plan 1").wait_for(timeout=60_000)
        assert INJECTED in at.tab.text_content("main")
        assert at.tab.evaluate("window.broken") is None
        assert at.fits(390)
        assert at.problems == []
