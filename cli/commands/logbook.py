"""``soakwitness logbook``: check it, build it anew from the run folders, copy it, write it out."""

from __future__ import annotations

import os
from pathlib import Path

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    SuggestingGroup,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    write_output,
)
from soakwitness.cli.options.entering import (
    by_option,
    entering,
    new_stamp,
    open_book,
    progress_bar,
    refresh_runs,
    seen_option,
    take_in_runs,
    why_option,
)
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.wording import counted

ENTRIES = (
    "piece",
    "batch",
    "charge",
    "hardness",
    "treatment",
    "sensor",
    "calibration",
    "survey",
    "applied",
    "accuracy",
    "disposition",
    "recipe",
    "packet",
    "run",
    "load",
    "inspection",
    "cutout",
    "photo",
    "note",
    "set-aside",
    "plan",
    "plan-reset",
)


@click.group(cls=SuggestingGroup)
def logbook() -> None:
    """Look after the log book: check, rebuild, recompute, verdicts, backup, restore, export, strike, shop.

    Example: soakwitness logbook check
    """


@logbook.command()
@click.option("--quick", is_flag=True, help="Do not read every file to compare it with its digest.")
@json_option
@logbook_option
def check(quick: bool, as_json: bool, logbook: Path) -> int:
    """Check database, run folders, seals and the chain of seals; exit status 1 where something is wrong.

    Example: soakwitness logbook check
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.care import check_book

    with open_book(logbook) as book:
        take_in_runs(book, new_stamp(None))
        with progress_bar("Checking run folders") as bar:
            found = check_book(book, files=not quick, progress=bar)
    if as_json:
        print_json({"schema": "soakwitness/check/1", "troubles": [asdict(t) for t in found]})
    elif not found:
        say("The log book is whole: database, run folders, seals and their chain.")
    else:
        for trouble in found:
            say(f"{trouble.where}: {trouble.says}. {trouble.next}")
    return 1 if found else 0


@logbook.command()
@click.option("--accept", multiple=True, metavar="RUN", help="Accept the seal of this run, though another was seen.")
@by_option
@logbook_option
def rebuild(accept: tuple[str, ...], by: str | None, logbook: Path) -> None:
    """Build what the log book says about runs anew from the run folders; copied folders are adopted.

    What people entered stays as it is, and so does what was seen of seals: a run that was changed and sealed again
    stays named by ``logbook check`` until it is accepted.

    Example: soakwitness logbook rebuild
    """
    from soakwitness.analysis.logbook.care import rebuild as build
    from soakwitness.analysis.logbook.runs import run_named

    stamp = new_stamp(by)
    with open_book(logbook) as book:
        accepted = {run_named(book, name).run for name in accept}
        with progress_bar("Reading run folders") as bar:
            taken = build(book, stamp=stamp, accept=accepted, progress=bar)
        take_in_runs(book, stamp)
    say(f"{counted(len(taken.new), 'run')} new, {len(taken.changed)} read again, {len(taken.missing)} missing.")
    for says in taken.unreadable:
        say(f"Left out: {says}", err=True)


@logbook.command()
@click.option("--everything", is_flag=True, help="Also runs whose verdict and figures are up to date.")
@click.option("--processes", type=click.IntRange(1, 64), help="How many to use; else one for each core.")
@by_option
@logbook_option
def recompute(everything: bool, processes: int | None, by: str | None, logbook: Path) -> None:
    """Verify and measure all runs whose kept verdict or figures are out of date, on all cores.

    Commands that need them do so for the runs they need; after a new version this does it for all at once. The log book
    is copied before. Every run that is judged otherwise than before is named with what is other; its earlier verdict
    stays: soakwitness logbook verdicts RUN.

    Example: soakwitness logbook recompute
    """
    from soakwitness.analysis.logbook.copies import copy_before_recompute
    from soakwitness.analysis.logbook.kept import forget, stale_runs
    from soakwitness.analysis.recomputing.refreshing import refresh

    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        if everything or stale_runs(book):
            say(f"Copied before: {copy_before_recompute(book, stamp=stamp)}", err=True)
        if everything:
            forget(book, stamp=stamp)
        with progress_bar("Verifying runs") as bar:
            done = refresh(book, stamp=stamp, processes=processes or os.cpu_count() or 1, progress=bar)
    for says in done.troubles:
        say(f"Not judged: {says}", err=True)
    for one in done.changed:
        say(f"{one.run}: {one.why}.")
    changed = f", {len(done.changed)} judged otherwise than before" if done.changed else ""
    say(f"{counted(done.count, 'run')} recomputed{changed}.")


@logbook.command()
@click.argument("run")
@json_option
@logbook_option
def verdicts(run: str, as_json: bool, logbook: Path) -> None:
    """Show the verdict of RUN and those that it took the place of, with the rules each was made by.

    RUN is a run's name or the beginning of it, or "last".

    Example: soakwitness logbook verdicts last
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.kept import earlier_verdicts, last_verdict
    from soakwitness.analysis.logbook.runs import run_named
    from soakwitness.cli.words.kept_words import verdict_line

    stamp = new_stamp(None)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        entry = run_named(book, run)
        refresh_runs(book, stamp, [entry.run])
        now, earlier = last_verdict(book, entry.run), earlier_verdicts(book, entry.run)
    if as_json:
        listed = [asdict(one) for one in (*earlier, *([now] if now else []))]
        print_json({"schema": "soakwitness/verdicts/1", "run": entry.run, "verdicts": listed})
        return
    say(f"{entry.run}, {entry.recipe_name or 'no recipe'}")
    for one in (*([now] if now else []), *reversed(earlier)):
        say(verdict_line(one, entry.zone))
    if now is None:
        say("It has no verdict.", err=True)


