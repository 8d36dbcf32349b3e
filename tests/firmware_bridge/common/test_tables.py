"""Tables of TOML files: every mistake names file, line, table, key, value and what is allowed, in its room's error."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.firmware_bridge.common.tables import Table, parse, read_file, shown


class RoomError(Exception):
    """Stands for a room's own error."""


TEXT = '''
name = " shed "
note = """
temp = 3
[[point]]
"""
quench.medium = "oil"
faults = [1, 2.5]
acts = ["bell", "now"]
[limits] # [other]
high = 1_300
open = true
class = 2
[[point]]
temp = 600
[[point]]
"temp" = 1000
'deep er'.inner = { a = 1 }
'''


def top(text: str = TEXT) -> Table:
    return parse(text, "f.toml", RoomError)


def complaint(ask: Callable[[], object]) -> str:
    with pytest.raises(RoomError) as caught:
        ask()
    return str(caught.value)


def test_what_is_right_arrives() -> None:
    file = top()
    limits, points = file.table("limits"), file.tables("point")
    assert limits is not None
    assert (file.text("name"), file.text("name", exact=True)) == ("shed", " shed ")
    assert (limits.number("high", low=0.0, high=2000.0), limits.number("low"), limits.number("low", 4.5)) == (
        1300.0,
        None,
        4.5,
    )
    assert (limits.whole("high", 0, 2000), limits.flag("open", False), limits.flag("shut", True)) == (1300, True, True)
    assert (limits.word_or_number("class", ("1", "2")), limits.choice("kind", ("a", "b"), "b")) == ("2", "b")
    assert (file.numbers("faults"), file.words("acts", ""), file.unit()) == ((1.0, 2.5), ("bell", "now"), "C")
    assert limits.numbers("high") == (1300.0,)
    assert [point.number("temp") for point in points] == [600.0, 1000.0]
    assert (file.table("none"), file.tables("none")) == (None, [])
    assert set(file.rest()) == {"note", "quench"}
    file.finish()


def test_a_mistake_is_named_with_its_place() -> None:
    file = top()
    limits, second = file.table("limits"), file.tables("point")[1]
    assert limits is not None
    assert complaint(lambda: file.choice("name", ("old", "shop"))) == (
        'f.toml, line 2, name = " shed ": must be one of "old", "shop".'
    )
    assert complaint(lambda: limits.number("high", high=1200.0, unit="°C")) == (
        "f.toml, line 11, [limits], high = 1300: must be at most 1200 °C."
    )
    assert complaint(lambda: second.number("temp", low=1000.0, high=1200.0, above=True, more=" Look again.")) == (
        "f.toml, line 17, [[point]] 2, temp = 1000: must be above 1000 and at most 1200. Look again."
    )
    assert complaint(lambda: second.required("U", "a number")) == (
        "f.toml, line 16, [[point]] 2, U: is missing; it needs a number."
    )
    deep = second.table("deep er")
    assert deep is not None
    assert complaint(lambda: deep.check_keys(("iner",))) == (
        "f.toml, line 18, [point.deep er], inner = {a = 1}: unknown key. Did you mean iner? Allowed here: iner."
    )
    quench = file.table("quench")
    assert quench is not None
    assert complaint(lambda: quench.number("medium")) == (
        'f.toml, line 7, [quench], medium = "oil": must be a number, without quotes or unit.'
    )
    assert complaint(lambda: file.text("note")).startswith(
        'f.toml, line 3, note = "temp = 3\\u000a[[point]]\\u000a": must'
    )


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda t: t.choice("kind", ("a", "b"), needed=True), 'kind: is missing; it needs one of "a", "b".'),
        (lambda t: t.unit(needed=True), 'unit: is missing; it needs one of "C", "F".'),
        (lambda t: t.whole("high", 0, 9, more=" here"), "high = 1300: must be a whole number from 0 to 9 here."),
        (lambda t: t.flag("high", True), "high = 1300: must be true or false, without quotes."),
        (lambda t: t.number("open", low=0.0), "open = true: must be a number, from 0, without quotes or unit."),
        (lambda t: t.word_or_number("open", ("true",)), "open = true: must be one of true."),
        (lambda t: t.words("class", '["a"]'), 'class = 2: must be texts in brackets, such as ["a"].'),
        (lambda t: t.numbers("open"), "open = true: must be numbers in brackets"),
        (lambda t: t.table("class"), "class = 2: must be one table: a line [limits.class] with its keys below."),
        (lambda t: t.tables("class"), "class = 2: must be tables: a line [[limits.class]], in double brackets"),
        (lambda t: t.text("class", "a name"), "class = 2: must be a name, not empty."),
        (
            lambda t: t.check_keys(("high", "class"), {"open": "at the top"}),
            "open = true: this key belongs at the",
        ),
        (lambda t: t.finish(), "high = 1300: unknown key. Allowed here: ."),
    ],
)
def test_what_is_allowed_is_said(ask: Callable[[Table], object], says: str) -> None:
    limits = top().table("limits")
    assert limits is not None
    assert says in complaint(lambda: ask(limits))


