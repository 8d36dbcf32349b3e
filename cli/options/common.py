"""What all commands share: errors as one line, JSON, units, the log book's place, output files kept safe."""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.surfaces import TERMINAL, NextCommand, Surface
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, joined, saying

F = TypeVar("F", bound=Callable[..., Any])
LARGEST_NUMBER = 10**9  # of what a person counts; the database holds no more than 64 bits


class WrongUse(click.ClickException):
    """Wrong use or a wrong file: exit status 2."""

    exit_code = 2

    def __init__(self, says: str | Says) -> None:
        self.says = saying(says)
        super().__init__(str(self.says))


class Words(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """Words that a person typed and that are kept: bytes that are no text are refused, no file could hold them."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Give the words."""
        try:
            str(value).encode()
        except UnicodeEncodeError:
            self.fail(f"{value!r} is no text in UTF-8.", param, ctx)
        return str(value)


class Finite(click.FloatRange):
    """A number within a range; ``nan`` and ``inf``, which compare with nothing, are refused."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Refuse what is no finite number."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is no number.", param, ctx)
        return number


class SuggestingGroup(click.Group):
    """A group that names the nearest command where a word is none of its commands."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Refuse an unknown command with the one that was probably meant."""
        word = args[0]
        if not word.startswith("-") and not ctx.resilient_parsing and self.get_command(ctx, word) is None:
            near = nearest(word, self.list_commands(ctx))
            ctx.fail(f"No such command {word!r}.{near} The commands are listed by: {ctx.command_path} --help")
        return super().resolve_command(ctx, args)


def nearest(word: str, known: Iterable[str]) -> str:
    """Ask whether the word most like this one was meant; empty where none is."""
    import difflib

    spelled = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(word.casefold(), spelled, n=1)
    return f" Did you mean {spelled[near[0]]!r}?" if near else ""


def run_main(command: click.Command) -> int:
    """Run a command; return the exit status. Known errors are one line on stderr, never a traceback."""
    asked: dict[str, Unit] = {}
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # names of files may hold bytes that are no text: out as they came in
            stream.reconfigure(errors="surrogateescape")
    try:
        result = command.main(standalone_mode=False, obj=asked)
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.Abort:
        say("Stopped.", err=True)
        return 130
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        told = told_of(error, asked.get("unit", "C"))
        if told is None:
            raise
        say(f"Error: {told[0]}", err=True)
        return told[1]
    return result if isinstance(result, int) else 0


def told_of(error: Exception, unit: Unit, surface: Surface = TERMINAL) -> tuple[str, int] | None:
    """The sentence and the exit status of an error made on purpose; None of one that is a fault of the program."""
    code = getattr(error, "exit_code", None)
    says = getattr(error, "says", None)
    if code is not None and isinstance(says, Says):
        return says.text(unit, surface), int(code)
    if isinstance(error, click.ClickException):
        return _of_click(error, surface), error.exit_code
    if isinstance(error, UnicodeEncodeError):  # bytes of another encoding in what was typed
        return f"{error.object[:60]!r} is no text in UTF-8.", 2
    if isinstance(error, OSError) and not hasattr(error, "exit_code"):
        # a disk or a stream that fails where nothing more can be said of it
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror or error}.", 1
    return None if code is None else (str(error), int(code))


def _of_click(error: click.ClickException, surface: Surface) -> str:
    """What click refuses: in its own words in a terminal, elsewhere with the field in place of the option."""
    param = getattr(error, "param", None)
    if surface is TERMINAL or param is None:
        return error.format_message()
    named = surface.field(param.name or "", "", "") or str(param.name)
    if isinstance(error, click.MissingParameter):
        return f"{named} is to be filled in."
    return f"{named}: {error.message}"


def plain(value: Any) -> Any:
    """Turn numpy numbers, tuples and NaN into what JSON can say; NaN and infinity become None."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def print_json(value: Any) -> None:
    """Print JSON on stdout; an unknown is null."""
    click.echo(json.dumps(plain(value), indent=1, ensure_ascii=False, allow_nan=False))


def json_option(function: F) -> F:
    """Option ``--json``, passed as ``as_json``."""
    return click.option("--json", "as_json", is_flag=True, help="Answer as JSON on stdout.")(function)


def unit_option(function: F) -> F:
    """Option ``--unit C|F``, passed as ``unit``; display only unless the command says otherwise."""
    return click.option(
        "--unit",
        type=click.Choice(["C", "F"]),
        default=None,
        callback=_asked_unit,
        help="Show degrees Celsius or Fahrenheit.",
    )(function)


def _asked_unit(ctx: click.Context, _: click.Parameter, unit: Unit | None) -> Unit | None:
    """Keep the unit for errors, which are told where the options are no longer known."""
    if unit is not None and isinstance(ctx.obj, dict):
        ctx.obj["unit"] = unit
    return unit


def _possible(_: click.Context, __: click.Parameter, folder: Path) -> Path:
    _is_there(folder)
    return folder


def logbook_option(function: F) -> F:
    """Option ``--logbook DIR``, passed as ``logbook`` (a Path)."""
    return click.option(
        "--logbook",
        type=click.Path(path_type=Path, file_okay=False),
        callback=_possible,
        envvar="SOAKWITNESS_LOGBOOK",
        default=Path("soakwitness-logbook"),
        show_default=True,
        help="Folder of the log book.",
    )(function)


def force_option(function: F) -> F:
    """Option ``--force``, passed as ``force``: an existing output file may be replaced."""
    return click.option("--force", is_flag=True, help="Replace an output file that exists.")(function)


CHART_ENDINGS = (".png", ".svg", ".pdf")


def check_output(path: Path, *, force: bool, suffixes: tuple[str, ...] = ()) -> Path:
    """Refuse an output file that exists, has no folder, or has the wrong ending, before any work is done."""
    if suffixes and path.suffix.lower() not in suffixes:
        raise WrongUse(f"{path}: the ending must be one of {', '.join(suffixes)}.")
    if _is_there(path) and not force:
        raise WrongUse(f"{path} exists. Give another name, or --force to replace it.")
    if not path.parent.exists():
        raise WrongUse(f"{path}: the folder {path.parent} does not exist. Make it first.")
    return path


def write_output(path: Path, text: str) -> None:
    """Write a text that a person asked for; a disk that refuses it is told in one line."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise WrongUse(f"{path} cannot be written: {error.strerror or error}.") from None


