"""Recipes that the log book keeps, by their names and by their texts."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from soakwitness.analysis.logbook.kept_recipes import kept_recipe, kept_recipes
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import give_recipe, list_runs, take_in
from soakwitness.analysis.logbook.striking import strike_run
from tests.log_books import LATER, STAMP, new_book
from tests.run_folders import COLUMNS, RunFolder


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def book_with_runs(folder: Path, *recipes: tuple[str, str] | None) -> LogBook:
    """A run a day, each with this recipe, or with none."""
    for day, recipe in enumerate(recipes):
        name, text = recipe or (None, None)
        started = datetime(2026, 3, 1 + day, 8, tzinfo=UTC)
        run = RunFolder.create(
            folder, columns=COLUMNS, furnace_name="shed", started_utc=started, every_s=1.0, recipe_name=name,
            recipe_file=text,
        )  # fmt: skip
        run.close()
        run.seal(sealed_utc=started + timedelta(hours=1))
    book = new_book(folder)
    take_in(book, stamp=STAMP)
    return book


def test_the_newest_text_of_each_name_the_one_used_last_first(tmp_path: Path) -> None:
    book = book_with_runs(tmp_path, ("Harden", "old"), ("Temper", "200"), ("HARDEN", "new"), None)
    assert [(one.name, one.text, one.last_utc[:10]) for one in kept_recipes(book)] == [
        ("HARDEN", "new", "2026-03-03"),
        ("Temper", "200", "2026-03-02"),
    ]


def test_by_its_name_it_is_the_newest_by_its_digest_just_that_one(tmp_path: Path) -> None:
    book = book_with_runs(tmp_path, ("Harden", "old"), ("Harden", "new"))
    by_name, by_digest = kept_recipe(book, "harden"), kept_recipe(book, digest("old")[:8])
    assert by_name is not None
    assert by_digest is not None
    assert (by_name.text, by_digest.text) == ("new", "old")
    for nothing in ("temper", digest("old")[:7], "*" * 8, "0" * 64):
        assert kept_recipe(book, nothing) is None


def test_the_recipe_that_a_run_was_given_counts_and_struck_runs_do_not(tmp_path: Path) -> None:
    book = book_with_runs(tmp_path, ("Harden", "old"), ("Trial", "x"))
    first, second = (entry.run for entry in list_runs(book))
    give_recipe(book, first, "Harden", "corrected", stamp=LATER)
    strike_run(book, second, why="a trial", stamp=LATER)
    assert [(one.name, one.text) for one in kept_recipes(book)] == [("Harden", "corrected")]
