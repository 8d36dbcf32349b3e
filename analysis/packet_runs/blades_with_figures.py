"""A blade in one run with each of several figures of its packet, alone or in a row whose packets have the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.draws import bundle_of
from soakwitness.analysis.packet.grid import Steps
from soakwitness.analysis.packet.marching import march_each
from soakwitness.analysis.packet.piece import PacketModel, for_piece, spec_of_packet
from soakwitness.analysis.packet.rack import Beside
from soakwitness.analysis.packet.row_bundle import joined
from soakwitness.analysis.packet.row_stepping import march_row
from soakwitness.analysis.packet.stepping import Bundle

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]


def blades_with(
    packets: Sequence[PacketModel],
    convection: FloatArray,
    begins: Sequence[tuple[Steps, float]],
    where: Beside | None,
) -> list[SingleArray]:
    """The blade [degC] from each of several beginnings, given as steps and temperature [degC], in one march.

    ``packets`` with a factor on the convection [-] for each; every beginning has as many of them, its own after those
    of the one before. Returns for each beginning shape (m + 1, its packets).
    """
    unseen, steps, starts_c = np.zeros(len(packets) // len(begins)), *map(list, zip(*begins, strict=True))
    if where is None:
        return march_each(steps, _side_by_side(packets, convection, len(begins)), unseen, starts_c)
    row, mine = where.row, where.row.filled.index(where.slot)
    beside = {}
    for neighbour in {packet for n, packet in enumerate(row.packets) if n != mine}:
        alike = [_wrapped_as(one, neighbour) for one in packets]
        beside[neighbour] = _side_by_side(alike, convection, len(begins))
    own = _side_by_side(packets, convection, len(begins))
    bundles = [own if n == mine else beside[packet] for n, packet in enumerate(row.packets)]
    return [each[mine] for each in march_row(steps, joined(row, bundles), unseen, starts_c)]


def _wrapped_as(one: PacketModel, neighbour: PacketModel) -> PacketModel:
    """A neighbour with the figures of another packet, where both are in foil or both bare."""
    return for_piece(one, spec_of_packet(neighbour)) if one.foil == neighbour.foil else neighbour


def _side_by_side(packets: Sequence[PacketModel], convection: FloatArray, begins: int) -> Bundle:
    """Best figures of several packets as one bundle, as many from each beginning."""
    bundles = [bundle_of(replace(packet, slow_side=1.0), 0)[0] for packet in packets]
    names = ("eps_sigma", "f_sigma", "gap_m", "peak_factor", "peak_shift_k", "steel_kg_m2", "sensor_lag_s")
    joined = {name: np.concatenate([getattr(b, name) for b in bundles]) for name in names}
    joined["convection"] = convection.astype(np.float32)
    each = {name: values.reshape(begins, -1) for name, values in joined.items()}
    return Bundle(foil_kg_m2=bundles[0].foil_kg_m2, **each)
