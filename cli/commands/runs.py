"""``soakwitness runs``: the runs of the log book, or one of them as a table for a spreadsheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from soakwitness.cli.options.common import (
    WrongUse,
    check_output,
    find_run,
    force_option,
    in_doubt,
    json_option,
    logbook_option,
    print_json,
    struck_out,
    unit_option,
)
from soakwitness.cli.options.entering import by_option
from soakwitness.cli.options.screen import say
from soakwitness.cli.verdicts.beside import compare_runs
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.firmware_bridge.runfolder.listing import Listed

NEWEST = 20
Only = Literal["standing", "struck", "doubtful"]


@click.command()
@click.argument("named", metavar="[RUN]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help=f"All runs, not only the newest {NEWEST}.")
@click.option("--check", is_flag=True, help="Compare every run with its seal, which takes a while with many.")
@click.option(
    "--export", "export", type=click.Path(path_type=Path, dir_okay=False), help="Write RUN's readings to FILE."
)
@click.option("--decimal", type=click.Choice([".", ","]), default=".", help="Decimal mark in that file.")
@click.option("--strike", is_flag=True, help="Strike RUN out: it is kept, and counted nowhere.")
@click.option("--unstrike", is_flag=True, help="Have RUN stand again that was struck out.")
@click.option("--why", help="The reason for either.")
@click.option("--struck", "only_struck", is_flag=True, help="List the runs that were struck out.")
@click.option("--doubtful", "only_doubtful", is_flag=True, help="List the runs that may be no heatings.")
@click.option("--heating", is_flag=True, help="Say that RUN, which is doubtful, was a heating.")
@click.option("--compare", "beside", is_flag=True, help="Draw the named RUNs over each other; takes --chart.")
@click.option("--align", metavar="STEP", help="start, or the number of a hold: where their clocks are set to nought.")
@click.option("--chart", type=click.Path(path_type=Path), help="Draw them as FILE.png, .svg or .pdf.")
@by_option
@unit_option
@json_option
@logbook_option
@force_option
def runs(
    named: tuple[str, ...],
    everything: bool,
    check: bool,
    export: Path | None,
    decimal: str,
    strike: bool,
    unstrike: bool,
    why: str | None,
    only_struck: bool,
    only_doubtful: bool,
    heating: bool,
    beside: bool,
    align: str | None,
    chart: Path | None,
    by: str | None,
    unit: Unit | None,
    as_json: bool,
    logbook: Path,
    force: bool,
) -> None:
    """List the runs of the log book, or write one out as a table (RUN, else the last one).

    A verdict stands behind the recipe once the run was verified. A run of a trial or a wrong import is struck out with
    a reason: runs RUN --strike --why "thermocouple outside". It is kept, and left out of lists, trends and checks.

    A run that may be a heating, or hot bricks behind a door, is kept apart until you say which: runs RUN --heating, or
    --strike it. A mark in it says so too.

    With a decimal comma the cells are parted by semicolons, as spreadsheets expect.

    Several runs are put over each other from when each came into the hottest hold, or into that of --align:
    runs --compare 20260302 20260303 --chart both.png

    Example: soakwitness runs --json
    """
    if beside:
        compare_runs(named, logbook, chart=chart, align=align, unit=unit, force=force)
        return
    if chart is not None or align is not None:
        raise WrongUse(
            "--chart and --align belong to runs --compare A B; the chart of one: soakwitness verify --chart."
        )
    if len(named) > 1:
        raise WrongUse(f"{named[1]}: several runs are named. One at a time, or draw them together: runs --compare.")
    run = named[0] if named else None
    if strike or unstrike:
        _strike(run, logbook, why, by, unstrike)
        return
    if heating:
        _confirm(run, logbook, why, by)
        return
    if export is not None:
        _export(find_run(run or "last", logbook), export, decimal, force)
        return
    only: Only = "struck" if only_struck else "doubtful" if only_doubtful else "standing"
    _list(run, logbook, everything=everything, check=check, only=only, as_json=as_json)


def _list(run: str | None, logbook: Path, *, everything: bool, check: bool, only: Only, as_json: bool) -> None:
    """Print the runs, or the one that is named, each with the verdict that was kept of it."""
    from soakwitness.firmware_bridge.runfolder.listing import look_at, run_folders, run_id

    struck, hidden = struck_out(logbook), 0
    doubted = {name: doubt for name, doubt in in_doubt(logbook).items() if name not in struck}
    if run is not None:
        paths = [find_run(run, logbook)]
    else:
        kind = {**dict.fromkeys(doubted, "doubtful"), **dict.fromkeys(struck, "struck")}
        paths = [path for path in run_folders(logbook) if kind.get(run_id(path), "standing") == only]
        hidden = 0 if everything else max(0, len(paths) - NEWEST)
        paths = paths[hidden:]
    compare = check or not everything
    listed = (
        _as_seen(logbook, [look_at(path, compare=compare) for path in paths])
        if compare
        else [look_at(path, compare=False) for path in paths]
    )
    verdicts = _verdicts(logbook, [run_id(path) for path in paths])
    if as_json:
        names = [run_id(e.path) for e in listed]
        kept = [(verdicts.get(name), struck.get(name), doubted.get(name)) for name in names]
        print_json([_as_json(e, *known) for e, known in zip(listed, kept, strict=True)])
        return
    if listed:
        lines = (_line(e, verdicts.get(name := run_id(e.path)), struck.get(name), doubted.get(name)) for e in listed)
        say("\n".join(lines), hang=2)
    else:
        say(f"No runs in {logbook}.", err=True)
    from soakwitness.firmware_bridge.common.wording import counted

    if run is None and only == "standing" and doubted:
        say(f"{counted(len(doubted), 'doubtful heating')} kept apart: soakwitness runs --doubtful", err=True)
    if run is None and hidden:
        say(f"Not shown: {counted(hidden, 'older run')}: --all", err=True)


def _strike(run: str | None, logbook: Path, why: str | None, by: str | None, back: bool) -> None:
    from soakwitness.analysis.logbook.striking import restore_run, strike_run
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs
    from soakwitness.firmware_bridge.runfolder.listing import run_id

    if run is None or not why:
        raise WrongUse('Name the run and the reason: soakwitness runs RUN --strike --why "a trial"')
    path, stamp = find_run(run, logbook), new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        if back:
            restore_run(book, run_id(path), why=why, stamp=stamp)
        else:
            strike_run(book, run_id(path), why=why, stamp=stamp)
    say(f"{path.name} {'stands again' if back else 'is struck out: it is kept, and counted nowhere'}.")


def _confirm(run: str | None, logbook: Path, why: str | None, by: str | None) -> None:
    from soakwitness.analysis.logbook.doubting import confirm_run
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs
    from soakwitness.firmware_bridge.runfolder.listing import run_id

    if run is None:
        raise WrongUse("Name the run: soakwitness runs RUN --heating")
    path, stamp = find_run(run, logbook), new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        confirm_run(book, run_id(path), why=why or "", stamp=stamp)
    say(f"{path.name} is a heating, and counts as any other. Its verdict: soakwitness verify {path.name}")


def _as_seen(logbook: Path, listed: list[Listed]) -> list[Listed]:
    """The same runs; one that is not as the log book has seen it is not called intact."""
    if not (logbook / "logbook.sqlite").exists():
        return listed
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.seals import seal_known
    from soakwitness.cli.options.entering import open_book

    found = []
    try:
        with open_book(logbook) as book:
            for entry in listed:
                known = None if entry.header is None else seal_known(book, entry.path, entry.header.run)
                doubt = None if known is None else known.doubt
                found.append(entry if doubt is None else replace(entry, intact=False, says=f"changed: {doubt}"))
    except LogBookError as error:
        click.echo(str(error), err=True)
        return listed
    return found


def _export(path: Path, file: Path, decimal: str, force: bool) -> None:
    from soakwitness.firmware_bridge.runfolder.listing import look_at, readings

    check_output(file, force=force, suffixes=(".csv", ".txt", ".tsv"))
    found = look_at(path, compare=True)
    if found.intact is False:
        say(f"{path.name}: {found.says}; only rows whose checksum holds are written.", err=True)
    separator = "\t" if file.suffix.lower() == ".tsv" else ";" if decimal == "," else ","
    lines = readings(path, decimal=decimal, separator=separator)
    try:
        with open(file, "w", encoding="utf-8", newline="\n") as out:
            for line in lines:
                out.write(line + "\n")
    except OSError as error:
        raise WrongUse(f"{file} cannot be written: {error.strerror or error}.") from None
    click.echo(str(file))


def _verdicts(logbook: Path, names: list[str]) -> dict[str, RunEntry]:
    """What the log book lists of these runs that it keeps a verdict of; a run that was never judged has none."""
    if not (logbook / "logbook.sqlite").exists():
        return {}
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.runs import runs_listed
    from soakwitness.cli.options.entering import open_book

    try:
        with open_book(logbook) as book:
            return {entry.run: entry for entry in runs_listed(book, names) if entry.verdict is not None}
    except LogBookError as error:
        click.echo(str(error), err=True)
        return {}


def _line(entry: Listed, kept: RunEntry | None, struck: str | None, doubt: str | None) -> str:
    out = f"  struck out: {struck}" if struck is not None else "" if doubt is None else f"  doubtful: {doubt}"
    if entry.header is None:
        return f"{entry.path.name}  unreadable: {entry.says}{out}"
    from soakwitness.firmware_bridge.common.wording import counted, duration

    length = "-" if entry.length_s is None else duration(entry.length_s)
    state = entry.state if entry.intact is not False else f"{entry.state}, {entry.says}"
    state += ", intact" if entry.intact and entry.state == "sealed" else ""
    recipe = f"  {entry.header.recipe_name}" if entry.header.recipe_name else ""
    verdict = "" if kept is None else _verdict_words(kept)
    recipe += f": {verdict}" if recipe and verdict else f"  {verdict}" if verdict else ""
    start = _local(entry.header.started_utc, entry.header.zone)
    return f"{entry.path.name}  {start}  {length:>10}  {counted(entry.rows or 0, 'row'):>13}  {state}{recipe}{out}"


def _verdict_words(kept: RunEntry) -> str:
    """A verdict; one by earlier rules says so."""
    from soakwitness.analysis.rules import RULES_VERSION

    return kept.verdict or "" if kept.rules == RULES_VERSION else f"{kept.verdict}, by rules {kept.rules}"


def _local(utc: str, zone: str | None) -> str:
    """Start in the run's own zone."""
    from soakwitness.firmware_bridge.common.zones import zone_on_record

    return datetime.fromisoformat(utc).astimezone(zone_on_record(zone)).strftime("%Y-%m-%d %H:%M %Z")


def _as_json(entry: Listed, kept: RunEntry | None, struck: str | None, doubt: str | None) -> dict[str, Any]:
    header = entry.header
    return {
        "run": entry.path.name,
        "path": str(entry.path),
        "furnace": header.furnace_name if header else None,
        "started_utc": header.started_utc if header else None,
        "zone": header.zone if header else None,
        "recipe": header.recipe_name if header else None,
        "verdict": None if kept is None else kept.verdict,
        "rules": None if kept is None else kept.rules,
        "operator": header.operator if header else None,
        "origin": header.origin if header else None,
        "length_s": entry.length_s,
        "rows": entry.rows,
        "state": entry.state,
        "sealed": entry.state == "sealed",
        "intact": entry.intact,
        "says": entry.says,
        "struck": struck,
        "doubtful": doubt,
    }
