"""The command that enters what was renewed or done to a furnace, as its user gives it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.evidence.upkeep import PARTS
from soakwitness.cli.commands import upkeep
from soakwitness.cli.main import soakwitness
from tests.run_folders import sealed_run


@pytest.fixture
def book(tmp_path: Path) -> Path:
    sealed_run(tmp_path / "book")
    return tmp_path / "book"


def given(book: Path, *words: str) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    return CliRunner().invoke(soakwitness, ["upkeep", *words], env=env)


def listed(book: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(given(book, "small furnace", "--json").stdout)["upkeep"]
    return found


def test_work_is_entered_listed_and_struck(book: Path) -> None:
    done = ("--at", "2025-11-03T08:00", "--zone", "UTC", "--note", "both new")
    answer = given(book, "SMALL furnace", "elements", *done)
    assert answer.exit_code == 0, answer.output
    assert "elements" in answer.stdout
    (entry,) = listed(book)
    assert (entry["part"], entry["done_utc"], entry["note"], entry["entered_by"]) == (
        "elements",
        "2025-11-03T08:00:00Z",
        "both new",
        "Ana",
    )
    assert given(book, "small furnace", "--strike", str(entry["entry"]), "--why", "wrong furnace").exit_code == 0
    assert listed(book) == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("small furnace", "chimney"), "'chimney' is not one of"),
        (("nowhere", "elements"), "nowhere"),
        (("small furnace", "relay", "--at", "2199-01-01T00:00+00:00"), "still to come"),
        (("small furnace", "relay", "--at", "yesterday"), "'yesterday' is no date and time"),
        (("small furnace", "--note", "x"), "--note belongs to a part"),
        (("small furnace", "--strike", "7", "--why", "x"), "has no such entry. It has: none."),
        (("small furnace", "relay", "--strike", "7"), "not both at once"),
    ],
)
def test_what_is_refused_is_named(book: Path, words: tuple[str, ...], says: str) -> None:
    answer = given(book, *words)
    assert answer.exit_code != 0
    assert says in f"{answer.output} {answer.exception}"
    assert listed(book) == []


def test_the_same_work_is_entered_once(book: Path) -> None:
    words = ("small furnace", "relay", "--at", "2025-11-03T08:00+00:00")
    assert given(book, *words).exit_code == 0
    assert "already (entry 1)" in str(given(book, *words).exception)
    assert len(listed(book)) == 1


def test_the_command_offers_every_part() -> None:
    assert upkeep.PARTS == PARTS
