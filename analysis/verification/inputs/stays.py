"""Which piece was in the furnace from when to when, as marks and log book tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.packet.piece import spec_of
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.marks.charges import Charges, Known, PieceStay, drop_unnamed, read_charges
from soakwitness.firmware_bridge.marks.questions import Question
from soakwitness.firmware_bridge.runfolder.contents import Mark

__all__ = ["Stay", "drop_unnamed", "piece_spec", "questions_of", "stays_of"]


@dataclass(frozen=True)
class Stay(PieceStay):
    """A stay in the furnace with what the log book knows of the piece."""

    info: PieceInfo | None = None


def stays_of(marks: Sequence[Mark], pieces: Sequence[PieceInfo] = ()) -> tuple[Stay, ...]:
    """Read the stays of all pieces from the marks of a run.

    ``marks``: marks of the run; struck ones are left out. ``pieces``: what the log book knows of the pieces in this
    run. Returns in the order of loading. One unnamed stay without marks where nothing is known. How marks are read:
    ``firmware_bridge.common.charges``.
    """
    infos = {piece.id.casefold(): piece for piece in pieces}
    return tuple(_with_info(stay, infos.get((stay.piece or "").casefold())) for stay in _read(marks, pieces).stays)


def questions_of(marks: Sequence[Mark], pieces: Sequence[PieceInfo] = ()) -> tuple[Question, ...]:
    """What the marks of a run leave to be asked.

    ``marks``: marks of the run; struck ones are left out. ``pieces``: what the log book knows of the pieces in this
    run. Returns each with its mark, a sentence and the next step, in the order of time.
    """
    return _read(marks, pieces).questions


def piece_spec(recipe: Recipe, piece: PieceInfo | None) -> PacketSpec | None:
    """Say what a piece is: its own figures over the recipe's."""
    if piece is None:
        return recipe.packet
    return spec_of(
        recipe.packet, piece.thickness_mm, foil=piece.foil, heated_faces=piece.heated_faces, blades=piece.blades
    )


def _read(marks: Sequence[Mark], pieces: Sequence[PieceInfo]) -> Charges:
    # A piece without a charge of its own is in the log book only because a mark names it: marks alone say where it was.
    named = {name.casefold() for mark in marks if not mark.struck for name in mark.pieces}
    known = [Known(p.id, p.charge) for p in pieces if p.charge is not None or p.id.casefold() not in named]
    return read_charges(marks, known=known)


def _with_info(stay: PieceStay, info: PieceInfo | None) -> Stay:
    charge = stay.charge or (info.charge if info is not None else None)
    return Stay(
        stay.piece, charge, stay.load_s, stay.pull_s, stay.plates_s, stay.hand_warm_s, again=stay.again, info=info
    )
