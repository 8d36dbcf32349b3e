"""What a sentence says in a terminal is said on a page in the page's words."""

from __future__ import annotations

import ast
from pathlib import Path

import click
import pytest

from soakwitness.cli.main import soakwitness
from soakwitness.cli.words.commands_in_text import COMMANDS, GROUPS, sentence_parts, typed_words
from soakwitness.cli.words.page_words import kept_on_page
from soakwitness.firmware_bridge.common.surfaces import TERMINAL, NextCommand

HOUSE = Path(__file__).resolve().parents[2]
MARKS = "Enter or strike marks, on the run's page"


def test_the_commands_are_those_of_the_program() -> None:
    context = click.Context(soakwitness)
    known = {name: soakwitness.get_command(context, name) for name in soakwitness.list_commands(context)}
    groups = {name for name, command in known.items() if isinstance(command, click.Group)}
    assert {*COMMANDS, *GROUPS} == set(known)
    assert {*GROUPS} == groups | {"mark"}  # its second word is the act


@pytest.mark.parametrize(
    ("kept", "says"),
    [
        ("Enter the load mark afterwards: soakwitness mark load.", f"Enter the load mark afterwards: {MARKS}."),
        (
            "Enter the pull: soakwitness mark pull --at TIME; or record until the furnace has cooled.",
            f"Enter the pull: {MARKS}; or record until the furnace has cooled.",
        ),
        (
            "Enter the loads and pulls: soakwitness mark load PIECE --at TIME; then each charge has its own heat.",
            f"Enter the loads and pulls: {MARKS}; then each charge has its own heat.",
        ),
        (
            "Mark the pull and the plates: soakwitness mark pull, soakwitness mark plates.",
            f"Mark the pull and the plates: {MARKS}.",
        ),
        (
            "Check it against a reference: soakwitness calibrate.",
            "Check it against a reference: soakwitness calibrate (in a terminal).",
        ),
        (
            "Calibrate it against a reference (soakwitness calibrate), or state its uncertainty.",
            "Calibrate it against a reference (soakwitness calibrate, in a terminal), or state its uncertainty.",
        ),
        (
            "so with a figure: soakwitness place. An offset alone excuses nothing.",
            "so with a figure: soakwitness place (in a terminal). An offset alone excuses nothing.",
        ),
        (
            "Find out which changed: soakwitness sensor diagnose; or hold a reference beside them.",
            "Find out which changed: soakwitness sensor diagnose (in a terminal); or hold a reference beside them.",
        ),
        (
            "Load mark at 0:40:00 without a piece: soakwitness mark --strike 0f3a --run 2026_shed_1 --why REASON",
            "Load mark at 0:40:00 without a piece: Strike beside it, under Enter or strike marks on the run's page",
        ),
        ("soakwitness only reads. It is no safety device.", "soakwitness only reads. It is no safety device."),
        ("Nothing to do.", "Nothing to do."),
    ],
)
def test_a_kept_sentence_says_what_to_do_on_the_page(kept: str, says: str) -> None:
    assert kept_on_page(kept) == says


@pytest.mark.parametrize(
    "words",
    [
        ("mark", "pull", "--run", "2026-03_small furnace"),
        ("piece", "treatment", "cold treatment", "B-041..B-046"),
        ("cutout", "Ana's furnace", "--set", "TEMPERATURE"),
        ("logbook", "backup", "FILE.zip"),
        ("place", "--help"),
    ],
)
def test_a_command_is_read_as_it_was_typed(words: tuple[str, ...]) -> None:
    assert typed_words(NextCommand(words).text(TERMINAL)) == words


def _next_steps() -> list[str]:
    """Every text of a command in the rooms whose sentences the log book keeps."""
    found = []
    for room in ("analysis/verification", "analysis/audit", "analysis/condition"):
        for path in (HOUSE / room).rglob("*.py"):
            parts = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            found += [p.value for p in parts if isinstance(p, ast.Constant) and "soakwitness " in str(p.value)]
    return [str(text) for text in found]


def test_no_kept_sentence_leaves_a_command_half_said() -> None:
    """Behind each command the sentence goes on with a sign, or is over."""
    steps = _next_steps()
    assert len(steps) > 20
    for text in steps:
        parts = sentence_parts(text)
        for number, part in enumerate(parts):
            if isinstance(part, tuple) and number + 1 < len(parts):
                after = parts[number + 1]
                assert isinstance(after, str), text
                assert after[0] in ".,;:)", text
        assert "soakwitness " not in "".join(p for p in parts if isinstance(p, str)), text
