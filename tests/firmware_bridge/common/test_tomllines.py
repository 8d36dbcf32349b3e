"""The line that is named is the line the key stands on, whatever else the file holds."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.firmware_bridge.common.tomllines import Path, key_lines

BARE = st.from_regex(r"[A-Za-z0-9_-]{1,4}", fullmatch=True)  # never "inner"
ONE_LINE = st.sampled_from(
    ["3", "-0.5e3", "true", "1979-05-27 07:32:00", '"[[step]] # \\" = 1"', "'to = 5'", "[]", "[1, [2, 3], 4]"]
    + ["{ a = 1, b.c = '}' }", "'''x'''", '"""a\\""""""', "[ { to = 3 } ]", '"\u2028 \x0c"'.replace("\x0c", "\\f")]
)
MORE_LINES = st.sampled_from(
    [
        '"""\nto = 5\n[[step]]\n# no comment\n"""',
        "'''\n[sample]\nname = \"x\"\n\"\"\"'''",
        "[\n  1, # ] to = 3\n  # [[step]]\n  [ '''\n]''' ],\n]",
        '[\n{ to = 1 },\n\n{ to = "#" } ]',
        '"""a\\\n   b"""',
    ]
)
NOISE = st.sampled_from(["", "  ", "# to = 3", "\t# [[step]]", '# """', "# [ '''", "# \u2028 \x85 one line"])


def quoted(key: str, how: int) -> str:
    return (key, f'"{key}"', f"'{key}'", f'"{key[:-1]}\\u{ord(key[-1]):04x}"')[how]


class Writer:
    """Writes a file line by line and knows where each key stands."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.lines: list[str] = []
        self.stands: dict[Path, int] = {}

    def key(self, keys: list[str]) -> str:
        dot = self.draw(st.sampled_from([".", " . ", "\t."]))
        return str(dot.join(quoted(key, self.draw(st.integers(0, 3))) for key in keys))

    def noise(self) -> None:
        self.lines += self.draw(st.lists(NOISE, max_size=2))

    def note(self, path: Path) -> None:
        self.stands.setdefault(path, len(self.lines) + 1)

    def pairs(self, above: Path) -> None:
        for name in self.draw(st.lists(BARE, max_size=3, unique=True)):
            self.noise()
            keys = [name, *self.draw(st.lists(BARE, max_size=2))]
            for upto in range(1, len(keys) + 1):
                self.note((*above, *keys[:upto]))
            value = self.draw(st.one_of(ONE_LINE, MORE_LINES))
            after = self.draw(st.sampled_from(["", " ", " # to = 3"]))
            self.lines += f"{self.draw(st.sampled_from(['', '  ']))}{self.key(keys)} = {value}{after}".split("\n")

    def header(self, keys: list[str], path: Path, *, double: bool) -> None:
        self.noise()
        for upto in range(1, len(path) + 1):
            self.note(path[:upto])
        left, right = ("[[", "]]") if double else ("[", "]")
        self.lines.append(f"{left} {self.key(keys)} {right} # {left}to]")


@st.composite
def files(draw: Any) -> tuple[str, dict[Path, int]]:
    """A file with keys, tables, lists of tables within lists of tables, and the line of each of its keys."""
    writer = Writer(draw)
    writer.pairs(())
    for number, word in enumerate(draw(st.lists(BARE, max_size=4))):
        name = f"table-{number}-{word}"  # no key of the pairs above
        double = draw(st.booleans())
        for turn in range(1, draw(st.integers(1, 3)) + 1 if double else 2):
            path: Path = (name, turn) if double else (name,)
            writer.header([name], path, double=double)
            writer.pairs(path)
            for inner in range(1, draw(st.integers(0, 2)) + 1):
                writer.header([name, "inner"], (*path, "inner", inner), double=True)
                writer.pairs((*path, "inner", inner))
    ends = draw(st.sampled_from(["\n", "\r\n"]))
    return ends.join(writer.lines) + draw(st.sampled_from(["", ends])), writer.stands


@settings(max_examples=400, deadline=None)
@given(files())
def test_each_key_is_named_with_its_line(file: tuple[str, dict[Path, int]]) -> None:
    text, stands = file
    tomllib.loads(text)
    lines = key_lines(text)
    assert {path: lines.get(path) for path in stands} == stands


def paths(value: Any, above: Path = ()) -> Iterator[Path]:
    """Every place in what was read."""
    entries = value.items() if isinstance(value, dict) else enumerate(value, 1) if isinstance(value, list) else ()
    for key, part in entries:
        yield (*above, key)
        yield from paths(part, (*above, key))


@settings(max_examples=400, deadline=None)
@given(files(), st.data())
def test_what_the_reader_reads_is_found_also_in_a_spoilt_file(file: tuple[str, dict[Path, int]], data: Any) -> None:
    text, _ = file
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, len(text)))
        new = data.draw(st.sampled_from(['"', "'", "[", "]", "{", "}", "=", "#", "\n", ".", ",", '"""', "a", "\\"]))
        text = text[:at] + new + text[at + data.draw(st.integers(0, 2)) :]
    lines = key_lines(text)  # never an error
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert set(paths(values)) == set(lines)
    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())


def test_no_line_is_named_for_what_is_no_toml() -> None:
    assert key_lines("a = 'b\n") == {}
    assert key_lines("a = " + 5000 * "[") == {}
    assert key_lines("= 3") == {}


def test_a_long_file_is_walked_through_once() -> None:
    text = "".join(f"[[point]]\ntemp = {n}\nU = 1\n" for n in range(20_000))
    assert key_lines(text)[("point", 20_000, "U")] == 60_000
