"""``soakwitness emf``: thermocouple voltage to temperature and back, single values or a table."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import Finite, WrongUse, json_option, print_json, unit_option
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import temperature

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

TYPES = ("B", "E", "J", "K", "N", "R", "S", "T")
CLASSES = ("1", "2", "special", "standard")
VALUE = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(mV|uV|C|F|degC|degF|°C|°F)?", re.IGNORECASE)
MOST_ROWS = 10_000


# ignore_unknown_options: so that -100 is a temperature and not an option
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("values", nargs=-1, metavar="[VALUE]...")
@click.option(
    "--type", "kind", type=click.Choice(TYPES, case_sensitive=False), required=True, help="Thermocouple type."
)
@click.option(
    "--reference", type=Finite(-460, 5000), default=None, help="Temperature of the reference junction.  [default: 0 °C]"
)
@click.option("--table", metavar="FROM:TO:STEP", help="Print a table over temperature.")
@click.option("--tolerance-class", type=click.Choice(CLASSES), help="Add the tolerance of new wire.")
@unit_option
@json_option
def emf(
    values: tuple[str, ...],
    kind: str,
    reference: float | None,
    table: str | None,
    tolerance_class: str | None,
    unit: Unit | None,
    as_json: bool,
) -> None:
    """Convert between thermocouple voltage and temperature, both ways.

    A VALUE is a voltage where it ends in mV or uV, else a temperature: 1050, 1050C, 1922F, 4.096mV. Temperatures
    without a letter, --reference and --table are in --unit (C where none is given).

    Example: soakwitness emf 1050 4.096mV --type K --reference 25
    """
    if not values and not table:
        raise WrongUse("nothing to convert. Give values such as 1050 or 4.096mV, or --table 0:1300:50.")
    unit = unit or "C"
    at_c = 0.0 if reference is None else to_celsius(reference, unit)
    rows = [converted(value, kind, at_c, unit, tolerance_class) for value in values]
    if table:
        rows += table_rows(table, kind, at_c, unit, tolerance_class)
    if as_json:
        print_json({"type": kind, "reference_c": at_c, "rows": rows})
        return
    show(rows, kind, at_c, unit, tolerance_class)


def converted(text: str, kind: str, reference_c: float, unit: Unit, tolerance_class: str | None) -> dict[str, Any]:
    """One value, whichever way it goes."""
    from soakwitness.analysis.thermocouples.reference_functions import emf_mv, temperature_c

    match = VALUE.fullmatch(text.strip())
    if match is None:
        raise WrongUse(f"{text!r} is no value. Write a temperature such as 1050, 1050C, 1922F, or a voltage: 4.096mV.")
    number, letter = float(match[1]), (match[2] or unit).lower()
    if letter in ("mv", "uv"):
        mv = number / 1000.0 if letter == "uv" else number
        temp_c = float(temperature_c(mv, kind, reference_c, on_range="raise"))
    else:
        temp_c = to_celsius(number, "F" if letter.endswith("f") else "C")
        mv = float(emf_mv(temp_c, kind, reference_c, on_range="raise"))
    return row_of(temp_c, mv, kind, tolerance_class)


def row_of(temp_c: float, mv: float, kind: str, tolerance_class: str | None) -> dict[str, Any]:
    """One row of the answer, in degC."""
    from soakwitness.analysis.thermocouples.reference_functions import seebeck_uv_per_c, tolerance_c

    row: dict[str, Any] = {"temp_c": temp_c, "emf_mv": mv, "seebeck_uv_per_c": float(seebeck_uv_per_c(temp_c, kind))}
    if tolerance_class:
        row["tolerance_c"] = float(tolerance_c(kind, tolerance_class, temp_c))
    return row


def table_rows(
    table: str, kind: str, reference_c: float, unit: Unit, tolerance_class: str | None
) -> list[dict[str, Any]]:
    """Rows of ``--table``; outside the type's range is refused."""
    from soakwitness.analysis.thermocouples.reference_functions import emf_mv

    temps_c = spread(table, unit)
    emfs = emf_mv(temps_c, kind, reference_c, on_range="raise")
    return [row_of(float(t), float(e), kind, tolerance_class) for t, e in zip(temps_c, emfs, strict=True)]


def spread(table: str, unit: Unit) -> npt.NDArray[np.float64]:
    """Temperatures of FROM:TO:STEP in degC."""
    import numpy as np

    try:
        low, high, step = (float(part) for part in table.split(":"))
        count = int((high - low) / step + 1e-9) + 1
    except (ValueError, ZeroDivisionError, OverflowError):
        raise WrongUse(f"--table {table}: write FROM:TO:STEP in °{unit}, such as 0:1300:50.") from None
    if step <= 0 or count < 1 or count > MOST_ROWS:
        raise WrongUse(f"--table {table}: STEP must be above 0, TO not below FROM, and at most {MOST_ROWS} rows.")
    shown = np.asarray(low + step * np.arange(count), dtype=np.float64)
    return to_celsius(shown, unit)


def show(rows: list[dict[str, Any]], kind: str, reference_c: float, unit: Unit, tolerance_class: str | None) -> None:
    """Print the table for people."""
    from soakwitness.analysis.thermocouples.tolerance import tolerance_of

    say(f"Type {kind} (ITS-90), reference junction at {temperature(reference_c, unit, digits=3)}")
    head = f"{'°' + unit:>10}  {'mV':>9}  {'uV/°' + unit:>8}"
    say(head + (f"  {'±°' + unit:>8}" if tolerance_class else ""))
    for row in rows:
        temp, slope = from_celsius(row["temp_c"], unit), to_kelvin(row["seebeck_uv_per_c"], unit)
        line = f"{temp:>10.2f}  {row['emf_mv']:>9.4f}  {slope:>8.3f}"
        if tolerance_class:
            width = from_kelvin(row["tolerance_c"], unit)
            line += f"  {width:>8.2f}" if width == width else f"  {'-':>8}"
        say(line)
    if tolerance_class:
        origin = tolerance_of(kind, tolerance_class)
        word = origin.origin if origin else "the type has no such class"
        say(f"±: new wire, class {tolerance_class} ({word}); -: outside the class's range.", err=True)
