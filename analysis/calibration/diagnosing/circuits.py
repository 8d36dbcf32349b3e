"""What a thermocouple circuit shows: the sum of its emfs, each stretch of wire hot end less cold end, read on a curve.

Arrays are (draws, readings). A voltage beyond the curve's range shows as infinite, with the side it is beyond on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.thermocouples.reference_functions import emf_mv

FloatArray = npt.NDArray[np.float64]
COPPER = ""
STEP_C = 1.0  # of the tables: straight between is off by less than 0.001 degC
LOWEST_C = {"B": 50.0}  # its emf turns round below
ZERO_C = 0.0


@lru_cache(maxsize=16)
def _table(kind: str) -> tuple[FloatArray, FloatArray]:
    """Temperatures and rising emfs of a type over its range [degC, mV]."""
    temp_c = np.arange(-270.0, 1821.0, STEP_C)
    emf = np.asarray(emf_mv(temp_c, kind))
    known = np.isfinite(emf) & (temp_c >= LOWEST_C.get(kind, -200.0))
    return temp_c[known], emf[known]


def emf_of(temp_c: FloatArray | float, kind: str) -> FloatArray:
    """Emf against 0 degC [mV]; of copper against itself nothing. At the ends of the range it stays what it is there."""
    if kind == COPPER:
        return np.zeros_like(np.asarray(temp_c, dtype=float))
    return np.asarray(np.interp(temp_c, *_table(kind)))


def read_on(emf: FloatArray, kind: str) -> FloatArray:
    """Temperature that a curve gives for an emf [mV, degC]; infinite beyond its range."""
    temp_c, table = _table(kind)
    shown = np.interp(emf, table, temp_c)
    return np.where(emf > table[-1], np.inf, np.where(emf < table[0], -np.inf, shown))


def range_of(kind: str) -> tuple[float, float]:
    """Lowest and highest temperature that a type's curve shows [degC]."""
    temp_c, _ = _table(kind)
    return float(temp_c[0]), float(temp_c[-1])


@dataclass(frozen=True)
class Wiring:
    """Which wires lie where, and which way round; ``lead`` "" is copper."""

    wired: str
    lead: str
    set_to: str
    sensor_sign: float = 1.0
    lead_sign: float = 1.0


def shown_by(
    wiring: Wiring,
    tip_c: FloatArray,
    head_c: FloatArray,
    terminals_c: FloatArray,
    *,
    taken_c: FloatArray | float | None = None,
    added_mv: FloatArray | float = 0.0,
    gain: FloatArray | float = 1.0,
) -> FloatArray:
    """What the instrument shows; ``taken_c`` is what it takes its terminals for, rightly unless given [degC]."""
    sensor = wiring.sensor_sign * (emf_of(tip_c, wiring.wired) - emf_of(head_c, wiring.wired))
    lead = wiring.lead_sign * (emf_of(head_c, wiring.lead) - emf_of(terminals_c, wiring.lead))
    taken = terminals_c if taken_c is None else taken_c
    return read_on((sensor + lead) * gain + added_mv + emf_of(taken, wiring.set_to), wiring.set_to)
