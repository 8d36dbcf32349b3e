"""``soakwitness import``: run folders from logs that other instruments kept."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import Finite, WrongUse, json_option, logbook_option, print_json, struck_out
from soakwitness.cli.options.screen import say, table

if TYPE_CHECKING:
    from datetime import datetime

    from soakwitness.analysis.importing.making import Imported
    from soakwitness.analysis.importing.settings import ImportSettings

SLOW_FROM_BYTES = 5_000_000  # about two seconds
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "space": " "}
DECIMALS = {"point": ".", "comma": ","}


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--time", help="Column with the time: seconds, ISO 8601, or as --time-format says.")
@click.option("--date", help="Column with the date, where it stands apart from the time.")
@click.option("--time-format", metavar="FORMAT", help="How times are written, such as '%d.%m.%Y %H:%M:%S'.")
@click.option(
    "--time-unit",
    type=click.Choice(["ms", "s", "min", "h"]),
    help="Unit of a time that is a number; else as its name says, or s.",
)
@click.option("--zone", help="Zone of local times, such as Europe/Berlin, UTC or +01:00; else the computer's.")
@click.option("--start", metavar="TIME", help="When a log that only counts seconds began, ISO 8601.")
@click.option(
    "--sensor",
    "sensors",
    multiple=True,
    metavar="ROLE=COLUMN",
    help="A thermocouple, or ROLE:NAME=COLUMN. Repeat.",
)
@click.option("--signal", "signals", multiple=True, metavar="NAME=COLUMN", help="setpoint, output or another. Repeat.")
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of the temperatures; else as the names say, or C.")
@click.option("--thermocouple", type=click.Choice(list("BEJKNRST"), case_sensitive=False), help="Thermocouple letter.")
@click.option("--tolerance-class", type=click.Choice(["1", "2", "special", "standard"]), help="Tolerance of new wire.")
@click.option("--expanded-uncertainty", type=Finite(), metavar="U", help="U (k = 2) of the readings, in --unit.")
@click.option("--name", help="What to call the run; in its folder's name unless --furnace is.")
@click.option("--furnace", help="Name of the furnace, the same every time.")
@click.option("--clock-offset", type=Finite(), metavar="SECONDS", help="Added to the logger's times.")
@click.option("--separator", type=click.Choice(list(SEPARATORS)), help="Between cells; found out if not given.")
@click.option("--decimal", type=click.Choice(list(DECIMALS)), help="Decimal sign; found out if not given.")
@click.option(
    "--fault-value",
    "fault_values",
    multiple=True,
    metavar="NUMBER",
    help="A number that says that nothing was read. Repeat; the usual ones are noticed. none: all are readings.",
)
@click.option("--unread", type=Finite(0, 100), metavar="PERCENT", help="Share of the file that may be unreadable.  [2]")
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path, dir_okay=False), help="Recipe of these runs.")
@click.option("--marks", type=click.Path(path_type=Path), help="Table of marks: time, act, pieces, note.")
@click.option(
    "--preview", is_flag=True, help="Show how the first rows are understood and what was assumed; make nothing."
)
@click.option("--again", is_flag=True, help="Import a file that was imported before.")
@click.option("--like", metavar="NAME", help="Take what is not given from a layout that was remembered.")
@click.option("--remember", metavar="NAME", help="Keep what is given for next week's file.")
@logbook_option
@json_option
def import_(
    files: tuple[Path, ...],
    start: str | None,
    name: str | None,
    recipe_path: Path | None,
    marks: Path | None,
    like: str | None,
    remember: str | None,
    preview: bool,
    again: bool,
    logbook: Path,
    as_json: bool,
    **given: Any,
) -> None:
    """Make a run folder from each log that another instrument kept; the original stays beside it.

    The separator, decimal commas, the encoding and remarks above the column names are found out over the whole file;
    --preview shows what was assumed. A COLUMN is a name, or #1 for the first one. A word instead of a number counts as
    a missing reading. Prints each run folder's path; the last line is that of the last run.

    Example: soakwitness import log.csv --time Time --sensor recording=Temp1 --unit C
    """
    from soakwitness.analysis.importing.layout import column_names
    from soakwitness.analysis.importing.settings import checked_settings, save_layout

    columns = [column_names(path, separator=SEPARATORS.get(given["separator"] or "")) for path in files]
    settings = checked_settings(_settings(given, logbook, like, columns[0]))
    if marks is not None and len(files) > 1:
        raise WrongUse("--marks belongs to one log; import these files one by one.")
    began = _start(start, given["zone"])
    recipe = None
    if recipe_path is not None:
        from soakwitness.analysis.recipes.recipe_file import load_recipe

        recipe = load_recipe(recipe_path)
    if preview:
        _preview(files, settings, began, as_json)
        return
    made = []
    for path in files:
        if not again:
            _refuse_again(path, logbook)
        made.append(_imported(path, settings, logbook, began, name=name, recipe=recipe, marks=marks))
        if not as_json:
            click.echo(str(made[-1].path))
    if remember:
        say(f"Layout remembered: {save_layout(logbook, remember, settings)}", err=True)
    if as_json:
        runs = [{"run": r.path.name, "path": str(r.path), "rows": r.rows, "notes": r.notes} for r in made]
        print_json({"schema": "soakwitness/import/1", "runs": runs})


def _imported(path: Path, settings: ImportSettings, logbook: Path, began: datetime | None, **asked: Any) -> Imported:
    """Import one log; what is to be said of it goes to stderr."""
    from datetime import UTC, datetime

    from soakwitness.analysis.importing.making import import_file
    from soakwitness.firmware_bridge.common.wording import counted
    from soakwitness.firmware_bridge.common.zones import computer_zone

    with _progress(path) as progress:
        result = import_file(
            path,
            settings,
            logbook=logbook,
            imported_utc=datetime.now(UTC),
            started_utc=began,
            local_zone=computer_zone(),
            progress=progress,
            **asked,
        )
    for says in result.notes:
        say(f"{path.name}: {says}", err=True)
    say(f"{path.name}: {counted(result.rows, 'row')}.", err=True)
    return result


def _refuse_again(path: Path, logbook: Path) -> None:
    from soakwitness.analysis.importing.making import imported_before

    before = imported_before(path, logbook, leave_out=struck_out(logbook))
    if before:
        raise WrongUse(f"{path}: the same file was imported before, as {', '.join(before)}. To do it again: --again")


def _preview(files: tuple[Path, ...], settings: ImportSettings, began: datetime | None, as_json: bool) -> None:
    """Print how each log is understood: what was assumed, the first rows, and what would be said of it."""
    from datetime import UTC, datetime

    from soakwitness.analysis.importing.making import preview_file
    from soakwitness.firmware_bridge.common.wording import counted
    from soakwitness.firmware_bridge.common.zones import computer_zone

    now, shown = datetime.now(UTC), []
    for path in files:
        seen = preview_file(path, settings, imported_utc=now, started_utc=began, local_zone=computer_zone())
        shown.append({"file": str(path), **asdict(seen)})
        if not as_json:
            for says in (*seen.says, *seen.notes):
                say(f"{path.name}: {says}")
            say(table([seen.columns, *seen.first], indent="  "))
            say(f"{path.name}: {counted(seen.rows, 'row')}; nothing was made.")
    if as_json:
        print_json({"schema": "soakwitness/import-preview/1", "files": shown})


def _settings(given: dict[str, Any], logbook: Path, like: str | None, columns: str) -> ImportSettings:
    """Join what was given with what a layout keeps; what was given counts."""
    from dataclasses import replace

    from soakwitness.analysis.importing.settings import (
        ImportSettings,
        fault_choices,
        load_layout,
        sensor_choices,
        signal_choices,
    )

    sensors, signals = sensor_choices(given.pop("sensors")), signal_choices(given.pop("signals"))
    faults, unread = given.pop("fault_values"), given.pop("unread")
    said = {key: value for key, value in given.items() if value is not None}
    if faults:
        said["fault_values"], said["notice_faults"] = fault_choices(faults)
    if unread is not None:
        said["unread_share"] = unread / 100.0
    if "clock_offset" in said:
        said["clock_offset_s"] = said.pop("clock_offset")
    for key, words in (("separator", SEPARATORS), ("decimal", DECIMALS)):
        if key in said:
            said[key] = words[said[key]]
    if like is not None:
        kept = load_layout(logbook, like)
        sensors = sensors or tuple(c for c in kept.columns if c.role)
        signals = signals or tuple(c for c in kept.columns if not c.role)
        return replace(kept, columns=(*sensors, *signals), **said)
    if "time" not in said:
        raise WrongUse("Say which column holds the time: --time COLUMN (or --like NAME). " + columns)
    return ImportSettings(columns=(*sensors, *signals), **said)


def _start(text: str | None, zone: str | None) -> datetime | None:
    from datetime import datetime

    from soakwitness.cli.options.entering import moment

    if text is None:
        return None
    try:
        given = datetime.fromisoformat(text.strip())
    except ValueError:
        raise WrongUse(f"--start {text!r}: write a time such as 2026-11-25T07:15:00+01:00.") from None
    return given if given.tzinfo is not None else datetime.fromisoformat(moment(text, zone) or "")


@contextmanager
def _progress(path: Path) -> Iterator[Callable[[float], None] | None]:
    """Show a bar on stderr for a big file at a terminal."""
    size = path.stat().st_size if path.is_file() else 0
    if size < SLOW_FROM_BYTES or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=100, label=f"Reading {path.name}", file=sys.stderr) as bar:
        yield lambda share: bar.update(max(0, round(100 * share) - bar.pos))
