"""Gather what all holds of one verification share, out of a run on which they were placed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.holds.placed_sensors import PlacedRun
from soakwitness.analysis.verification.inputs.stays import Stay, piece_spec
from soakwitness.analysis.verification.measuring.dips import own_cooling
from soakwitness.analysis.verification.sensors.context import VerificationContext, Work, fastest
from soakwitness.analysis.verification.sensors.packet_estimates import Estimates

if TYPE_CHECKING:
    from soakwitness.analysis.packet.piece import PacketModel


def gather(placed: PlacedRun, packet: PacketModel | None = None) -> VerificationContext:
    """Gather rates, own cooling and the packet estimate of each stay, made when it is first asked for."""
    read, recipe, chamber = placed.read, placed.recipe, placed.chamber
    estimates = Estimates(chamber, recipe, read.doors_s)
    known: dict[int, Work | None] = {}

    def estimate_of(index: int) -> Work | None:
        if index not in known:
            known[index] = _estimate(estimates, recipe, read.stays[index], packet)
        return known[index]

    rates = fastest(chamber.blocks)
    for load in placed.loads:
        rates = rates.with_other(fastest(load.blocks))
    ends = [p.edges.leave_s for p in chamber.placed if p is not None and p.edges is not None]
    return VerificationContext(
        run=read.run,
        recipe=recipe,
        chamber=chamber,
        loads=placed.loads,
        stays=read.stays,
        estimate_of=estimate_of,
        rates=rates,
        cooling=own_cooling(chamber.readings, max(ends, default=float(chamber.readings.t_s[-1]))),
        doors_s=read.doors_s,
        usual=read.known.usual,
        questions=read.questions,
        stands_in=read.stands_in,
        uncertain=read.uncertain,
    )


def _estimate(estimates: Estimates, recipe: Recipe, stay: Stay, packet: PacketModel | None) -> Work | None:
    """The packet estimate of one stay, None where nothing is known of its packet."""
    from soakwitness.analysis.packet.piece import packet_of

    model = packet_of(packet, piece_spec(recipe, stay.info), recipe.steel)
    return None if model is None else estimates.of(stay, model)
