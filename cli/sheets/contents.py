"""What stands on a run sheet, as plain words in order; ``html`` and ``pdf`` only lay it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.cli.words import cautions, figures
from soakwitness.cli.words.record_words import seal_words
from soakwitness.cli.words.verdict_words import (
    PLACE_WORDS,
    SOURCE_WORDS,
    display_words,
    hottest_words,
    pace_words,
    place_words,
    rule_words,
    verdict_words,
)
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.inputs.stays import Stay
    from soakwitness.analysis.verification.results.verification import (
        HoldResult,
        PieceInfo,
        PieceResult,
        RampResult,
        Verification,
    )

MOST_EVENTS = 14


@dataclass(frozen=True)
class SheetTable:
    """A table: its heading, column heads and rows of words."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""


@dataclass(frozen=True)
class SheetNotes:
    """What the log book adds to a run and its verification, in words; all of it may be missing.

    ``dispositions`` are (finding code, words); ``charge`` are the pieces of the run on record; ``pieces`` limits the
    charge table to these (a customer's sheet); ``decided`` are further decisions, about the whole run or about findings
    that are gone; ``piece_words`` maps a piece to what it is; ``packet`` says which packet was measured;
    ``seal_digest`` is the SHA-256 of ``seal.json``.
    """

    title: str = "Run sheet"
    dispositions: Sequence[tuple[str, str]] = ()
    charge: Sequence[PieceInfo] = ()
    decided: Sequence[str] = ()
    pieces: Sequence[str] | None = None
    piece_words: Sequence[tuple[str, str]] = ()
    sensors: Sequence[tuple[str, str, str]] = ()  # name, correction in words, U in words
    packet: str | None = None
    seal_digest: str | None = None
    customer: str | None = None


@dataclass(frozen=True)
class SheetContents:
    """Everything on the sheet."""

    title: str
    verdict: str
    measured: str
    facts: tuple[tuple[str, str], ...]
    tables: tuple[SheetTable, ...]
    findings: SheetTable
    lines: tuple[str, ...]
    cautions: tuple[str, ...]
    foot: str


def sheet_contents(
    run: Run, verification: Verification, recipe: Recipe, *, unit: Unit, notes: SheetNotes | None = None
) -> SheetContents:
    """Put a run, its verification and its recipe into the words of a run sheet."""
    notes = notes or SheetNotes()
    highest = max((hold.target_c for hold in recipe.holds), default=None)
    return SheetContents(
        title=f"{notes.title}: {recipe.name}",
        verdict=verdict_words(verification),
        measured=_measured(verification, notes),
        facts=_facts(run, verification, recipe, notes),
        tables=(
            _steps(verification, unit),
            _charge(run, verification, recipe, notes),
            _sensors(run, verification, unit, notes),
            _events(run, notes),
        ),
        findings=_findings(verification, unit, notes),
        lines=_coverage(run, verification, unit, notes),
        cautions=cautions.for_recipe(highest, recipe.order),
        foot=cautions.NOT_A_CERTIFICATE,
    )


def _measured(verification: Verification, notes: SheetNotes) -> str:
    packet = f", by the {notes.packet}" if notes.packet and verification.by_estimate else ""
    return f"Soak {SOURCE_WORDS[verification.temperature_from]}{packet}."


