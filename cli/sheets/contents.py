"""What stands on a run's sheet: one page of it, and an annex for what finds no room there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.cli.sheets import annex, blocks
from soakwitness.cli.sheets.blocks import Chart, Item, Items, Lines, Sheet, SheetTable
from soakwitness.cli.words import cautions, figures
from soakwitness.cli.words.record_words import seal_words
from soakwitness.cli.words.verdict_words import (
    PLACE_WORDS,
    SOURCE_WORDS,
    hottest_words,
    pace_words,
    place_words,
    rule_words,
    verdict_words,
)
from soakwitness.cli.words.verify_in_short import soak_of
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, rate, temperature
from soakwitness.firmware_bridge.runfolder.names import counting

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

MOST_STEPS, MOST_PIECES, MOST_FINDINGS = 10, 8, 10
ORDER = {"fail": 0, "not proven": 1}
Row = tuple[str, ...]


@dataclass(frozen=True)
class SheetNotes:
    """What the log book adds to a run and its verification, in words; all of it may be missing.

    ``dispositions`` are (finding code, words); ``charge`` are the pieces of the run on record; ``pieces`` limits the
    sheet to these (a customer's: it gives no advice); ``decided`` are further decisions, about the whole run or about
    findings that are gone; ``piece_words`` and ``hardness`` map a piece to what it is and how hard it came out;
    ``packet`` says which packet was measured; ``seal_digest`` is the SHA-256 of ``seal.json``; ``shop`` its lines.
    """

    title: str = "Run sheet"
    dispositions: Sequence[tuple[str, str]] = ()
    charge: Sequence[PieceInfo] = ()
    decided: Sequence[str] = ()
    pieces: Sequence[str] | None = None
    piece_words: Sequence[tuple[str, str]] = ()
    hardness: Sequence[tuple[str, str]] = ()
    sensors: Sequence[tuple[str, str, str]] = ()  # name, correction in words, U in words
    packet: str | None = None
    seal_digest: str | None = None
    customer: str | None = None
    shop: tuple[str, ...] = ()

    @property
    def advises(self) -> bool:
        """Whether it is for the shop itself, which is told what to do."""
        return self.pieces is None

    def names(self, piece: str) -> bool:
        """Whether a piece may be named on it."""
        return self.pieces is None or piece.casefold() in {name.casefold() for name in self.pieces}

    def tells_of(self, pieces: Sequence[str]) -> bool:
        """Whether what is about these pieces, or about none, may stand on it."""
        return not pieces or any(map(self.names, pieces))


def sheet_contents(
    run: Run,
    verification: Verification,
    recipe: Recipe,
    *,
    unit: Unit,
    notes: SheetNotes | None = None,
    with_annex: bool = False,
) -> Sheet:
    """Put a run, its verification and its recipe into the words of a sheet; ``with_annex``: also where it all fits."""
    notes = notes or SheetNotes()
    steps, charge = _steps(verification, unit), _charge(run, verification, recipe, notes)
    findings = _findings(verification, unit, notes)
    left_over = [
        (steps, MOST_STEPS, "Every step"),
        (charge, MOST_PIECES, "Every piece"),
    ]
    annexed: list[blocks.Block] = [
        SheetTable(heading, table.head, table.rows) for table, most, heading in left_over if len(table.rows) > most
    ]
    if len(findings) > MOST_FINDINGS:
        annexed.append(Items("Further findings", findings[MOST_FINDINGS:]))
    if annexed or with_annex:
        annexed += annex.annex_blocks(run, verification, unit, notes, _sensors(run, verification, unit, notes))
    more = len(findings) - MOST_FINDINGS
    told = (
        shortened(steps, MOST_STEPS),
        shortened(charge, MOST_PIECES),
        Items(
            "Findings",
            findings[:MOST_FINDINGS],
            "Nothing was flagged.",
            f"{counted(more, 'finding')} more: see the annex." if more > 0 else "",
        ),
    )
    room = blocks.lines_of(told) <= blocks.MOST_LINES
    return Sheet(
        title=f"{notes.title}: {recipe.name}",
        where=" · ".join((begun_and_ended(run), run.header.furnace_name, recipe.name)),
        tag=verdict_words(verification),
        tone=blocks.TONES[verification.verdict],
        sentence=verification.in_short.says.text(unit),
        below=_below(verification, unit, notes),
        facts=_facts(run, verification, recipe, notes),
        blocks=(
            run_picture(run, verification, recipe, unit),
            *told,
            Lines("", _small_print(run, verification, recipe, unit, notes, room), small=True),
        ),
        foot=cautions.NOT_A_CERTIFICATE,
        shop=notes.shop,
        annex=tuple(annexed),
    )


def begun_and_ended(run: Run) -> str:
    """When a run was, in its own zone."""
    last_s = float(run.t_s[-1]) if len(run.t_s) else 0.0
    return figures.begin_to_end(run.header.started_utc, last_s, run.header.zone)


def run_picture(run: Run, verification: Verification, recipe: Recipe, unit: Unit, **size: float) -> Chart:
    """The run's chart as a block of a page."""

    def draw(figure: object, box: blocks.Box) -> None:
        from soakwitness.cli.charts.run_chart import draw_run

        draw_run(figure, box, run, verification, recipe, unit=unit, local=True)  # type: ignore[arg-type]

    return Chart(draw, f"The run's temperatures: {verification.in_short.says.text(unit)}", **size)


def shortened(table: SheetTable, most: int) -> SheetTable:
    """A table's weightiest rows in their own order: what failed stays before what did not."""
    if len(table.rows) <= most:
        return table
    weights = [ORDER.get(row[-1], 2) for row in table.rows]
    kept = sorted(sorted(range(len(weights)), key=weights.__getitem__)[:most])
    left = len(weights) - most
    return SheetTable(
        table.heading, table.head, tuple(table.rows[n] for n in kept), after=f"{left} more: see the annex."
    )


def _below(verification: Verification, unit: Unit, notes: SheetNotes) -> tuple[str, ...]:
    """The next act, for the shop; what is not known; what the figures are of."""
    short = verification.in_short
    act = short.next.text(unit) if short.next is not None and notes.advises else ""
    unknown = "; ".join(part.text(unit) for part in short.not_known)
    packet = f", by the {notes.packet}" if notes.packet and verification.by_estimate else ""
    measured = f"Soak {SOURCE_WORDS[verification.temperature_from]}{packet}."
    return tuple(part for part in (act, measured + (f" Not known: {unknown}." if unknown else "")) if part)


def _facts(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> tuple[tuple[str, str], ...]:
    header = run.header
    pairs = [
        ("Customer", notes.customer or ""),
        ("Run", header.run),
        ("Length", duration(float(run.t_s[-1]) if len(run.t_s) else 0.0)),
        ("Operator", header.operator or ""),
        ("Steel", recipe.steel or ""),
        ("Recipe digest", recipe.digest[:16]),
        ("Decided", f"on the {verification.decided_on}"),
    ]
    return tuple((name, words) for name, words in pairs if words)


def _steps(verification: Verification, unit: Unit) -> SheetTable:
    rows = tuple(_ramp_row(step, unit) if step.kind == "ramp" else _hold_row(step, unit) for step in verification.steps)
    return SheetTable("Asked and had", ("step", "asked", "had", "limits", "verdict"), rows)


def _ramp_row(step: RampResult, unit: Unit) -> Row:
    pace = f"at {rate(step.required_rate_c_per_h, unit)}" if step.required_rate_c_per_h else "at full power"
    had = pace_words(step, step.rate_c_per_h, unit) if step.found else "not found"
    asked = f"ramp to {temperature(step.to_c, unit)} {pace}"
    return (str(step.step), asked, had, "", step.verdict or "observed")


def _hold_row(step: HoldResult, unit: Unit) -> Row:
    low, high = (temperature(edge, unit) for edge in step.band_c)
    asked = f"hold {duration(step.required_s)} at {temperature(step.target_c, unit)}"
    if not step.on_record:
        return (str(step.step), asked, "not on record", f"{low} to {high}", "not proven")
    if not step.found or step.soak_s is None:
        return (str(step.step), asked, "not found", f"{low} to {high}", step.verdict)
    soak = soak_of(step.soak_s.best, step.soak_s.low, step.soak_s.high, step.required_s)
    had = f"{soak}{PLACE_WORDS[step.temperature_from]}"
    if step.highest_from_target_c is not None:
        had += f"; {hottest_words(step, step.highest_from_target_c, unit)}"
    return (str(step.step), asked, had, f"{low} to {high}", step.verdict if step.judged else "reported only")


def _charge(run: Run, verification: Verification, recipe: Recipe, notes: SheetNotes) -> SheetTable:
    """One row a piece: the figures of the last judged hold it was in; without one, when it went in and came out."""
    cold = recipe.load == "cold"
    newest: dict[str, tuple[HoldResult, PieceResult]] = {}
    for hold in verification.holds:
        for piece in hold.pieces:
            if piece.piece and hold.judged and notes.names(piece.piece):
                newest[piece.piece] = (hold, piece)
    failed = {name for f in verification.findings if f.severity == "fail" for name in f.pieces}
    rows: dict[str, Row] = {
        name: (
            *_way(run, name, piece, notes, cold=cold),
            _soak(hold, piece),
            _hard(name, notes),
            "fail" if name in failed else piece.verdict,
        )
        for name, (hold, piece) in newest.items()
    }
    missed = [hold for hold in verification.holds if hold.judged and not hold.found]
    soak = ", ".join(f"step {hold.step}: {'not found' if hold.on_record else 'not on record'}" for hold in missed)
    verdict = next((v for v in ("fail", "not proven") if v in {hold.verdict for hold in missed}), "not proven")
    for name, stay in _stays(run, notes).items():
        told = soak or "in no hold that is judged"
        rows.setdefault(name, (*_way(run, name, stay, notes, cold=cold), told, _hard(name, notes), verdict))
    head = ("piece", "loaded", "pulled", "to plates", "soak", "hardness", "verdict")
    ordered = tuple(rows[name] for name in sorted(rows, key=counting))
    return SheetTable("Pieces", head, ordered, "No pieces are on record for this run.")


def _stays(run: Run, notes: SheetNotes) -> dict[str, Stay]:
    """The last stay in the furnace of each piece, as marks and log book tell it."""
    from soakwitness.analysis.verification.inputs.stays import drop_unnamed, stays_of

    named = {stay.piece or stay.charge or "": stay for stay in drop_unnamed(stays_of(run.marks, notes.charge))}
    return {name: stay for name, stay in named.items() if name and notes.names(name)}


def _soak(hold: HoldResult, piece: PieceResult) -> str:
    soak = soak_of(piece.soak_s.best, piece.soak_s.low, piece.soak_s.high, hold.required_s)
    return f"step {hold.step}: {soak}{place_words(piece, hold)}"


def _hard(name: str, notes: SheetNotes) -> str:
    return dict(notes.hardness).get(name, "not on record")


def _way(run: Run, name: str, piece: PieceResult | Stay, notes: SheetNotes, *, cold: bool) -> Row:
    """What it is, when it went in and came out, how long it took to the plates."""

    def at(t_s: float | None) -> str:
        return "not on record" if t_s is None else figures.hour(run.header.started_utc, t_s, run.header.zone)

    words = dict(notes.piece_words).get(name, "")
    label = f"{name} ({words})" if words else name
    loaded = "cold, at the start" if cold and piece.load_s is None else at(piece.load_s)
    return (label, loaded, at(piece.pull_s), figures.quench_words(piece))


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


def _findings(verification: Verification, unit: Unit, notes: SheetNotes) -> tuple[Item, ...]:
    decided = dict(notes.dispositions)
    items = []
    for f in verification.findings:
        if not notes.tells_of(f.pieces):
            continue
        more = [f.next.text(unit)] if notes.advises else []
        more += [f"Decided {decided[f.code]}."] if f.code in decided else []
        items.append(Item(f.severity, f"{f.code[:1].upper()}{f.code[1:]}: {f.says.text(unit)}", " ".join(more)))
    return tuple(items)


def _small_print(
    run: Run, verification: Verification, recipe: Recipe, unit: Unit, notes: SheetNotes, room: bool
) -> tuple[str, ...]:
    """What the figures rest on: sensors, record, seal, rule; and for the shop the cautions, the first where no room."""
    record = verification.record
    period = f", one every {duration(run.header.every_s)}" if run.header.every_s else ""
    alike: dict[str, list[str]] = {}
    for name, _, wire, _, added, u in _sensors(run, verification, unit, notes).rows:
        alike.setdefault(f"({wire}): correction {added}, U {u}", []).append(name)
    told = "; ".join(f"{', '.join(names)} {words}" for words, names in alike.items())
    unseen = " ".join(words.text(unit) for words in verification.not_seen)
    highest = max((hold.target_c for hold in recipe.holds), default=None)
    warned = cautions.for_recipe(highest, recipe.order) if room else (cautions.NO_SAFETY_DEVICE, cautions.DEFER)
    lines = (
        f"Sensors, U at k = 2. {told}.",
        f"Record: {counted(record.rows, 'row')}{period}, {record.bad_rows} bad, "
        f"{duration(record.gaps_s)} without readings; the record is {seal_words(record)}. "
        f"Seal: {notes.seal_digest or 'none'}. Written by {run.header.software or 'an unnamed version'}.",
        " ".join(f"Decided {words}." for words in notes.decided),
        f"Not seen: {unseen}" if unseen else "",
        f"Rule: {rule_words(verification)}.",
        " ".join(warned) if notes.advises else "",
    )
    return tuple(line for line in lines if line)
