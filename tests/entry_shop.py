"""A shop with two recorded runs and a few pieces, for tests of what is entered in the evening."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Sequence
from pathlib import Path

from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from tests.make_sample_logs import SAMPLES

# moments of entry, and what carries one: they differ from one evening to another
MOMENTS = ("entered_utc", "struck_utc", "made_utc", "taken_utc", "measured_utc", "seen_utc", "start_utc", "at_utc")


def run_words(book: Path, *words: str) -> str:
    """Run a command on a log book; it must do it."""
    done = CliRunner().invoke(soakwitness, [*words, f"--logbook={book}"])
    assert done.exit_code == 0, (words, done.output)
    return done.stdout


def evening_shop(book: Path) -> Path:
    """Three blades hardened too short, and another of another steel; nothing entered of what came after."""
    (book / "runs").mkdir(parents=True)
    for name in ("good", "short-soak"):
        shutil.copytree(SAMPLES / name, book / "runs" / name)
    known = ("--lot", "7733", "--customer", "Huber")
    run_words(book, "piece", "add", "B-041", "B-042", "B-043", "--steel", "S44004", "--thickness-mm", "2.6", *known)
    run_words(book, "piece", "add", "B-044", "--steel", "1.2519", "--thickness-mm", "3")
    run_words(book, "piece", "charge", "short-soak", "B-041", "B-042", "B-043", "--place", "1-3", "--foil")
    run_words(book, "disposition", "short-soak")  # it is judged, and its verdict kept
    return book


def exported(book: Path, goal: Path, without: Sequence[str] = MOMENTS) -> dict[str, list[dict[str, str]]]:
    """Every table of a log book, without some columns."""
    run_words(book, "logbook", "export", "--no-samples", str(goal))
    tables = {}
    for path in sorted(goal.glob("*.csv")):
        with path.open(newline="", encoding="utf-8") as file:
            tables[path.stem] = [{k: v for k, v in row.items() if k not in without} for row in csv.DictReader(file)]
    return tables
