"""The audit end to end by its command, on batches with a known cause (the long form: tests/campaigns/batches.py)."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.commands.audit import audit
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import WrongUse
from tests import bad_batches
from tests.bad_batches import Shop, Story, bad_batch, ordinary

ROOT = Path(__file__).resolve().parents[2]

STORIES: tuple[Callable[[Story, np.random.Generator], Story], ...] = (
    bad_batches.door_opened,
    bad_batches.power_cut,
    bad_batches.program_edited,
    bad_batches.power_low,
    bad_batches.late_quench,
    bad_batches.warm_plates,
    bad_batches.place,
    bad_batches.temper_too_hot,
    bad_batches.leaking_foil,
    bad_batches.tester,
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[str]]]:
    folder = tmp_path_factory.mktemp("shop")
    book = Shop.opened(folder, datetime(2026, 1, 5, 7, 0, tzinfo=UTC))
    book.logged_tempers = False
    stories = [bad_batch(300 + n, make=make) for n, make in enumerate(STORIES)] + [ordinary(77)]
    names = {
        story.cause: book.enter(book.furnish(replace(story, temper_logged=story.cause == "temper too hot"), good=4))
        for story in stories
    }
    book.book.close()
    return folder, names


def ask(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(
        soakwitness, ["audit", *words, "--logbook", str(folder)], standalone_mode=False, catch_exceptions=False
    )


def causes(folder: Path, *words: str) -> list[dict[str, Any]]:
    answer: list[dict[str, Any]] = json.loads(ask(folder, *words, "--json").stdout)["causes"]
    return answer


@pytest.mark.parametrize("cause", [make.__name__ for make in STORIES])
def test_the_right_cause_stands_first(shop: tuple[Path, dict[str, list[str]]], cause: str) -> None:
    folder, names = shop
    story = next(s for s in names if _made(s) == cause)
    found = causes(folder, "--suspect", f"{names[story][0]}..{names[story][-1]}")
    assert found[0]["cause"] == story
    assert found[0]["claimed"]
    assert found[0]["for"]
    assert found[0]["next"]


def _made(cause: str) -> str:
    words = {
        "low mains voltage or aged element": "power_low",
        "plates warmed by the blades before": "warm_plates",
        "place in the furnace": "place",
        "hardness tester": "tester",
    }
    return words.get(cause, cause.replace(" ", "_"))


def test_a_good_batch_has_no_cause_and_its_answer_reads_well(shop: tuple[Path, dict[str, list[str]]]) -> None:
    folder, names = shop
    answer = ask(folder, "--suspect", f"{names['good'][0]}..{names['good'][-1]}").stdout
    assert answer.startswith("The pieces are as they should be.")
    assert "1. the record shows nothing" in answer


def test_every_answer_begins_with_one_sentence_and_fits_80_columns(shop: tuple[Path, dict[str, list[str]]]) -> None:
    folder, names = shop
    for pieces in names.values():
        lines = ask(folder, "--suspect", f"{pieces[0]}..{pieces[-1]}", "--all").stdout.splitlines()
        head = " ".join(lines[: lines.index("")])
        sentence, _, about = head.partition(" (run ")
        assert sentence.endswith(".")
        assert sentence.count(". ") == 0
        assert about
        assert max(map(len, lines)) <= 80


def test_named_good_ones_are_taken_and_figures_come_in_fahrenheit(
    shop: tuple[Path, dict[str, list[str]]], tmp_path: Path
) -> None:
    folder, names = shop
    chart = tmp_path / "audit.svg"
    good = [word for name in names["good"] for word in ("--good", name)]
    answer = ask(
        folder, "--suspect", names["program edited"][0], *good, "--unit", "F", "--all", "--chart", str(chart)
    ).stdout  # fmt: skip
    assert "The good ones are those that were named." in answer
    assert "°F" in answer
    assert "°C" not in answer.replace("°C/°F", "")
    assert "<svg" in chart.read_text(encoding="utf-8")


def test_what_is_neither_run_nor_piece_nor_batch_is_answered(shop: tuple[Path, dict[str, list[str]]]) -> None:
    folder, _ = shop
    from soakwitness.analysis.errors import LogBookError

    with pytest.raises(LogBookError, match="no such run, piece or batch"):
        ask(folder, "--suspect", "Z-999")


def test_a_chart_is_never_written_over_unasked(shop: tuple[Path, dict[str, list[str]]], tmp_path: Path) -> None:
    folder, names = shop
    mine = tmp_path / "mine.png"
    mine.write_text("mine")
    with pytest.raises(WrongUse, match="exists"):
        ask(folder, "--suspect", names["good"][0], "--chart", str(mine))
    assert mine.read_text() == "mine"


# what is wrong in each sample log, as its README says, in the words of the audit; the first cause that is named
SAMPLES = {
    "good": "the record shows nothing",
    "short-soak": "packet lag ate the soak",  # a 10 mm blade reaches the band eight minutes after the chamber
    "overshoot": "too hot",
    "slow-ramp": "low mains voltage or aged element",  # the mains are 28 % low
    "open-circuit": "open circuit",
    "gap": "record gap",  # the cable is out for eleven minutes
    "program-differs": "program edited",  # 9 minutes were typed in place of 19
    "pulled-one-by-one": "short soak",  # C-01 is pulled after 8 of 12 minutes (and C-03 comes late to the plates)
}


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("samples")
    for name in SAMPLES:
        shutil.copytree(ROOT / "sample_logs" / name, folder / "runs" / name)
    return folder


@pytest.mark.parametrize("name", SAMPLES)
def test_the_sample_logs_are_told_for_what_they_are(samples: Path, name: str) -> None:
    run = json.loads((samples / "runs" / name / "run.json").read_text(encoding="utf-8"))["run"]
    assert causes(samples, "--suspect", run)[0]["cause"] == SAMPLES[name]


def test_both_troubles_of_one_run_are_claimed(samples: Path) -> None:
    run = json.loads((samples / "runs" / "pulled-one-by-one" / "run.json").read_text(encoding="utf-8"))["run"]
    claimed = [c["cause"] for c in causes(samples, "--suspect", run) if c["claimed"]]
    assert claimed == ["short soak", "late quench"]


@pytest.mark.parametrize(
    "words",
    [
        ["--suspect", "B-044", "B-047", "--good", "B-041", "--json"],
        ["--suspect", "B-044,B-047", "--json", "--good=B-041"],
        ["--suspect=B-044", "B-047", "--good", "B-041", "--json"],
        ["--suspect", "B-044", "--good", "B-041", "--json", "--suspect", "B-047"],
    ],
)
def test_names_stand_one_after_the_other(words: list[str]) -> None:
    context = audit.make_context("audit", words)
    assert (context.params["suspect"], context.params["good"]) == (("B-044", "B-047"), ("B-041",))
    assert context.params["as_json"]


def test_a_word_that_belongs_to_no_option_is_refused() -> None:
    with pytest.raises(click.UsageError, match="extra argument"):
        audit.make_context("audit", ["--suspect", "B-044", "--json", "B-047"])
    with pytest.raises(click.UsageError, match="requires an argument"):
        audit.make_context("audit", ["--suspect"])
