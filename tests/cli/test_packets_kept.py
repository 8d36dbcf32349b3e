"""A measured packet as a person keeps it, and every command that takes it."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.packets import measured_packets
from soakwitness.cli.main import soakwitness
from soakwitness.cli.terminal.after_run import after_run
from soakwitness.firmware_bridge.runfolder.reader import read_header
from tests.analysis.run_inputs.test_packets import measured
from tests.cli.test_packet import RECIPE, rides, run_folder
from tests.recorders import run_for_real, simulated_furnace

PACKED = RECIPE.format(load="cold")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A log book with one run of 2026-11-25 without a load sensor."""
    run_folder(tmp_path / "book", rides, 10500, recipe=PACKED, marks=((0.0, "load"), (10490.0, "pull")), every_s=15.0)
    (tmp_path / "dummy.toml").write_text(measured(0.5))
    (tmp_path / "other.toml").write_text(measured(0.8))
    return tmp_path / "book"


@dataclass(frozen=True)
class Said:
    """What a command answered."""

    stdout: str
    stderr: str


def ask(book: Path, *words: object, status: int = 0) -> Said:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    done = CliRunner().invoke(soakwitness, [str(word) for word in words], env=env)
    known = getattr(done.exception, "exit_code", None)
    assert status == (done.exit_code if known is None else known), done.output
    return Said(done.stdout, done.stderr if known is None else str(done.exception))


def answer(book: Path, *words: object) -> dict[str, object]:
    return json.loads(ask(book, "verify", "last", "--json", "--exit-zero", *words).stdout)  # type: ignore[no-any-return]


def test_keep_list_strike(book: Path) -> None:
    file = book.parent / "dummy.toml"
    line = ask(book, "packet", "keep", file, "--since", "2026-11-01", "--note", "new roll").stdout
    assert line == "Packet 1  dummy.toml, in foil, counts from 2026-11-01 on, kept by Ana (new roll)\n"
    assert ask(book, "packet", "list").stdout == line
    (listed,) = json.loads(ask(book, "packet", "list", "--json").stdout)["packets"]
    assert (listed["name"], listed["since"], listed["foil"]) == ("dummy.toml", "2026-11-01", True)
    assert (
        "from 2026-11-01 on already (entry 1)"
        in ask(book, "packet", "keep", file, "--since", "2026-11-01", status=2).stderr
    )
    assert "'soon' is no day" in ask(book, "packet", "keep", file, "--since", "soon", status=2).stderr
    ask(book, "logbook", "strike", "packet", 1, "--why", "the tip had slipped")
    assert "No measured packet is kept" in ask(book, "packet", "list").stderr
    assert "packet list" in ask(book, "logbook", "strike", "packet", 7, "--why", "x", status=2).stderr


def test_only_what_was_learned_from_a_run_is_kept(book: Path) -> None:
    plain = book.parent / "plain.toml"
    plain.write_text("thickness_mm = 4.0\n")
    assert "was not learned from a run" in ask(book, "packet", "keep", plain, status=2).stderr


def test_a_kept_one_is_used_by_everyone_from_its_day_on(book: Path) -> None:
    assert answer(book)["packet"] is None
    ask(book, "packet", "keep", book.parent / "dummy.toml", "--since", "2026-11-26")
    assert answer(book)["packet"] is None  # the run is of the 25th
    ask(book, "packet", "keep", book.parent / "dummy.toml", "--since", "2026-11-25")
    found = answer(book)["packet"]
    assert isinstance(found, dict)
    assert (found["file"], found["from"], found["fitted"]) == ("dummy.toml", "log book", True)
    assert (
        "By the measured packet dummy.toml, of the log book"
        in ask(book, "verify", "last", "--all", "--exit-zero").stdout
    )
    sheet = book.parent / "sheet.html"
    ask(book, "sheet", "last", "--out", sheet)
    assert "by the measured packet dummy.toml, of the log book" in sheet.read_text()
    assert "figures fitted to 20261101T080000Z_shed" in ask(book, "packet", "predict", "last").stdout
    assert "generic figures" in ask(book, "packet", "predict", "last", "--no-foil").stdout
    with open_logbook(book) as opened:
        opened.connection.execute("DELETE FROM figures")
    done = ask(book, "logbook", "recompute")
    assert done.stdout == "1 run recomputed.\n"  # nothing is judged otherwise: verify had kept the same


