"""Estimate of the work temperature inside a packet from the measured chamber, with its spread."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.piece import PacketModel as PacketModel

FloatArray = npt.NDArray[np.float64]
LOW_SHARE, HIGH_SHARE = 0.025, 0.975


@dataclass(frozen=True)
class Lag:
    """Time the packet eats [s]: ``high`` (or ``best``) None where that draw never reaches the level in time.

    ``never_reached`` is the share of draws that never do, 0 to 1.
    """

    low_s: float | None
    best_s: float | None
    high_s: float | None
    never_reached: float


@dataclass(frozen=True)
class PacketEstimate:
    """Work temperature of one piece as the packet model has it.

    ``t_s`` [s] and ``low_c``, ``best_c``, ``high_c`` [degC], shape (n,), stand at the readings; ``draw_t_s`` [s],
    shape (m,), and ``draws_c`` [degC], float32, shape (draws, m), on the model's own coarser grid, from ``load_t_s`` on.
    ``low_c`` and ``high_c`` are the 2.5 % and 97.5 % quantiles of the draws. Before ``load_t_s`` the piece is at room
    temperature. ``biot`` is the largest Biot number of the run, ``fitted`` whether an instrumented packet was run.
    """

    t_s: FloatArray
    low_c: FloatArray
    best_c: FloatArray
    high_c: FloatArray
    draw_t_s: FloatArray
    draws_c: npt.NDArray[np.float32]
    load_t_s: float
    biot: float
    fitted: bool
    packet: PacketModel
    says: tuple[str, ...] = field(default=())

    def window(self, start_s: float, stop_s: float) -> tuple[FloatArray, npt.NDArray[np.float32]]:
        """Times [s], shape (k,), and draws [degC], shape (draws, k), that cover ``start_s`` to ``stop_s``; no copy."""
        raise NotImplementedError

    def crossing_s(self, level_c: float, start_s: float, stop_s: float) -> FloatArray:
        """First time [s] from ``start_s`` on at which each draw is at or above ``level_c``, shape (draws,); NaN: never."""
        raise NotImplementedError

    def lag_s(self, level_c: float, from_t_s: float, until_t_s: float | None = None) -> Lag:
        """Time from ``from_t_s`` (the chamber enters the band) until the work is at ``level_c`` [degC]."""
        raise NotImplementedError


def estimate(
    t_s: npt.ArrayLike,
    chamber_c: npt.ArrayLike,
    *,
    packet: PacketModel,
    load_t_s: float | None = None,
    start_c: float = 20.0,
    draws: int = 200,
) -> PacketEstimate:
    """Estimate the work temperature from the chamber's (``load_t_s`` None: loaded cold, in from the first reading)."""
    raise NotImplementedError
