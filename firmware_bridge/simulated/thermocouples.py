"""What an instrument shows that is set to the wrong thermocouple type.

Voltages every 50 degC from 0 degC in mV, as printed in NIST SRD 60 (ITS-90), joined by straight lines: within 1 degC
of the functions, enough to make a wrong reading. The functions themselves are in ``analysis``.
"""

from __future__ import annotations

from bisect import bisect_right

from soakwitness.firmware_bridge.errors import FurnaceFileError

_EVERY_C = 50.0
_E = "0 3.048 6.319 9.789 13.421 17.181 21.036 24.964 28.946 32.965 37.005 41.053 45.093 49.116 53.112 57.080 61.017"
_J = (
    "0 2.585 5.269 8.010 10.779 13.555 16.327 19.090 21.848 24.610 27.393 30.216 33.102 36.071 39.132 42.281 45.494 "
    "48.715 51.877 54.956 57.953 60.890 63.792 66.679 69.553"
)
_K = (
    "0 2.023 4.096 6.138 8.138 10.153 12.209 14.293 16.397 18.516 20.644 22.776 24.905 27.025 29.129 31.213 33.275 "
    "35.313 37.326 39.314 41.276 43.211 45.119 46.995 48.838 50.644 52.410 54.138"
)
_N = (
    "0 1.340 2.774 4.302 5.913 7.597 9.341 11.136 12.974 14.846 16.748 18.672 20.613 22.566 24.527 26.491 28.455 "
    "30.416 32.371 34.319 36.256 38.179 40.087 41.976 43.846 45.694 47.513"
)
_R = (
    "0 0.296 0.647 1.041 1.469 1.923 2.401 2.896 3.408 3.933 4.471 5.021 5.583 6.157 6.743 7.340 7.950 8.571 9.205 "
    "9.850 10.506 11.173 11.850 12.535 13.228 13.926 14.629 15.334 16.040 16.746 17.451"
)
_S = (
    "0 0.299 0.646 1.029 1.441 1.874 2.323 2.786 3.259 3.742 4.233 4.732 5.239 5.753 6.275 6.806 7.345 7.893 8.449 "
    "9.014 9.587 10.168 10.757 11.351 11.951 12.554 13.159 13.766 14.373 14.978 15.582"
)
_PRINTED = {"E": _E, "J": _J, "K": _K, "N": _N, "R": _R, "S": _S}
_TABLES = {kind: tuple(float(number) for number in text.split()) for kind, text in _PRINTED.items()}
TYPES = tuple(_TABLES)


def voltage_mv(kind: str, temp_c: float) -> float:
    """Voltage against a reference junction at 0 degC; the table's ends are drawn on as straight lines."""
    table = _TABLES[kind]
    i = min(max(int(temp_c // _EVERY_C), 0), len(table) - 2)
    return table[i] + (temp_c / _EVERY_C - i) * (table[i + 1] - table[i])


def temp_of_c(kind: str, mv: float) -> float:
    """Temperature that ``voltage_mv`` belongs to."""
    table = _TABLES[kind]
    i = min(max(bisect_right(table, mv) - 1, 0), len(table) - 2)
    return _EVERY_C * (i + (mv - table[i]) / (table[i + 1] - table[i]))


def shown_c(temp_c: float, *, wired: str, set_as: str, terminals_c: float = 25.0) -> float:
    """What is shown at ``temp_c`` by a thermocouple ``wired`` on an input ``set_as`` another type.

    Raises FurnaceFileError if a type is not one of E, J, K, N, R, S.
    """
    for kind in (wired, set_as):
        if kind not in _TABLES:
            raise FurnaceFileError(f"thermocouple type {kind!r}: the simulated furnace knows {', '.join(TYPES)}.")
    at_terminals_mv = voltage_mv(wired, temp_c) - voltage_mv(wired, terminals_c)
    return temp_of_c(set_as, at_terminals_mv + voltage_mv(set_as, terminals_c))
