"""What is known of the reference sensor: its certificate, a stated uncertainty, or only its tolerance class."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from soakwitness.analysis.calibration.uncertainty.budget import BudgetRow, expanded, rectangular
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.thermocouples.reference_functions import emf_mv, seebeck_uv_per_c, tolerance_c
from soakwitness.firmware_bridge.common.tables import Table, parse, read_file
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, difference, saying, temperature

REACH_C = 10.0  # a stretch this near an outermost certified point counts as at it
NEXT_C = 1.0  # a reference that is true at single temperatures speaks for no more than this beyond them
KEYS = ("sensor", "thermocouple", "serial", "date", "laboratory", "number", "unit", "drift", "point")
FIGURES = ("correction", "deviation", "emf_mv")
POINT_KEYS = ("temp", *FIGURES, "U", "k")
SIGNS = {
    "correction": "corrections, to be added to its readings",
    "deviation": "deviations, reading minus truth: what is added to its readings has the opposite sign",
    "emf_mv": "emf, from which the reference function of its type is taken off: more emf than that reads hot",
}


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
    ``given`` is what it was made from as plain data: ``reference_from_dict`` makes it again. ``day`` is the
    certificate's, ``serial`` that of the thermocouple it is for.
    """

    says: Says
    low_c: float
    high_c: float
    row: Callable[[float], BudgetRow]
    points: tuple[CertifiedPoint, ...] = ()
    drift_c: float = 0.0
    thermocouple: str | None = None
    of_readings: bool = False
    serial: str = ""
    day: str = ""
    given: Mapping[str, Any] = field(default_factory=dict)

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

    given = {
        "kind": "certificate",
        "says": says,
        "points": [{**vars(p)} for p in rising],
        "drift_c": drift_c,
    }
    return Reference(Says.plain(says), temps[0] - REACH_C, temps[-1] + REACH_C, row, rising, drift_c, given=given)


def stated(expanded_c: float, says: str | Says) -> Reference:
    """Build a reference of which one U was stated."""
    return Reference(
        saying(says),
        -np.inf,
        np.inf,
        lambda _: expanded("reference, stated U", expanded_c, common=True, origin=str(says)),
        of_readings=True,
        given={"kind": "stated", "says": str(says), "expanded_c": expanded_c},
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

    given = {"kind": "class", "thermocouple": thermocouple, "tolerance_class": tolerance_class}
    return Reference(Says.plain(says), low_c, high_c, row, thermocouple=thermocouple, given=given)


def at_points(rows: Sequence[tuple[float, BudgetRow]], says: str | Says) -> Reference:
    """Build a reference that is true at some temperatures [degC] and nowhere else, with the budget row of each."""
    rising = sorted(rows, key=lambda one: one[0])
    given = {"kind": "points", "says": str(says), "rows": [[at_c, _row_to_dict(row)] for at_c, row in rising]}
    low_c, high_c = rising[0][0] - NEXT_C, rising[-1][0] + NEXT_C

    def nearest(temp_c: float) -> BudgetRow:
        return min(rising, key=lambda one: abs(one[0] - temp_c))[1]

    return Reference(saying(says), low_c, high_c, nearest, of_readings=True, given=given)


def _row_to_dict(row: BudgetRow) -> dict[str, Any]:
    """A budget row without its endless degrees of freedom, which JSON has no word for."""
    return {key: value for key, value in vars(row).items() if value != np.inf}


def reference_to_dict(reference: Reference) -> dict[str, Any]:
    """What a reference was made from, as plain data in degC and K."""
    more = {"thermocouple": reference.thermocouple, "serial": reference.serial, "day": reference.day}
    return {**more, **reference.given}


def reference_from_dict(data: Mapping[str, Any]) -> Reference:
    """Make a reference again from what it was made from."""
    kind = data["kind"]
    if kind == "certificate":
        points = tuple(CertifiedPoint(**point) for point in data["points"])
        made = certified(points, data["says"], drift_c=data["drift_c"])
    elif kind == "stated":
        made = stated(data["expanded_c"], data["says"])
    elif kind == "class":
        made = of_class(data["thermocouple"], data["tolerance_class"])
    elif kind == "points":
        made = at_points([(at_c, BudgetRow(**row)) for at_c, row in data["rows"]], data["says"])
    else:
        raise AnalysisError(f"a reference of kind {kind!r} needs a newer version of this program.")
    return replace(made, thermocouple=data["thermocouple"], serial=data["serial"], day=data["day"])


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
    figure = _figure(listed)
    if figure == "emf_mv" and kind is None:
        table.refuse("thermocouple", 'emf can only be read with the type, such as thermocouple = "N".')
    points = tuple(_point(each, unit, figure, kind) for each in listed)
    temps = [p.temp_c for p in points]
    if len(set(temps)) < len(temps):
        table.refuse(
            "point", f"two points stand at {temperature(max(t for t in temps if temps.count(t) > 1), unit)}. Keep one."
        )
    name = " ".join(word for key in ("sensor", "serial", "laboratory", "number") if (word := table.text(key)))
    says = f"certificate {name or table.file.name} of {day}"
    if figure != "correction":
        says += f", which gives {SIGNS[figure]}"
    made = certified(points, says, drift_c=drift_c)
    return replace(made, thermocouple=kind, serial=table.text("serial") or "", day=day)


def _figure(points: list[Table]) -> str:
    """What the points of a certificate give: corrections, deviations or emf; one of them throughout."""
    given = {key for point in points for key in FIGURES if point.has(key)}
    if len(given) > 1:
        points[0].refuse(
            sorted(given)[0], f"stands beside {sorted(given)[1]}: a certificate gives one of {', '.join(FIGURES)}."
        )
    return given.pop() if given else "correction"


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


def _point(table: Table, unit: Unit, figure: str, kind: str | None) -> CertifiedPoint:
    """One point in degC and K, as what is to be added to the reading."""
    table.check_keys(POINT_KEYS)
    low, high = (round(from_celsius(edge, unit)) for edge in (-200.0, 1800.0))
    most = from_kelvin(100.0, unit)
    temp = table.number("temp", low=low, high=high, unit=f"°{unit}")
    if figure == "emf_mv":
        given = table.number("emf_mv", low=-15.0, high=100.0, unit="mV at this temperature, cold junction at 0 °C")
    else:
        of = "to be added to the reading" if figure == "correction" else "reading minus truth"
        given = table.number(figure, low=-most, high=most, unit=f"°{unit}, {of}")
    u = table.number("U", low=0.0, high=most, unit=f"°{unit}", above=True)
    for key, value in (("temp", temp), (figure, given), ("U", u)):
        if value is None:
            table.refuse(
                key,
                "is needed in every [[point]]: temp, U, k, and correction (to be added to the reading), deviation "
                "(reading minus truth) or emf_mv.",
            )
    k = table.number("k", 2.0, low=1.0, high=5.0)
    assert temp is not None
    assert given is not None
    assert u is not None
    temp_c = to_celsius(temp, unit)
    if figure == "emf_mv":
        assert kind is not None
        adds_c = -(given - float(emf_mv(temp_c, kind))) / float(seebeck_uv_per_c(temp_c, kind)) * 1000.0
        if not abs(adds_c) <= 100.0:
            table.refuse(
                "emf_mv",
                f"{given:g} mV is {difference(-adds_c, unit)} from type {kind} at {temperature(temp_c, unit)}.",
            )
    else:
        adds_c = to_kelvin(given, unit) * (1.0 if figure == "correction" else -1.0)
    return CertifiedPoint(temp_c, adds_c, to_kelvin(u, unit), k)
