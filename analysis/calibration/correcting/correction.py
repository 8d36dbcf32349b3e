"""What a calibration says to add to a reading, as the log book keeps it and ``verify`` applies it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import AnalysisError
from soakwitness.firmware_bridge.common.wording import Says

FloatArray = npt.NDArray[np.float64]
Model = Literal["constant", "line", "quadratic", "piecewise"]
FORMAT = 1
SHOWN_ROUNDS = 30


class CorrectionError(AnalysisError):
    """A stored correction that cannot be used."""


@dataclass(frozen=True)
class CorrectionPoint:
    """One calibrated point: reading [degC], what to add to it [K] and U of that (with its k) [K]."""

    reading_c: float
    correction_c: float
    expanded_c: float
    k: float = 2.0


@dataclass(frozen=True)
class Correction:
    """Correction of one sensor over its calibrated range.

    ``table_reading_c`` [degC], ``table_correction_c`` [K] and ``table_expanded_c`` [K, k = 2], shape (n,) each, rising:
    the fitted model every few degrees, so that a stored correction stays what it was whatever becomes of the model.
    ``done_on`` and ``due_on`` are local days (2026-11-25). Made for the day of a run and not kept: ``ageing`` says
    what of U is drift since, ``lapse`` why it no longer counts where that is not its due date. ``drift`` are
    figures of the drift that a person set.
    """

    furnace: str
    sensor: str
    model: Model
    why: str
    points: tuple[CorrectionPoint, ...]
    table_reading_c: tuple[float, ...]
    table_correction_c: tuple[float, ...]
    table_expanded_c: tuple[float, ...]
    done_on: str
    due_on: str | None = None
    done_by: str = ""
    method: str = ""
    drift: Mapping[str, float] | None = None
    ageing: Says | None = None
    lapse: str = ""

    @property
    def low_c(self) -> float:
        """Lowest reading that has an uncertainty [degC]."""
        return self.table_reading_c[0]

    @property
    def high_c(self) -> float:
        """Highest reading that has an uncertainty [degC]."""
        return self.table_reading_c[-1]

    def covers(self, temp_c: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether readings [degC] lie in the calibrated range."""
        temp = np.asarray(temp_c, dtype=np.float64)
        return np.asarray((temp >= self.low_c) & (temp <= self.high_c))

    def correction_c(self, temp_c: npt.ArrayLike) -> FloatArray:
        """What to add to readings [K]; beyond the calibrated range the nearest end's figure, without an uncertainty."""
        temp = np.asarray(temp_c, dtype=np.float64)
        return np.asarray(np.interp(temp, self.table_reading_c, self.table_correction_c))[()]

    def correct(self, temp_c: npt.ArrayLike) -> FloatArray:
        """Corrected readings [degC]."""
        return (np.asarray(temp_c, dtype=np.float64) + self.correction_c(temp_c))[()]

    def shown_at(self, true_c: float) -> float:
        """What the sensor shows at a true temperature [degC]: what a controller is set to, to be truly there."""
        shown_c = true_c
        for _ in range(SHOWN_ROUNDS):  # corrections change slowly: each round takes the distance times their slope
            shown_c = true_c - float(self.correction_c(shown_c))
        return shown_c

    def expanded_c(self, temp_c: npt.ArrayLike) -> FloatArray:
        """U of the corrected readings (k = 2) [K]; NaN outside the calibrated range."""
        temp = np.asarray(temp_c, dtype=np.float64)
        return np.asarray(np.interp(temp, self.table_reading_c, self.table_expanded_c, left=np.nan, right=np.nan))[()]

    def overdue_on(self, day: str) -> bool:
        """Whether it is overdue on a local day (2026-11-25)."""
        return self.due_on is not None and day[:10] > self.due_on

    @property
    def lapsed_by(self) -> str:
        """Why it no longer counts, where it does not."""
        return self.lapse or f"overdue since {self.due_on}"


def correction_to_dict(correction: Correction) -> dict[str, Any]:
    """Turn a correction into plain data for the log book or a file.

    Returns numbers, texts and lists only; temperatures [degC], differences [K].
    """
    set_by_hand = {} if correction.drift is None else {"drift": dict(correction.drift)}
    return {
        **set_by_hand,
        "format": FORMAT,
        "furnace": correction.furnace,
        "sensor": correction.sensor,
        "model": correction.model,
        "why": correction.why,
        "method": correction.method,
        "done_on": correction.done_on,
        "due_on": correction.due_on,
        "done_by": correction.done_by,
        "points": [
            {"reading_c": p.reading_c, "correction_c": p.correction_c, "expanded_c": p.expanded_c, "k": p.k}
            for p in correction.points
        ],
        "table": {
            "reading_c": list(correction.table_reading_c),
            "correction_c": list(correction.table_correction_c),
            "expanded_c": list(correction.table_expanded_c),
        },
    }


def correction_from_dict(data: Mapping[str, Any]) -> Correction:
    """Read a correction back.

    Raises CorrectionError if the data are of a newer format, or a key is missing or makes no sense.
    """
    try:
        if data["format"] > FORMAT:
            raise CorrectionError(f"a correction of format {data['format']} needs a newer version of this program.")
        table = {
            key: tuple(float(v) for v in data["table"][key]) for key in ("reading_c", "correction_c", "expanded_c")
        }
        correction = Correction(
            furnace=data["furnace"],
            sensor=data["sensor"],
            model=data["model"],
            why=data["why"],
            method=data.get("method", ""),
            drift=data.get("drift"),
            done_on=data["done_on"],
            due_on=data["due_on"],
            done_by=data["done_by"],
            points=tuple(CorrectionPoint(**point) for point in data["points"]),
            table_reading_c=table["reading_c"],
            table_correction_c=table["correction_c"],
            table_expanded_c=table["expanded_c"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise CorrectionError(f"the stored correction cannot be read: {error!r}. Calibrate again.") from None
    rows = np.array([correction.table_reading_c, correction.table_correction_c, correction.table_expanded_c])
    if rows.shape[1] < 1 or not np.isfinite(rows).all() or (np.diff(rows[0]) <= 0).any():
        raise CorrectionError("the stored correction's table does not rise or has gaps. Calibrate again.")
    return correction
