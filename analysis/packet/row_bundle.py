"""A row's figures and draws side by side, for stepping all its packets at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.draws import bundle_of
from soakwitness.analysis.packet.rack import Row, exchanged
from soakwitness.analysis.packet.stepping import Bundle
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

SingleArray = npt.NDArray[np.float32]


@dataclass(frozen=True)
class RowBundle:
    """Figures of many draws of a whole row, float32, shape (packets, chambers, draws) unless said otherwise.

    One chamber where the figures are the same for all. ``bundle`` as for lone packets, but that the foils stand in
    ``foil_kg_m2`` [kg/m2], shape (packets, 1, 1), 0 where bare. ``sides`` has the same for left and right sides, shape
    (packets, 2, chambers, draws), where they differ, with their radiation factors towards the chamber.
    ``facing_sigma`` is across each opening the radiation factor of the right side before it and of the left side after
    it towards each other, times the Stefan-Boltzmann constant [W/m2K4], shape (packets - 1, 2, chambers, draws).
    """

    bundle: Bundle
    foil_kg_m2: SingleArray
    sides: Bundle
    facing_sigma: SingleArray

    @cached_property
    def foiled(self) -> npt.NDArray[np.bool_] | bool:
        """Which packets are in foil, as sides have it; a word for all where they are alike."""
        foiled = (self.foil_kg_m2 > 0.0)[:, None]
        return bool(foiled.any()) if foiled.all() == foiled.any() else foiled


def row_bundle(row: Row, draws: int) -> tuple[RowBundle, npt.NDArray[np.float64]]:
    """Best figures and draws of every packet of a row; each draw has the same luck in all of them.

    ``draws``: number of draws [-]. Returns where the chamber stood within its doubt in a gap, as ``bundle_of``.
    """
    bundles, unseen = zip(*(bundle_of(packet, draws) for packet in row.packets), strict=True)
    return joined(row, list(bundles)), unseen[0]


def joined(row: Row, bundles: list[Bundle]) -> RowBundle:
    """Bundles of a row's packets, one for each in its order, as one with what they exchange."""
    names = (
        "eps_sigma",
        "f_sigma",
        "gap_m",
        "convection",
        "peak_factor",
        "peak_shift_k",
        "steel_kg_m2",
        "sensor_lag_s",
    )
    stacked = Bundle(
        foil_kg_m2=0.0,
        **{name: np.stack([np.atleast_2d(getattr(bundle, name)) for bundle in bundles]) for name in names},
    )
    sigma = np.float32(properties.STEFAN_BOLTZMANN)
    chamber = np.stack([stacked.eps_sigma] * 2, axis=1)  # a side without a neighbour sees the chamber alone
    facing = np.empty((len(bundles) - 1, *chamber.shape[1:]), dtype=np.float32)
    for n, (one, other) in enumerate(zip(row.filled, row.filled[1:], strict=False)):
        mine, theirs = row.views(one, other)
        eps, other_eps = stacked.eps_sigma[n] / sigma, stacked.eps_sigma[n + 1] / sigma
        factors = [factor * sigma for factor in exchanged(eps, other_eps, mine, theirs)]
        facing[n, 0], chamber[n, 1], facing[n, 1], chamber[n + 1, 0] = factors
    sides: dict[str, Any] = {name: getattr(stacked, name)[:, None] for name in names}
    foil = np.array([[[bundle.foil_kg_m2]] for bundle in bundles], dtype=np.float32)
    return RowBundle(stacked, foil, Bundle(foil_kg_m2=0.0, **{**sides, "eps_sigma": chamber}), facing)
