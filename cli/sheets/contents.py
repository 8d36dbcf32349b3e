"""What stands on a run sheet, as plain words in order; ``html`` and ``pdf`` only lay it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.cli.words import cautions, figures
from soakwitness.firmware_bridge.runfolder.format import counted

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.model import Recipe
    from soakwitness.analysis.runs import Run
    from soakwitness.analysis.verification.model import HoldResult, PieceResult, RampResult, Verification

MOST_EVENTS = 14


@dataclass(frozen=True)
class Table:
    """A table: its heading, column heads and rows of words."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""


@dataclass(frozen=True)
class SheetNotes:
    """What the log book adds to a run and its verification, in words; all of it may be missing.

    ``dispositions`` are (finding code, words); ``pieces`` limits the charge table to these (a customer's sheet);
    ``decided`` are further decisions, about the whole run or about findings that are gone; ``piece_words`` maps a piece
    to what it is; ``packet`` says which packet was measured; ``seal_digest`` is the SHA-256 of ``seal.json``.
    """

    title: str = "Run sheet"
    dispositions: Sequence[tuple[str, str]] = ()
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
    tables: tuple[Table, ...]
    findings: Table
    lines: tuple[str, ...]
    cautions: tuple[str, ...]
    foot: str


SOURCE_WORDS = {
    "load": "measured at the load sensor",
    "packet estimate": "estimated in the packet from the furnace's sensor (a model, not a measurement of the blade)",
    "control": "measured at the control sensor, not in the blade",
}

PLACE_WORDS = {
    "load": " at the load sensor",
    "packet estimate": " estimated in the packet",
    "control": " at the control sensor",
    None: "",
}


def sheet_contents(
    run: Run, verification: Verification, recipe: Recipe, *, unit: figures.Unit, notes: SheetNotes | None = None
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
        findings=_findings(verification, notes),
        lines=_coverage(run, verification, unit, notes),
        cautions=cautions.for_recipe(highest, recipe.order),
        foot=cautions.NOT_A_CERTIFICATE,
    )


def _measured(verification: Verification, notes: SheetNotes) -> str:
    packet = f", by the {notes.packet}" if notes.packet and verification.by_estimate else ""
    return f"Soak {SOURCE_WORDS[verification.temperature_from]}{packet}."


def verdict_words(verification: Verification) -> str:
    """Verdict with what it rests on: ``pass, as read`` where only the reading was judged."""
    words: str = verification.verdict
    if verification.decided_on == "reading":
        words += ", as read"
    if verification.by_estimate and verification.verdict == "pass":
        words += ", by estimate"
    return words


def rule_words(verification: Verification) -> str:
    """The decision rule with the papers it is taken from."""
    from soakwitness.analysis.verification.model import RULE_REFERENCES

    return f"{verification.rule} ({', '.join(RULE_REFERENCES)})"


