"""Pieces with all that is known of them, as the audit takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import Any

from soakwitness.analysis.evidence.batch_evidence import (
    HardnessEvidence,
    InspectionEvidence,
    PieceEvidence,
    TreatmentEvidence,
)
from soakwitness.analysis.evidence.hardness_at_stages import nearer, stage_value
from soakwitness.analysis.logbook.charges import Charged, pieces_in_run, runs_of_piece
from soakwitness.analysis.logbook.hardness import HardnessEntry, hardness_of
from soakwitness.analysis.logbook.history import Recipes, run_kinds
from soakwitness.analysis.logbook.inspections import inspections_of
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import find_piece
from soakwitness.analysis.logbook.runs import runs_listed
from soakwitness.analysis.logbook.treatments import treatments_of

UNEVEN_HRC = 2.0


class PieceReader:
    """Reads pieces with all that is known of them, each once."""

    def __init__(self, book: LogBook) -> None:
        self._book = book
        self._recipes = Recipes(book)
        self._pieces: dict[str, PieceEvidence] = {}

    def piece(self, name: str, *, run: str | None = None) -> PieceEvidence:
        """One piece: facts, charges, hardness, treatments; as it was in ``run`` where that is asked for."""
        known = find_piece(self._book, name)
        if known is None and run is not None:
            # known from this run's marks only; other runs may use the same name for another blade
            return PieceEvidence(id=name, harden=run)
        key = (known.id if known else name).casefold()
        if key not in self._pieces:
            self._pieces[key] = self._read(known.id if known else name)
        found = self._pieces[key]
        if run is None or found.harden == run:
            return found
        there = next((c for c in pieces_in_run(self._book, run) if c.piece.casefold() == key), None)
        again = runs_listed(self._book, [found.harden] if found.harden else [])
        # hardened anew later: what was measured since belongs to that run
        tests = tuple(h for h in found.hardness if not again or h.measured_utc < again[0].started_utc)
        return replace(found, harden=run, tempers=(), hardness=tests, **_packet(there))

    def _read(self, name: str) -> PieceEvidence:
        facts = find_piece(self._book, name)
        harden, tempers, charged = self._runs_of(name)
        return PieceEvidence(
            id=name,
            steel=facts.steel if facts else None,
            lot=facts.lot if facts else None,
            thickness_mm=facts.thickness_mm if facts else None,
            harden=harden,
            tempers=tempers,
            hardness=tuple(_hardness(h) for h in hardness_of(self._book, name)),
            treatments=tuple(
                TreatmentEvidence(
                    t.kind, t.start_utc, t.end_utc, t.lowest_c, t.shown_c, t.removed_mm, t.not_done, t.oven, t.second_c
                )
                for t in treatments_of(self._book, name)
            ),
            coupon=facts.coupon if facts else False,
            inspections=tuple(
                InspectionEvidence(i.kind, i.seen_utc, i.result, i.mm, i.place, i.stage)
                for i in inspections_of(self._book, name)
            ),
            **_packet(charged),
        )

    def _runs_of(self, name: str) -> tuple[str | None, tuple[str, ...], Charged | None]:
        """The piece's latest hardening run, its tempering runs after it, and its charge in the former."""
        harden: str | None = None
        tempers: list[str] = []
        charged: Charged | None = None
        plain: tuple[str, Charged] | None = None
        for charge in runs_of_piece(self._book, name):
            for entry in runs_listed(self._book, [charge.run] if charge.run else []):
                kind = run_kinds(self._recipes.of(entry), hardened=harden is not None)
                if kind == ("harden",):
                    harden, tempers, charged = entry.run, [], charge
                elif "temper" in kind:
                    tempers += [entry.run] * len(kind)
                elif kind == ("run",) and plain is None:
                    plain = (entry.run, charge)
        if harden is None and plain is not None:
            return plain[0], tuple(tempers), plain[1]
        return harden, tuple(tempers), charged

    def off(self, pieces: Sequence[PieceEvidence]) -> list[PieceEvidence]:
        """Pieces outside their recipe's limits, uneven over the blade, or inside but about as far off as such ones."""
        found = [p for p in pieces if self.is_off(p)]
        return [p for p in pieces if p in found or self._as_far_off(p, found)]

    def _as_far_off(self, piece: PieceEvidence, off: Sequence[PieceEvidence]) -> bool:
        """Whether a piece just inside the limits is nearer to those outside than to the middle of the limits."""
        for stage, limits in zip(("final", "as quenched"), self._limits(piece), strict=True):
            value = stage_value(piece, stage)  # type: ignore[arg-type]
            others = [v for p in off if (v := stage_value(p, stage)) is not None]  # type: ignore[arg-type]
            if value is not None and others:
                return limits is not None and nearer(value, median(others), sum(limits) / 2)
        return False

    def is_off(self, piece: PieceEvidence) -> bool:
        """Whether its hardness is outside the limits, final before as quenched, or uneven over the blade."""
        limits = self._limits(piece)
        for final, allowed in zip((True, False), limits, strict=True):
            tests = [h for h in piece.hardness if (h.final if final else h.as_quenched) and h.test.scale == "HRC"]
            skin = [h for h in tests if not h.ground_off_mm]
            if allowed and any(not allowed[0] - 1e-9 <= h.test.mean <= allowed[1] + 1e-9 for h in skin):
                return True
            spots = [h.test.mean for h in skin if h.final]
            if len(spots) > 1 and max(spots) - min(spots) > UNEVEN_HRC:
                return True
            if skin:
                return False
        return False

    def _limits(self, piece: PieceEvidence) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
        """Limits of the final and of the as-quenched hardness, by the recipe of the hardening."""
        for entry in runs_listed(self._book, [piece.harden] if piece.harden else []):
            recipe = self._recipes.of(entry)
            if recipe is not None:
                return recipe.hardness_final, recipe.hardness_as_quenched
        return None, None


def _packet(charged: Charged | None) -> dict[str, Any]:
    """Place and packet of a piece in a run, as ``PieceEvidence`` names them."""
    return {
        "place": charged.place if charged else None,
        "foil": charged.foil if charged else None,
        "blades": charged.blades if charged else None,
        "heated_faces": charged.heated_faces if charged else None,
        "charge": charged.charge_name if charged else None,
    }


def _hardness(entry: HardnessEntry) -> HardnessEvidence:
    return HardnessEvidence(
        test=entry.test,
        stage=entry.stage,
        as_quenched=entry.as_quenched,
        final=entry.final,
        measured_utc=entry.measured_utc,
        spot=entry.spot,
        ground_off_mm=entry.ground_off_mm,
        tester=entry.tester,
    )
