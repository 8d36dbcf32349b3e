"""What a page enters: the command itself is run, and what it refuses stands at the field in its own words."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import click
import pytest

from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.photos import photos_of
from soakwitness.analysis.logbook.pieces import piece_named
from soakwitness.cli.book_work.forms import FORMS, Values, _params, arguments, command_of, enter
from soakwitness.cli.words.page_words import fields_of
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.entry_shop import exported, run_words
from tests.photographs import with_a_place
from tests.run_folders import COLUMNS, STARTED_UTC, fill, sealed_run

HOUSE = Path(__file__).parents[2]
ANA = "Ana's phone"
NASTY = [
    "--by=evil",
    "<script>alert(1)</script>",
    "'; DROP TABLE pieces; --",
    "$(touch x)",
    "-1",
    "--",
    "\u202eabc",
    "@f",
]


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A log book with a run and two pieces."""
    folder = tmp_path / "book"
    sealed_run(folder, 60)
    assert "done" in enter(folder, "piece", {"names": "B-041 B-042", "thickness_mm": "2,6"}, by=ANA)
    return folder


def test_every_field_is_a_parameter_of_its_command() -> None:
    for name, form in FORMS.items():
        assert {param.name for param in _params(name)} == {*form.fields, *form.files}, name
        assert {*form.fields, *form.files} <= {*fields_of(name)}, name


def test_every_form_s_command_says_who(book: Path) -> None:
    for name, form in FORMS.items():
        filled = {p.name or "": "1" for p in _params(name) if isinstance(p, click.Argument) and p.name in form.fields}
        files = {field: book for field in form.files}
        assert arguments(book, name, filled, by=ANA, files=files)[len(form.command)] == f"--by={ANA}"