def _facts(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> tuple[tuple[str, str], ...]:
    header = run.header
    last_s = float(run.t_s[-1]) if len(run.t_s) else 0.0
    zone = header.zone or "UTC"
    pairs = [
        ("Furnace", header.furnace_name),
        ("Run", header.run),
        ("Start", f"{figures.clock(header.started_utc, 0.0, header.zone)} ({zone})"),
        ("Length", duration(last_s)),
        ("Operator", header.operator or ""),
        ("Steel", recipe.steel or ""),
        ("Recipe digest", recipe.digest[:16]),
        ("Customer", notes.customer or ""),
        ("Decision", f"on the {verification.decided_on}. {rule_words(verification)}"),
    ]
    return tuple((name, words) for name, words in pairs if words)


def _steps(verification: Verification, unit: Unit) -> SheetTable:
    rows = tuple(_ramp_row(step, unit) if step.kind == "ramp" else _hold_row(step, unit) for step in verification.steps)
    return SheetTable("Intended and measured", ("step", "intended", "measured", "limits", "verdict"), rows)


def _ramp_row(step: RampResult, unit: Unit) -> tuple[str, ...]:
    pace = f"at {rate(step.required_rate_c_per_h, unit)}" if step.required_rate_c_per_h else "at full power"
    measured = pace_words(step, step.rate_c_per_h, unit) if step.found else "not found"
    if step.found and step.curved:
        measured += f", curved; end to end {pace_words(step, step.end_to_end_rate_c_per_h, unit)}"
    return (
        str(step.step),
        f"ramp to {temperature(step.to_c, unit)} {pace}",
        measured,
        "",
        step.verdict or "observed",
    )


def _hold_row(step: HoldResult, unit: Unit) -> tuple[str, ...]:
    low, high = (temperature(edge, unit) for edge in step.band_c)
    intended = f"hold {duration(step.required_s)} at {temperature(step.target_c, unit)}"
    if not step.on_record:
        return (str(step.step), intended, "not on record", f"{low} to {high}", "not proven")
    if not step.found:
        return (str(step.step), intended, "not found", f"{low} to {high}", step.verdict)
    measured = f"soak {figures.bounds(step.soak_s)}{PLACE_WORDS[step.temperature_from]}"
    if step.highest_from_target_c is not None:
        measured += f"; {hottest_words(step, step.highest_from_target_c, unit)}"
    if step.display_may_read_c is not None:
        measured += f"; holds if the display reads {display_words(step.display_may_read_c, unit)}"
    return (str(step.step), intended, measured, f"{low} to {high}", step.verdict if step.judged else "reported only")


def _charge(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> SheetTable:
    """One row a piece: the figures of the last judged hold it was in; without one, when it went in and came out."""
    words, cold = dict(notes.piece_words), recipe.load == "cold"
    newest: dict[str, tuple[HoldResult, PieceResult]] = {}
    for hold in verification.holds:
        for piece in hold.pieces:
            if piece.piece and hold.judged and (notes.pieces is None or piece.piece in notes.pieces):
                newest[piece.piece] = (hold, piece)
    rows = [
        (*_way(run, name, piece, words.get(name, ""), cold=cold), _soak(hold, piece), piece.verdict)
        for name, (hold, piece) in newest.items()
    ]
    missed = [hold for hold in verification.holds if hold.judged and not hold.found]
    soak = ", ".join(f"step {hold.step}: {'not found' if hold.on_record else 'not on record'}" for hold in missed)
    verdict = next((v for v in ("fail", "not proven") if v in {hold.verdict for hold in missed}), "not proven")
    rows += [
        (*_way(run, name, stay, words.get(name, ""), cold=cold), soak or "in no hold that is judged", verdict)
        for name, stay in _stays(run, notes).items()
        if name not in newest
    ]
    head = ("piece", "charge", "loaded", "pulled", "to plates", "soak", "verdict")
    return SheetTable("Charge", head, tuple(rows), "No pieces are on record for this run.")


def _stays(run: Run, notes: SheetNotes) -> dict[str, Stay]:
    """The last stay in the furnace of each piece, as marks and log book tell it."""
    from soakwitness.analysis.verification.inputs.stays import drop_unnamed, stays_of

    named = {stay.piece or stay.charge or "": stay for stay in drop_unnamed(stays_of(run.marks, notes.charge))}
    return {name: stay for name, stay in named.items() if name and (notes.pieces is None or name in notes.pieces)}


def _soak(hold: HoldResult, piece: PieceResult) -> str:
    return f"step {hold.step}: {figures.bounds(piece.soak_s)}{place_words(piece, hold)}"


def _way(run: Run, name: str, piece: PieceResult | Stay, words: str, *, cold: bool) -> tuple[str, ...]:
    """What it is, its charge, when it went in and came out, how long it took to the plates."""

    def at(t_s: float | None) -> str:
        if t_s is None:
            return "not on record"
        return figures.clock(run.header.started_utc, t_s, run.header.zone).split(" ")[1]

    known = piece.pull_s is not None and piece.plates_s is not None
    delay = duration((piece.plates_s or 0.0) - (piece.pull_s or 0.0)) if known else "not on record"
    label = f"{name} ({words})" if words else name
    loaded = "cold, at the start" if cold and piece.load_s is None else at(piece.load_s)
    return (label, piece.charge or "", loaded, at(piece.pull_s), delay)


def _sensors(run: Run, verification: Verification, unit: Unit, notes: SheetNotes) -> SheetTable:
    known = {name: (correction, u) for name, correction, u in notes.sensors}
    rows = []
    for column in run.columns:
        if column.kind != "sensor":
            continue
        correction, u = known.get(column.name, ("none", ""))
        used = [
            known
            for hold in verification.holds
            for name, known in hold.sensors
            if name == column.name and known.expanded_c is not None
        ]
        if not u and used:
            most = max(used, key=lambda known: known.expanded_c or 0.0)
            u = f"±{difference(most.expanded_c or 0.0, unit)} ({most.source})"
        wire = " ".join(
            w for w in (column.thermocouple, column.tolerance_class and f"class {column.tolerance_class}") if w
        )
        rows.append(
            (column.name, column.role or "", wire or "not stated", column.position or "", correction, u or "not known")
        )
    return SheetTable("Sensors", ("sensor", "role", "wire", "position", "correction", "U (k = 2)"), tuple(rows))


def _events(run: Run, notes: SheetNotes) -> SheetTable:
    rows = [
        (
            figures.clock(run.header.started_utc, mark.t_s, run.header.zone),
            f"mark: {mark.act}",
            _mark_words(mark, notes),
        )
        for mark in run.marks
        if not mark.struck and _may_show(mark.pieces, notes)
    ]
    rows += [
        (figures.clock(run.header.started_utc, event.t_s, run.header.zone), event.event, event.detail)
        for event in run.events
        if event.event not in ("mark", "start") and (notes.pieces is None or event.event == "end")
    ]
    rows.sort()
    more = len(rows) - MOST_EVENTS
    if more > 0:
        rows = [*rows[: MOST_EVENTS - 1], ("", f"and {more + 1} more", "in events.csv of the run folder")]
    return SheetTable("Events", ("time", "event", "detail"), tuple(rows), "None.")


def _may_show(pieces: Sequence[str], notes: SheetNotes) -> bool:
    return notes.pieces is None or not pieces or bool(set(pieces) & set(notes.pieces))


def _mark_words(mark: object, notes: SheetNotes) -> str:
    pieces = [p for p in getattr(mark, "pieces", ()) if notes.pieces is None or p in notes.pieces]
    note = "" if notes.pieces is not None else getattr(mark, "note", "")
    later = "entered later" if getattr(mark, "entered_later", False) else ""
    return "; ".join(part for part in (" ".join(pieces), note, later) if part)


def _findings(verification: Verification, unit: Unit, notes: SheetNotes) -> SheetTable:
    decided = dict(notes.dispositions)
    rows = tuple(
        (f.code, f.severity, f.says.text(unit), f.next.text(unit), decided.get(f.code, ""))
        for f in verification.findings
        if _may_show(f.pieces, notes)
    )
    return SheetTable(
        "Findings", ("finding", "weight", "what was seen", "next", "decided"), rows, "Nothing was flagged."
    )


def _coverage(run: Run, verification: Verification, unit: Unit, notes: SheetNotes) -> tuple[str, ...]:
    from soakwitness.analysis.verification.results.hold_equivalents import equivalents_of_holds

    record = verification.record
    period = f", one every {duration(run.header.every_s)}" if run.header.every_s else ""
    lines = [
        f"Record: {counted(record.rows, 'row')}{period}, {record.bad_rows} bad, "
        f"{duration(record.gaps_s)} without readings; the record is {seal_words(record)}.",
        *(f"Decided {words}." for words in notes.decided),
        *(f"Not seen: {words.text(unit)}" for words in verification.not_seen),
        *(amount.says(unit) for amount in equivalents_of_holds(run, verification)),
        f"Seal: {notes.seal_digest or 'none'}. Written by {run.header.software or 'an unnamed version'}.",
    ]
    return tuple(lines)
