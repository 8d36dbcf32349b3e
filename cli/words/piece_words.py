"""A piece's life in lines of text, and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.options.screen import table
from soakwitness.cli.words.hardness_words import one_test
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import temperature

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.charges import Charged
    from soakwitness.analysis.logbook.entries import Struck
    from soakwitness.analysis.logbook.history import History, Step
    from soakwitness.analysis.logbook.pieces import Piece
    from soakwitness.analysis.logbook.treatments import Treatment


def history_lines(life: History, unit: Unit) -> list[str]:
    """Lines for the screen."""
    piece = life.piece
    lines = [f"{piece.id}: {known_words(piece, life.batches)}, entry {piece.entry}"]
    if life.steps:
        lines.append(table([_row(step, unit) for step in life.steps], indent="  "))
    else:
        lines.append("  Nothing is on record yet.")
    lines += [f"  {waiting_words(charged)}" for charged in life.waiting]
    for finding in life.findings:
        word = "Note" if finding.severity == "note" else "Warning"
        lines.append(f"{word}: {finding.says} {finding.next}")
    return lines


def known_words(piece: Piece, batches: Sequence[str]) -> str:
    """What is known of a piece, one after the other."""
    facts = ["coupon" if piece.coupon else None, piece.steel, f"lot {piece.lot}" if piece.lot else None]
    facts += [
        f"{piece.thickness_mm:g} mm" if piece.thickness_mm else None,
        f"stamp {piece.stamp}" if piece.stamp else None,
    ]
    facts += [piece.customer, f"order {piece.order}" if piece.order else None]
    facts += [f"batch {', '.join(batches)}" if batches else None, piece.note or None]
    return ", ".join(f for f in facts if f) or "nothing more is known of it"


def _row(step: Step, unit: Unit) -> tuple[str, str, str, str]:
    return (shown_time(step.start_utc), step.kind, *step_words(step, unit))


def step_words(step: Step, unit: Unit) -> tuple[str, str]:
    """What happened to a piece, and which run or entry tells of it."""
    from soakwitness.analysis.logbook.hardness import HardnessEntry
    from soakwitness.analysis.logbook.inspections import Inspection
    from soakwitness.analysis.logbook.photos import Photo
    from soakwitness.analysis.logbook.piece_notes import PieceNote
    from soakwitness.analysis.logbook.treatments import Treatment

    source = step.source
    if isinstance(source, HardnessEntry):
        return one_test(source), f"entry {source.entry}"
    if isinstance(source, Treatment):
        return treatment_words(source, unit), f"entry {source.entry}"
    if isinstance(source, Inspection):
        what = ", ".join(part for part in (source.says, source.note) if part)
        return what, f"entry {source.entry}"
    if isinstance(source, Photo):
        size = f"{source.width_px} x {source.height_px} pixels"
        return ", ".join(part for part in (size, source.note) if part), f"entry {source.entry}"
    if isinstance(source, PieceNote):
        return source.words, f"entry {source.entry}"
    charged = step.charged
    where = f", {charged.place}" if charged and charged.place else ""
    foil = "" if charged is None or charged.foil is None else ", foil" if charged.foil else ", bare"
    verdict = source.verdict or ("run folder missing" if source.missing else "not verified")
    what = f"{verdict}: {source.recipe_name or 'no recipe'}{where}{foil}"
    entry = f", entry {charged.entry}" if charged and charged.entry else ""
    return what, f"{source.run}{entry}"


def entry_of(step: Step) -> tuple[str, int]:
    """What an entry is called where it is struck, and its number; 0 where a run's own marks tell of it."""
    from soakwitness.analysis.logbook.hardness import HardnessEntry
    from soakwitness.analysis.logbook.inspections import Inspection
    from soakwitness.analysis.logbook.photos import Photo
    from soakwitness.analysis.logbook.piece_notes import PieceNote
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.logbook.treatments import Treatment

    if isinstance(step.source, RunEntry):
        return "charge", step.charged.entry if step.charged is not None else 0
    kinds = {
        HardnessEntry: "hardness",
        Treatment: "treatment",
        Inspection: "inspection",
        Photo: "photo",
        PieceNote: "note",
    }
    return kinds[type(step.source)], step.source.entry


def waiting_words(charged: Charged) -> str:
    """For which run a piece waits."""
    facts = [f"charge {charged.charge}", charged.place, charged.note]
    return (
        f"Waits for the next run of {charged.waits_for} ({', '.join(f for f in facts if f)}), "
        f"since {shown_time(charged.entered_utc)}, entry {charged.entry}."
    )


def treatment_words(entry: Treatment, unit: Unit, zone: str | None = None) -> str:
    """What is known of a treatment, ``-`` where nothing is."""
    parts = ["not done" if entry.not_done else None, entry.oven]
    parts += [f"until {shown_time(entry.end_utc, zone)}" if entry.end_utc else None]
    parts += [f"down to {temperature(entry.lowest_c, unit)}" if entry.lowest_c is not None else None]
    parts += [f"shown {temperature(entry.shown_c, unit)}" if entry.shown_c is not None else None]
    parts += [f"a second thermometer {temperature(entry.second_c, unit)}" if entry.second_c is not None else None]
    parts += [f"{entry.removed_mm:g} mm off" if entry.removed_mm else None, entry.note or None]
    return ", ".join(p for p in parts if p) or "-"


def struck_lines(former: Sequence[Struck]) -> list[str]:
    """What was struck through, a line each."""
    lines = []
    for one in former:
        facts = ", ".join(f"{name} {value}" for name, value in one.facts.items() if not name.startswith("entered_"))
        who = f"{one.struck_by}, {shown_time(one.struck_utc)}: {one.struck_why}"
        lines.append(f"Struck through, {one.kind} entry {one.entry} ({facts}), by {who}")
    return lines


def history_json(life: History, former: Sequence[Struck] = (), *, entries: int) -> dict[str, Any]:
    """The same for programs; ``entries``: how many there are about the piece, as ``--seen`` takes it."""
    from soakwitness.analysis.logbook.runs import RunEntry

    steps = []
    for step in life.steps:
        said: dict[str, Any] = {"kind": step.kind, "start_utc": step.start_utc, "end_utc": step.end_utc}
        if isinstance(step.source, RunEntry):
            said |= {"run": step.source.run, "verdict": step.source.verdict, "recipe": step.source.recipe_name}
            said["charged"] = None if step.charged is None else asdict(step.charged)
        else:
            said["entry"] = asdict(step.source)
        steps.append(said)
    return {
        "schema": "soakwitness/history/1",
        "piece": asdict(life.piece),
        "entries": entries,
        "batches": list(life.batches),
        "steps": steps,
        "findings": [{**vars(f), "next": str(f.next)} for f in life.findings],
        "waiting": [asdict(c) for c in life.waiting],
        "struck": [asdict(s) for s in former],
    }