def test_one_given_with_the_command_is_a_trial(book: Path) -> None:
    ask(book, "packet", "keep", book.parent / "dummy.toml", "--since", "2026-11-25")
    kept = answer(book)
    other = book.parent / "other.toml"
    tried = answer(book, "--packet", other)
    assert tried["packet"]["file"] == "other.toml"  # type: ignore[index]
    assert tried["steps"] != kept["steps"]
    sheet = book.parent / "sheet.html"
    ask(book, "sheet", "last", "--packet", other, "--out", sheet)
    assert "packet other.toml, given with the command" in sheet.read_text()
    assert "Nothing" not in ask(book, "logbook", "verdicts", "last").stdout
    assert (
        json.loads(ask(book, "logbook", "verdicts", "last", "--json").stdout)["verdicts"][-1]["answer"]["packet"][
            "file"
        ]
        == "dummy.toml"
    )
    missing = ask(book, "sheet", "last", "--packet", "nowhere.toml", status=2).stderr
    assert "nowhere.toml: cannot be read" in missing


def test_a_fitted_one_is_kept_from_the_day_of_its_run(tmp_path: Path) -> None:
    samples = Path(__file__).resolve().parents[2] / "sample_logs"
    shutil.copytree(samples / "pulled-one-by-one", tmp_path / "book" / "runs" / "pulled-one-by-one")
    words = ("packet", "fit", "pulled-one-by-one", "--load", "load", "--thickness-mm", 3, "--out", tmp_path / "p.toml")
    done = ask(tmp_path / "book", *words, "--keep")
    day = read_header(samples / "pulled-one-by-one").started_utc[:10]
    assert f"p.toml, in foil, counts from {day} on" in done.stderr
    with open_logbook(tmp_path / "book") as book:
        (kept,) = measured_packets(book)
    assert kept.text == (tmp_path / "p.toml").read_text()
    again = ask(tmp_path / "book", "packet", "keep", tmp_path / "p.toml", status=2)
    assert f"from {day} on already" in again.stderr  # it knows from which run it was learned


def test_a_recipe_that_names_one_is_checked_with_it(tmp_path: Path) -> None:
    recipe = tmp_path / "harden.toml"
    recipe.write_text(PACKED + 'measured = "dummy.toml"\n')
    told = ask(tmp_path, "recipe", "check", recipe, status=2).stderr
    assert '[packet], measured = "dummy.toml": there is no file' in told
    (tmp_path / "dummy.toml").write_text(measured(0.5))
    assert "was measured: dummy.toml" in ask(tmp_path, "recipe", "check", recipe).stdout


def test_a_recorded_run_carries_it_with_it(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    recipe = tmp_path / "harden.toml"
    recipe.write_text(PACKED + 'measured = "dummy.toml"\n')
    words = ("record", "furnace.toml", "--recipe", "harden.toml", "--for", "1s")
    told = run_for_real(*words, cwd=tmp_path)
    assert told.returncode == 2
    assert "there is no file" in told.stderr
    assert not (tmp_path / "soakwitness-logbook").exists()  # before anything was begun
    (tmp_path / "dummy.toml").write_text(measured(0.5))
    (tmp_path / "other.toml").write_text(measured(0.8))
    for more, name in (((), "dummy.toml"), (("--packet", "other.toml"), "other.toml")):
        done = run_for_real(*words, *more, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        header = read_header(tmp_path / done.stdout.splitlines()[-1])
        assert (header.packet_name, header.packet_file) == (name, (tmp_path / name).read_text())
    watched = run_for_real("watch", "furnace.toml", "--packet", "nowhere.toml", "--for", "1s", cwd=tmp_path)
    assert watched.returncode == 2
    assert "nowhere.toml: cannot be read" in watched.stderr


def test_the_watch_keeps_what_the_recipe_it_saw_followed_names(book: Path, tmp_path: Path) -> None:
    (run,) = (book / "runs").iterdir()
    text = (run / "run.json").read_text()
    unknown = run_folder(tmp_path / "shop", rides, 10500, every_s=15.0)
    assert text != (unknown / "run.json").read_text()
    recipes = tmp_path / "recipes"
    recipes.mkdir()
    (recipes / "harden.toml").write_text(PACKED + 'measured = "dummy.toml"\n')
    words = [str(unknown), "--logbook", str(tmp_path / "shop"), "--recipes", str(recipes)]
    done = CliRunner().invoke(after_run, words)
    assert "there is no file" in str(done.exception)
    (recipes / "dummy.toml").write_text(measured(0.5))
    done = CliRunner().invoke(after_run, words)
    assert "two holds. Not proven: " in done.stdout, done.output
    (recipes / "dummy.toml").unlink()
    assert answer(tmp_path / "shop")["packet"]["file"] == "dummy.toml"  # type: ignore[index]
