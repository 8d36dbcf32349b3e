"""Degrees are converted in one module and written in one: no second copy of either stands anywhere."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from tests.house.test_house import ROOT, WINGS, python_files

HOME = ROOT / "firmware_bridge" / "common"

# Numbers that look like a conversion of degrees and are none, or are not moved yet.
NO_DEGREES = {
    "cli/charts/recipe_chart.py": {"1.8": "how far an inset reaches, in bands"},
}

# Values that are written by hand on purpose: text of a file, or more exact than words are.
BY_HAND = {
    "firmware_bridge/recording/starting_a_recorder.py": "event text of the record, in milliseconds",
    "firmware_bridge/recording/recorder.py": "event text of the record, in milliseconds",
    "firmware_bridge/runfolder/marks.py": "event text of the record, in milliseconds",
    "firmware_bridge/runfolder/late.py": "in milliseconds, as the record",
    "firmware_bridge/runfolder/mending.py": "event text of the record, in milliseconds",
    "firmware_bridge/recording/now.py": "the number as the instrument shows it, in its own unit",
    "cli/words/furnace_words.py": "the step of an instrument's numbers, in its own unit",
    "cli/words/calibration_words.py": "the shift between two clocks, to the second",
    "cli/commands/mark.py": "how long it waits for the recorder, a whole number of seconds",
    "analysis/metallurgy/equivalents.py": "a time that may be no number at all",
    "analysis/recipes/recipe_file.py": "the number as it stands in the file",
}


def place(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def everywhere() -> Iterator[Path]:
    for wing in WINGS:
        yield from (path for path in python_files(wing) if HOME not in path.parents)


def is_number(node: ast.AST, *values: float) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value in values


def degree_sums(tree: ast.AST) -> Iterator[str]:
    """1.8 and 32.0 wherever they stand; a whole 32 only as a term of a sum; 9/5 and 5/9."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float) and node.value in (1.8, 32.0):
            yield str(node.value)
        if not isinstance(node, ast.BinOp):
            continue
        if isinstance(node.op, (ast.Add, ast.Sub)) and (is_number(node.left, 32) or is_number(node.right, 32)):
            yield "32.0"
        if isinstance(node.op, ast.Div) and is_number(node.left, 9, 5) and is_number(node.right, 9, 5):
            yield "1.8"


@pytest.mark.parametrize("path", list(everywhere()), ids=place)
def test_degrees_are_converted_in_one_module(path: Path) -> None:
    found = set(degree_sums(ast.parse(path.read_text(encoding="utf-8"))))
    assert found <= set(NO_DEGREES.get(place(path), {})), "use firmware_bridge/common/units.py"


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("t * 1.8 + 32", {"1.8", "32.0"}), ("(t - 32.0) / 1.8", {"1.8", "32.0"}), ("9 / 5 * t", {"1.8"}),
        ("5 / 9 * (t - 32)", {"1.8", "32.0"}), ("2**32", set()), ("byte < 32", set()), ("range(16, 32)", set()),
    ],
)  # fmt: skip
def test_the_search_sees_a_conversion(code: str, found: set[str]) -> None:
    assert set(degree_sums(ast.parse(code))) == found


UNIT_BEHIND = re.compile(r"\s?(°[CF]|(min|h|s)\b(?![\w-]))")


def by_hand(tree: ast.AST) -> Iterator[str]:
    """Numbers in an f-string with degrees or a unit of time right behind them."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.JoinedStr):
            continue
        for value, behind in pairwise(node.values):
            if isinstance(value, ast.FormattedValue) and isinstance(behind, ast.Constant):
                formatted = value.format_spec is not None
                text = str(behind.value)
                if formatted and (UNIT_BEHIND.match(text) or text.rstrip().endswith("°") and len(text) < 3):
                    yield ast.unparse(node)


@pytest.mark.parametrize("path", list(everywhere()), ids=place)
def test_values_are_written_in_one_module(path: Path) -> None:
    found = list(by_hand(ast.parse(path.read_text(encoding="utf-8"))))
    assert not found or place(path) in BY_HAND, f"use firmware_bridge/common/wording.py: {found}"


def test_every_exception_is_still_one() -> None:
    trees = {name: ast.parse((ROOT / name).read_text(encoding="utf-8")) for name in {*NO_DEGREES, *BY_HAND}}
    assert {name: set(degree_sums(trees[name])) for name in NO_DEGREES} == {n: set(d) for n, d in NO_DEGREES.items()}
    assert [name for name in BY_HAND if not list(by_hand(trees[name]))] == []


# Words that stand in several places on purpose.
SAME_WORDS = {
    "K": "types of wire: what the instrument file, a reference and a table of voltages may be are three questions",
    "special": "classes of wire, as the types",
    "modbus": "kinds of link of a furnace file: `furnace new` has each with its questions",
    "control": "roles of sensors: `sensor fitted` takes those that a person enters",
}


def lists_of_words(tree: ast.Module) -> Iterator[frozenset[str]]:
    """Three words or more that a module gives a name to, in whatever order."""
    for node in tree.body:
        value = node.value if isinstance(node, (ast.Assign, ast.AnnAssign)) else None
        if isinstance(value, (ast.Tuple, ast.List)) and len(value.elts) > 2:
            words = [
                part.value for part in value.elts if isinstance(part, ast.Constant) and isinstance(part.value, str)
            ]
            if len(words) == len(value.elts):
                yield frozenset(words)


def test_a_list_of_words_stands_in_one_place() -> None:
    found: dict[frozenset[str], list[str]] = {}
    for path in everywhere():
        for words in lists_of_words(ast.parse(path.read_text(encoding="utf-8"))):
            found.setdefault(words, []).append(place(path))
    twice = {words: places for words, places in found.items() if len(places) > 1}
    allowed = {words for words in twice if any(known in {word.lstrip(".") for word in words} for known in SAME_WORDS)}
    assert {tuple(sorted(words)): twice[words] for words in twice.keys() - allowed} == {}
    assert len(allowed) == len(SAME_WORDS)
