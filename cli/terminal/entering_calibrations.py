"""Calibrations on their way into the log book, whatever the reference: what was before, entry and record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs
from soakwitness.cli.options.known_furnaces import known_furnace, new_furnace_option
from soakwitness.cli.options.screen import say
from soakwitness.cli.terminal.calibrating import Compared
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, counted, difference

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.run_inputs.keeping_calibrations import BesideTheBook

F = TypeVar("F", bound=Callable[..., Any])
FAULT_C = 25.0  # an error beyond this is a fault to find rather than one to correct; over three times class 2 at 1100


def record_options(function: F) -> F:
    """Options of what the record of a calibration says besides the readings."""
    for option in (
        new_furnace_option,
        click.option("--adjusted", is_flag=True, help="Made after adjusting; else as found."),
        click.option("--filter", help="Filter set in the instrument, for the record."),
    ):
        function = option(function)
    return function


def stop_at_a_fault(made: Compared, unit: Unit, *, enter: bool) -> None:
    """Enter no error that is too large to be corrected away; without an entry it is only said."""
    worst = max((point.error_c for point in made.found.points), key=abs)
    if abs(worst) <= FAULT_C:
        return
    says = (
        f"An error of {difference(worst, unit, signed=True)} is a fault rather than something to correct "
        f"({difference(abs(worst) - FAULT_C, unit)} over what is taken): plugs swapped, a wrong type, a lead. "
        "Find it first: soakwitness sensor diagnose, with the same readings."
    )
    if enter:
        raise WrongUse(f"{says} To see the figures anyway: --no-entry")
    say(says, err=True)


def _moment(made: Compared, correction: Correction) -> str:
    """When it was made: the run's start; of typed readings the end of their day, when what was fitted on it is in."""
    from soakwitness.analysis.record.moments import moment_of

    return made.run.header.started_utc if made.run else moment_of(correction.done_on)


def _begin_of_day(made: Compared, correction: Correction) -> str | None:
    """From when a sensor life counts that is begun with typed readings: a run of that day is judged with them."""
    from soakwitness.analysis.record.moments import read_moment
    from soakwitness.firmware_bridge.common.zones import computer_zone

    return None if made.run else read_moment(f"{correction.done_on}T00:00", zone=computer_zone())


def beside_of(
    logbook: Path, correction: Correction, made: Compared, given: dict[str, Any]
) -> tuple[BesideTheBook | None, Correction]:
    """How it stands to what the log book has, and the day it falls due by that; furnace names are looked up there."""
    from soakwitness.analysis.logbook.copies import DATABASE
    from soakwitness.analysis.run_inputs.keeping_calibrations import beside_the_book, with_due

    if given["no_entry"] and not (logbook / DATABASE).exists():
        return None, correction
    with open_book(logbook, create=True) as book:
        if not given["no_entry"]:
            take_in_runs(book, new_stamp(given["by"]))
        if made.run is None and correction.furnace:
            name = known_furnace(book, correction.furnace, new=given["new_furnace"] or given["no_entry"])
            correction = replace(correction, furnace=name)
        zone = made.run.header.zone if made.run else None
        wire = made.found.comparing.sensor_type
        beside = beside_the_book(book, correction, at_utc=_moment(made, correction), zone=zone, wire=wire)
        if given.get("bench"):
            _refuse_a_used_one(book, correction, made, beside)
    return beside, correction if given["due"] else with_due(correction, beside.due)


