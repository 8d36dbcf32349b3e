"""A row's figures and draws side by side, for stepping all its packets at once."""

from __future__ import annotations

from dataclasses import dataclass

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
    ``foil_kg_m2`` [kg/m2], shape (packets, 1, 1), 0 where bare. Radiation factors times the Stefan-Boltzmann constant
    [W/m2K4]: ``chamber_sigma`` of left and right sides towards the chamber, shape (2, packets, chambers, draws);
    ``right_sigma`` of each right side towards the next packet, ``left_sigma`` of the next one's left side towards it,
    shape (packets - 1, chambers, draws).
    """

    bundle: Bundle
    foil_kg_m2: SingleArray
    chamber_sigma: SingleArray
    right_sigma: SingleArray
    left_sigma: SingleArray


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
    chamber = np.stack([stacked.eps_sigma, stacked.eps_sigma])  # a side without a neighbour sees the chamber alone
    right, left = np.zeros((2, len(bundles) - 1, *stacked.gap_m.shape[1:]), dtype=np.float32)
    for n, (one, other) in enumerate(zip(row.filled, row.filled[1:], strict=False)):
        mine, theirs = row.views(one, other)
        eps, other_eps = stacked.eps_sigma[n] / sigma, stacked.eps_sigma[n + 1] / sigma
        factors = [factor * sigma for factor in exchanged(eps, other_eps, mine, theirs)]
        right[n], chamber[1, n], left[n], chamber[0, n + 1] = factors
    foil = np.array([[[bundle.foil_kg_m2]] for bundle in bundles], dtype=np.float32)
    return RowBundle(stacked, foil, chamber, right, left)
