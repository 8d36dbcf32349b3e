"""The command plan as a person runs it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from tests.plan_entry import FURNACE, PlanQuestion, Shelf, record
from tests.test_plans_in_furnaces import COLD, HOT, Shop, past

PLACES = ["--at", "2026-11-27T08:30", "--zone", "Europe/Vienna"]


def run(book: Path, *words: str | Path) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana", "COLUMNS": "80"}
    return CliRunner().invoke(soakwitness, ["plan", *map(str, words)], env=env)


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    path = tmp_path / "harden.toml"
    path.write_text(HOT)
    return path


def test_the_card_is_a_sentence_first_and_a_page_of_eighty_columns(recipe: Path, tmp_path: Path) -> None:
    result = run(tmp_path / "none", recipe, "--thickness", "3", "--foil", "--count", "6", *PLACES)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0].startswith("Type 1040 °C and ")
    assert "; load at 09:" in lines[0]
    assert "; take out 1" in lines[0]
    assert lines[1] == "Chef's blades (S44004), Friday 27 November 2026."
    assert all(len(line) <= 80 for line in lines)
    assert len(lines) <= 60
    heads = [line[:10].strip() for line in lines[3:] if line[:1] != " "]
    assert heads == ["Ready", "Blades", "Type", "Load", "Pull", "Cold", "Temper", "Stop if", "Doubts", "Known"]
    text = " ".join(" ".join(lines).split())
    for words in (
        "From pull to plates within 30 s",
        "at the latest by 1",  # four hours after the morning's quench, and two before that for the cold
        "The lag is generic, here",
        "One instrumented packet tells what it is",
        "Liquid nitrogen and dry ice asphyxiate",
        "As-quenched steel breaks like glass",
    ):
        assert words in text


def test_a_climb_that_was_seen_only_far_below_is_said_to_be_a_guess(recipe: Path, tmp_path: Path) -> None:
    """One time at 600 degrees says less of 1040 than two that lead there: the hours are wider, and it is said."""
    spans = []
    for reaches in ("600:20", "600:20,1000:60"):
        result = run(tmp_path / "none", recipe, "--thickness", "3", *PLACES, "--reaches", reaches, "--json")
        assert result.exit_code == 0, result.output
        said = json.loads(result.stdout)
        spans.append(said["take_out_s"]["high_s"] - said["take_out_s"]["low_s"])
        guess = any("How the furnace climbs above 600" in one for one in said["says"])
        assert guess == (reaches == "600:20")
    assert spans[0] > 1.1 * spans[1]


def test_the_answer_for_programs(recipe: Path, tmp_path: Path) -> None:
    said = json.loads(run(tmp_path / "none", recipe, "--thickness", "3", *PLACES, "--json").stdout)
    assert said["schema"] == "soakwitness/plan/1"
    assert said["starts_utc"] == "2026-11-27T07:30:00Z"
    assert [step["kind"] for step in said["program"]] == ["ramp", "hold", "ramp", "hold"]
    assert said["program"][-1]["hold_s"] == said["holds"][-1]["typed_s"]
    assert [step["kind"] for step in said["after"]] == ["cold treatment", "temper", "temper"]
    assert said["kept"] is None


def test_an_hour_alone_is_the_next_such_hour(recipe: Path, tmp_path: Path) -> None:
    said = json.loads(run(tmp_path / "none", recipe, "--at", "8:30", "--zone", "UTC", "--json").stdout)
    assert said["starts_utc"].endswith("T08:30:00Z")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--keep"], "--keep is of one furnace: name it"),
        (["--reaches", "hot"], "600:20,900:45"),
        (["--piece", "B-1", "--thickness", "3"], "not both"),
        (["--furnace", "shed"], "--reaches 600:20,900:45"),
        (["--chart", "x.gif"], "the ending must be one of"),
        (["--at", "25:00"], "is no date and time"),
    ],
)
def test_wrong_use_names_the_next_step(recipe: Path, tmp_path: Path, words: list[str], says: str) -> None:
    result = run(tmp_path / "none", recipe, *words)
    assert result.exit_code != 0
    assert says in " ".join(result.output.split()) or says in str(result.exception)


def test_a_recipe_that_hardens_is_no_temper(recipe: Path, tmp_path: Path) -> None:
    result = run(tmp_path / "none", recipe, *PLACES, "--temper", recipe)
    assert result.exit_code == 2
    says = " ".join(result.output.split())
    assert "--temper: its recipe goes to 1040 °C, and no blade is tempered above 700 °C." in says
    assert "Type" not in says


def test_several_pieces_come_out_while_the_program_still_holds(recipe: Path, tmp_path: Path) -> None:
    alone, six = (
        " ".join(run(tmp_path / "none", recipe, *PLACES, "--count", count).stdout.split()) for count in ("1", "6")
    )
    assert "as the program ends" in alone
    assert "as the program ends" not in six
    assert re.search(r"Pull From \d+ min after the display first shows 1034 °C on, while the program still holds", six)


def test_what_cannot_both_be_had_stands_in_the_first_sentences(tmp_path: Path) -> None:
    narrow = tmp_path / "narrow.toml"
    narrow.write_text(HOT.replace("at_most_minutes = 40", "at_most_minutes = 26"))
    card = run(tmp_path / "none", narrow, *PLACES, "--thickness", "8").stdout
    headline = " ".join(card[: card.index("Chef's blades (S44004)")].split())
    assert re.search(r"take out .+\. The soak is not sure: likely .+ of 25 min\.$", headline)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log book with three heatings, a blade with a thermocouple in it each time, and the recipe beside it."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "harden.toml").write_text(COLD)
    before = tuple(past(Shop(), n, hot=False, load_mm=3.0) for n in range(3))
    question = PlanQuestion(COLD, before, shelf=Shelf(6, 30.0))
    for number in range(3):
        record(folder / "book", question, number)
    return folder


def test_the_furnace_is_known_by_its_runs_and_its_rack_by_its_file(shop: Path) -> None:
    result = run(shop / "book", shop / "harden.toml", "--furnace", FURNACE, "--count", "2", *PLACES)
    text = " ".join(result.stdout.split())
    assert "Climb and arrival: from 3 runs of this furnace." in text
    assert "Blade 1 and blade 2: 3 mm in foil, in slots 1, 6. Upright in the rack." in text
    assert "No rack is known" not in text


def test_a_recipe_of_the_log_book_is_named_without_its_file(shop: Path) -> None:
    by_file = run(shop / "book", shop / "harden.toml", "--furnace", FURNACE, *PLACES, "--json")
    by_name = run(shop / "book", "RECIPE.toml", "--furnace", FURNACE, *PLACES, "--json")  # as its runs call it
    assert by_name.exit_code == 0, by_name.output
    assert json.loads(by_name.stdout) == json.loads(by_file.stdout)
    unknown = run(shop / "book", "recip", "--furnace", FURNACE, *PLACES)
    assert unknown.exit_code == 2
    for words in ("recip: there is no such file", "Did you mean 'recipe.toml'?", "It has: recipe.toml."):
        assert words in unknown.output


def test_a_kept_plan_is_put_beside_its_run_and_learned_from(shop: Path) -> None:
    words = [shop / "harden.toml", "--furnace", FURNACE, "--thickness", "3"]
    kept = run(shop / "book", *words, "--at", "2026-01-14T07:30Z", "--keep")
    assert kept.exit_code == 0, kept.output
    assert "is kept: verify puts the next run of planned furnace by this recipe beside it." in kept.stderr
    # the plan was entered today and is for a start that lies behind: the log book's days are moved to its run's
    from soakwitness.analysis.logbook.opening import open_logbook

    with open_logbook(shop / "book") as book:
        book.connection.execute("UPDATE plans SET entered_utc = '2026-01-14T07:00:00Z'")
        book.connection.commit()
    env = {"SOAKWITNESS_LOGBOOK": str(shop / "book"), "COLUMNS": "200"}
    result = CliRunner().invoke(soakwitness, ["verify", "20260114"], env=env)
    line = next(line for line in result.stdout.splitlines() if line.startswith("Planned: lag "))
    assert "; measured: lag " in line
    said = json.loads(CliRunner().invoke(soakwitness, ["verify", "20260114", "--json"], env=env).stdout)
    assert said["plan"]["measured"] is True
    low, high = (said["plan"]["planned_lag_s"][name] for name in ("low_s", "high_s"))
    assert low <= said["plan"]["lag_s"] <= high
    other = json.loads(CliRunner().invoke(soakwitness, ["verify", "20260113", "--json"], env=env).stdout)
    assert "plan" not in other
    again = json.loads(run(shop / "book", *words, "--json").stdout)
    assert again["learned"]["runs"] == 1
    assert again["learned"]["used"] is False
    anew = run(shop / "book", *words, "--learn-anew", "--json")
    assert "strike plan-reset 1" in anew.stderr
    assert json.loads(anew.stdout)["learned"] is None
    for kind in ("plan-reset", "plan"):  # what was said of it is so
        struck = CliRunner().invoke(soakwitness, ["logbook", "strike", kind, "1", "--why", "a test"], env=env)
        assert f"Entry 1 ({kind}) is struck through." in struck.stdout, struck.output


def test_chart_and_page_are_written(recipe: Path, tmp_path: Path) -> None:
    chart, page, pdf = (tmp_path / name for name in ("plan.svg", "plan.html", "plan.pdf"))
    result = run(tmp_path / "none", recipe, "--count", "6", *PLACES, "--chart", chart, "--sheet", page)
    assert result.stdout.splitlines()[-2:] == [str(chart), str(page)]
    svg = chart.read_text()
    for words in ("chamber, expected", "slowest blade, estimate", ">load 09:", ">take out 1", "soak "):
        assert words in svg
    assert "Glowing packets burn" in page.read_text()
    assert run(tmp_path / "none", recipe, *PLACES, "--sheet", pdf, "--paper", "letter").exit_code == 0
    assert pdf.read_bytes().startswith(b"%PDF")


def largest(path: Path, word: str) -> float:
    """How high a word of the card is set [pt], descent and all."""
    said = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
    found = re.findall(rf'yMin="([0-9.]+)"[^>]*yMax="([0-9.]+)">{word}', said)
    return max(float(low) - float(high) for high, low in found)


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize(("count", "thickness"), [("1", "3"), ("12", "9")])
def test_the_card_is_one_page(recipe: Path, tmp_path: Path, paper: str, count: str, thickness: str) -> None:
    """By the browser and as PDF, with all doubts that a plan can have, and with few."""
    from tests.cli.browsers import chromium
    from tests.cli.test_sheet_pages import pages, size, stays_inside

    if shutil.which("pdfinfo") is None:
        pytest.skip("poppler-utils is not installed")
    own, page, printed = (tmp_path / name for name in ("own.pdf", "card.html", "printed.pdf"))
    words = [recipe, "--count", count, "--thickness", thickness, *PLACES, "--paper", paper]
    for out in (own, page):
        assert run(tmp_path / "none", *words, "--sheet", out).exit_code == 0
    with chromium() as browser:
        tab = browser.new_page()
        tab.goto(page.as_uri())
        printed.write_bytes(tab.pdf(prefer_css_page_size=True))
    for path in (own, printed):
        assert pages(path) == 1
        assert stays_inside(path)
        assert f"({paper})" in size(path)
        assert largest(path, "tongs,") >= 7.9 * 1.1  # it is read standing: no run sheet's small type
