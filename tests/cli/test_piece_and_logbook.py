"""``piece``, ``batch``, ``disposition``, ``logbook`` and ``condition`` as a person meets them."""

from __future__ import annotations

import json
import shutil
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.exporting import TABLES
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.connecting.furnace_file import template
from tests.furnace_days import HARDEN, Blade, Day, Fitting, live, record
from tests.run_folders import sealed_run


class Terminal:
    def __init__(self, book: Path) -> None:
        self.book = book

    def says(self, *words: object, status: int = 0) -> Result:
        env = {"SOAKWITNESS_LOGBOOK": str(self.book), "SOAKWITNESS_USER": "Ana"}
        answer = CliRunner().invoke(soakwitness, [str(w) for w in words], env=env, standalone_mode=False)
        assert answer.exception is None, f"{words}: {answer.exception!r}"
        assert (answer.return_value or 0) == status, answer.output
        return answer

    def asks(self, *words: object) -> Any:
        return json.loads(self.says(*words, "--json").stdout)

    def is_refused(self, *words: object) -> str:
        """Give a command that cannot be: known error, exit status 2, its sentence."""
        env = {"SOAKWITNESS_LOGBOOK": str(self.book), "SOAKWITNESS_USER": "Ana"}
        answer = CliRunner().invoke(soakwitness, [str(w) for w in words], env=env, standalone_mode=False)
        assert isinstance(answer.exception, (click.ClickException, AnalysisError)), answer.exception
        assert answer.exception.exit_code == 2
        return str(getattr(answer.exception, "message", answer.exception))


@pytest.fixture
def shop(tmp_path: Path) -> Terminal:
    terminal = Terminal(tmp_path / "book")
    sealed_run(tmp_path / "book", 30)
    terminal.says("piece", "add", "B-041..B-044", "--steel", "S44004", "--lot", "7733", "--thickness-mm", "3")
    return terminal


def test_pieces_from_a_table_take_what_is_common_from_the_options(shop: Terminal, tmp_path: Path) -> None:
    table = tmp_path / "pieces.csv"
    table.write_text("piece,thickness_mm,customer\nC-1,2.5,Huber\nC-2,,Maier\n", encoding="utf-8")
    shop.says("piece", "add", "--file", table, "--steel", "O1", "--thickness-mm", "4")
    found = {p["id"]: p for p in shop.asks("piece", "find", "C-")["pieces"]}
    assert (found["C-1"]["thickness_mm"], found["C-1"]["steel"]) == (2.5, "O1")
    assert (found["C-2"]["thickness_mm"], found["C-2"]["customer"]) == (4.0, "Maier")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("piece,colour\nC-1,red\n", "'colour' is not known"),
        ("name\nC-1\n", "'name' is not known"),
        ("steel\nO1\n", "there is no column piece"),
        ('piece,thickness_mm\nC-1,"2,5"\n', "line 2, thickness_mm: '2,5' is no number. Write the decimal point"),
    ],
)
def test_a_wrong_table_enters_nothing_and_names_the_place(shop: Terminal, tmp_path: Path, text: str, word: str) -> None:
    table = tmp_path / "pieces.csv"
    table.write_text(text, encoding="utf-8")
    assert word in shop.is_refused("piece", "add", "--file", table)
    assert len(shop.asks("piece", "find")["pieces"]) == 4


def test_a_charge_hardness_and_treatment_show_in_the_history(shop: Terminal) -> None:
    assert (
        "charge 1 of run" in shop.says("piece", "charge", "last", "B-041..B-042", "--foil", "--place", "front").stdout
    )
    answer = shop.says("piece", "hardness", "B-041", 60, 60.2, "--after", "quench", "--at", "2026-11-25T08:00Z")
    assert "60.1 HRC (about 697 HV)" in answer.stdout  # 60 HRC is 697 HV: ASTM A370 (CHECKS.md section 2)
    assert "at least 3" in answer.stderr
    shop.says(
        "piece", "treatment", "cold treatment", "B-041", "--start", "2026-11-25T10:00", "--zone", "Europe/Vienna",
        "--lowest", "-108.4", "--unit", "F",
    )  # fmt: skip
    life = shop.asks("piece", "history", "B-041")
    assert [s["kind"] for s in life["steps"]] == ["run", "hardness", "cold treatment"]
    cold = life["steps"][2]["entry"]
    assert (cold["start_utc"], round(cold["lowest_c"], 2)) == ("2026-11-25T09:00:00Z", -78.0)  # -108.4 degF
    text = shop.says("piece", "history", "B-041", "--unit", "F").stdout
    assert "down to -108.4 °F" in text
    assert "front, foil" in text


