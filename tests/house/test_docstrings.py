"""Public functions of the analysis say what goes in and out, with units (STYLE.md, house rule 3)."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
UNIT_SUFFIXES = ("_c", "_s", "_k", "_mm", "_m", "_mv", "_c_per_h", "_c_per_s", "_w", "_h")
UNIT_WORD = re.compile(r"\[[^\]]+\]|degC|degF|\bK\b|\bs\b|\bmm\b|seconds?|Fahrenheit|Celsius|mV|\bHRC\b")


def public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted((ROOT / "analysis").rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.relative_to(ROOT)}:{node.name}", node


CASES = list(public_functions())


@pytest.mark.parametrize(("where", "node"), CASES, ids=[w for w, _ in CASES])
def test_docstring_names_the_parameters_and_their_units(where: str, node: ast.FunctionDef) -> None:
    doc = ast.get_docstring(node)
    assert doc, f"{where} has no docstring"
    arguments = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    if "Parameters\n" in doc:
        section = re.split(
            r"\n(?:Returns|Yields|Raises|Notes|References|Examples)\n-+", doc.split("Parameters\n", 1)[1]
        )[0]
        named = [
            n.strip().lstrip("*")
            for line in re.findall(r"^(\w[\w*, ]*?) ?(?::.*)?$", section, re.M)
            for n in line.split(",")
        ]
        unknown = [n for n in named if n not in arguments and n != (node.args.kwarg and node.args.kwarg.arg)]
        assert not unknown, f"{where}: docstring names {unknown}, the signature has {arguments}"
        missing = [a for a in arguments if a not in named]
        assert not missing, f"{where}: {missing} not in the docstring"
    with_unit = [a for a in arguments if a.endswith(UNIT_SUFFIXES)]
    if with_unit:
        assert UNIT_WORD.search(doc), f"{where}: {with_unit} carry a unit that the docstring does not name"