def _facts(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> tuple[tuple[str, str], ...]:
    header = run.header
    last_s = float(run.t_s[-1]) if len(run.t_s) else 0.0
    zone = header.zone or "UTC"
    pairs = [
        ("Furnace", header.furnace_name),
        ("Run", header.run),
        ("Start", f"{figures.clock(header.started_utc, 0.0, header.zone)} ({zone})"),
        ("Length", figures.minutes(last_s)),
        ("Operator", header.operator or ""),
        ("Steel", recipe.steel or ""),
        ("Recipe digest", recipe.digest[:16]),
        ("Customer", notes.customer or ""),
        ("Decision", f"on the {verification.decided_on}. {rule_words(verification)}"),
    ]
    return tuple((name, words) for name, words in pairs if words)


def _steps(verification: Verification, unit: figures.Unit) -> Table:
    rows = tuple(_ramp_row(step, unit) if step.kind == "ramp" else _hold_row(step, unit) for step in verification.steps)
    return Table("Intended and measured", ("step", "intended", "measured", "limits", "verdict"), rows)


def _ramp_row(step: RampResult, unit: figures.Unit) -> tuple[str, ...]:
    pace = f"at {figures.rate(step.required_rate_c_per_h, unit)}" if step.required_rate_c_per_h else "at full power"
    measured = f"{figures.rate(step.rate_c_per_h, unit)}" if step.found else "not found"
    if step.found and step.curved:
        measured += f", curved; end to end {figures.rate(step.end_to_end_rate_c_per_h, unit)}"
    return (
        str(step.step),
        f"ramp to {figures.degrees(step.to_c, unit, digits=0)} {pace}",
        measured,
        "",
        step.verdict or "observed",
    )


def _hold_row(step: HoldResult, unit: figures.Unit) -> tuple[str, ...]:
    low, high = (figures.degrees(edge, unit, digits=0) for edge in step.band_c)
    intended = f"hold {figures.minutes(step.required_s)} at {figures.degrees(step.target_c, unit, digits=0)}"
    if not step.on_record:
        return (str(step.step), intended, "not on record", f"{low} to {high}", "not proven")
    if not step.found:
        return (str(step.step), intended, "not found", f"{low} to {high}", step.verdict)
    at_least = "at least " if step.overshoot_is_at_least else ""
    measured = f"soak {figures.bounds(step.soak_s)}{PLACE_WORDS[step.temperature_from]}"
    if step.overshoot_c is not None:
        measured += f"; highest {at_least}{figures.difference(step.overshoot_c, unit, signed=True)} from target"
    if step.error_it_stands_c:
        below, above = (figures.difference(edge, unit, signed=True) for edge in step.error_it_stands_c)
        measured += f"; holds if the sensor reads wrong by {below} to {above}"
    return (str(step.step), intended, measured, f"{low} to {high}", step.verdict if step.judged else "reported only")


def _charge(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> Table:
    """One row a piece: the figures of the last judged hold it was in."""
    words = dict(notes.piece_words)
    newest: dict[str, tuple[HoldResult, PieceResult]] = {}
    for hold in verification.holds:
        for piece in hold.pieces:
            if piece.piece and hold.judged and (notes.pieces is None or piece.piece in notes.pieces):
                newest[piece.piece] = (hold, piece)
    rows = tuple(
        _piece_row(run, name, hold, piece, words.get(name, ""), cold=recipe.load == "cold")
        for name, (hold, piece) in newest.items()
    )
    head = ("piece", "charge", "loaded", "pulled", "to plates", "soak", "verdict")
    return Table("Charge", head, rows, "No pieces are on record for this run.")


def _piece_row(run: Run, name: str, hold: HoldResult, piece: PieceResult, words: str, *, cold: bool) -> tuple[str, ...]:
    def at(t_s: float | None) -> str:
        if t_s is None:
            return "not on record"
        return figures.clock(run.header.started_utc, t_s, run.header.zone).split(" ")[1]

    delay = f"{piece.quench_delay_s:.0f} s" if piece.quench_delay_s is not None else "not on record"
    soak = f"step {hold.step}: {figures.bounds(piece.soak_s)}"
    label = f"{name} ({words})" if words else name
    loaded = "cold, at the start" if cold and piece.load_s is None else at(piece.load_s)
    return (label, piece.charge or "", loaded, at(piece.pull_s), delay, soak, piece.verdict)


def _sensors(run: Run, verification: Verification, unit: figures.Unit, notes: SheetNotes) -> Table:
    known = {name: (correction, u) for name, correction, u in notes.sensors}
    rows = []
    for column in run.columns:
        if column.kind != "sensor":
            continue
        correction, u = known.get(column.name, ("none", ""))
        if not u and column.name == verification.sensor and verification.errors.expanded_c is not None:
            u = f"±{figures.difference(verification.errors.expanded_c, unit)} ({verification.errors.source})"
        wire = " ".join(
            w for w in (column.thermocouple, column.tolerance_class and f"class {column.tolerance_class}") if w
        )
        rows.append(
            (column.name, column.role or "", wire or "not stated", column.position or "", correction, u or "not known")
        )
    return Table("Sensors", ("sensor", "role", "wire", "position", "correction", "U (k = 2)"), tuple(rows))


def _events(run: Run, notes: SheetNotes) -> Table:
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
    return Table("Events", ("time", "event", "detail"), tuple(rows), "None.")


def _may_show(pieces: Sequence[str], notes: SheetNotes) -> bool:
    return notes.pieces is None or not pieces or bool(set(pieces) & set(notes.pieces))


def _mark_words(mark: object, notes: SheetNotes) -> str:
    pieces = [p for p in getattr(mark, "pieces", ()) if notes.pieces is None or p in notes.pieces]
    note = "" if notes.pieces is not None else getattr(mark, "note", "")
    later = "entered later" if getattr(mark, "entered_later", False) else ""
    return "; ".join(part for part in (" ".join(pieces), note, later) if part)


def _findings(verification: Verification, notes: SheetNotes) -> Table:
    decided = dict(notes.dispositions)
    rows = tuple(
        (f.code, f.severity, f.says, f.next, decided.get(f.code, ""))
        for f in verification.findings
        if _may_show(f.pieces, notes)
    )
    return Table("Findings", ("finding", "weight", "what was seen", "next", "decided"), rows, "Nothing was flagged.")


def _coverage(run: Run, verification: Verification, unit: figures.Unit, notes: SheetNotes) -> tuple[str, ...]:
    from soakwitness.analysis.verification.amounts import what_holds_amount_to

    record = verification.record
    state = (
        "sealed and unchanged" if record.sealed and record.intact else "not sealed" if not record.sealed else "CHANGED"
    )
    period = f", one every {run.header.every_s:g} s" if run.header.every_s else ""
    lines = [
        f"Record: {counted(record.rows, 'row')}{period}, {record.bad_rows} bad, "
        f"{figures.minutes(record.gaps_s)} without readings; the record is {state}.",
        *(f"Decided {words}." for words in notes.decided),
        *(f"Not seen: {words}" for words in verification.not_seen),
        *(amount.says(unit) for amount in what_holds_amount_to(run, verification)),
        f"Seal: {notes.seal_digest or 'none'}. Written by {run.header.software or 'an unnamed version'}.",
    ]
    return tuple(lines)