@pytest.mark.parametrize("number", ["1" + 400 * "0", "-1" + 400 * "0", "0x1" + 5000 * "0", "inf", "nan", "1e400"])
def test_a_number_beyond_all_arithmetic_is_refused_like_any_other(number: str) -> None:
    file = top(f"a = {number}\n")
    for ask in (lambda: file.number("a", low=0.0, high=9.0), lambda: file.whole("a", 0, 9)):
        assert complaint(ask).startswith("f.toml, line 1, a = ")
    assert complaint(lambda: file.choice("a", ("x",))).endswith('must be one of "x".')


def test_what_is_no_toml_is_named_with_line_and_column() -> None:
    assert complaint(lambda: top("a = 1\nb = = 2")) == (
        "f.toml, line 2, column 5: not a valid TOML file: Invalid value."
    )
    assert complaint(lambda: parse("a = '", "f.toml", RoomError, hint="Make one.")).startswith(
        "f.toml, end of the file"
    )
    assert complaint(lambda: top("a = " + 5000 * "[")).startswith("f.toml: brackets within brackets")
    assert complaint(lambda: top("a = 1" + 5000 * "0")).startswith("f.toml: a number has more digits")


def test_without_the_text_no_line_is_named() -> None:
    table = Table(parse("", "f.toml", RoomError).file, ("link",), {"a": 1})
    assert complaint(lambda: table.number("a", low=2.0)) == "f.toml, [link], a = 1: must be from 2."


def test_values_are_shown_as_they_stand_there() -> None:
    assert shown(True) == "true"
    assert shown(["a", 1, False]) == '["a", 1, false]'
    assert shown({"a": [1]}) == "{a = [1]}"
    assert shown("\x1b[31m") == '"\\u001b[31m"'
    assert shown(100 * "x") == '"' + 56 * "x" + "..."


def test_a_file_is_read_or_answered(tmp_path: Path) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\n")
    assert read_file(path, RoomError, kind="a recipe") == (path.read_bytes(), "a = 1\r\n")
    assert complaint(lambda: read_file(tmp_path / "x", RoomError, kind="a recipe")).endswith(
        "x: there is no such file. Check the name and the folder."
    )
    assert complaint(lambda: read_file(tmp_path / "x", RoomError, kind="a recipe", make="Make one.")).endswith(
        "x: there is no such file. Make one."
    )
    assert complaint(lambda: read_file(tmp_path, RoomError, kind="a recipe")).endswith(
        "is a folder, not a recipe (*.toml)."
    )
    path.write_bytes(b"a = 1\nb = '\xff'")
    assert "line 2: not UTF-8 text (byte 0xff)" in complaint(lambda: read_file(path, RoomError, kind="a recipe"))
    path.write_bytes(b"#" * 1_000_001)
    assert "not a recipe" in complaint(lambda: read_file(path, RoomError, kind="a recipe"))
