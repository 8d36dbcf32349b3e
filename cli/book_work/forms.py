"""What a page may enter: a closed list of forms, each one of the commands, run with what was filled in.

A form's fields are the command's own parameters, by their names in its function. Options go as ``--option=value``,
names after ``--``: nothing that is filled in can become another option, and no shell reads it.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from soakwitness.cli.options.common import WrongUse, told_of
from soakwitness.cli.options.screen import read_on
from soakwitness.cli.words.page_words import OnPage, fields_of

Values = Mapping[str, str | Sequence[str]]
LONGEST_VALUE = 4000
MOST_VALUES = 200
_FACTS = ("steel", "lot", "thickness_mm", "stamp", "customer", "order", "coupon", "note")
# names out of lists; a command would take a path too
_PLAIN = ("run", "in_run", "furnace", "inferred", "recipe_path", "temper_path", "packet_path")
_TEMPERATURES_IN = "unit"
_NOWHERE = (3, 0)


@dataclass(frozen=True)
class Form:
    """One command, and which of its parameters a page may fill in; ``files``: those that the server may give."""

    command: tuple[str, ...]
    fields: tuple[str, ...]
    files: tuple[str, ...] = ()


FORMS: dict[str, Form] = {
    "piece": Form(("piece", "add"), ("names", *_FACTS, "batch", "seen")),
    "change": Form(("piece", "change"), ("name", *_FACTS, "why", "seen")),
    "charge": Form(
        ("piece", "charge"),
        ("run", "names", "furnace", "number", "place", "foil", "heated_faces", "blades")
        + ("kg", "fixtures", "fixtures_kg", "empty", "note", "seen"),
    ),
    "hardness": Form(
        ("piece", "hardness"),
        ("name", "readings", "after", "before", "at", "scale", "load_n", "block", "block_reading", "tester", "spot")
        + (
            "along",
            "across",
            "ground_off_mm",
            "spacing_mm",
            "edge_mm",
            "section_mm",
            "as_read",
            "note",
            "zone",
            "seen",
        ),
    ),
    "treatment": Form(
        ("piece", "treatment"),
        ("kind", "names", "start", "end", "lowest", "shown", "second", "oven", "removed_mm", "not_done", "note")
        + (_TEMPERATURES_IN, "zone", "seen"),
    ),
    "inspect": Form(
        ("piece", "inspect"),
        ("look", "names", "result", "mm", "place", "after", "before", "at", "note", "zone", "seen"),
    ),
    "photo": Form(("piece", "photo"), ("name", "at", "note", "zone", "seen"), files=("file",)),
    "note": Form(("piece", "note"), ("names", "words", "at", "zone", "seen")),
    "strike": Form(("piece", "strike"), ("kind", "entry", "why", "seen")),
    "strike of a run": Form(("logbook", "strike"), ("kind", "entry", "why", "seen")),
    "disposition": Form(("disposition",), ("run", "decide", "finding", "step", "why", "seen")),
    "mark": Form(("mark",), ("act", "pieces", "run", "at", "zone", "outside", "note", "strike", "why")),
    "inferred": Form(("mark",), ("inferred", "confirm")),
    "batch": Form(("batch", "add"), ("name", "names", "note")),
    "cutout": Form(
        ("cutout",),
        ("furnace", "set_", "tripped_at", "no_trip_up_to", "in_run", "day", "note", "strike", "why", _TEMPERATURES_IN),
    ),
    "plan": Form(
        ("plan",),
        ("recipe_path", "pieces", "thickness_mm", "foil", "count", "furnace", "reaches", "starts", "temper_path")
        + ("packet_path", _TEMPERATURES_IN, "keep"),
        files=("recipe_path", "temper_path"),
    ),
    "upkeep": Form(("upkeep",), ("furnace", "part", "at", "note", "struck", "why", "zone")),
}


def _run(words: Sequence[str], asked: dict[str, Any]) -> None:
    """Run the program as it is typed; ``asked`` is where it puts the unit that its errors are told in."""
    _program().main(list(words), prog_name="soakwitness", standalone_mode=False, obj=asked)


def enter(
    logbook: Path,
    form: str,
    values: Values,
    *,
    by: str,
    files: Mapping[str, Path] | None = None,
    does: Callable[[Sequence[str], dict[str, Any]], None] = _run,
) -> dict[str, Any]:
    """Run the command of a form.

    ``by``: the device that it is entered from; ``files``: paths that the server itself gives, by their fields;
    ``does``: what is done with the words of the command in place of running it. Returns ``done`` with what the command
    said and ``notes`` beside it; or ``refused`` with its words, fields by the names that the page has for them, the
    ``field`` that they are about, None where they are about no single one, and ``named``: every field that they name.
    """
    out, err = io.StringIO(), io.StringIO()
    asked: dict[str, Any] = {}
    page = _page(form)
    before = read_on.set(page)
    try:
        words = arguments(logbook, form, values, by=by, files=files or {})
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            does(words, asked)
    except Exception as error:
        unit = asked.get("unit", "C")
        told, typed = told_of(error, unit, page), told_of(error, unit)
        if told is None or typed is None:
            raise
        named = _named_in(typed[0], form)
        at = _field_of(error, typed[0], named, form, values)
        return {"refused": told[0], "field": at, "named": named, "notes": _lines(err)}
    finally:
        read_on.reset(before)
    return {"done": out.getvalue().strip(), "notes": _lines(err)}


def _page(form: str) -> OnPage:
    """The page of a form as the surface that its command's words are read on."""
    fields = fields_of(form)
    return OnPage(fields | {word.lstrip("-"): fields[name] for word, name in _options(form).items()})


