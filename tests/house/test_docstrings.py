"""What the analysis offers as a library says what goes in and out, with units; inside, a line and the name say it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from soakwitness import analysis

ROOT = Path(__file__).resolve().parents[2]
UNIT_SUFFIXES = ("_c", "_s", "_k", "_mm", "_m", "_mv", "_c_per_h", "_c_per_s", "_w", "_h")
UNIT_WORD = re.compile(r"\[[^\]]+\]|degC|degF|\bK\b|\bs\b|\bmm\b|seconds?|Fahrenheit|Celsius|mV|\bHRC\b")


def public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted((ROOT / "analysis").rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.relative_to(ROOT)}:{node.name}", node


CASES = dict(public_functions())
OFFERED = {f"analysis/{room.replace('.', '/')}.py:{name}" for name, room in analysis.LIBRARY.items()}


def test_what_is_offered_is_there() -> None:
    assert set(CASES) >= OFFERED
    for name in analysis.LIBRARY:
        assert callable(getattr(analysis, name))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = analysis.nothing


@pytest.mark.parametrize("where", sorted(CASES))
def test_every_public_function_says_what_it_does(where: str) -> None:
    doc = ast.get_docstring(CASES[where])
    assert doc, f"{where} has no docstring"
    assert where in OFFERED or "\nParameters\n---" not in doc, f"{where}: sections are for what is offered as a library"


@pytest.mark.parametrize("where", sorted(OFFERED))
def test_what_is_offered_names_its_parameters_and_their_units(where: str) -> None:
    node = CASES[where]
    doc = ast.get_docstring(node) or ""
    arguments = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    section = re.split(r"\n(?:Returns|Yields|Raises|Notes|References|Examples)\n-+", doc.split("Parameters\n", 1)[1])[0]
    named = [
        n.strip().lstrip("*")
        for line in re.findall(r"^(\w[\w*, ]*?) ?(?::.*)?$", section, re.M)
        for n in line.split(",")
    ]
    assert named == arguments, f"{where}: the docstring names {named}, the signature has {arguments}"
    assert "Returns\n" in doc
    if any(a.endswith(UNIT_SUFFIXES) for a in arguments):
        assert UNIT_WORD.search(doc), f"{where}: a unit that the docstring does not name"
