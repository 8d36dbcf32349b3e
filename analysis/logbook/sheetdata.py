"""Everything a printed record of one run needs, in one frozen object; another room lays it out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.charges import Charged, pieces_in_run
from soakwitness.analysis.logbook.dispositions import Disposition, Gone, dispositions_of, finding_gone
from soakwitness.analysis.logbook.hardness import HardnessEntry, hardness_of
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, find_piece
from soakwitness.analysis.record.moments import local_day
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.seal import Seal, read_seal

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import (
        Finding,
        HoldResult,
        PieceResult,
        RampResult,
        RecordState,
        Verification,
    )
    from soakwitness.firmware_bridge.common.wording import Says
    from soakwitness.firmware_bridge.runfolder.contents import Column, Event, Mark


@dataclass(frozen=True)
class StepData:
    """One step: ``intended`` by the recipe with its limits, ``measured`` with its verdict."""

    intended: Ramp | Hold
    measured: RampResult | HoldResult | None


@dataclass(frozen=True)
class PieceData:
    """One piece of the charge: what it is, where it was, how it fared in each hold (by its step), how hard it is."""

    charged: Charged
    facts: Piece | None
    results: Mapping[int, PieceResult]
    hardness: tuple[HardnessEntry, ...] = ()


@dataclass(frozen=True)
class SensorData:
    """One sensor as the run describes it, and the correction that was valid for it; U is the correction's."""

    column: Column
    correction: Correction | None
    overdue: bool


@dataclass(frozen=True)
class FindingData:
    """A finding with what the maker decided about it."""

    finding: Finding
    dispositions: tuple[Disposition, ...]


@dataclass(frozen=True)
class SheetData:
    """One run as a printed record shows it.

    ``recorded_with`` is the software that recorded, ``analysed_with`` the one that verified. ``coverage`` says how much
    of the run is on record; ``seal`` None: not sealed, or ``seal_trouble`` says what is wrong with it. ``customer``
    set: other customers' pieces are left out, ``left_out`` counts them. ``dispositions`` are about the whole run,
    ``gone`` about findings that are there no more, with since when as far as kept verdicts tell.
    """

    run: str
    furnace: str
    started_utc: str
    zone: str | None
    operator: str | None
    origin: str
    recipe_name: str
    recipe_digest: str
    verdict: str
    decided_on: str
    temperature_from: str
    steps: tuple[StepData, ...]
    pieces: tuple[PieceData, ...]
    sensors: tuple[SensorData, ...]
    events: tuple[Event, ...]
    marks: tuple[Mark, ...]
    coverage: RecordState
    not_seen: tuple[Says, ...]
    findings: tuple[FindingData, ...]
    dispositions: tuple[Disposition, ...]
    gone: tuple[tuple[Disposition, Gone | None], ...]
    recorded_with: str
    analysed_with: str
    seal: Seal | None
    seal_trouble: str | None = None
    customer: str | None = None
    left_out: int = 0


def sheet_data(
    book: LogBook,
    run: Run,
    recipe: Recipe,
    verification: Verification,
    *,
    corrections: Mapping[str, Correction],
    software: str,
    customer: str | None = None,
) -> SheetData:
    """Gather everything a printed record of one run needs.

    ``customer``: leave out everything about pieces that are not this customer's.

    Raises LogBookError if the customer has no piece in the run.
    """
    pieces = _pieces(book, run, verification)
    kept = pieces if customer is None else _of_customer(pieces, customer, run)
    names = None if customer is None else {p.charged.piece.casefold() for p in kept}
    others = [p.charged.piece for p in pieces if p not in kept]
    decided = dispositions_of(book, run.header.run)
    seal, trouble = _seal(run)
    return SheetData(
        run=run.header.run,
        furnace=run.header.furnace_name,
        started_utc=run.header.started_utc,
        zone=run.header.zone,
        operator=run.header.operator,
        origin=run.header.origin,
        recipe_name=recipe.name,
        recipe_digest=recipe.digest,
        verdict=verification.verdict,
        decided_on=verification.decided_on,
        temperature_from=verification.temperature_from,
        steps=tuple(StepData(step, verification.step(step.number)) for step in recipe.steps),
        pieces=kept,
        sensors=_sensors(run, corrections),
        events=tuple(e for e in run.events if e.event != "mark"),
        marks=tuple(m for m in run.marks if names is None or not m.pieces or names & _folded(m.pieces)),
        coverage=verification.record,
        not_seen=verification.not_seen,
        findings=tuple(f for f in _findings(verification, decided) if _may_be_told(f.finding, names, others)),
        dispositions=tuple(d for d in decided if d.finding is None),
        gone=_gone(book, verification, decided),
        recorded_with=run.header.software,
        analysed_with=software,
        seal=seal,
        seal_trouble=trouble,
        customer=customer,
        left_out=len(pieces) - len(kept),
    )