def _options(form: str) -> dict[str, str]:
    """The fields of a form that are options of its command, by those."""
    params = _params(form) if form in FORMS else ()
    return {word: str(p.name) for p in params if isinstance(p, click.Option) for word in p.opts + p.secondary_opts}


def _named_in(says: str, form: str) -> list[str]:
    """The fields whose options a refusal names, in its order."""
    options = _options(form)
    return [options[word] for word in re.findall(r"--[a-z][a-z-]*", says) if word in options]


def _lines(text: io.StringIO) -> list[str]:
    return [line.strip() for line in text.getvalue().splitlines() if line.strip()]


def arguments(logbook: Path, form: str, values: Values, *, by: str, files: Mapping[str, Path]) -> list[str]:
    """The words of the command that a form stands for.

    Raises WrongUse if there is no such form or field, or a value is none that a page can have sent.
    """
    if form not in FORMS:
        raise WrongUse(f"{form!r} is no form. Forms are: {', '.join(FORMS)}.")
    known = FORMS[form]
    strange = [name for name in values if name not in known.fields] + [n for n in files if n not in known.files]
    if strange:
        raise WrongUse(f"{strange[0]!r} is no field of the form {form}. Fields are: {', '.join(known.fields)}.")
    options = [f"--by={by}", f"--logbook={logbook}"]
    places: list[tuple[click.Parameter, list[str]]] = []
    for param in _params(form):
        given = _given(param, values.get(param.name or "", ()))
        _refuse_paths(logbook, param, given)
        if param.name in files:
            given = [str(files[param.name])]
        if isinstance(param, click.Option):
            options += _option(param, given, form)
        else:
            places.append((param, given))
    return [*known.command, *options, "--", *_in_their_places(places)]


def _in_their_places(places: Sequence[tuple[click.Parameter, list[str]]]) -> list[str]:
    """Arguments in their order; none may be left empty before one that is filled in, which would take its place."""
    for number, (param, given) in enumerate(places):
        if not given and (param.required or any(later for _, later in places[number + 1 :])):
            raise click.MissingParameter(ctx=click.Context(_program()), param=param)
    return [text for _, given in places for text in given]


def _program() -> click.Group:
    from soakwitness.cli.main import soakwitness

    return soakwitness


def _params(form: str) -> Iterator[click.Parameter]:
    """The parameters of a form's command that it uses, in the command's order."""
    allowed = (*FORMS[form].fields, *FORMS[form].files)
    yield from (param for param in command_of(form).params if param.name in allowed)


def command_of(form: str) -> click.Command:
    """The command that a form enters by."""
    command: click.Command = _program()
    context = click.Context(command)
    for word in FORMS[form].command:
        assert isinstance(command, click.Group)
        found = command.get_command(context, word)
        assert found is not None
        command = found
    return command