@logbook.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@by_option
@force_option
@logbook_option
def backup(file: Path, by: str | None, force: bool, logbook: Path) -> None:
    """Write the whole log book to FILE, a zip, also while it is in use.

    It holds the database, all run folders, log layouts and the shop's own steels; ``logbook restore`` makes a log
    book of it again.

    Example: soakwitness logbook backup shop-2026-11-25.zip
    """
    from soakwitness.analysis.logbook.backing_up import back_up

    check_output(file, force=force, suffixes=(".zip",))
    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        with progress_bar("Backing up") as bar:
            made = back_up(book, file, stamp=stamp, replace=force, progress=bar)
    for name in made.left_out:
        say(f"Left out: {name} is no plain file, or cannot be read.", err=True)
    say(f"{counted(made.runs, 'run')} in {counted(made.files, 'file')}.", err=True)
    click.echo(str(file))


@logbook.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@logbook_option
def restore(file: Path, logbook: Path) -> None:
    """Make a log book anew from a backup, in a folder that is new or empty.

    Every file is compared with what the backup says of it; where one differs, nothing is restored.

    Example: soakwitness logbook restore shop-2026-11-25.zip --logbook restored
    """
    from soakwitness.analysis.logbook.backing_up import restore as restore_from

    with progress_bar("Restoring") as bar:
        found = restore_from(file, logbook, progress=bar)
    say(f"{counted(found.runs, 'run')} in {counted(found.files, 'file')}, as of {found.made_utc}.", err=True)
    click.echo(str(logbook))


@logbook.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--samples/--no-samples", default=True, show_default=True, help="Write the readings of every run too.")
@by_option
@logbook_option
def export(folder: Path, samples: bool, by: str | None, logbook: Path) -> None:
    """Write all tables to a new FOLDER as CSV, and as Parquet where pyarrow is installed.

    Readings stand under samples/furnace=NAME/month=2026-11/, one file a run.

    Example: soakwitness logbook export out-2026-11
    """
    from soakwitness.analysis.logbook.exporting import export_book, has_parquet

    with open_book(logbook) as book:
        take_in_runs(book, new_stamp(by))
        with progress_bar("Writing runs") as bar:
            written = export_book(book, folder, samples=samples, progress=bar)
    if not has_parquet():
        say("CSV only: with pyarrow installed it writes Parquet too.", err=True)
    say(f"{len(written)} tables in {folder}")


@logbook.command()
@click.argument("kind", type=click.Choice(ENTRIES))
@click.argument("entry", type=click.IntRange(1, LARGEST_NUMBER))
@why_option
@seen_option
@by_option
@logbook_option
def strike(kind: str, entry: int, why: str, seen: dict[str, int], by: str | None, logbook: Path) -> None:
    """Strike a wrong entry through; it stays readable with who, when and why.

    Example: soakwitness logbook strike calibration 3 --why "wrong reference"
    """
    from soakwitness.analysis.logbook.entries import KINDS
    from soakwitness.analysis.logbook.entries import strike as strike_entry

    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        strike_entry(book, KINDS[kind], [entry], why=why, stamp=stamp)
    say(f"Entry {entry} ({kind}) is struck through.")


@logbook.command()
@logbook_option
@force_option
def shop(logbook: Path, force: bool) -> None:
    """Write a commented shop.toml into the log book's folder: the shop's name and address on its papers.

    Example: soakwitness logbook shop
    """
    from soakwitness.analysis.logbook.shop_file import NAME, TEMPLATE

    path = check_output(logbook / NAME, force=force)
    write_output(path, TEMPLATE)
    click.echo(path)
    say("Change it to fit; it heads every sheet from then on: soakwitness sheet last", err=True)