def _pieces(book: LogBook, run: Run, verification: Verification) -> tuple[PieceData, ...]:
    found = []
    for charged in pieces_in_run(book, run.header.run):
        results = {
            hold.step: result
            for hold in verification.holds
            for result in hold.pieces
            if result.piece is not None and result.piece.casefold() == charged.piece.casefold()
        }
        tests = tuple(h for h in hardness_of(book, charged.piece) if h.measured_utc >= run.header.started_utc)
        found.append(PieceData(charged, find_piece(book, charged.piece), results, tests))
    return tuple(found)


def pieces_of_customer(book: LogBook, customer: str, run: Run) -> tuple[str, ...]:
    """The names of a customer's pieces in a run.

    Raises LogBookError if there is none.
    """
    in_run = [PieceData(c, find_piece(book, c.piece), {}) for c in pieces_in_run(book, run.header.run)]
    return tuple(piece.charged.piece for piece in _of_customer(in_run, customer, run))


def _of_customer(pieces: Sequence[PieceData], customer: str, run: Run) -> tuple[PieceData, ...]:
    kept = tuple(p for p in pieces if p.facts and (p.facts.customer or "").casefold() == customer.casefold())
    if not kept:
        known = ", ".join(sorted({p.facts.customer for p in pieces if p.facts and p.facts.customer})) or "none"
        raise LogBookError(f"{customer} has no piece in {run.header.run}. Customers on record there: {known}.")
    return kept


def _sensors(run: Run, corrections: Mapping[str, Correction]) -> tuple[SensorData, ...]:
    """The run's sensors, each with the correction that was valid for it on the day of the run."""
    day = local_day(run.header.started_utc, run.header.zone)
    return tuple(
        SensorData(c, corrections.get(c.name), c.name in corrections and corrections[c.name].overdue_on(day))
        for c in run.columns
        if c.kind == "sensor"
    )


def _findings(verification: Verification, decided: Sequence[Disposition]) -> Iterator[FindingData]:
    for f in verification.findings:
        yield FindingData(f, tuple(d for d in decided if d.finding == f.code and d.step in (None, f.step)))


def _may_be_told(finding: Finding, names: set[str] | None, others: Sequence[str]) -> bool:
    """Whether a finding is about the customer's pieces (``names``), or about none, and names no other's."""
    mine = names is None or not finding.pieces or bool(names & _folded(finding.pieces))
    return mine and not _names_any(str(finding.says), others)


def _folded(pieces: Sequence[str]) -> set[str]:
    return {piece.casefold() for piece in pieces}


def _gone(
    book: LogBook, verification: Verification, decided: Sequence[Disposition]
) -> tuple[tuple[Disposition, Gone | None], ...]:
    """What was decided about findings that are there no more."""
    there = {(f.code, step) for f in verification.findings for step in (None, f.step)}
    lost = [d for d in decided if d.finding is not None and (d.finding, d.step) not in there]
    return tuple((d, finding_gone(book, d)) for d in lost)


def _names_any(text: str, pieces: Sequence[str]) -> bool:
    return any(re.search(rf"(?<![\w-]){re.escape(piece)}(?![\w-])", text, re.IGNORECASE) for piece in pieces)


def _seal(run: Run) -> tuple[Seal | None, str | None]:
    try:
        return read_seal(run.path), None
    except RunFolderError as error:
        return None, str(error)
