"""The annex of a run's sheet: every step in full, what it amounts to, what would prove it, sensors, events."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.sheets.blocks import Block, Lines, SheetTable
from soakwitness.cli.words import figures
from soakwitness.cli.words.verify_in_full import comparison_words, step_sentences
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.runfolder.origins import origin_words

if TYPE_CHECKING:
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.cli.sheets.contents import SheetNotes
    from soakwitness.firmware_bridge.runfolder.contents import Mark

MOST_EVENTS = 40


def annex_blocks(
    run: Run, verification: Verification, unit: Unit, notes: SheetNotes, sensors: SheetTable
) -> list[Block]:
    """What is longer than a page; advice only where the sheet is the shop's own."""
    proves = tuple(says.text(unit) for says in verification.proves) if notes.advises else ()
    said = [
        Lines("Step by step", tuple(step_sentences(verification, unit))),
        Lines("What would prove it", proves),
        Lines("For comparison", comparison_words(run, verification, unit)),
    ]
    return [*(lines for lines in said if lines.lines), sensors, _events(run, notes)]


def _events(run: Run, notes: SheetNotes) -> SheetTable:
    def at(t_s: float) -> str:
        return figures.clock(run.header.started_utc, t_s, run.header.zone)

    rows = [
        (at(mark.t_s), f"mark: {mark.act}", _mark_words(mark, notes))
        for mark in run.marks
        if not mark.struck and notes.tells_of(mark.pieces)
    ]
    rows += [
        (at(event.t_s), event.event, event.detail)
        for event in run.events
        if event.event not in ("mark", "start") and (notes.pieces is None or event.event == "end")
    ]
    rows.sort()
    more = len(rows) - MOST_EVENTS
    after = f"{more} more in events.csv of the run folder." if more > 0 else ""
    return SheetTable("Events", ("time", "event", "detail"), tuple(rows[:MOST_EVENTS]), "None.", after)


def _mark_words(mark: Mark, notes: SheetNotes) -> str:
    pieces = filter(notes.names, mark.pieces)
    note = mark.note if notes.advises else ""
    return "; ".join(part for part in (" ".join(pieces), note, origin_words(mark)) if part)
