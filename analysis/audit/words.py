"""Numbers in sentences of the audit."""

from __future__ import annotations

import re

_MARKER = re.compile("\u2039([TD])(-?[0-9.]+)\u203a")


def minutes(seconds: float) -> str:
    """A time in words.

    Parameters
    ----------
    seconds : float
        Time [s].

    Returns
    -------
    str
        Such as ``45 s``, ``12.5 min`` or ``3.2 h``.
    """
    if seconds < 100:
        return f"{seconds:.0f} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:.1f} min"
    return f"{seconds / 3600:.1f} h"


def temp(temp_c: float) -> str:
    """A temperature in a sentence, to be printed in either unit later (``rendered``).

    Parameters
    ----------
    temp_c : float
        Temperature [degC].

    Returns
    -------
    str
        A marker.
    """
    return f"\u2039T{temp_c:.4f}\u203a"


def kelvin(difference_c: float) -> str:
    """Size of a temperature difference in a sentence, to be printed in either unit later (``rendered``).

    Parameters
    ----------
    difference_c : float
        Difference [K]; its sign is left out.

    Returns
    -------
    str
        A marker.
    """
    return f"\u2039D{abs(difference_c):.4f}\u203a"


def rendered(text: str, unit: str) -> str:
    """Sentence with its temperatures in a unit.

    Parameters
    ----------
    text : str
        Sentence with the markers of ``temp`` and ``kelvin``.
    unit : str
        ``C`` or ``F``; a difference in degF is x 1.8, never + 32.

    Returns
    -------
    str
        The sentence.
    """

    def one(match: re.Match[str]) -> str:
        value = float(match[2])
        if unit == "F":
            value = value * 1.8 + 32.0 if match[1] == "T" else value * 1.8
        digits = 1 if match[1] == "D" and value < 10 else 0
        return f"{value:.{digits}f} °{unit}"

    return _MARKER.sub(one, text)


def percent(share: float) -> str:
    """A share in words.

    Parameters
    ----------
    share : float
        0 to 1.

    Returns
    -------
    str
        Such as ``62 %``.
    """
    return f"{100 * share:.0f} %"
