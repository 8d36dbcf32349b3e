"""Rooms and arrows: each folder is a room of the list in DEVELOPERS.md, and imports only from rooms above it there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WINGS = ("firmware_bridge", "analysis", "cli")
ROW = re.compile(r"^\| `([a-z_/]+)` \| ", re.M)


def listed() -> list[str]:
    """The rooms in the order of DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return ROW.findall(text.split("## Rooms and arrows", 1)[1].split("\n## ", 1)[0])


def modules() -> Iterator[Path]:
    """Every module but the doors of packages, which hand out names of the rooms behind them."""
    for wing in WINGS:
        yield from (p for p in sorted((ROOT / wing).rglob("*.py")) if p.name != "__init__.py")


def room_of(dotted: str) -> str | None:
    """The room of a dotted name such as ``soakwitness.analysis.record.run.Run``; None for a name of a door."""
    parts = dotted.split(".")[1:]
    for end in range(len(parts), 0, -1):
        if ROOT.joinpath(*parts[:end]).with_suffix(".py").is_file():
            return "/".join(parts[: end - 1])
    return None


def imports(path: Path) -> Iterator[str]:
    """Dotted names a module imports of the project, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names if a.name.startswith("soakwitness."))
        elif isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("soakwitness"):
            yield from (f"{node.module}.{a.name}" for a in node.names)


def arrows() -> dict[tuple[str, str], list[str]]:
    """Arrows from room to room, each with the modules that draw it."""
    found: dict[tuple[str, str], list[str]] = {}
    for path in modules():
        here = path.parent.relative_to(ROOT).as_posix()
        for name in imports(path):
            there = room_of(name)
            if there is not None and there != here:
                found.setdefault((here, there), []).append(f"{path.relative_to(ROOT)}: {name}")
    return found


def test_every_room_is_listed_once() -> None:
    rooms = listed()
    assert len(rooms) == len(set(rooms))
    assert set(rooms) == {path.parent.relative_to(ROOT).as_posix() for path in modules()}


def test_no_arrow_goes_back_up() -> None:
    place = {room: k for k, room in enumerate(listed())}
    drawn = arrows()
    assert len(drawn) > 50
    back = [names for (here, there), names in drawn.items() if place[there] >= place[here]]
    assert not back


def test_a_stage_takes_what_the_one_before_found_and_asks_it_nothing() -> None:
    """It names the results of earlier stages and no function of theirs; but how verdicts are joined is shared."""
    way = ("holds", "sensors", "figures", "judging", "findings")
    asked = []
    for later in range(2, len(way)):
        for path in sorted((ROOT / "analysis/verification" / way[later]).glob("*.py")):
            for name in imports(path):
                stage, _, rest = name.partition("soakwitness.analysis.verification.")[2].partition(".")
                if stage in way[1:later] and rest.rpartition(".")[2][0].islower() and rest != "requirements":
                    asked.append(f"{path.name}: {name}")
    assert not asked


def test_files_of_one_wing_have_names_of_their_own() -> None:
    for wing in WINGS:
        names = [p.name for p in modules() if p.is_relative_to(ROOT / wing)]
        assert sorted(n for n in set(names) if names.count(n) > 1) == []


def test_a_class_name_means_one_thing() -> None:
    defined: dict[str, list[str]] = {}
    for path in modules():
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef):
                defined.setdefault(node.name, []).append(path.relative_to(ROOT).as_posix())
    assert {name: where for name, where in defined.items() if len(where) > 1} == {}


def drawing() -> Iterator[str]:
    """Each room with the rooms of its own wing that it imports, and the wings below."""
    drawn = arrows()
    for room in listed():
        there = [b for b in listed() if (room, b) in drawn]
        wing = room.split("/")[0]
        own = [b.removeprefix(f"{wing}/") for b in there if b.split("/")[0] == wing]
        below = sorted({b.split("/")[0] for b in there} - {wing})
        yield f"{room} <- {', '.join([*own, *below]) or 'nothing'}"


if __name__ == "__main__":
    print("\n".join(drawing()))