def test_a_furnace_whose_name_looks_like_a_path_is_named_as_the_log_book_does(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    run = RunFolder.create(folder, columns=COLUMNS, furnace_name="kiln 1/left", started_utc=STARTED_UTC, every_s=1.0)
    fill(run, 60)
    run.seal(sealed_utc=STARTED_UTC + 60)
    done = enter(folder, "upkeep", {"furnace": "kiln 1/left", "part": "elements"}, by=ANA)
    assert "done" in done, done
    refused = enter(folder, "upkeep", {"furnace": "kiln 1/right", "part": "elements"}, by=ANA)
    assert "is a path" in refused["refused"]


def test_an_empty_argument_is_refused_and_the_next_does_not_take_its_place(book: Path) -> None:
    for form, values, field in (
        ("treatment", {"names": "B-041"}, "kind"),
        ("hardness", {"readings": "60", "after": "temper"}, "name"),
        ("mark", {"pieces": "load", "run": "last"}, "act"),
        ("strike", {"entry": "1", "why": "x"}, "kind"),
    ):
        answer = enter(book, form, values, by=ANA)
        assert (answer["field"], "is to be filled in" in answer["refused"]) == (field, True)


def test_a_decimal_comma_is_a_point_and_names_are_parted(book: Path) -> None:
    with open_logbook(book) as opened:
        piece = piece_named(opened, "B-042")
    assert (piece.thickness_mm, piece.entered_by) == (2.6, ANA)
    done = enter(book, "hardness", {"name": "B-041", "readings": ["60,1", "60.4 59,8"], "after": "temper"}, by=ANA)
    assert done["done"] == "B-041: 60.1 HRC (about 697 HV), entry 1."
    assert any("test block" in note for note in done["notes"])


@pytest.mark.parametrize(
    ("form", "values", "field", "says"),
    [
        ("hardness", {"name": "B-041", "readings": "5.62", "after": "temper"}, "readings", "Is 56.2 meant?"),
        ("hardness", {"name": "B-041", "readings": "601", "after": "temper"}, "readings", "Is 60.1 meant?"),
        ("hardness", {"name": "B-041", "readings": "60", "after": "lunch"}, "after", "'lunch' is not one of"),
        ("hardness", {"name": "B-99", "readings": "60", "after": "temper"}, "name", "B-99: no such piece"),
        ("hardness", {"name": "B-041", "after": "temper"}, "readings", "“Readings” is to be filled in"),
        (
            "hardness",
            {"name": "B-041", "readings": "60", "after": "temper", "along": "30"},
            "across",
            "“Across the blade” is missing",
        ),
        ("treatment", {"kind": "temper", "names": "B-041", "shown": "5000"}, "shown", "5000 °C is not believable"),
        ("treatment", {"kind": "temper", "names": "B-041", "start": "soon"}, "start", "soon"),
        ("treatment", {"kind": "temper", "names": "B-041", "not_done": "perhaps"}, "not_done", "neither yes nor no"),
        ("disposition", {"run": "last", "decide": "scrap", "finding": "bad luck"}, "finding", "is no finding"),
        ("strike", {"kind": "hardness", "entry": "7", "why": "x"}, "entry", "There is no entry 7"),
        ("strike", {"kind": "hardness", "entry": "7"}, "why", "“Why?” is to be filled in"),
        ("charge", {"run": "next", "names": "B-041", "furnace": "a/b.toml"}, "furnace", "is a path"),
        ("charge", {"run": "../../runs", "names": "B-041"}, "run", "is a path"),
        ("upkeep", {"furnace": "small furnace", "part": "roof"}, "part", "is not one of"),
        ("plan", {"recipe_path": "recipes/harden.toml"}, "recipe_path", "is a path"),
        ("plan", {"recipe_path": "Harden"}, "recipe_path", "the log book has no recipe of this name"),
        ("note", {"names": "B-041", "words": "x" * 5000}, "words", "too much for one entry"),
        ("note", {"names": "B-041", "words": "a\0b"}, "words", "NUL"),
    ],
)
def test_a_refusal_names_its_field_in_the_command_s_words(
    book: Path, form: str, values: Values, field: str, says: str
) -> None:
    answer = enter(book, form, values, by=ANA)
    assert answer.get("field") == field, answer
    assert says in answer["refused"]


WRONG: list[tuple[str, Values, str]] = [
    (
        "inspect",
        {"look": "warp", "names": "B-041", "after": "quench", "before": "temper"},
        "“After which step?” and “B",
    ),
    ("inspect", {"look": "warp", "names": "B-041"}, "In millimetres, 0 for straight: “How much”: 0.8"),
    ("hardness", {"name": "B-041", "readings": "5.62", "after": "temper"}, "If it was read so, say “It was read so”."),
    ("hardness", {"name": "B-041", "readings": "60"}, "it was read: “After which step?”: quench."),
    ("note", {"names": "B-041", "words": " "}, "“Note” is to be filled in."),
    ("strike", {"kind": "hardness", "entry": "1", "why": "..."}, "Numbers are shown by: the piece's page"),
    ("disposition", {"run": "last", "decide": "scrap", "step": "2"}, "“Step” belongs to a finding: name it with “Find"),
    ("disposition", {"run": "last", "why": "x"}, "Say what was decided: “Decision”, one of use as it is"),
    ("mark", {"act": "load", "run": "last"}, "say when it was done: “When”"),
    (
        "mark",
        {"act": "load", "run": "last", "at": "+9:00"},
        "If it was done then all the same, add “Before the record",
    ),
    ("mark", {"run": "last", "strike": "m1"}, "“Strike” needs “Why?”: the reason stays with the mark."),
    ("charge", {"run": "next", "furnace": "small furnace"}, "“Mass of all in the furnace”: 3.2, “Nothing is in it”."),
    ("charge", {"run": "next", "names": "B-041"}, "Give “Furnace” with next"),
    (
        "charge",
        {"run": "next", "names": "B-041", "furnace": "shed"},
        "“Furnace”: shed: no run and no furnace file here",
    ),
    ("cutout", {"furnace": "small furnace", "tripped_at": "900"}, "“Set to”: 1150"),
    ("piece", {"names": "B-041"}, "change what is known of it: soakwitness piece change (in a terminal)"),
    ("batch", {"name": "spring", "names": "B-99"}, "no such piece. Look with: the page Pieces"),
    ("treatment", {"kind": "temper", "names": "B-041", "start": "soon"}, "or as 2026-11-25T07:15."),
]


@pytest.mark.parametrize(("form", "values", "says"), WRONG)
def test_a_page_names_its_fields_and_pages_where_a_terminal_names_options_and_commands(
    book: Path, form: str, values: Values, says: str
) -> None:
    assert says in enter(book, form, values, by=ANA)["refused"]


WITHOUT_A_PAGE = re.compile(r"soakwitness [a-z ]+\(in a terminal\)")


@pytest.mark.parametrize("form", FORMS)
def test_no_refusal_of_a_form_names_an_option(book: Path, form: str) -> None:
    """Each field empty, of another kind or far too large, beside others that are right, and alone."""
    right = next((values for name, values, _ in EVENING if name == form), {"names": "B-043", "inferred": "last"})
    right = {name: value for name, value in right.items() if name in FORMS[form].fields}
    refused = []
    for name in FORMS[form].fields:
        for wrong in ("", "lunch", "99999"):
            for beside in (right, {}):
                answer = enter(book, form, {**beside, name: wrong}, by=ANA)
                refused += [answer["refused"]] if "refused" in answer else []
                refused += answer["notes"]
    assert len(refused) > len(FORMS[form].fields)
    for says in refused:
        plain = WITHOUT_A_PAGE.sub("", says)
        assert "--" not in plain, says
        assert "soakwitness " not in plain, says


def test_what_a_page_reaches_names_options_and_commands_so_that_a_page_can_say_them() -> None:
    """Rooms and commands behind the forms: in no error an option or a command as bare words."""
    files = [path for room in ("analysis/logbook", "firmware_bridge/marks") for path in (HOUSE / room).glob("*.py")]
    files += {Path(inspect.getfile(inspect.unwrap(command_of(name).callback or enter))) for name in FORMS}
    files += [HOUSE / "analysis/record/moments.py", HOUSE / "firmware_bridge/runfolder/late.py"]
    bare = [
        f"{path.name}:{part.lineno} {part.value!r}"
        for path in files
        for raised in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(raised, ast.Raise)
        for part in ast.walk(raised)
        if isinstance(part, ast.Constant) and re.search(r"[^\w-]--[a-z]|soakwitness [a-z]", str(part.value))
    ]
    assert bare == []


def test_what_no_form_asks_for_is_refused(book: Path) -> None:
    for values in ({"by": "Ben"}, {"logbook": "/tmp"}, {"file": "/etc/passwd"}, {"path": "x"}):
        for form in FORMS:
            assert "is no field of the form" in enter(book, form, values, by=ANA)["refused"]
    assert "is no form" in enter(book, "logbook restore", {}, by=ANA)["refused"]


def test_no_value_becomes_an_option_or_a_command(book: Path, tmp_path: Path) -> None:
    for text in NASTY:
        done = enter(book, "note", {"names": "B-041", "words": text}, by=text)
        assert "done" in done, done
        enter(book, "piece", {"names": text, "customer": text}, by=ANA)
    with open_logbook(book) as opened:
        kept = [(row["words"], row["entered_by"]) for row in opened.rows("SELECT * FROM piece_notes ORDER BY entry")]
    assert kept == [(text, text) for text in NASTY]
    assert not list(Path().iterdir())


EVENING: list[tuple[str, Values, list[str]]] = [
    ("charge", {"run": "last", "names": ["B-041", "B-042"], "place": "1-2", "foil": "yes", "kg": "1,4"},
     ["piece", "charge", "last", "B-041", "B-042", "--place", "1-2", "--foil", "--kg", "1.4"]),
    ("treatment", {"kind": "cold treatment", "names": "B-041", "lowest": "-78"},
     ["piece", "treatment", "cold treatment", "B-041", "--lowest", "-78"]),
    ("treatment", {"kind": "cold treatment", "names": "B-042", "not_done": "yes"},
     ["piece", "treatment", "cold treatment", "B-042", "--not-done"]),
    ("treatment", {"kind": "temper", "names": ["B-041", "B-042"], "shown": "200", "oven": "kitchen oven"},
     ["piece", "treatment", "temper", "B-041", "B-042", "--shown", "200", "--oven", "kitchen oven"]),
    ("hardness", {"name": "B-041", "readings": "60,1 60,4 59,9", "after": "temper", "along": "80", "across": "20"},
     ["piece", "hardness", "B-041", "60.1", "60.4", "59.9", "--after", "temper", "--along", "80", "--across", "20"]),
    ("inspect", {"look": "warp", "names": "B-041", "mm": "0,8"}, ["piece", "inspect", "warp", "B-041", "--mm", "0.8"]),
    ("note", {"names": "B-041", "words": "straight"}, ["piece", "note", "B-041", "--words", "straight"]),
    ("disposition", {"run": "last", "decide": "use as it is", "why": "60 HRC"},
     ["disposition", "last", "--decide", "use as it is", "--why", "60 HRC"]),
    ("change", {"name": "B-042", "steel": "S44004", "why": "read off"},
     ["piece", "change", "B-042", "--steel", "S44004", "--why", "read off"]),
    ("strike", {"kind": "note", "entry": "1", "why": "it was not"},
     ["piece", "strike", "note", "1", "--why", "it was not"]),
    ("upkeep", {"furnace": "small furnace", "part": "elements"}, ["upkeep", "small furnace", "elements"]),
    ("cutout", {"furnace": "small furnace", "set_": "900", "tripped_at": "908"},
     ["cutout", "small furnace", "--set", "900", "--tripped-at", "908"]),
    ("batch", {"name": "spring", "names": "B-041 B-042"}, ["batch", "add", "spring", "B-041", "B-042"]),
]  # fmt: skip


def test_entries_equal_those_of_the_commands(tmp_path: Path) -> None:
    for name in ("forms", "words"):
        sealed_run(tmp_path / name, 60)
    add = ["piece", "add", "B-041", "B-042", "--thickness-mm", "2.6"]
    for form, values, words in [("piece", {"names": "B-041 B-042", "thickness_mm": "2.6"}, add), *EVENING]:
        answer = enter(tmp_path / "forms", form, values, by=ANA)
        assert "done" in answer, (form, answer)
        run_words(tmp_path / "words", *words, "--by", ANA)
    ours, theirs = exported(tmp_path / "forms", tmp_path / "a"), exported(tmp_path / "words", tmp_path / "b")
    assert ours.keys() == theirs.keys()
    for table in ours:
        assert strip_run(ours[table]) == strip_run(theirs[table]), table


def strip_run(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Rows without what differs between two recordings: the run's own name and seal, and the days of entries."""
    own = ("run", "seal", "done_utc", "done_on", "folder")
    return [{k: v for k, v in row.items() if k not in own} for row in rows]


def test_two_devices_at_one_piece(book: Path) -> None:
    seen = "B-041=1"
    first = enter(book, "note", {"names": "B-041", "words": "one", "seen": seen}, by=ANA)
    second = enter(book, "note", {"names": "B-041", "words": "two", "seen": seen}, by="bench")
    assert "done" in first
    assert "since then Ana's phone entered note 1" in second["refused"]
    assert second["field"] == "seen"
    again = enter(book, "note", {"names": "B-041", "words": "two", "seen": "B-041=2"}, by="bench")
    assert "done" in again
    assert (
        "not written like" in enter(book, "note", {"names": "B-041", "words": "x", "seen": "B-041"}, by=ANA)["refused"]
    )


def test_a_photograph_comes_by_the_server_alone(book: Path, tmp_path: Path) -> None:
    picture = with_a_place(tmp_path / "upload-1")
    done = enter(book, "photo", {"name": "B-041", "note": "edge"}, by=ANA, files={"file": picture})
    assert done["done"] == "B-041: photograph of 640 x 400 pixels kept, entry 1."
    again = enter(book, "photo", {"name": "B-041"}, by="bench", files={"file": picture})
    assert "has this photograph already, entry 1" in again["refused"]
    with open_logbook(book) as opened:
        (kept,) = photos_of(opened, "B-041")
    assert (kept.note, kept.entered_by) == ("edge", ANA)
    assert "is no field" in enter(book, "note", {"names": "B-041"}, by=ANA, files={"file": picture})["refused"]