def test_a_struck_entry_is_gone_from_the_history_and_kept_in_the_book(shop: Terminal) -> None:
    shop.says("piece", "hardness", "B-041", 50, 50, 50, "--after", "quench")
    shop.says("piece", "strike", "hardness", 1, "--why", "wrong block")
    assert "hardness" not in [s["kind"] for s in shop.asks("piece", "history", "B-041")["steps"]]
    (struck,) = shop.asks("piece", "history", "B-041", "--struck")["struck"]
    assert (struck["kind"], struck["facts"]["readings"], struck["struck_why"]) == (
        "hardness",
        "[50.0, 50.0, 50.0]",
        "wrong block",
    )
    assert "by Ana" in shop.says("piece", "history", "B-041", "--struck").stdout
    raw = sqlite3.connect(shop.book / "logbook.sqlite")
    assert raw.execute("SELECT struck_by, struck_why FROM hardness").fetchone() == ("Ana", "wrong block")
    raw.close()
    assert "already" in shop.is_refused("piece", "strike", "hardness", 1, "--why", "again")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("piece", "add"), "Name the pieces"),
        (("piece", "add", "B-041"), "there is a piece B-041 already"),
        (("piece", "change", "B-041", "--why", "x"), "Say what changes"),
        (("piece", "hardness", "B-041", "60"), "--after quench, or before which: --before temper"),
        (("piece", "hardness", "B-041", "60", "--after", "quench", "--before", "temper"), "after which step"),
        (("piece", "hardness", "B-041", "60", "--after", "quench", "--at", "8 o'clock"), "is no date and time"),
        (("piece", "charge", "next", "B-041"), "--furnace"),
        (("piece", "charge", "1999", "B-041"), "no such run"),
        (("piece", "history", "B-04"), "Alike: B-041"),
        (("batch", "show", "none"), "no such batch"),
        (("disposition", "last", "--why", "x"), "Say what was decided"),
        (("condition", "nowhere"), "It knows: small furnace"),
        (("audit", "--suspect", "Z-1"), "no such run, piece or batch"),
        (("logbook", "backup", "{book}/shop.zip"), "inside the log book"),
        (("logbook", "backup", "copy.sqlite"), ".zip"),
        (("logbook", "restore", __file__), "not empty"),
        (("logbook", "export", "{book}"), "not empty"),
    ],
)
def test_wrong_use_is_one_sentence_with_the_value_and_the_way_on(
    shop: Terminal, words: tuple[str, ...], says: str
) -> None:
    assert says in shop.is_refused(*(w.replace("{book}", str(shop.book)) for w in words))


def test_a_run_folder_elsewhere_is_told_the_way_in(shop: Terminal) -> None:
    good = Path(__file__).parents[2] / "sample_logs" / "good"
    way = f"copy it into {shop.book / 'runs'}, then: soakwitness logbook rebuild"
    assert way in shop.is_refused("piece", "charge", good, "B-041")
    assert way in shop.is_refused("audit", "--suspect", good)
    shutil.copytree(good, shop.book / "runs" / "good")
    shop.says("logbook", "rebuild")
    assert "charge 1 of run" in shop.says("piece", "charge", "good", "B-041").stdout


def test_a_place_without_a_log_book_is_not_made_into_one(tmp_path: Path) -> None:
    nowhere = Terminal(tmp_path / "nowhere")
    assert "there is no log book here" in nowhere.is_refused("piece", "find")
    assert not (tmp_path / "nowhere").exists()


