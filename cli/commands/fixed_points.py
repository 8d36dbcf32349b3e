"""``soakwitness fixed-points``: ice, boiling water and freezing metals as a reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import Finite, WrongUse, json_option, logbook_option, print_json, unit_option
from soakwitness.cli.options.entering import by_option, new_stamp
from soakwitness.cli.options.screen import say, say_all
from soakwitness.cli.terminal.calibrating import Compared, days_of, keeping_options
from soakwitness.cli.terminal.entering_calibrations import (
    beside_of,
    enter,
    record_options,
    stop_at_a_fault,
    tell_doubts,
    tell_entry,
)
from soakwitness.cli.words.calibration_words import doubts_of_book, due_words
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.measured_pairs.fixed_points import FixedPoint

MONTHS = 12
NAMES = ("ice", "boiling", "solder", "tin", "zinc")


@dataclass(frozen=True)
class _Typed:
    """A reading as it was typed: its digits tell the display's step."""

    value: float
    step: float


class _Digits(click.ParamType):  # type: ignore[type-arg]
    """A number, with the place of its last digit."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> _Typed:
        """Read it."""
        number = Finite(-460, 5000).convert(value, param, ctx)
        decimals = str(value).partition(".")[2]
        return _Typed(float(number), 10.0 ** -len(decimals))


def _point_options(function: Any) -> Any:
    for name in reversed(NAMES):
        option = click.option(f"--{name}", type=_Digits(), multiple=True, metavar="READING", help=f"Shown at: {name}.")
        function = option(function)
    return function


@click.command("fixed-points")
@click.argument("name", metavar="SENSOR", required=False)
@click.option("--furnace", help="Name of the furnace, as in its file.")
@_point_options
@click.option("--pressure", type=Finite(min=0, min_open=True), help="Of the air at the place, hPa, for --boiling.")
@click.option("--altitude", type=Finite(-500, 9000), help="Of the place, metres above the sea, for --boiling.")
@click.option("--other", metavar="METAL", help="Ask about another point, such as silver.")
@click.option("--all", "everything", is_flag=True, help="Say everything: each point's budget.")
@click.option("--how", is_flag=True, help="Only say how each is made, and what to beware of.")
@record_options
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@logbook_option
def fixed_points(name: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> None:
    """Calibrate a sensor by ice, boiling water and freezing metals, where there is no reference thermocouple.

    Give what it showed at each point, once a reading; the digits typed tell the display's step. Each point has its own
    budget, without a furnace's gradient. Readings are in --unit (C where none is given). They say nothing of hardening
    temperatures: for those a fresh thermocouple, used once, tip to tip, as the reference of calibrate.

    Example: soakwitness fixed-points control --ice 0.6 --boiling 99.1 --altitude 420 --no-entry
    """
    from soakwitness.analysis.calibration.measured_pairs.fixed_points import refused

    if given["other"] is not None:
        raise refused(given["other"].strip().lower())
    if given["how"]:
        _tell_how(given, unit or "C")
        return
    points = _points(given)
    if not points:
        raise WrongUse(f"give what it showed at one point or more: {', '.join('--' + n for n in NAMES)}. How: --how")
    if name is None:
        raise WrongUse("name the SENSOR, such as: soakwitness fixed-points control --ice 0.6 --no-entry")
    if given["furnace"] is None and not given["no_entry"]:
        raise WrongUse("give --furnace NAME, or --no-entry.")
    made = _compared(points, name, given, unit)
    correction = _correction(made, given)
    stop_at_a_fault(made, unit or "C", enter=not given["no_entry"])
    beside, correction = beside_of(logbook, correction, made, given)
    said, entry = doubts_of_book(beside), None
    if not given["no_entry"]:
        assert beside is not None
        entry = enter(logbook, correction, made, beside, given, {"place": "on a bench", "plugs_tried": None})
    if as_json:
        from soakwitness.analysis.calibration.correcting.correction import correction_to_dict

        print_json(
            {
                "schema": "soakwitness/fixed-points/1",
                "points": [p.as_dict() for p in made.found.points],
                "correction": correction_to_dict(correction),
                "kind": beside.kind if beside else "calibration",
                "doubts": [str(words) for words in said],
                "entry": entry,
            }
        )
        return
    _show(made.found, points, correction, unit or "C", every=given["everything"])
    tell_doubts(said, unit or "C")
    tell_entry(entry, correction, None, due_words(beside, unit or "C"))


def _points(given: dict[str, Any]) -> list[FixedPoint]:
    """The points that were read, from cold to hot."""
    return [_point(name, given) for name in NAMES if given[name]]


def _point(name: str, given: dict[str, Any]) -> FixedPoint:
    from soakwitness.analysis.calibration.measured_pairs.fixed_points import boiling_water, ice, metal

    if name == "ice":
        return ice()
    if name == "boiling":
        return boiling_water(pressure_hpa=given["pressure"], altitude_m=given["altitude"])
    return metal(name)  # type: ignore[arg-type]


def _compared(points: Sequence[FixedPoint], name: str, given: dict[str, Any], unit: Unit | None) -> Compared:
    """The points compared with what was shown, in the way of any calibration."""
    from soakwitness.analysis.calibration.correcting.calibrating import calibrate_readings
    from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
    from soakwitness.analysis.calibration.measured_pairs.fixed_points import check_reading, reference_of_points
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading

    pairs, step = [], 0.0
    for point in points:
        for typed in given[point.name]:
            shown_c = to_celsius(typed.value, unit)
            check_reading(point, shown_c)
            pairs.append(PairReading(point.temp_c, shown_c, at=point.name))
            step = max(step, to_kelvin(typed.step, unit))
    comparing = Comparing(sensor_resolution_c=step, reference_resolution_c=0.0, distance_mm=0.0)
    found = calibrate_readings(pairs, reference_of_points(points), comparing)
    typed_in = tuple((pair.at, pair.reference_c, pair.sensor_c) for pair in pairs)
    return Compared(found, None, None, given["furnace"], name, typed_in, "fixed points")


def _correction(made: Compared, given: dict[str, Any]) -> Correction:
    from soakwitness.analysis.calibration.correcting.calibrating import correction_of

    done, due = days_of(given["day"], given["due"], MONTHS, None)
    return correction_of(
        made.found,
        furnace=made.furnace or "",
        sensor=made.sensor,
        done_on=done,
        due_on=due,
        done_by=new_stamp(given["by"]).by,
    )


def _show(found: Calibration, points: Sequence[FixedPoint], correction: Correction, unit: Unit, *, every: bool) -> None:
    """Print for people."""
    from soakwitness.cli.words.compared_words import fixed_point_lines

    say_all(fixed_point_lines(found, points, correction, unit, every=every))


def _tell_how(given: dict[str, Any], unit: Unit) -> None:
    """How each point is made, with its cautions."""
    here = {**given, "altitude": given["altitude"] if given["pressure"] or given["altitude"] is not None else 0.0}
    for name in NAMES:
        point = _point(name, here)
        u = difference(2.0 * point.standard_c, unit)
        marked = f" ({point.marked})" if point.marked else ""
        say(f"{point.says.text(unit)}, U {u}{marked}: {point.do} {point.beware}")
