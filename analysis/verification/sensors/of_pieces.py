"""A gathered run as one that held some of its pieces alone: what the others had is left out, the furnace stays."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.sensors.gathered_run import GatheredHold, GatheredRun, StayInHold


def are_in(stays: Sequence[Stay], names: Collection[str]) -> bool:
    """Whether any of these pieces was in (upper and lower case count as the same)."""
    return any(_is_one(stay.piece, names) for stay in stays)


def of_pieces(run: GatheredRun, names: Collection[str]) -> GatheredRun:
    """The run with the stays of these pieces alone; doors, gaps and the chamber are everybody's."""
    kept = [n for n, stay in enumerate(run.stays) if _is_one(stay.piece, names)]
    return replace(
        run,
        stays=tuple(run.stays[n] for n in kept),
        estimates=tuple(run.estimates[n] for n in kept) if run.estimates else (),
        holds=tuple(_hold(hold, names) for hold in run.holds),
        questions=tuple(q for q in run.questions if all(_is_one(piece, names) for piece in q.pieces)),
    )


def _hold(hold: GatheredHold, names: Collection[str]) -> GatheredHold:
    missing = tuple(one for one in hold.missing if _is_one(one.stay.piece, names))
    stays = [one for one in hold.stays if _is_one(one.stay.piece, names)]
    if not stays:  # they were not in yet, or no longer: what is reported is the furnace alone
        others = tuple(replace(s, stay=replace(s.stay, piece=None, charge=None, info=None)) for s in hold.stays[:1])
        return replace(hold, missing=missing, stays=others, alone=True)
    place = {old: new for new, old in enumerate(sorted({n for one in stays for n in one.works}))}
    return replace(
        hold,
        missing=missing,
        works=tuple(hold.works[n] for n in place),
        stays=tuple(StayInHold(one.stay, tuple(place[n] for n in one.works)) for one in stays),
    )


def _is_one(piece: str | None, names: Collection[str]) -> bool:
    return piece is not None and piece.casefold() in {name.casefold() for name in names}