def test_batches_are_made_shown_and_corrected(shop: Terminal) -> None:
    shop.says("batch", "add", "spring", "B-041..B-044", "--note", "chef's")
    shop.says("batch", "remove", "spring", "B-044", "--why", "other steel")
    assert shop.asks("batch", "show", "spring")["pieces"] == ["B-041", "B-042", "B-043"]
    assert "B-043" in shop.says("batch", "show", "spring").stdout
    assert [b["name"] for b in shop.asks("batch", "list")["batches"]] == ["spring"]
    assert "3 pieces" in shop.says("batch", "list").stdout


def test_a_disposition_is_entered_and_listed(shop: Terminal) -> None:
    assert "Nothing was decided" in shop.says("disposition", "last").stderr
    shop.says(
        "disposition", "last", "--decide", "use as it is", "--finding", "short soak", "--step", 4, "--why", "60 HRC"
    )
    (stands,) = shop.asks("disposition", "last")["dispositions"]
    assert (stands["finding"], stands["step"], stands["entered_by"]) == ("short soak", 4, "Ana")
    assert "short soak, step 4: use as it is (60 HRC), Ana" in shop.says("disposition", "last").stdout


def test_who_repeats_a_treatment_is_told_what_comes_before_it(shop: Terminal) -> None:
    again = shop.says("disposition", "last", "--decide", "repeat the treatment")
    assert "annealing it first" in " ".join(again.stderr.split())
    scrap = shop.says("disposition", "last", "--decide", "scrap")
    assert "anneal" not in scrap.stderr


def test_a_disposition_is_about_a_finding_that_the_run_has(shop: Terminal) -> None:
    # this sample's blade soaked 11 of 15 minutes at step 4 (sample_logs/README.md)
    shutil.copytree(Path(__file__).parents[2] / "sample_logs" / "short-soak", shop.book / "runs" / "short-soak")
    decided = ("disposition", "short-soak", "--decide", "hold back")
    says = shop.is_refused(*decided, "--finding", "short soak", "--step", 2)
    assert "has no finding 'short soak' at step 2" in says
    assert "short soak (step 4)" in says
    assert "has no finding 'late quench'" in shop.is_refused(*decided, "--finding", "late quench")
    assert "'soft' is no finding" in shop.is_refused(*decided, "--finding", "soft")
    assert "--step belongs to a finding" in shop.is_refused(*decided, "--step", 4)
    assert shop.asks("disposition", "short-soak")["dispositions"] == []
    shop.says(*decided, "--finding", "short soak", "--step", 4)
    shop.says(*decided, "--finding", "short soak")
    # the other run has no recipe: nobody knows, and it says so
    answer = shop.says("disposition", "last", "--decide", "no defect", "--finding", "overshoot")
    assert "not judged by any recipe" in answer.stderr
    assert "overshoot: no defect" in answer.stdout


def test_the_log_book_is_checked_rebuilt_copied_and_written_out(shop: Terminal, tmp_path: Path) -> None:
    assert "The log book is whole" in shop.says("logbook", "check").stdout
    copy = tmp_path / "copy.zip"
    assert shop.says("logbook", "backup", copy).stdout == f"{copy}\n"
    with zipfile.ZipFile(copy) as archive:
        archive.extract("logbook.sqlite", tmp_path)
    raw = sqlite3.connect(tmp_path / "logbook.sqlite")
    assert raw.execute("SELECT count(*) FROM pieces").fetchone() == (4,)
    raw.close()
    restored = Terminal(tmp_path / "restored")
    assert "1 run in" in restored.says("logbook", "restore", copy).stderr
    assert "The log book is whole" in restored.says("logbook", "check").stdout
    assert restored.says("piece", "find").stdout == shop.says("piece", "find").stdout
    out = tmp_path / "out"
    assert f"{len(TABLES)} tables" in shop.says("logbook", "export", out, "--no-samples").stdout
    assert "B-044" in (out / "pieces.csv").read_text(encoding="utf-8")
    run = next((shop.book / "runs").iterdir())
    (run / "samples.csv").write_bytes((run / "samples.csv").read_bytes()[:-40])
    found = shop.says("logbook", "check", "--json", status=1)
    assert json.loads(found.stdout)["troubles"][0]["says"] == "samples.csv is not what the seal says"
    shop.says("logbook", "check", "--quick")
    shutil.rmtree(run)
    assert "its run folder is missing" in shop.says("logbook", "check", status=1).stdout
    assert "0 runs new, 0 read again, 1 missing" in shop.says("logbook", "rebuild").stdout


