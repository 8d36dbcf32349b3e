"""Readings typed in by a person: a table with a line for each pair of reference and sensor."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from soakwitness.analysis.errors import AnalysisError
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import temperature

COLUMNS = ("reference", "sensor", "time", "head", "room", "note")
ABSENT = ("", "-")
LOWEST_C = -270.0
HIGHEST_C = 2000.0


class ReadingsError(AnalysisError):
    """A table of readings that cannot be used: names file, line, column, value and what is allowed."""


@dataclass(frozen=True)
class PairReading:
    """One reading of the reference and, at the same moment, of the sensor [degC].

    ``head_c`` is the temperature of the thermocouple's head (where its own wires end), ``room_c`` that of the
    instrument's terminals [degC]; None where not known. ``reference_step_c`` and ``sensor_step_c`` are what the last
    digit typed stands for [K], ``at`` when it was read, as it was typed.
    """

    reference_c: float
    sensor_c: float
    head_c: float | None = None
    room_c: float | None = None
    note: str = ""
    at: str = ""
    reference_step_c: float | None = None
    sensor_step_c: float | None = None


def load_readings(path: str | Path, *, unit: Unit = "C") -> tuple[PairReading, ...]:
    """Read a table of readings.

    ``path``: CSV with a header: ``reference,sensor`` and, if known, ``time``, ``head``, ``room``, ``note``.

    Raises ReadingsError names file, line, column, value and what is allowed.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ReadingsError(f"{path}: cannot be read ({error}). Give a CSV with the header reference,sensor.") from None
    return parse_readings(text, file.name, unit=unit)


def parse_readings(text: str, source: str, *, unit: Unit = "C") -> tuple[PairReading, ...]:
    """Check the text of a table of readings.

    ``text``: CSV; where the header uses semicolons a comma is the decimal sign.

    Raises ReadingsError names file, line, column, value and what is allowed.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise ReadingsError(f"{source}: empty. The first line is reference,sensor; a line for each pair follows.")
    semicolons = ";" in lines[0][1]
    rows = [next(csv.reader([line], delimiter=";" if semicolons else ",")) for _, line in lines]
    header = [cell.strip().lower() for cell in rows[0]]
    _check_header(header, source, lines[0][0])
    found = []
    for (number, _), row in zip(lines[1:], rows[1:], strict=True):
        cells = dict(zip(header, (cell.strip() for cell in row), strict=False))
        if len(row) > len(header):
            raise ReadingsError(f"{source}, line {number}: {len(row)} cells, the header has {len(header)}.")
        found.append(_pair(cells, f"{source}, line {number}", semicolons, unit))
    if not found:
        raise ReadingsError(f"{source}: no reading below the header.")
    return tuple(found)


def _check_header(header: list[str], source: str, line: int) -> None:
    """Refuse unknown, doubled and missing columns."""
    for name in header:
        if name not in COLUMNS:
            raise ReadingsError(f"{source}, line {line}: column {name!r} is not known. Columns: {', '.join(COLUMNS)}.")
        if header.count(name) > 1:
            raise ReadingsError(f"{source}, line {line}: column {name!r} stands twice.")
    for name in COLUMNS[:2]:
        if name not in header:
            raise ReadingsError(f"{source}, line {line}: column {name!r} is missing. Write reference,sensor first.")


def _pair(cells: dict[str, str], place: str, semicolons: bool, unit: Unit) -> PairReading:
    """One line as numbers in degC."""

    def number(name: str) -> float | None:
        text = cells.get(name, "")
        if text in ABSENT:
            return None
        try:
            value = float(text.replace(",", ".") if semicolons else text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise ReadingsError(f"{place}, {name} {text!r}: must be a temperature in °{unit}, such as 1049.5.")
        temp_c = to_celsius(value, unit)
        highest_c = from_celsius(HIGHEST_C, "F") if name == "sensor" else HIGHEST_C  # a sensor may show °F for °C
        if not LOWEST_C <= temp_c <= highest_c:
            raise ReadingsError(
                f"{place}, {name} {text!r}: outside what a thermocouple shows, "
                f"{temperature(LOWEST_C, unit)} to {temperature(highest_c, unit)}."
            )
        return temp_c

    reference, sensor = number("reference"), number("sensor")
    if reference is None or sensor is None:
        missing = "reference" if reference is None else "sensor"
        raise ReadingsError(f"{place}: {missing} is empty. Every line needs both; delete the line or fill it in.")

    def step(name: str) -> float:
        return to_kelvin(last_digit(cells[name].replace(",", ".") if semicolons else cells[name]), unit)

    return PairReading(
        reference,
        sensor,
        number("head"),
        number("room"),
        cells.get("note", ""),
        cells.get("time", ""),
        step("reference"),
        step("sensor"),
    )


def last_digit(text: str) -> float:
    """What the last digit of a number stands for, as it was typed: 1 for ``780``, 0.1 for ``777.0``."""
    digits = Decimal(text.strip()).as_tuple().exponent
    return 10.0 ** min(int(digits), 0)
