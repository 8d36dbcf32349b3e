"""No command that prints for people is wider than the screen, on the sample logs and a log book made of them."""

from __future__ import annotations

import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from tests.picture_page import HARDNESS, REFERENCE, RUNS, SAMPLES

RECIPE = "sample_logs/recipes/chef-blades-hot.toml"
SURVEYED = "sample_logs/calibration/run"
PREPARE = (
    "logbook rebuild",
    "piece add P-11..P-13 --steel S44004 --thickness-mm 3",
    "piece add P-21 P-22 --steel S44004 --thickness-mm 10 --customer Weber --order 2026-0117 --note 'a longer note'",
    "piece charge good P-11..P-13 --foil",
    "piece charge short-soak P-21 P-22 --foil --place 'middle shelf, left, tip to the door'",
    *(f"piece hardness {p} {h} {h + 0.2:.1f} {h - 0.2:.1f} --after temper" for p, h in HARDNESS.items()),
    "batch add B-1 P-21 P-22 --note 'six carving knives for the inn at the lake, ordered in spring'",
    'upkeep "shed furnace" elements --note "all four, with new leads and clamps, and the door seal at once"',
    "cutout 'shed furnace' --set 1100 --tripped-at 1104 --note 'by hand, with the door a finger open, twice'",
    "packet fit sample_logs/good --load load --thickness-mm 3 --out kept.toml --keep",
    f"survey {SURVEYED} --sensors survey --band 8",
    f"calibrate {SURVEYED} {REFERENCE}",
)
ASKED = (
    *(f"verify sample_logs/{name}{every} --exit-zero" for name in RUNS for every in ("", " --all")),
    "verify sample_logs/good --compare-with sample_logs/short-soak --exit-zero",
    *(f"survey {SURVEYED} --sensors survey --band {band} --no-entry --exit-zero --all" for band in (2, 8)),
    f"survey {SURVEYED} --sensors centre,back-left-top --band 8 --no-entry --exit-zero --unit F",
    "survey --list",
    "survey --show 1 --all",
    f"calibrate {SURVEYED} {REFERENCE} --no-entry",
    f"calibrate {SURVEYED} {REFERENCE} --no-entry --all --unit F",
    f"accuracy {SURVEYED} {REFERENCE} --no-entry --exit-zero --all",
    f"place measure {SURVEYED} --sensor control --work survey --no-entry",
    'place enter control --furnace "shed furnace" --at 1040 --difference -12 --uncertainty 4 --why "tip sits by the '
    'rear element; blade hotter paint went over at 1052 shown"',
    "place list",
    "fixed-points control --ice 0.6 --boiling 99.1 --altitude 420 --no-entry --all",
    "fixed-points --how",
    "emf 1050 --type K",
    "emf --table 0:1300:100 --type K --tolerance-class 1",
    "sensor list",
    "sensor diagnose --example tip",
    "sensor diagnose --example reversed",
    "sensor calibration 1",
    "packet predict sample_logs/good --thickness-mm 5",
    "packet fit sample_logs/good --load load --thickness-mm 3 --out packet.toml --force",
    "packet list",
    f"recipe check {RECIPE}",
    f"recipe program {RECIPE}",
    f"recipe program {RECIPE} --unit F --furnace 'shed furnace'",
    "audit --suspect P-21 --suspect P-22 --all",
    'condition "shed furnace" --all',
    "runs",
    "piece history P-21",
    "piece find Weber",
    "batch list",
    "batch show B-1",
    "upkeep 'shed furnace'",
    "cutout 'shed furnace'",
    "logbook check",
    "logbook recompute",
    "logbook verdicts short-soak",
    "steels",
    "steels show S44004",
    "mark --run sample_logs/good --list",
)


def asked(words: str, columns: int) -> str:
    runner = CliRunner(env={"SOAKWITNESS_LOGBOOK": "book", "COLUMNS": str(columns), "NO_COLOR": "1"})
    answer = runner.invoke(soakwitness, shlex.split(words), standalone_mode=False)
    assert answer.exception is None, (words, answer.exception)
    return answer.stdout


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("shop")
    shutil.copytree(SAMPLES, folder / "sample_logs")
    for name in RUNS:
        shutil.copytree(SAMPLES / name, folder / "book" / "runs" / name)
    with pytest.MonkeyPatch.context() as there:
        there.chdir(folder)
        for words in PREPARE:
            asked(words, 80)
        yield folder


def too_wide(text: str, columns: int) -> list[str]:
    """Lines wider than the screen, but for one word that cannot be broken."""
    return [line for line in text.splitlines() if len(line) > columns and len(line.split()) > 1]


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.parametrize("words", ASKED)
def test_no_line_is_wider_than_the_screen(words: str, columns: int, shop: Path) -> None:
    assert too_wide(asked(words, columns), columns) == []


@pytest.mark.parametrize(
    ("words", "first"),
    [
        (f"survey {SURVEYED} --sensors survey --band 8 --no-entry", "Pass: "),
        (f"survey {SURVEYED} --sensors survey --band 2 --no-entry --exit-zero", "Not even enough: "),
        (f"calibrate {SURVEYED} {REFERENCE} --no-entry", "control of shed furnace reads 2.9 °C high at 780 °C and "),
        (f"accuracy {SURVEYED} {REFERENCE} --no-entry --limit 10", "Pass: control reads "),
        (
            f"accuracy {SURVEYED} {REFERENCE} --no-entry --limit 1 --exit-zero",
            "Off by more than allowed: control reads ",
        ),
    ],
)
def test_the_verdict_comes_first_and_the_rest_only_where_it_is_asked(words: str, first: str, shop: Path) -> None:
    short = asked(words, 80)
    assert short.startswith(first)
    assert len(short.splitlines()) < len(asked(f"{words} --all", 80).splitlines())
    assert not any(word in short for word in ("ILAC", "JCGM", "EA-4/02", "rectangular"))
