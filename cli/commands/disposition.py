"""``soakwitness disposition``: what was decided about a run's findings."""

from __future__ import annotations

from pathlib import Path

import click

from soakwitness.analysis.logbook.dispositions import DECISIONS
from soakwitness.cli.options.common import LARGEST_NUMBER, WrongUse, json_option, logbook_option, print_json
from soakwitness.cli.options.entering import (
    by_option,
    entering,
    new_stamp,
    open_book,
    refresh_runs,
    seen_option,
    take_in_runs,
)
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says


@click.command()
@click.argument("run")
@click.option("--decide", type=click.Choice(DECISIONS), help="What was decided; left out: list what stands.")
@click.option("--finding", help="Code of the finding it is about, such as 'short soak'; else the whole run.")
@click.option("--step", type=click.IntRange(1, LARGEST_NUMBER), help="Step of the recipe the finding stands at.")
@click.option("--why", default="", help="The reason.")
@seen_option
@by_option
@json_option
@logbook_option
def disposition(
    run: str,
    decide: str | None,
    finding: str | None,
    step: int | None,
    why: str,
    seen: dict[str, int],
    by: str | None,
    as_json: bool,
    logbook: Path,
) -> None:
    """Say what was decided about a run's findings, or list what was.

    Example: soakwitness disposition last --decide "use as it is" --finding "short soak" --step 4 --why "60 HRC"
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.dispositions import add_disposition, check_finding, dispositions_of, finding_gone
    from soakwitness.analysis.logbook.newer_entries import told_about
    from soakwitness.analysis.logbook.runs import run_named
    from soakwitness.analysis.metallurgy.hardening_again import ANNEAL_FIRST
    from soakwitness.cli.words.kept_words import gone_words

    if decide is None and (finding or step or why):
        says = "Say what was decided: {decide}, one of {these}."
        raise WrongUse(Says.of(says, decide=Field("decide"), these=", ".join(DECISIONS)))
    if step is not None and finding is None:
        says = "{step} belongs to a finding: name it with {finding}."
        raise WrongUse(Says.of(says, step=Field("step"), finding=Field("finding")))
    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        entry = run_named(book, run)
        known = entry.run
        refresh_runs(book, stamp, [known])
        if finding is not None:
            doubt = check_finding(book, known, finding, step)
            if doubt:
                say(doubt, err=True)
        if decide is not None:
            with entering(book, stamp, seen):
                add_disposition(book, known, decide, stamp=stamp, finding=finding, step=step, why=why)
            if decide == "repeat the treatment":
                say(ANNEAL_FIRST, err=True)
        entries = len(told_about(book, known))
        stands = [(d, finding_gone(book, d)) for d in dispositions_of(book, known)]
    if as_json:
        listed = [asdict(d) | {"finding_gone": asdict(gone) if gone else None} for d, gone in stands]
        print_json({"schema": "soakwitness/dispositions/1", "run": known, "entries": entries, "dispositions": listed})
        return
    if not stands:
        say(f"Nothing was decided about {known} yet.", err=True)
    for d, gone in stands:
        about = f"{d.finding}{f', step {d.step}' if d.step else ''}" if d.finding else "the whole run"
        since = f"; {gone_words(gone, entry.zone)}" if gone else ""
        say(f"{about}: {d.decision}{f' ({d.why})' if d.why else ''}, {d.entered_by}, {d.entered_utc[:10]}{since}")
