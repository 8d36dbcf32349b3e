"""Which piece was in the furnace from when to when, as marks and log book tell it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.packet.piece import spec_of
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Recipe
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.furnace.rack import Rack, slot_told
from soakwitness.firmware_bridge.marks.charges import Known, PieceStay, drop_unnamed, read_charges
from soakwitness.firmware_bridge.marks.questions import Question
from soakwitness.firmware_bridge.runfolder.contents import Mark

__all__ = ["Stay", "charges_told", "drop_unnamed", "known_of", "piece_spec", "speaks_for", "stays_in_hold", "stays_of"]


@dataclass(frozen=True)
class Stay(PieceStay):
    """A stay in the furnace with what the log book knows of the piece."""

    info: PieceInfo | None = None


def stays_of(marks: Sequence[Mark], pieces: Sequence[PieceInfo] = ()) -> tuple[Stay, ...]:
    """Read the stays of all pieces from the marks of a run.

    ``marks``: marks of the run; struck ones are left out. ``pieces``: what the log book knows of the pieces in this
    run. Returns in the order of loading. One unnamed stay without marks where nothing is known. How marks are read:
    ``firmware_bridge.marks.charges``.
    """
    return charges_told(marks, pieces)[0]


def charges_told(
    marks: Sequence[Mark], pieces: Sequence[PieceInfo] = ()
) -> tuple[tuple[Stay, ...], tuple[Question, ...]]:
    """The stays of all pieces, as ``stays_of``, and what the marks leave to be asked, in the order of time."""
    infos = {piece.id.casefold(): piece for piece in pieces}
    read = read_charges(marks, known=known_of(marks, pieces))
    return tuple(_with_info(stay, infos.get((stay.piece or "").casefold())) for stay in read.stays), read.questions


def piece_spec(recipe: Recipe, piece: PieceInfo | None) -> PacketSpec | None:
    """Say what a piece is: its own figures over the recipe's."""
    if piece is None:
        return recipe.packet
    return spec_of(
        recipe.packet, piece.thickness_mm, foil=piece.foil, heated_faces=piece.heated_faces, blades=piece.blades
    )


def stays_in_hold(stays: Sequence[PieceStay], recipe: Recipe, hold: Hold, begin_s: float, leave_s: float) -> list[int]:
    """Which stays a hold, from the way to it to its leave [s], is asked for, by their places.

    Every piece once, by the stay that lies most within it. A charge that goes into the hotter furnace after it does not
    need it.
    """
    above = recipe.load == "hot" and recipe.load_at_c is not None and recipe.load_at_c > hold.upper_c
    shares: dict[object, tuple[float, int]] = {}
    for index, stay in enumerate(stays):
        load = stay.load_s if stay.load_s is not None else -math.inf
        share = min(stay.pull_s if stay.pull_s is not None else math.inf, leave_s) - max(load, begin_s)
        if load > leave_s and above:
            continue
        key: object = stay.piece if stay.piece is not None else index
        if key not in shares or share > shares[key][0]:
            shares[key] = (share, index)
    named = [v for k, v in shares.items() if isinstance(k, str)]
    others = [v for k, v in shares.items() if not isinstance(k, str)]
    within = [v for v in others if v[0] > 0.0]
    return sorted(index for _, index in [*named, *(within or ([] if named else others))])


def speaks_for(load_mm: float | None, piece_mm: float | None) -> bool:
    """Whether a load sensor speaks for a piece: up to the thickness of its own dummy [mm], as far as both are known."""
    return piece_mm is None or load_mm is None or piece_mm <= load_mm


def known_of(marks: Sequence[Mark], pieces: Sequence[PieceInfo], rack: Rack | None = None) -> list[Known]:
    """Who the log book says was in the run, and in which slot.

    Where the furnace file describes no rack, the number in the words for its place is its slot. A piece without a
    charge of its own is in the log book only because a mark names it: marks alone say where it was.
    """
    named = {name.casefold() for mark in marks if not mark.struck for name in mark.pieces}
    there = [p for p in pieces if p.charge is not None or p.id.casefold() not in named]
    slot_of = slot_told if rack is None else rack.slot_of
    return [Known(p.id, p.charge, slot_of(p.place)) for p in there]


def _with_info(stay: PieceStay, info: PieceInfo | None) -> Stay:
    charge = stay.charge or (info.charge if info is not None else None)
    return Stay(
        stay.piece,
        charge,
        stay.load_s,
        stay.pull_s,
        stay.plates_s,
        stay.hand_warm_s,
        again=stay.again,
        info=info,
        bounds=stay.bounds,
    )
