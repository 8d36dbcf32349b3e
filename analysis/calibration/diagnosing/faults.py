"""What a faulty thermocouple circuit shows, from the ITS-90 functions: to recognise faults and to make examples."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.thermocouples.reference_functions import emf_mv, temperature_c
from soakwitness.firmware_bridge.common.units import from_celsius, to_celsius

FloatArray = npt.NDArray[np.float64]
NOTHING = "nothing wrong"
Cause = Literal[
    "wrong type set",
    "reversed extension lead",
    "copper in place of extension lead",
    "wrong extension lead",
    "thermocouple reversed",
    "cold junction wrong",
    "plain offset",
    "drift growing with temperature",
    "inhomogeneous wire",
    "hot shunt in the insulation",
    "short at the head",
    "contact that comes and goes",
    "high loop resistance",
    "slow filter",
    "degrees C and F mixed up",
    "tip pulled back",
    "place difference",
    "coarse display",
]
CAUSES: tuple[Cause, ...] = get_args(Cause)
ROOM_C = 25.0
DRIFT_AT_C = 1000.0


def wrong_type_c(true_c: npt.ArrayLike, wired: str, set_to: str, room_c: npt.ArrayLike = ROOM_C) -> FloatArray:
    """Shown by an instrument set to another type than the one wired to it.

    Shown = E_set^-1(E_wired(t) - E_wired(room) + E_set(room)).

    ``room_c``: temperature of the instrument's terminals, which it senses rightly [degC]. Returns shown temperature
    [degC]; NaN where the voltage is outside the range of ``set_to``.
    """
    return np.asarray(temperature_c(emf_mv(true_c, wired, room_c), set_to, room_c))


def wrong_lead_c(
    true_c: npt.ArrayLike,
    kind: str,
    head_c: npt.ArrayLike,
    room_c: npt.ArrayLike = ROOM_C,
    *,
    reversed_lead: bool,
) -> FloatArray:
    """Shown with a reversed extension lead, or with copper in its place.

    A right lead adds E(head) - E(room); copper adds nothing; a reversed one takes it away once more. The error is about
    -(head - room) or twice that.

    ``head_c``: temperature of the head, where the lead begins [degC].
    """
    lost = emf_mv(head_c, kind, room_c) * (2.0 if reversed_lead else 1.0)
    return np.asarray(temperature_c(emf_mv(true_c, kind) - lost, kind))


def unsensed_c(true_c: npt.ArrayLike, kind: str, room_c: npt.ArrayLike = ROOM_C) -> FloatArray:
    """Shown by an instrument that takes its terminals to be at 0 degC.

    Returns shown temperature [degC], too low by about the terminals' temperature.
    """
    return np.asarray(temperature_c(emf_mv(true_c, kind, room_c), kind))


def drifted_c(true_c: npt.ArrayLike, at_1000_c: npt.ArrayLike, power: npt.ArrayLike = 2.0) -> FloatArray:
    """Shown by a wire whose error grows faster than the temperature."""
    true = np.asarray(true_c, dtype=np.float64)
    return np.asarray(true + np.asarray(at_1000_c) * (np.maximum(true, 0.0) / DRIFT_AT_C) ** np.asarray(power))


def mixed_up_c(true_c: npt.ArrayLike, *, shows_fahrenheit: bool) -> FloatArray:
    """Shown where degC and degF are mixed up.

    ``shows_fahrenheit``: true: the instrument shows degF and is read as degC; False: the other way round.
    """
    true = np.asarray(true_c, dtype=np.float64)
    return from_celsius(true, "F") if shows_fahrenheit else to_celsius(true, "F")


def pulled_back_c(true_c: npt.ArrayLike, share: npt.ArrayLike, room_c: npt.ArrayLike = ROOM_C) -> FloatArray:
    """Shown by a sensor whose tip sits in the wall: its temperature lags behind in proportion.

    ``share``: share of the difference to the room that is lost.
    """
    true = np.asarray(true_c, dtype=np.float64)
    return np.asarray(true - np.asarray(share) * (true - np.asarray(room_c)))
