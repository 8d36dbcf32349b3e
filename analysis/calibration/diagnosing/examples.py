"""One made example of each cause of a wrong reading, to show what it looks like. Invented, not measured."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from soakwitness.analysis.calibration.diagnosing import faults
from soakwitness.analysis.calibration.diagnosing.circuits import FloatArray, Wiring, shown_by
from soakwitness.analysis.calibration.diagnosing.faults import Cause
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.errors import AnalysisError

LEVELS_C = np.array([300.0, 550.0, 780.0, 920.0, 1050.0])
SCATTER_C = np.array([0.3, -0.5, 0.4, -0.2, 0.1])
ROOM_C = 24.0
HEADS_C = np.array([38.0, 46.0, 53.0, 57.0, 62.0])
SET_TO = "K"
WARMING_C = np.array([60.0, 90.0, 120.0, 150.0, 180.0])  # a reversed sensor is seen while the furnace warms up


def _by(wiring: Wiring, levels: FloatArray = LEVELS_C, *, gain: float = 1.0) -> FloatArray:
    heads = HEADS_C if levels is LEVELS_C else np.full(levels.size, ROOM_C + 1.0)
    return shown_by(wiring, levels, heads, np.full(levels.size, ROOM_C), gain=gain)


def example(cause: Cause) -> tuple[PairReading, ...]:
    """Readings of a type K thermocouple with one fault.

    Returns five levels [degC], head and room temperature known.

    Raises AnalysisError if the cause is not known.
    """
    made: dict[str, Callable[[], FloatArray]] = {
        "wrong type set": lambda: faults.wrong_type_c(LEVELS_C, "N", SET_TO, ROOM_C),
        "reversed extension lead": lambda: faults.wrong_lead_c(LEVELS_C, SET_TO, HEADS_C, ROOM_C, reversed_lead=True),
        "copper in place of extension lead": lambda: faults.wrong_lead_c(
            LEVELS_C, SET_TO, HEADS_C, ROOM_C, reversed_lead=False
        ),
        "cold junction wrong": lambda: faults.unsensed_c(LEVELS_C, SET_TO, ROOM_C),
        "plain offset": lambda: LEVELS_C + 9.0,
        "drift growing with temperature": lambda: faults.drifted_c(LEVELS_C, -18.0, 2.2),
        "degrees C and F mixed up": lambda: faults.mixed_up_c(LEVELS_C, shows_fahrenheit=True),
        "tip pulled back": lambda: faults.pulled_back_c(LEVELS_C, 0.15, ROOM_C),
        "wrong extension lead": lambda: _by(Wiring(SET_TO, "J", SET_TO)),
        "thermocouple reversed": lambda: _by(Wiring(SET_TO, SET_TO, SET_TO, sensor_sign=-1.0), WARMING_C),
        "short at the head": lambda: HEADS_C + 0.0,
        "hot shunt in the insulation": lambda: LEVELS_C - 18.0 * np.exp((LEVELS_C - 1050.0) / 55.0),
        "high loop resistance": lambda: _by(Wiring(SET_TO, SET_TO, SET_TO), gain=0.975),
        "inhomogeneous wire": lambda: LEVELS_C * 0.982,
        "place difference": lambda: LEVELS_C + 11.0 * (LEVELS_C / 1000.0) ** 0.8,
        "contact that comes and goes": lambda: LEVELS_C - np.array([0.0, 0.0, 420.0, 0.0, 0.0]),
    }
    shown = made.get(cause)
    levels = WARMING_C if cause == "thermocouple reversed" else LEVELS_C
    if shown is None:
        raise AnalysisError(f"cause {cause!r} is not known. Causes: {', '.join(faults.CAUSES)}.")
    return tuple(
        PairReading(float(t), round(float(s), 1), float(h), ROOM_C)
        for t, s, h in zip(levels, shown() + SCATTER_C, HEADS_C, strict=True)
    )
