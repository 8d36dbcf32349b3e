"""Collects what a run sheet needs: the run, its verification, and what the log book adds, put into words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.sheets.contents import SheetNotes
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
        seal_digest=_digest(found.run.path / "seal.json"),
        charge=found.inputs.pieces,
        packet=found.inputs.packet.says if found.inputs.packet is not None else None,
    )
    if not (logbook / "logbook.sqlite").exists():
        if customer is not None:
            raise WrongUse(f"--customer {customer}: there is no log book in {logbook} that knows customers.")
        return SheetSources(found.run, found.verification, found.recipe, notes)
    return _with_logbook(found, logbook, customer, notes)


def _with_logbook(found: Verified, logbook: Path, customer: str | None, notes: SheetNotes) -> SheetSources:
    """Add what the log book knows; for a customer, leave out what names the others' pieces."""
    from soakwitness.analysis.logbook.opening import open_logbook
    from soakwitness.analysis.logbook.sheetdata import sheet_data
    from soakwitness.firmware_bridge.version import VERSION

    with open_logbook(logbook, told=lambda says: click.echo(says, err=True)) as book:
        data = sheet_data(
            book,
            found.run,
            found.recipe,
            found.verification,
            corrections=found.inputs.corrections,
            software=f"soakwitness {VERSION}",
            customer=customer,
        )
    decided = [(f.finding.code, _decision(d)) for f in data.findings for d in f.dispositions]
    further = [f"on the whole run: {_decision(d)}" for d in data.dispositions]
    further += [_gone(d, gone, data.zone) for d, gone in data.gone]
    notes = replace(
        notes,
        dispositions=decided,
        decided=further if customer is None else (),
        pieces=None if customer is None else [p.charged.piece for p in data.pieces],
        piece_words=[(p.charged.piece, _piece_words(p.facts)) for p in data.pieces if p.facts is not None],
        customer=customer,
    )
    run = found.run
    if notes.pieces is not None:  # the chart writes the marks too
        names = set(notes.pieces)
        run = replace(run, marks=tuple(replace(m, pieces=tuple(names & set(m.pieces)), note="") for m in data.marks))
    verification = replace(found.verification, findings=tuple(f.finding for f in data.findings))
    if notes.pieces is not None:
        verification = _of_pieces(verification, set(notes.pieces))
    return SheetSources(run, verification, found.recipe, notes)


def _of_pieces(verification: Verification, names: set[str]) -> Verification:
    """A verification without what the others' pieces had; its sentence speaks of these alone."""
    from soakwitness.analysis.verification.findings.in_short import in_short

    steps = tuple(
        step if step.kind == "ramp" else replace(step, pieces=tuple(p for p in step.pieces if p.piece in names))
        for step in verification.steps
    )
    theirs = replace(verification, steps=steps)
    return replace(theirs, in_short=in_short(theirs))


def _digest(seal: Path) -> str | None:
    from soakwitness.firmware_bridge.runfolder.seal import file_sha256

    return f"SHA-256 {file_sha256(seal)}" if seal.exists() else None


def _piece_words(piece: Piece) -> str:
    thickness = f"{piece.thickness_mm:g} mm" if piece.thickness_mm else None
    stamp = f"stamp {piece.stamp}" if piece.stamp else None
    return ", ".join(word for word in (piece.steel, thickness, stamp) if word)


def _decision(decided: Disposition) -> str:
    return f"{decided.decision}: {decided.why}" if decided.why else decided.decision


def _gone(decided: Disposition, gone: Gone | None, zone: str | None) -> str:
    from soakwitness.cli.words.kept_words import gone_words

    step = f", step {decided.step}" if decided.step else ""
    since = gone_words(gone, zone) if gone else "its finding is not among these"
    return f"on {decided.finding}{step}: {_decision(decided)}; {since}"


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
