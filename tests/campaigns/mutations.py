"""Which wrong rules the tests would let through: one place of the code is changed at a time, and the tests run on it.

The code on disk stays as it is: what is changed is the module as one process reads it.

Run it: ``python tests/campaigns/mutations.py [COUNT [SEED]]`` (150 drawn with seed 0 by default), or with places such
as ``analysis/verification/soak.py`` (all of it), ``analysis/verification/soak.py:87`` (a line) for those alone. It
prints what survived. ``TIMES=2`` lets two processes run at once, ``ON="tests/test_x.py"`` runs those tests alone.
"""

from __future__ import annotations

import ast
import copy
import os
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

LONGEST_S = 240.0
# The tests that run on what is changed in a room, those that find most first.
TESTS = {
    "analysis/verification": ("tests/test_named_cases.py", "tests/analysis/verification", "tests/test_foreign_runs.py"),
    "analysis/run_inputs": ("tests/analysis/run_inputs", "tests/test_one_answer.py"),
    "firmware_bridge/common": ("tests/firmware_bridge/common", "tests/analysis/verification/test_pieces.py"),
}
# What makes a nearby rule: the edge itself in or out, and the other way round.
EDGE: dict[type, type] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
OTHER_WAY: dict[type, type] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
OPERATORS: dict[type, type] = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
NAMES = {
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "argmin": "argmax",
    "argmax": "argmin",
    "any": "all",
    "all": "any",
}
# Not what is computed: types, decorators, how a number is written.
SILENT = {"annotation", "returns", "decorator_list", "format_spec", "type_params"}


@dataclass(frozen=True)
class Mutation:
    """One changed place: the ``number``-th of its file, its line, what was done to it."""

    file: str
    number: int
    line: int
    kind: str
    what: str

    def __str__(self) -> str:
        """``file:line kind: what``."""
        return f"{self.file}:{self.line} #{self.number} {self.kind}: {self.what}"

    @property
    def tests(self) -> tuple[str, ...]:
        """Tests to run on it."""
        asked = os.environ.get("ON")
        return tuple(asked.split()) if asked else next(t for room, t in TESTS.items() if self.file.startswith(room))


@dataclass
class Place:
    """Where a node stands in the tree: ``parent.field``, or ``parent.field[at]``."""

    parent: ast.AST
    field: str
    at: int | None
    node: ast.AST

    def put(self, node: ast.AST) -> None:
        """Put another node there."""
        if self.at is None:
            setattr(self.parent, self.field, node)
        else:
            getattr(self.parent, self.field)[self.at] = node


def places(node: ast.AST) -> Iterator[Place]:
    """Every node below, in order."""
    if isinstance(node, ast.Assert):
        return
    for field, value in ast.iter_fields(node):
        if field in SILENT:
            continue
        for at, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(child, ast.AST):
                yield Place(node, field, at, child)
                yield from places(child)


def changes(tree: ast.Module) -> Iterator[tuple[str, Place, ast.AST]]:
    """Every change of a module: its kind, its place, what stands there then."""
    truths = {id(r) for f in ast.walk(tree) if _says_whether(f) for r in ast.walk(f) if isinstance(r, ast.Return)}
    for place in places(tree):
        for kind, node in _others(place.node):
            yield kind, place, node
        if id(place.node) in truths and isinstance(place.node, ast.Return):
            for value in (True, False):
                if not (isinstance(place.node.value, ast.Constant) and place.node.value.value is value):
                    yield "answer", place, _with(place.node, value=ast.Constant(value))


def _says_whether(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef) and isinstance(node.returns, ast.Name) and node.returns.id == "bool"


def _others(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(node, ast.Compare):
        for kind, table in (("edge", EDGE), ("comparison", OTHER_WAY)):
            for at, op in enumerate(node.ops):
                if type(op) in table:
                    yield kind, _with(node, ops=[*node.ops[:at], table[type(op)](), *node.ops[at + 1 :]])
    elif isinstance(node, ast.BoolOp):
        yield "and/or", _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.Invert, ast.USub)):
        yield "not" if isinstance(node.op, ast.Not) else "sign", node.operand
    elif isinstance(node, (ast.BinOp, ast.AugAssign)) and type(node.op) in OPERATORS:
        yield "operator", _with(node, op=OPERATORS[type(node.op)]())
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield "flag", ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        yield "number", ast.Constant(node.value * 2 if node.value else type(node.value)(1))
    elif isinstance(node, ast.Name) and node.id in NAMES and isinstance(node.ctx, ast.Load):
        yield "min/max", _with(node, id=NAMES[node.id])
    elif isinstance(node, ast.Attribute) and node.attr in NAMES:
        yield "min/max", _with(node, attr=NAMES[node.attr])
    elif isinstance(node, ast.Call):
        for at, keyword in enumerate(node.keywords):
            if keyword.arg is not None:
                yield "dropped", _with(node, keywords=[*node.keywords[:at], *node.keywords[at + 1 :]])


