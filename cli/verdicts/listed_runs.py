"""Runs to be listed: which of them, with what the log book keeps of each, as lines or for programs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import in_doubt, print_json, struck_out
from soakwitness.cli.options.screen import say
from soakwitness.cli.words.run_list_words import run_as_json, run_line

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.finding_runs import Only
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.firmware_bridge.runfolder.listing import Listed


# what runs are chosen by, in a terminal and on a page
FILTERS = ("furnace", "month", "piece", "steel", "verdict", "words")


def doubted_runs(logbook: Path) -> dict[str, str]:
    """Runs that are doubtful still and were not struck out, with the doubt."""
    struck = struck_out(logbook)
    return {name: doubt for name, doubt in in_doubt(logbook).items() if name not in struck}


def runs_to_list(
    logbook: Path, asked: Mapping[str, str | None], *, only: Only, most: int | None, page: int
) -> tuple[list[Path], int]:
    """Folders of a page of runs in the order of their start, and how many there are that are older."""
    skip = 0 if most is None else (page - 1) * most
    if any(asked.values()):
        return _of_the_book(logbook, asked, only=only, most=most, skip=skip)
    from soakwitness.firmware_bridge.runfolder.listing import run_folders, run_id

    kind = {**dict.fromkeys(doubted_runs(logbook), "doubtful"), **dict.fromkeys(struck_out(logbook), "struck")}
    paths = [path for path in run_folders(logbook) if kind.get(run_id(path), "standing") == only]
    end = max(0, len(paths) - skip)
    begin = 0 if most is None else max(0, end - most)
    return paths[begin:end], begin


def _of_the_book(
    logbook: Path, asked: Mapping[str, str | None], *, only: Only, most: int | None, skip: int
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


def print_runs(paths: list[Path], logbook: Path, doubted: dict[str, str], *, compare: bool, as_json: bool) -> None:
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
        print_json([run_as_json(e, *known) for e, known in zip(listed, kept, strict=True)])
        return
    if listed:
        lines = (run_line(e, verdicts.get(name := run_id(e.path)), struck.get(name), doubted.get(name)) for e in listed)
        say("\n".join(lines), hang=2)


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
