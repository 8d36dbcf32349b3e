"""To what a controller is set, so that the work is truly at a recipe's temperatures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.calibrations import calibrations_for
from soakwitness.analysis.logbook.place_differences import places_for
from soakwitness.analysis.logbook.runs import list_runs
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.moments import local_day
from soakwitness.analysis.run_inputs.corrections_in_force import corrections_in_force
from soakwitness.analysis.verification.inputs.sensor_errors import errors_of
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, joined
from soakwitness.firmware_bridge.runfolder.reader import read_header

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook


@dataclass(frozen=True)
class Settings:
    """What the control sensor of a furnace shows when the holds of a recipe are truly at their targets.

    ``set_to_c`` [degC] by the number of the hold's step, where a calibration in force reaches; ``says`` one sentence
    for each temperature. ``expanded_c`` is the U of each of them [K].
    """

    sensor: str
    set_to_c: Mapping[int, float]
    says: tuple[Says, ...]
    expanded_c: Mapping[int, float] = field(default_factory=dict)


def settings_for(book: LogBook, furnace: str, recipe: Recipe, *, at_utc: str, zone: str | None) -> Settings:
    """Look up what the control sensor of a furnace shows at a recipe's temperatures.

    Returns from the newest calibration of the sensor that controlled the furnace's newest run.

    Raises LogBookError if the log book has no run of this furnace with a control sensor.
    """
    newest = list_runs(book, furnace=furnace, newest=1)
    columns = read_header(newest[-1].folder).columns if newest and not newest[-1].missing else ()
    control = next((c for c in columns if c.kind == "sensor" and c.role == "control"), None)
    if control is None:
        raise LogBookError(
            f"{furnace}: the log book has no run of this furnace that names its control sensor. Record one first, or "
            "import one."
        )
    found, refused = calibrations_for(book, furnace, columns, started_utc=at_utc, zone=zone)
    corrections = corrections_in_force(book, furnace, found, at_utc=at_utc, zone=zone)
    places, not_used = places_for(book, furnace, columns, started_utc=at_utc, zone=zone)
    errors = errors_of(control, corrections, local_day(at_utc, zone), places)
    known = {hold.number: errors.known_at(hold) for hold in recipe.holds}
    says = [_sentence(control.name, hold, known[hold.number]) for hold in recipe.holds if known[hold.number].set_to_c]
    says += _unknown(control.name, recipe, known)
    set_to_c = {number: one.set_to_c for number, one in known.items() if one.set_to_c is not None}
    expanded_c = {number: known[number].expanded_c or 0.0 for number in set_to_c}
    return Settings(control.name, set_to_c, (*dict.fromkeys(says), *refused, *not_used), expanded_c)


def _unknown(sensor: str, recipe: Recipe, known: Mapping[int, KnownError]) -> list[Says]:
    """Temperatures that stay as they are written, with the reason once."""
    same: dict[str, dict[float, KnownError]] = {}
    for hold in recipe.holds:
        if known[hold.number].set_to_c is None:
            same.setdefault(str(known[hold.number].says), {})[hold.target_c] = known[hold.number]
    return [
        Says.of(
            "Sensor {sensor}: {why}, so {targets} {stay} written.",
            sensor=sensor,
            why=next(iter(many.values())).says,
            targets=joined([Temp(at) for at in many], ", "),
            stay="stays as it is" if len(many) == 1 else "stay as they are",
        )
        for many in same.values()
    ]


def _sentence(sensor: str, hold: Hold, known: KnownError) -> Says:
    if known.place is not None:
        u_c = known.expanded_c if known.basis == "true temperature" else known.place.expanded_c
        return Says.of(
            "Sensor {sensor} shows {shown} when the work's place is at {target} ± {u} ({why}).",
            sensor=sensor,
            shown=Temp(hold.target_c if known.set_to_c is None else known.set_to_c),
            target=Temp(hold.target_c),
            u=Diff(u_c or 0.0),
            why=known.says,
        )
    return Says.of(
        "Sensor {sensor} shows {shown} when it is truly {target} ± {u} ({why}).",
        sensor=sensor,
        shown=Temp(hold.target_c if known.set_to_c is None else known.set_to_c),
        target=Temp(hold.target_c),
        u=Diff(known.expanded_c or 0.0),
        why=known.says,
    )