def _with(node: ast.AST, **fields: object) -> ast.AST:
    other = copy.copy(node)
    for name, value in fields.items():
        setattr(other, name, value)
    return other


def mutations_of(file: str) -> list[Mutation]:
    """Every change of one file."""
    found: list[Mutation] = []
    for number, (kind, place, node) in enumerate(changes(ast.parse((ROOT / file).read_text()))):
        what = f"{ast.unparse(place.node)[:90]} -> {ast.unparse(node)[:90]}".replace("\n", " ")
        found.append(Mutation(file, number, getattr(place.node, "lineno", 0), kind, what))
    return found


def every_mutation() -> list[Mutation]:
    """Every change of the rooms above."""
    files = [str(p.relative_to(ROOT)) for room in TESTS for p in sorted((ROOT / room).rglob("*.py"))]
    return [mutation for file in files for mutation in mutations_of(file)]


class _Changed(SourceFileLoader):
    """Reads a module with one change."""

    def __init__(self, fullname: str, path: str, number: int) -> None:
        super().__init__(fullname, path)
        self._number = number

    def get_code(self, fullname: str) -> CodeType:
        tree = ast.parse(Path(self.path).read_text())
        _, place, node = list(changes(tree))[self._number]
        place.put(ast.copy_location(node, place.node))
        code: CodeType = compile(ast.fix_missing_locations(tree), self.path, "exec")
        return code


class _Finder:
    """Finds the one module that is changed, before any other finder does."""

    def __init__(self, file: str, number: int) -> None:
        self._name = "soakwitness." + file.removesuffix(".py").replace("/", ".")
        self._number = number

    def find_spec(self, fullname: str, path: Sequence[str] | None, target: Any = None) -> ModuleSpec | None:
        if fullname != self._name:
            return None
        spec = PathFinder.find_spec(fullname, path)
        assert spec is not None
        assert spec.origin is not None
        spec.loader = _Changed(fullname, spec.origin, self._number)
        return spec


def run_changed(file: str, number: int, tests: Sequence[str]) -> int:
    """In a process of its own: run tests on the code with one change."""
    import pytest
    from hypothesis import settings

    sys.meta_path.insert(0, _Finder(file, number))  # type: ignore[arg-type]
    settings.register_profile("mutations", database=None)
    options = ["-x", "-p", "no:cacheprovider", "--hypothesis-profile=mutations", "--hypothesis-seed=0", "--no-header"]
    return int(pytest.main([*options, *(str(ROOT / test) for test in tests)]))


def fate(mutation: Mutation) -> str:
    """``killed``, ``survived``, or ``endless``; what makes the code unreadable is killed, too."""
    args = [sys.executable, __file__, "--changed", mutation.file, str(mutation.number), *mutation.tests]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(args, cwd=ROOT, env=env, capture_output=True, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return "endless"
    return "survived" if done.returncode == 0 else "killed"


def chosen(words: Sequence[str]) -> list[Mutation]:
    """What the command line asks for."""
    if words and not words[0].isdigit():
        found = []
        for word in words:
            file, _, line = word.partition(":")
            found += [m for m in mutations_of(file) if not line or str(m.line) == line]
        return found
    count, seed = (int(words[0]) if words else 150), (int(words[1]) if len(words) > 1 else 0)
    every = every_mutation()
    return sorted(random.Random(seed).sample(every, count), key=lambda m: (m.file, m.number))


def main() -> None:
    """Print each change with its fate, then the counts by kind and by file."""
    if sys.argv[1:2] == ["--changed"]:
        sys.exit(run_changed(sys.argv[2], int(sys.argv[3]), sys.argv[4:]))
    drawn = chosen(sys.argv[1:])
    told: Counter[tuple[str, str]] = Counter()
    with ThreadPoolExecutor(int(os.environ.get("TIMES", "1"))) as pool:
        for mutation, end in zip(drawn, pool.map(fate, drawn), strict=True):
            print(f"{end:9}{mutation}", flush=True)
            for name in ("all", mutation.kind, mutation.file):
                told[name, end] += 1
    for name in dict.fromkeys(name for name, _ in sorted(told)):
        many = {end: told[name, end] for end in ("killed", "endless", "survived")}
        print(f"{name}: " + ", ".join(f"{count} {end}" for end, count in many.items() if count))


if __name__ == "__main__":
    main()