def _given(param: click.Parameter, value: str | Sequence[str]) -> list[str]:
    """What was filled in, without what was left empty."""
    several = [value] if isinstance(value, str) else list(value)
    given = [text.strip() for text in several if text.strip()]
    if len(given) > MOST_VALUES or any(len(text) > LONGEST_VALUE for text in given):
        raise click.BadParameter(
            f"that is too much for one entry: at most {MOST_VALUES} values of {LONGEST_VALUE} characters.", param=param
        )
    if any("\0" in text for text in given):
        raise click.BadParameter("a NUL is no text.", param=param)
    if _takes_several(param) and not isinstance(param, click.Option):
        given = [part for text in given for part in _parted(param, text)]
    if _is_number(param):
        given = [re.sub(r"(?<=\d),(?=\d)", ".", text) for text in given]
    if len(given) > 1 and not _takes_several(param):
        raise click.BadParameter("one value is asked for, and several were given.", param=param)
    return given


def _refuse_paths(logbook: Path, param: click.Parameter, given: Sequence[str]) -> None:
    """Refuse what a command could take for a path; a furnace may well be called ``kiln 1/left``."""
    paths = [text for text in given if re.search(r"[\\/]|^\.|\.toml$", text)] if param.name in _PLAIN else []
    if paths and not (param.name == "furnace" and all(_is_furnace(logbook, text) for text in paths)):
        raise click.BadParameter(
            f"{paths[0]!r} is a path; name the {form_word(param)} as the log book does.", param=param
        )


def _is_furnace(logbook: Path, text: str) -> bool:
    """Whether a furnace that has runs is called so, and no file."""
    from soakwitness.analysis.logbook.runs import furnaces, take_in
    from soakwitness.cli.options.entering import new_stamp, open_book

    with open_book(logbook, create=(logbook / "runs").is_dir()) as book:
        take_in(book, stamp=new_stamp(None))
        return text in furnaces(book) and not Path(text).exists()


def form_word(param: click.Parameter) -> str:
    """What a parameter is called in a sentence."""
    return (param.name or "").rpartition("_")[2]


def _parted(param: click.Parameter, text: str) -> list[str]:
    """Several names or numbers written in one field."""
    return [part for part in re.split(r"[\s;]+" if _is_number(param) else r"[\s;,]+", text) if part]


def _takes_several(param: click.Parameter) -> bool:
    return param.multiple or param.nargs == -1


def _is_number(param: click.Parameter) -> bool:
    return isinstance(param.type, (click.types.FloatParamType, click.types.IntParamType))


def _option(param: click.Option, given: list[str], form: str) -> list[str]:
    if not param.is_flag:
        return [f"{param.opts[0]}={text}" for text in given]
    if given and given[0] not in ("yes", "no"):
        raise click.BadParameter(f"{given[0]!r} is neither yes nor no.", param=param)
    if not given:
        return []
    if given[0] == "yes":
        return [param.opts[0]]
    return [param.secondary_opts[0]] if param.secondary_opts else []


def _field_of(error: Exception, says: str, named: Sequence[str], form: str, values: Values) -> str | None:
    """The field that a refusal is about, by its words in a terminal.

    The parameter that was refused; else an option that was filled in and that its words name; else the field whose
    value stands in its words; else an option that is missing.
    """
    if form not in FORMS:
        return None
    if isinstance(error, click.UsageError) and (param := getattr(error, "param", None)) is not None:
        return str(param.name)
    if (said := next((name for name in named if values.get(name)), None)) is not None:
        return said
    picked = {p.name for p in _params(form) if isinstance(p.type, click.Choice)}
    filled = [(text, name) for name in values for text in _texts(values[name]) if name != "seen"]
    found = [(_stands_in(says, text, picked=name in picked), name) for text, name in filled]
    place, name = min(found, default=(_NOWHERE, ""))
    return name if place < _NOWHERE else next(iter(named), None)


def _stands_in(says: str, text: str, *, picked: bool) -> tuple[int, int]:
    """How far a refusal is from being about a value: what was typed before what was picked, then in the order of words.

    What the words begin with, and a colon, is only whom they are about.
    """
    found = re.search(rf"(?<![\w.-]){re.escape(text)}(?!\w)", says)
    if found is None:
        return _NOWHERE
    return 2 if says.startswith(f"{text}:") else int(picked), found.start()


def _texts(value: str | Sequence[str]) -> list[str]:
    whole = [value] if isinstance(value, str) else list(value)
    return [part for text in whole for part in (text.strip(), *text.split(), text.strip().replace(",", ".")) if part]