def test_a_charge_waits_for_the_next_run_and_finds_it(tmp_path: Path) -> None:
    shop = Terminal(tmp_path / "book")
    shop.says("piece", "add", "B-1")
    (tmp_path / "small.toml").write_text(template("simulated", name='"small furnace"'), encoding="utf-8")
    answer = shop.says("piece", "charge", "next", "B-1", "--furnace", "Small furnace", "--foil")
    assert "the next run of small furnace" in answer.stdout
    assert "Waits for the next run of small furnace (charge 1), since" in shop.says("piece", "history", "B-1").stdout
    raw = sqlite3.connect(tmp_path / "book" / "logbook.sqlite")
    raw.execute("UPDATE charges SET entered_utc = '2026-11-25T07:00:00Z'")  # a quarter of an hour before that run
    raw.commit()
    raw.close()
    run = sealed_run(tmp_path / "book").name
    assert run in shop.says("piece", "history", "B-1").stdout


def test_a_charge_waits_for_no_furnace_that_nobody_knows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Terminal(tmp_path / "book")
    shop.says("piece", "add", "B-1", "B-2")
    monkeypatch.chdir(tmp_path)
    refused = shop.is_refused("piece", "charge", "next", "B-1", "--furnace", "big")
    assert "no run and no furnace file here has this name. Known: none." in refused
    elsewhere = tmp_path / "elsewhere" / "big.toml"
    elsewhere.parent.mkdir()
    elsewhere.write_text(template("simulated", name='"big furnace"'), encoding="utf-8")
    (tmp_path / "harden.toml").write_text(HARDEN, encoding="utf-8")  # a recipe is no furnace
    assert "the next run of big furnace" in shop.says("piece", "charge", "next", "B-1", "--furnace", elsewhere).stdout
    sealed_run(tmp_path / "book")
    near = shop.is_refused("piece", "charge", "next", "B-2", "--furnace", "smal furnace")
    assert "Did you mean 'small furnace'? Known: small furnace." in near
    shop.says("piece", "charge", "next", "B-2", "--furnace", "small furnace")


def test_condition_answers_in_words_json_and_a_chart(tmp_path: Path) -> None:
    shop = Terminal(tmp_path / "book")
    plain = HARDEN.replace("[packet]\nthickness_mm = 3.0\nfoil = true\n", "")
    for number in range(9):
        day = Day(seed=number, start=Day().start.replace(day=2 + number), blades=(Blade("B-1"),), mains=1.0)
        record(live(day), Fitting(), tmp_path / "book", ("harden", plain))
    chart = tmp_path / "condition.svg"
    text = shop.says("condition", "small furnace", "--chart", chart).stdout
    assert text.startswith("small furnace: nothing has moved over 9 runs.")
    assert "full power from 400 °C" in text
    assert max(map(len, shop.says("condition", "small furnace", "--all").stdout.splitlines())) <= 80
    drawn = chart.read_text(encoding="utf-8")
    assert "<svg" in drawn
    assert "as it was" in drawn
    assert "full power from 752 °F" in shop.says("condition", "SMALL furnace", "--unit", "F").stdout  # 400 degC
    answer = shop.asks("condition", "small furnace")
    climb = next(t for t in answer["trends"] if t["figure"] == "climb")
    assert len(climb["values"]) == len(climb["values_in_usual_conditions"]) == len(climb["level"]) == 9
    assert climb["usual"] == pytest.approx(sorted(climb["values"])[4], rel=0.01)
    assert not climb["moved"]
    assert answer["parts"] == []
    assert "0 runs recomputed" in shop.says("logbook", "recompute").stdout
    assert "9 runs recomputed" in shop.says("logbook", "recompute", "--everything", "--processes", 1).stdout
