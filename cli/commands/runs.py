"""``soakwitness runs``: the runs of the log book, or one of them as a table for a spreadsheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
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
    from soakwitness.analysis.logbook.finding_runs import Only
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.firmware_bridge.runfolder.listing import Listed

NEWEST = 20


@click.command()
@click.argument("named", metavar="[RUN]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help=f"All runs, not only the newest {NEWEST}.")
@click.option("--furnace", help="Only this furnace's, by its name or its file.")
@click.option("--month", help="Only those that began in a month, such as 2026-03.")
@click.option("--piece", help="Only those that this piece was in.")
@click.option("--steel", help="Only those with a piece of this steel, or whose recipe names it.")
@click.option("--verdict", help="Only those with this verdict: pass, fail, not proven, not judged.")
@click.option(
    "--words", help="Only those that all these words occur in: names, recipe, marks, what is known of pieces."
)
@click.option(
    "--page", type=click.IntRange(1, LARGEST_NUMBER), default=1, help=f"Page 2: the {NEWEST} before, and so on."
)
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
    page: int,
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
    **asked: str | None,
) -> None:
    """List the runs of the log book, or write one out as a table (RUN, else the last one).

    A verdict stands behind the recipe once the run was verified. A run of a trial or a wrong import is struck out with
    a reason: runs RUN --strike --why "thermocouple outside". It is kept, and left out of lists, trends and checks.

    Which runs are listed is said by --furnace, --month, --piece, --steel, --verdict and --words, all of them at once:
    runs --piece C-03, runs --steel S44004 --verdict fail

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
    if run is not None and (page > 1 or any(asked.values())):
        raise WrongUse(f"{run}: a run is named. Leave it out to look for others: runs --month 2026-03.")
    only: Only = "struck" if only_struck else "doubtful" if only_doubtful else "standing"
    paths, older = [find_run(run, logbook)] if run else [], 0
    if run is None:
        paths, older = _found(logbook, asked, only=only, most=None if everything else NEWEST, page=page)
    if not paths and not as_json:
        say(f"No {'such run' if any(asked.values()) else 'runs'} in {logbook}.", err=True)
    doubted = _doubted(logbook)
    _list(paths, logbook, doubted, compare=check or not everything, as_json=as_json)
    from soakwitness.firmware_bridge.common.wording import counted

    if run is None and only == "standing" and doubted and not as_json:
        say(f"{counted(len(doubted), 'doubtful heating')} kept apart: soakwitness runs --doubtful", err=True)
    if run is None and only == "doubtful" and paths and not as_json:
        say('A heating: soakwitness runs RUN --heating; none: soakwitness runs RUN --strike --why "bricks"', err=True)
    if older:
        say(f"Not shown: {counted(older, 'older run')}: --page {page + 1}, or --all", err=True)


def _doubted(logbook: Path) -> dict[str, str]:
    """Runs that are doubtful still and were not struck out, with the doubt."""
    struck = struck_out(logbook)
    return {name: doubt for name, doubt in in_doubt(logbook).items() if name not in struck}


def _found(
    logbook: Path, asked: dict[str, str | None], *, only: Only, most: int | None, page: int
) -> tuple[list[Path], int]:
    """Folders of a page of runs in the order of their start, and how many there are that are older."""
    skip = 0 if most is None else (page - 1) * most
    if any(asked.values()):
        return _of_the_book(logbook, asked, only=only, most=most, skip=skip)
    from soakwitness.firmware_bridge.runfolder.listing import run_folders, run_id

    kind = {**dict.fromkeys(_doubted(logbook), "doubtful"), **dict.fromkeys(struck_out(logbook), "struck")}
    paths = [path for path in run_folders(logbook) if kind.get(run_id(path), "standing") == only]
    end = max(0, len(paths) - skip)
    begin = 0 if most is None else max(0, end - most)
    return paths[begin:end], begin


def _of_the_book(
    logbook: Path, asked: dict[str, str | None], *, only: Only, most: int | None, skip: int
) -> tuple[list[Path], int]:
    """The same by what the log book knows of its runs."""
    from soakwitness.analysis.logbook.finding_runs import RunsAsked, find_runs
    from soakwitness.cli.options.entering import furnace_named, new_stamp, open_book, take_in_runs

    with open_book(logbook) as book:
        take_in_runs(book, new_stamp(None))
        exact = {name: value for name, value in asked.items() if name != "words"}
        if exact["furnace"] is not None:
            exact["furnace"] = furnace_named(book, exact["furnace"])
        wanted = RunsAsked(**exact, text=asked["words"] or "", only=only)
        found = find_runs(book, wanted, most=most, skip=skip)
    return [entry.folder for entry in reversed(found.entries)], max(0, found.count - skip - len(found.entries))


def _list(paths: list[Path], logbook: Path, doubted: dict[str, str], *, compare: bool, as_json: bool) -> None:
    """Print runs, each with the verdict that was kept of it."""
    from soakwitness.firmware_bridge.runfolder.listing import look_at, run_id

    struck = struck_out(logbook)
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
