"""Tolerance of new thermocouple wire by class, with where each figure comes from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import ThermocoupleError
from soakwitness.analysis.thermocouples.coefficients import known_type

FloatArray = npt.NDArray[np.float64]

TOLERANCE_CLASSES: tuple[str, ...] = ("1", "2", "special", "standard")
COPIES = "several public copies of IEC 60584-1 / ASTM E230 agree"
MEMORY = "from memory, confirm in your edition"


@dataclass(frozen=True)
class Tolerance:
    """Larger of ``base_c`` and ``per_degree`` x (|t| - ``from_c``) + ``plus_c`` from ``low_c`` to ``high_c`` [degC]."""

    base_c: float
    per_degree: float
    low_c: float
    high_c: float
    from_c: float = 0.0
    plus_c: float = 0.0
    origin: str = COPIES


# (types, class): figures as in IEC 60584-1:2013, table 12 and ASTM E230/E230M, table 1.
_TABLE: dict[tuple[str, str], Tolerance] = {
    ("KN", "1"): Tolerance(1.5, 0.004, -40, 1000),
    ("KN", "2"): Tolerance(2.5, 0.0075, -40, 1200),
    ("KN", "special"): Tolerance(1.1, 0.004, 0, 1260),
    ("KN", "standard"): Tolerance(2.2, 0.0075, 0, 1260),
    ("RS", "1"): Tolerance(1.0, 0.003, 0, 1600, from_c=1100, plus_c=1.0),
    ("RS", "2"): Tolerance(1.5, 0.0025, 0, 1600),
    ("RS", "special"): Tolerance(0.6, 0.001, 0, 1480),
    ("RS", "standard"): Tolerance(1.5, 0.0025, 0, 1480),
    ("B", "2"): Tolerance(0.0, 0.0025, 600, 1700, origin=MEMORY),
    ("B", "standard"): Tolerance(0.0, 0.005, 870, 1700, origin=MEMORY),
    ("B", "special"): Tolerance(0.0, 0.0025, 870, 1700, origin=MEMORY),
    ("E", "1"): Tolerance(1.5, 0.004, -40, 800, origin=MEMORY),
    ("E", "2"): Tolerance(2.5, 0.0075, -40, 900, origin=MEMORY),
    ("E", "special"): Tolerance(1.0, 0.004, 0, 870, origin=MEMORY),
    ("E", "standard"): Tolerance(1.7, 0.005, 0, 870, origin=MEMORY),
    ("J", "1"): Tolerance(1.5, 0.004, -40, 750, origin=MEMORY),
    ("J", "2"): Tolerance(2.5, 0.0075, -40, 750, origin=MEMORY),
    ("J", "special"): Tolerance(1.1, 0.004, 0, 760, origin=MEMORY),
    ("J", "standard"): Tolerance(2.2, 0.0075, 0, 760, origin=MEMORY),
    ("T", "1"): Tolerance(0.5, 0.004, -40, 350, origin=MEMORY),
    ("T", "2"): Tolerance(1.0, 0.0075, -40, 350, origin=MEMORY),
    ("T", "special"): Tolerance(0.5, 0.004, 0, 370, origin=MEMORY),
    ("T", "standard"): Tolerance(1.0, 0.0075, 0, 370, origin=MEMORY),
}


def tolerance_of(type: str, tolerance_class: str) -> Tolerance | None:
    """Figures of one class, with their origin.

    ``type``: letter of the type: B E J K N R S T. ``tolerance_class``: ``1`` or ``2`` (IEC 60584-1), ``special`` or
    ``standard`` (ASTM E230).

    Raises ThermocoupleError if type or class is unknown.
    """
    letter = known_type(type)
    word = str(tolerance_class).strip().lower()
    if word not in TOLERANCE_CLASSES:
        raise ThermocoupleError(
            f"tolerance class {tolerance_class!r} is not known. Classes: {', '.join(TOLERANCE_CLASSES)}."
        )
    return next((row for (letters, name), row in _TABLE.items() if letter in letters and name == word), None)


def tolerance_c(type: str, tolerance_class: str, temp_c: npt.ArrayLike) -> FloatArray:
    """Tolerance of new wire, as a half-width.

    Parameters
    ----------
    type : str
        Letter of the type: B E J K N R S T.
    tolerance_class : str
        ``1`` or ``2`` (IEC 60584-1), ``special`` or ``standard`` (ASTM E230).
    temp_c : float or array
        Temperature [degC], any shape.

    Returns
    -------
    float or array
        Half-width of the tolerance [K], NaN outside the class's range and where the type has no such class.

    Raises
    ------
    ThermocoupleError
        If type or class is unknown.

    Notes
    -----
    Larger of a fixed figure and a share of |t|; R and S in class 1: 1 + 0.003 (t - 1100) above 1100 degC. It speaks of
    new wire only: used wire drifts, and no tolerance covers that.

    References
    ----------
    IEC 60584-1:2013; ASTM E230/E230M, read in public copies for K, N, R and S. For B, E, J and T from memory.
    """
    row = tolerance_of(type, tolerance_class)
    temp = np.asarray(temp_c, dtype=np.float64)
    if row is None:
        return np.full_like(temp, np.nan)[()]
    share = row.plus_c + row.per_degree * (np.abs(temp) - row.from_c)
    inside = (temp >= row.low_c) & (temp <= row.high_c)
    return np.where(inside, np.maximum(row.base_c, share), np.nan)[()]