def _refuse_a_used_one(book: LogBook, correction: Correction, made: Compared, beside: BesideTheBook) -> None:
    """A used base-metal thermocouple reads by where its gradient lies: on a bench it is another one."""
    from soakwitness.analysis.logbook.calibration_records import heats_of
    from soakwitness.analysis.logbook.sensors import sensor_life_on
    from soakwitness.analysis.thermocouples.wire_life import is_noble

    at_utc = _moment(made, correction)
    life = sensor_life_on(book, correction.furnace, correction.sensor, at_utc)
    if life is None or is_noble(life.thermocouple):
        return
    heats = heats_of(book, life.furnace, life.sensor, after_utc=life.fitted_utc, before_utc=at_utc)
    if heats.heats:
        raise WrongUse(
            f"{correction.sensor} has {counted(heats.heats, 'heat')} behind it: a used base-metal thermocouple that is "
            "moved to a bench proves nothing, its error lies where its gradient was. Calibrate it in its place, at the "
            "same depth, with the reference's tip beside its own."
        )


def enter(
    logbook: Path,
    correction: Correction,
    made: Compared,
    beside: BesideTheBook,
    given: dict[str, Any],
    facts: Mapping[str, Any],
) -> dict[str, Any]:
    """Put the correction and how it was made into the log book; ``facts``: what else its record says."""
    from soakwitness.analysis.logbook.calibration_records import apply_from
    from soakwitness.analysis.run_inputs.keeping_calibrations import keep_calibration

    stamp = new_stamp(given["by"])
    with open_book(logbook, create=True) as book, book.writing(stamp):
        kept = keep_calibration(
            book,
            made.found,
            correction,
            beside,
            {**_about(correction, made, given), **facts},
            at_utc=_moment(made, correction),
            stamp=stamp,
            begins_utc=_begin_of_day(made, correction),
            column=made.pair.sensor if made.pair else None,
            run=made.run.header.run if made.run else None,
            note=given["note"],
        )
        if given.get("from_day") is not None:
            apply_from(book, kept.entry, day=given["from_day"], why=given["why"], stamp=stamp)
    if kept.begun and kept.before_utc:
        say(
            f"The sensor life of {correction.sensor} on record began later, on {kept.before_utc[:10]}: one that ends "
            "there was begun with this calibration.",
            err=True,
        )
    elif kept.begun:
        say(
            f"No sensor life of {correction.sensor} was on record: one was begun with this calibration. "
            f"When the thermocouple is changed: soakwitness sensor fitted {correction.sensor}",
            err=True,
        )
    return {"calibration": kept.entry, "life": kept.life, "life_begun": kept.begun, "kind": beside.kind}


def _about(correction: Correction, made: Compared, given: dict[str, Any]) -> dict[str, Any]:
    """Who, when, where and with what, for the record."""
    from importlib.metadata import version

    alignment = made.pair.alignment if made.pair else None
    return {
        "furnace": correction.furnace,
        "sensor": correction.sensor,
        "done_on": correction.done_on,
        "done_by": correction.done_by,
        "made_utc": _moment(made, correction),
        "zone": made.run.header.zone if made.run else None,
        "run": made.run.header.run if made.run else None,
        "method": made.method,
        "software": f"soakwitness {version('soakwitness')}",
        "as_found": not given["adjusted"],
        "instrument_filter": given["filter"],
        "columns": {}
        if made.pair is None
        else {"sensor": vars(made.pair.sensor), "reference": vars(made.pair.reference)},
        "typed": [list(row) for row in made.typed],
        "alignment": dict(vars(alignment)) if alignment else None,
    }


def tell_entry(entry: dict[str, Any] | None, correction: Correction, chart: Path | None, due: str) -> None:
    """Say what was kept and drawn."""
    if entry is not None:
        due_on = f", due {correction.due_on}{due}"
        say(
            f"Entered as {entry['kind']} {entry['calibration']} of sensor life {entry['life']}, "
            f"done {correction.done_on} by {correction.done_by}{'' if entry['kind'] == 'check' else due_on}.",
            page=True,
        )
        say(f"Its record: soakwitness sensor calibration {entry['calibration']} --out record.pdf")
    if chart is not None:
        say(f"Chart: {chart}")


def tell_doubts(said: list[Says], unit: Unit) -> None:
    """Say what may be doubted."""
    for words in said:
        say(f"- {words.text(unit)}", page=True)
