"""What is known of the reference sensor: its certificate, a stated uncertainty, or only its tolerance class."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np

from soakwitness.analysis.calibration.uncertainty.budget import BudgetRow, expanded, rectangular
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.thermocouples.reference_functions import tolerance_c
from soakwitness.firmware_bridge.common.tables import Table, parse, read_file
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, saying, temperature

REACH_C = 10.0  # a stretch this near an outermost certified point counts as at it
KEYS = ("sensor", "thermocouple", "serial", "date", "laboratory", "number", "unit", "drift", "point")
POINT_KEYS = ("temp", "correction", "U", "k")


class CertificateError(AnalysisError):
    """A certificate file that cannot be used: names file, point, key, value and what is allowed."""


@dataclass(frozen=True)
class CertifiedPoint:
    """One line of a certificate: at ``temp_c`` [degC] add ``correction_c`` [K], with ``expanded_c`` [K] at ``k``."""

    temp_c: float
    correction_c: float
    expanded_c: float
    k: float = 2.0


@dataclass(frozen=True)
class Reference:
    """Reference sensor: what to add to its reading, and the budget rows that come with it.

    ``row`` makes the budget row at a temperature [degC]; ``low_c`` and ``high_c`` bound where anything is known.
    ``of_readings``: what is known holds for its readings, readout and cold junction included, not for the wire alone.
    """

    says: Says
    low_c: float
    high_c: float
    row: Callable[[float], BudgetRow]
    points: tuple[CertifiedPoint, ...] = ()
    drift_c: float = 0.0
    thermocouple: str | None = None
    of_readings: bool = False

    def covers(self, temp_c: float) -> bool:
        """Whether anything is known of it at a temperature [degC]."""
        return self.low_c <= temp_c <= self.high_c

    def correction_c(self, temp_c: float) -> float:
        """What to add to its reading [K]."""
        if not self.points:
            return 0.0
        return float(np.interp(temp_c, [p.temp_c for p in self.points], [p.correction_c for p in self.points]))

    def rows(self, temp_c: float) -> tuple[BudgetRow, ...]:
        """Budget rows at a temperature [degC]."""
        own = (self.row(temp_c),)
        if self.drift_c <= 0:
            return own
        drift = rectangular("drift of the reference since then", self.drift_c, common=True, origin="certificate file")
        return (*own, drift)


def certified(points: tuple[CertifiedPoint, ...], says: str, *, drift_c: float = 0.0) -> Reference:
    """Build a reference from certified points.

    Returns correction and U are interpolated between the points and hold 10 K beyond the outermost.
    """
    rising = tuple(sorted(points, key=lambda p: p.temp_c))
    temps = [p.temp_c for p in rising]
    standards = [p.expanded_c / p.k for p in rising]

    def row(temp_c: float) -> BudgetRow:
        u = float(np.interp(temp_c, temps, standards))
        k = min(rising, key=lambda p: abs(p.temp_c - temp_c)).k
        return expanded("reference certificate", k * u, k=k, common=True, origin=says)

    return Reference(Says.plain(says), temps[0] - REACH_C, temps[-1] + REACH_C, row, rising, drift_c)


def stated(expanded_c: float, says: str | Says) -> Reference:
    """Build a reference of which one U was stated."""
    return Reference(
        saying(says),
        -np.inf,
        np.inf,
        lambda _: expanded("reference, stated U", expanded_c, common=True, origin=str(says)),
        of_readings=True,
    )


def of_class(thermocouple: str, tolerance_class: str) -> Reference:
    """Build a reference of which only type and tolerance class are known.

    Returns without a correction; the tolerance of new wire as a half-width where the class has one.
    """
    grid = np.arange(-40.0, 1801.0)
    inside = grid[np.isfinite(tolerance_c(thermocouple, tolerance_class, grid))]
    low_c, high_c = (float(inside[0]), float(inside[-1])) if inside.size else (np.inf, -np.inf)
    says = f"new wire type {thermocouple}, class {tolerance_class}, no certificate"

    def row(temp_c: float) -> BudgetRow:
        half = float(tolerance_c(thermocouple, tolerance_class, temp_c))
        return rectangular("reference, tolerance of new wire", half, common=True, origin=says)

    return replace(Reference(Says.plain(says), low_c, high_c, row), thermocouple=thermocouple)


def load_certificate(path: str | Path) -> Reference:
    """Read a certificate file.

    Raises CertificateError if the file cannot be read or used: names key, value and what is allowed.
    """
    make = "Give a TOML file with [[point]] tables."
    return parse_certificate(read_file(path, CertificateError, kind="a certificate", make=make)[1], Path(path).name)


def parse_certificate(text: str, source: str) -> Reference:
    """Check the text of a certificate file.

    ``text``: TOML: ``date``, ``unit``, ``drift``, and a ``[[point]]`` with ``temp``, ``correction``, ``U`` and ``k``
    each. Returns with its points, in degC and K whatever the file's unit.

    Raises CertificateError names key, value and what is allowed.
    """
    return _certificate(parse(text, source, CertificateError))


def _certificate(table: Table) -> Reference:
    """Build the reference from a parsed file."""
    table.check_keys(KEYS, dict.fromkeys(POINT_KEYS, "in a [[point]]"))
    unit = table.unit()
    kind = table.choice("thermocouple", tuple("BEJKNRST"))
    day = _day(table)
    drift_c = to_kelvin(table.number("drift", 0.0, low=0.0, high=from_kelvin(50.0, unit), unit=f"°{unit}"), unit)
    listed = table.tables("point")
    if not listed:
        table.refuse("point", "at least one [[point]] with temp, correction, U and k is needed.")
    points = tuple(_point(each, unit) for each in listed)
    temps = [p.temp_c for p in points]
    if len(set(temps)) < len(temps):
        table.refuse(
            "point", f"two points stand at {temperature(max(t for t in temps if temps.count(t) > 1), unit)}. Keep one."
        )
    name = " ".join(word for key in ("sensor", "serial", "laboratory", "number") if (word := table.text(key)))
    return replace(
        certified(points, f"certificate {name or table.file.name} of {day}", drift_c=drift_c), thermocouple=kind
    )


def _day(table: Table) -> str:
    """Date of the certificate."""
    value = table.value("date")
    if value is None:
        table.refuse("date", "the certificate's date is needed, such as date = 2026-03-02.")
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        table.refuse("date", "must be a day such as 2026-03-02.")


def _point(table: Table, unit: Unit) -> CertifiedPoint:
    """One point in degC and K."""
    table.check_keys(POINT_KEYS)
    low, high = (round(from_celsius(edge, unit)) for edge in (-200.0, 1800.0))
    most = from_kelvin(100.0, unit)
    temp = table.number("temp", low=low, high=high, unit=f"°{unit}")
    correction = table.number("correction", low=-most, high=most, unit=f"°{unit}, to be added to the reading")
    u = table.number("U", low=0.0, high=most, unit=f"°{unit}", above=True)
    for key, value in (("temp", temp), ("correction", correction), ("U", u)):
        if value is None:
            table.refuse(key, "is needed in every [[point]]: temp, correction (to be added to the reading), U, k.")
    k = table.number("k", 2.0, low=1.0, high=5.0)
    assert temp is not None
    assert correction is not None
    assert u is not None
    return CertifiedPoint(to_celsius(temp, unit), to_kelvin(correction, unit), to_kelvin(u, unit), k)
