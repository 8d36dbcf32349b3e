"""The demo as a user runs it, only faster: its own process, a real link, a real folder."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.cli.commands.demo import FURNACE, RECIPE, _leave_reports, has_desktop
from soakwitness.cli.verdicts.verified import verify_run
from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_header, read_marks
from tests.cli.browsers import chromium
from tests.make_sample_logs import SAMPLES

FAST, SLOWER = ["--speed", "450"], ["--speed", "112"]  # a quarter, as the demo advises
CODE = "from soakwitness.cli.main import main; main()"


def command(arguments: Sequence[str]) -> list[str]:
    return [sys.executable, "-c", CODE, "demo", *arguments]


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[subprocess.CompletedProcess[str], Path]:
    """The demo; again as it advises where it says that the computer was too busy, which others may keep it."""
    for speed in (FAST, SLOWER):
        folder = tmp_path_factory.mktemp("demo")
        answer = subprocess.run(command(speed), cwd=folder, capture_output=True, text=True, timeout=120, check=False)
        if "too busy at that speed" not in answer.stdout:
            break
    return answer, folder / "soakwitness-logbook"


def only_run(logbook: Path) -> Path:
    (run,) = (logbook / "runs").iterdir()
    return run


def test_it_shows_the_fault_and_exits_0(shown):
    answer, _ = shown
    assert answer.returncode == 0, answer.stderr
    assert "By the control sensor alone this run would look perfect." in answer.stdout
    said = answer.stdout.split()
    assert " ".join(said[:4]) == "Too short: cleaver D-02"  # the sentence comes first, paths last
    assert answer.stdout.index("Too short") < answer.stdout.index("Page:")
    assert "no safety device" in answer.stderr
    assert "\x1b" not in answer.stdout + answer.stderr  # no terminal, no bar


def test_a_computer_too_busy_to_record_the_hold_is_told_so(tmp_path, capsys):
    """Nothing of the blade was read before the plates: what is left is shown, and a slower speed advised."""
    found = verify_run(SAMPLES / "short-soak", None, tmp_path / "book")
    unseen = tuple(replace(hold, measured_by="control") for hold in found.verification.holds)
    found = replace(found, verification=replace(found.verification, steps=unseen))
    assert _leave_reports(found, tmp_path / "reports", 900.0) is None
    said = capsys.readouterr().out
    assert "No page: this run has no hold that a load sensor saw." in said
    assert "soakwitness demo --speed 225" in said
    assert (tmp_path / "reports" / "chart.png").exists()
    assert not (tmp_path / "reports" / "demo.html").exists()


def test_what_it_names_is_there(shown):
    answer, logbook = shown
    run = only_run(logbook)
    named = {word: line.split(None, 1)[1] for line in answer.stdout.splitlines() if (word := line.split(":")[0])
             in ("Run", "Chart", "Sheet", "Page")}  # fmt: skip
    assert set(named) == {"Run", "Chart", "Sheet", "Page"}
    for path in named.values():
        assert (logbook.parent / path).exists()
    assert (run / "reports" / "chart.png").read_bytes().startswith(b"\x89PNG")
    assert "<html" in (run / "reports" / "sheet.html").read_text(encoding="utf-8")
    assert load_furnace(run / "reports" / "furnace.toml").text == FURNACE


def test_its_page_plays_the_run_to_the_sentence(shown):
    answer, logbook = shown
    page = only_run(logbook) / "reports" / "demo.html"
    with chromium() as browser:
        asked, wrong = [], []
        context = browser.new_context(viewport={"width": 390, "height": 844}, reduced_motion="reduce")
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("console", lambda message: wrong.append(message.text))
        tab.on("pageerror", lambda error: wrong.append(str(error)))
        tab.goto(page.as_uri())
        sentence = tab.locator("#sentence").inner_text()
        assert " ".join(answer.stdout.split()).startswith(" ".join(sentence.split()))
        had, asked_for = tab.locator("#bladetime").inner_text().removesuffix(" min").split(" of ")
        assert float(had) < 0.6 * float(asked_for)
        chamber = tab.locator("#chambertime").inner_text().removesuffix(" min").split(" of ")
        assert float(chamber[0]) >= float(chamber[1])
        assert asked == [page.as_uri()]
        assert wrong == []
        assert tab.evaluate("document.documentElement.scrollWidth") == 390


@pytest.mark.parametrize(
    ("shown_on", "at_terminal", "opens"),
    [({"DISPLAY": ":0"}, True, True), ({"DISPLAY": ":0"}, False, False), ({}, True, False)],
)
def test_a_browser_is_opened_at_a_desktop_alone(monkeypatch, shown_on, at_terminal, opens):
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in shown_on.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr("sys.stdout", SimpleNamespace(isatty=lambda: at_terminal))
    assert has_desktop() is opens


def test_the_record_is_sealed_and_marked(shown):
    run = only_run(shown[1])
    check = check_record(run)
    assert (check.sealed, check.intact, check.torn_tail) == (True, True, False)
    assert check.rows > 500  # a thousand slots; a busy computer may miss some at this speed
    assert read_header(run).origin == "simulated"
    acts = [(mark.act, *mark.pieces) for mark in read_marks(run)]
    assert acts == [
        ("pull", "cleaver D-02"), ("plates", "cleaver D-02"),
        ("pull", "paring knife D-01"), ("plates", "paring knife D-01"),
    ]  # fmt: skip


def test_its_recipe_asks_for_what_the_story_says():
    recipe = parse_recipe(RECIPE, "demo")
    assert [hold.required_s for hold in recipe.holds] == [480.0, 900.0]


@pytest.mark.skipif(sys.platform == "win32", reason="signals reach a child process otherwise there")
def test_ctrl_c_seals_and_exits_130(tmp_path):
    running = subprocess.Popen(
        command(["--speed", "20", "--out", "book"]), cwd=tmp_path, stderr=subprocess.PIPE, stdout=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    assert running.stderr is not None
    heard = ""
    while "Link:" not in heard:
        line = running.stderr.readline()
        assert line, heard
        heard += line
    while not list((tmp_path / "book").glob("runs/*/samples.csv")):
        assert running.poll() is None
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Traceback" not in err
    assert out == ""
    assert check_record(only_run(tmp_path / "book")).sealed


def test_a_file_in_the_place_of_the_log_book_is_refused(tmp_path):
    (tmp_path / "book").write_text("not a folder")
    answer = subprocess.run(
        command(["--out", "book"]), cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )
    assert answer.returncode == 2
    assert "book" in answer.stderr
    assert "Traceback" not in answer.stderr
    assert (tmp_path / "book").read_text() == "not a folder"
