"""Collects what a run sheet needs: the run, its verification, and what the log book adds, put into words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.sheets.contents import SheetNotes
from soakwitness.cli.sheets.shop import shop_lines
from soakwitness.cli.words.hardness_words import hardness_now
from soakwitness.cli.words.kept_words import decision_words, gone_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.dispositions import Disposition, Gone
    from soakwitness.analysis.logbook.pieces import Piece
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.run_inputs.known_inputs import RunInputs
    from soakwitness.analysis.run_inputs.measured_packets import UsedPacket
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.cli.verdicts.verified import Verified


@dataclass(frozen=True)
class SheetSources:
    """A run, what was found in it, and the notes of the log book."""

    run: Run
    verification: Verification
    recipe: Recipe
    notes: SheetNotes


def sheet_sources(
    folder: Path,
    recipe_path: Path | None,
    logbook: Path,
    *,
    unit: Unit | None,
    customer: str | None,
    packet: UsedPacket | None = None,
) -> SheetSources:
    """Open, verify and look up one run for its sheet.

    Raises WrongUse if ``customer`` has no piece in the run, or there is no log book to know customers from.
    """
    from soakwitness.cli.verdicts.verified import verify_run

    found = verify_run(folder, recipe_path, logbook, packet=packet)
    shown = unit or found.recipe.unit
    notes = SheetNotes(
        sensors=_sensor_words(found.inputs, shown),
        seal_digest=digest_of(found.run.path / "seal.json"),
        charge=found.inputs.pieces,
        packet=found.inputs.packet.says if found.inputs.packet is not None else None,
        shop=shop_lines(logbook),
    )
    if not (logbook / "logbook.sqlite").exists():
        if customer is not None:
            raise WrongUse(f"--customer {customer}: there is no log book in {logbook} that knows customers.")
        return SheetSources(found.run, found.verification, found.recipe, notes)
    return _with_logbook(found, logbook, customer, notes)


def _with_logbook(found: Verified, logbook: Path, customer: str | None, notes: SheetNotes) -> SheetSources:
    """Add what the log book knows; for a customer, leave out what names the others' pieces."""
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.logbook.sheetdata import pieces_of_customer, sheet_data
    from soakwitness.firmware_bridge.version import VERSION

    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        names = None if customer is None else pieces_of_customer(book, customer, found.run)
        verification = found.verification if names is None else found.inputs.judged(found.run, names)
        data = sheet_data(
            book,
            found.run,
            found.recipe,
            verification,
            corrections=found.inputs.corrections,
            software=f"soakwitness {VERSION}",
            customer=customer,
        )
    decided = [
        (f.finding.code, decision_words(d) if names is None else d.decision)
        for f in data.findings
        for d in f.dispositions
    ]
    further = [f"on the whole run: {decision_words(d)}" for d in data.dispositions]
    further += [_gone(d, gone, data.zone) for d, gone in data.gone]
    notes = replace(
        notes,
        dispositions=decided,
        decided=further if names is None else (),
        pieces=names,
        piece_words=[(p.charged.piece, _piece_words(p.facts)) for p in data.pieces if p.facts is not None],
        hardness=[(p.charged.piece, hardness_now(p.hardness)) for p in data.pieces],
        customer=next((p.facts.customer for p in data.pieces if p.facts is not None), None) if customer else None,
    )
    run = found.run
    if names is not None:  # the chart writes the marks too
        run = with_marks_of(run, notes)
    return SheetSources(
        run, replace(verification, findings=tuple(f.finding for f in data.findings)), found.recipe, notes
    )


def with_marks_of(run: Run, notes: SheetNotes) -> Run:
    """The run without the others' marks and names, and without what was noted for the shop."""
    theirs = (m for m in run.marks if notes.tells_of(m.pieces))
    return replace(run, marks=tuple(replace(m, pieces=tuple(filter(notes.names, m.pieces)), note="") for m in theirs))


def digest_of(seal: Path) -> str | None:
    """What a seal is known by; None where there is none."""
    from soakwitness.firmware_bridge.runfolder.seal import file_sha256

    return f"SHA-256 {file_sha256(seal)}" if seal.exists() else None


def _piece_words(piece: Piece) -> str:
    thickness = f"{piece.thickness_mm:g} mm" if piece.thickness_mm else None
    stamp = f"stamp {piece.stamp}" if piece.stamp else None
    return ", ".join(word for word in (piece.steel, thickness, stamp) if word)


def _gone(decided: Disposition, gone: Gone | None, zone: str | None) -> str:
    step = f", step {decided.step}" if decided.step else ""
    since = gone_words(gone, zone) if gone else "its finding is not among these"
    return f"on {decided.finding}{step}: {decision_words(decided)}; {since}"


def _sensor_words(inputs: RunInputs, unit: Unit) -> list[tuple[str, str, str]]:
    """Correction and U of each sensor that has one, its place differences with it."""
    words = [_correction_words(name, correction, unit) for name, correction in inputs.corrections.items()]
    known = {name: (correction, u) for name, correction, u in words}
    for name, place in inputs.places.items():
        correction, u = known.get(name, ("none", ""))
        says = "; ".join(f"at {temperature(p.at_c, unit)} {p.says.text(unit)}" for p in place.points)
        known[name] = (f"{correction}; {says}", u)
    return [(name, *both) for name, both in known.items()]


def _correction_words(name: str, correction: Correction, unit: Unit) -> tuple[str, str, str]:
    values = correction.table_correction_c
    low, high = (difference(edge, unit, signed=True) for edge in (min(values), max(values)))
    size = low if low == high else f"{low} to {high}"
    due = f", due {correction.due_on}" if correction.due_on else ""
    return (
        name,
        f"{size} ({correction.model}, of {correction.done_on}{due})",
        (f"±{difference(max(correction.table_expanded_c), unit)} (calibration)"),
    )
