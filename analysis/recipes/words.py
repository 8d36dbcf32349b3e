"""Numbers of a recipe as words: rounded once, in the unit that is asked for."""

from __future__ import annotations

from typing import Literal

Unit = Literal["C", "F"]


def number(value: float) -> str:
    """Write a number with at most one decimal.

    Parameters
    ----------
    value : float
        Any number, in any unit [as shown].

    Returns
    -------
    str
        ``780`` or ``1065.6``.
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def temperature(temp_c: float, unit: Unit) -> str:
    """Write a temperature.

    Parameters
    ----------
    temp_c : float
        Temperature [degC].
    unit : str
        ``C`` or ``F``, to be shown.

    Returns
    -------
    str
        Such as ``780 °C``.
    """
    return f"{number(temp_c * 1.8 + 32.0)} °F" if unit == "F" else f"{number(temp_c)} °C"


def difference(kelvin: float, unit: Unit) -> str:
    """Write a difference of temperatures.

    Parameters
    ----------
    kelvin : float
        Difference [K].
    unit : str
        ``C`` or ``F``, to be shown; x 1.8 for F, never + 32.

    Returns
    -------
    str
        Such as ``6 °C``.
    """
    return f"{number(kelvin * 1.8)} °F" if unit == "F" else f"{number(kelvin)} °C"


def duration(time_s: float) -> str:
    """Write a duration.

    Parameters
    ----------
    time_s : float
        Duration [s].

    Returns
    -------
    str
        ``45 s``, ``10 min``, ``2 h``, ``2 h 30 min``; minutes with a decimal where they are not whole.
    """
    if time_s < 120.0 and time_s % 60.0:
        return f"{number(time_s)} s"
    minutes = round(time_s / 60.0, 1)
    if minutes < 120.0:
        return f"{number(minutes)} min"
    hours, rest = divmod(minutes, 60.0)
    return f"{number(hours)} h" + (f" {number(rest)} min" if rest >= 0.05 else "")