def _is_there(path: Path) -> bool:
    """Whether a path exists; one that no system can hold is refused."""
    try:
        return path.exists()
    except OSError as error:
        raise WrongUse(f"{path}: {error.strerror or error}. Give another name.") from None


def struck_out(logbook: Path) -> dict[str, str]:
    """Why runs were struck out, by their ids; none where there is no log book, or none that can be read."""
    if not (logbook / "logbook.sqlite").exists():
        return {}
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.logbook.striking import struck_runs

    try:
        with open_logbook(logbook) as book:
            return {run: struck.why for run, struck in struck_runs(book).items()}
    except LogBookError:
        return {}


def in_doubt(logbook: Path) -> dict[str, str]:
    """Why runs may have been no heatings, by their ids.

    The log book knows; what it has not taken in yet, or as a doubtful run only, is looked up in the run folders.
    """
    from soakwitness.firmware_bridge.errors import RunFolderError
    from soakwitness.firmware_bridge.runfolder.doubtful import doubt_in
    from soakwitness.firmware_bridge.runfolder.listing import run_folders, run_id

    settled = _known_as_heatings(logbook)
    found = {}
    for path in run_folders(logbook):
        if (run := run_id(path)) not in settled:
            with contextlib.suppress(RunFolderError, OSError):
                if (doubt := doubt_in(path)) is not None:
                    found[run] = doubt
    return found


def _known_as_heatings(logbook: Path) -> set[str]:
    """Sealed runs that the log book knows, but for those that are doubtful."""
    if not (logbook / "logbook.sqlite").exists():
        return set()
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.doubting import sealed_and_sure
    from soakwitness.analysis.logbook.opening import open_logbook

    try:
        with open_logbook(logbook) as book:
            return sealed_and_sure(book)
    except LogBookError:
        return set()


def find_run(name: str, logbook: Path) -> Path:
    """Find a run folder: a path, a run id, the beginning of one, or ``last``: the run last made or imported.

    Raises WrongUse if there is none, or several begin so.
    """
    path = _found(name, logbook)
    struck = struck_out(logbook)
    if struck:
        from soakwitness.firmware_bridge.runfolder.listing import run_id

        if (run := run_id(path)) in struck:
            say(f"{run} was struck out: {struck[run]}", err=True)
            return path
    _say_doubt(path, logbook)
    return path


def _say_doubt(path: Path, logbook: Path) -> None:
    from soakwitness.firmware_bridge.errors import RunFolderError
    from soakwitness.firmware_bridge.runfolder.doubtful import doubt_in
    from soakwitness.firmware_bridge.runfolder.listing import run_id

    with contextlib.suppress(RunFolderError, OSError):
        if (doubt := doubt_in(path)) is not None and (run := run_id(path)) not in _known_as_heatings(logbook):
            say(f"{run} may be no heating: {doubt}. If it was one: soakwitness runs {run} --heating", err=True)


def _found(name: str, logbook: Path) -> Path:
    path = Path(name)
    if _is_there(path) and path.is_dir():
        return path
    if _is_there(path):
        raise WrongUse(
            f"{name} is a file, not a run folder. A foreign log comes in with: soakwitness import {name} ..."
        )
    from soakwitness.firmware_bridge.runfolder.listing import last_made, run_folders, run_id

    folder = logbook / "runs"
    if name == "last":
        made = last_made(logbook, leave_out={*struck_out(logbook), *in_doubt(logbook)})
        if made is not None:
            return made
    known = [(run_id(p), p) for p in run_folders(logbook)]
    hits = [p for run, p in known if name in (run, p.name)] or [
        p for run, p in known if run.startswith(name) or run.endswith("_" + name) or p.name.startswith(name)
    ]
    if len(hits) == 1:
        return hits[0]
    if hits:
        raise WrongUse(f"{name}: {len(hits)} runs fit, from {hits[0].name} to {hits[-1].name}. Give more of the name.")
    says = f"{name}: no such run folder, and no such run in {folder}. List the runs with:"
    raise WrongUse(joined([says, NextCommand.of("runs")]))
