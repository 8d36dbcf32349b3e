"""How fast the furnace of one run heats and cools: what its readings cannot have hidden in a gap."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.verification.holds.assignment import ArrayBlocks
from soakwitness.analysis.verification.rules.states import ROOM_C

SLOWEST_C_PER_S = 1.0 / 60.0
RATE_BLOCKS_S = 30.0
WARM_C = 60.0


@dataclass(frozen=True)
class Rates:
    """Fastest heating and cooling [K/s], and the fastest loss of the heat above room temperature [1/s]."""

    heating_c_per_s: float = SLOWEST_C_PER_S
    cooling_c_per_s: float = SLOWEST_C_PER_S
    loss_per_s: float = 0.0

    def with_other(self, other: Rates) -> Rates:
        """The faster of two."""
        return Rates(
            max(self.heating_c_per_s, other.heating_c_per_s),
            max(self.cooling_c_per_s, other.cooling_c_per_s),
            max(self.loss_per_s, other.loss_per_s),
        )


def fastest(blocks: ArrayBlocks) -> Rates:
    """Fastest heating and cooling over about 30 s that a trace itself shows, at least 1 K a minute.

    Newton's law of cooling, dT/dt = -(T - T_room)/tau, carries a rate seen at one temperature to a hotter one.
    """
    step = max(1, round(RATE_BLOCKS_S / blocks.block_s))
    if blocks.t_s.size <= step:
        return Rates()
    rate = (blocks.temp_c[step:] - blocks.temp_c[:-step]) / (blocks.t_s[step:] - blocks.t_s[:-step])
    middle = (blocks.temp_c[step:] + blocks.temp_c[:-step]) / 2.0
    loss = np.where(middle > WARM_C, -rate / np.maximum(middle - ROOM_C, 1.0), 0.0)
    return Rates(
        max(float(rate.max()), SLOWEST_C_PER_S), max(float(-rate.min()), SLOWEST_C_PER_S), max(float(loss.max()), 0.0)
    )


def fastest_of(traces: Iterable[ArrayBlocks]) -> Rates:
    """The fastest that any of several traces shows."""
    rates = Rates()
    for blocks in traces:
        rates = rates.with_other(fastest(blocks))
    return rates
