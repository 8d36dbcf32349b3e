"""A calibration in words: its points, budgets and correction, and what may be doubted of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import (
    Diff,
    Says,
    Temp,
    counted,
    difference,
    duration,
    joined,
    moment,
    rate,
    temperature,
)

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.calibration.uncertainty.budget import Budget
    from soakwitness.analysis.logbook.sensors import KeptCalibration
    from soakwitness.analysis.run_inputs.keeping_calibrations import BesideTheBook


def stable_words(found: Calibration, unit: Unit) -> list[str]:
    """Limits of a stable stretch, for a calibration from a run."""
    if found.limits is None:
        return []
    limits = found.limits
    words = (
        f"Stable: {duration(60.0 * limits.minutes)} or more, drift at most {rate(limits.drift_c_per_h, unit)}, spread "
        f"at most {difference(limits.spread_c, unit)} and the reading's step (settings)."
    )
    swings = [p.stretch.swing_s for p in found.points if p.stretch is not None and p.stretch.swing_s is not None]
    if swings:
        words += f" Where the furnace swung, whole swings of {duration(max(swings))} were averaged."
    return [words]


def clock_words(pair: Pair | None) -> list[str]:
    """How two logs were brought together."""
    if pair is None or pair.alignment is None:
        return []
    a = pair.alignment
    return [
        f"Second log: {a.shift_s:+.0f} s (u {a.u_s:.0f} s) onto the run's clock, "
        f"by shape (likeness {a.likeness:.3f} over {duration(a.overlap_s)})."
    ]


def dominated_words(budget: Budget) -> str | None:
    """What a rectangular source that dominates does to k; None where none does."""
    from soakwitness.analysis.calibration.uncertainty.budget import ALONE_BELOW

    if budget.dominant is None:
        return None
    if budget.beside_dominant <= ALONE_BELOW:
        what = f"not normal, k = {budget.coverage_factor:.2f} covers 95 % (EA-4/02)"
    else:
        what = "k = 2 then covers more than 95 %"
    return f"{budget.dominant.source} dominates, rectangular: {what}."


def point_rows(found: Calibration, unit: Unit) -> list[list[str]]:
    """One line for each calibrated point, below their heads."""
    rows = [["point", "from", "lasts", "truth", "reading", "error", "U", "k"]]
    for number, point in enumerate(found.points, 1):
        where = point.stretch
        rows.append(
            [
                str(number),
                moment(where.start_s) if where else "-",
                duration(60.0 * where.minutes) if where else counted(point.readings, "reading"),
                temperature(point.reference_c, unit),
                temperature(point.reading_c, unit),
                difference(point.error_c, unit, signed=True),
                difference(point.budget.expanded_c, unit),
                f"{point.budget.coverage_factor:.2f}",
            ]
        )
    return rows


def correction_rows(correction: Correction, unit: Unit) -> list[list[str]]:
    """Some seven lines of what is to be added to the reading, below their heads."""
    rows = [["reading", "add", "U"]]
    step = max(1, len(correction.table_reading_c) // 7)
    picked = sorted({*range(0, len(correction.table_reading_c), step), len(correction.table_reading_c) - 1})
    for i in picked:
        rows.append(
            [
                temperature(correction.table_reading_c[i], unit),
                difference(correction.table_correction_c[i], unit, signed=True),
                difference(correction.table_expanded_c[i], unit),
            ]
        )
    return rows


def range_words(correction: Correction, unit: Unit) -> str:
    """Where a correction says something."""
    span = f"{temperature(correction.low_c, unit)} to {temperature(correction.high_c, unit)}"
    return f"Outside {span} nothing is stated."


def doubts(
    found: Calibration, beside: BesideTheBook | None, *, plugs_tried: bool, beside_a_load: str | None = None
) -> list[Says]:
    """What may be doubted of a calibration, and what would take the doubt away.

    ``beside_a_load``: the reference, where it is the load sensor of a run.
    """
    said = []
    if beside_a_load is not None:
        says = (
            "{name} is a load sensor: what its place is colder or warmer by is taken for an error of the sensor here. "
            "A reference hangs beside the sensor, tip to tip; of two places tells: {place}"
        )
        said.append(Says.of(says, name=beside_a_load, place=NextCommand.of("place", "measure")))
    if found.repeats.apart_c is None:
        said.append(
            Says(
                "No level was measured twice: nothing shows that the reference stood still. At the end hold the first "
                "level again; the difference becomes a row of the budget."
            )
        )
    kinds = (found.comparing.reference_type or found.reference.thermocouple, found.comparing.sensor_type)
    if not plugs_tried and (None in kinds or kinds[0] == kinds[1]):
        said.append(
            Says(
                "Which plug is whose cannot be seen from readings. With the furnace cold warm one tip in the hand, see "
                "whose display moves, and say so: --plugs-tried"
            )
        )
    return said + doubts_of_book(beside)


def doubts_of_book(beside: BesideTheBook | None) -> list[Says]:
    """What the log book gives to doubt: how it drifts, what it contradicts, which holds it says nothing of."""
    if beside is None:
        return []
    said = [] if beside.kind == "check" else [beside.drift.says()]
    if beside.before is not None and beside.compared is not None:
        said.append(beside.compared.says(beside.before))
    elif beside.before is not None:
        says = "It has no temperature in common with the calibration of {day}, so it says nothing of that."
        said.append(Says.of(says, day=beside.before.done_on))
    if beside.kind == "check" and beside.before is not None:
        contradicted = beside.compared is not None and beside.compared.contradicts
        lapses = "lapses with this day: calibrate again over its whole range"
        said.append(
            Says.of(
                "It reaches less far than the calibration of {day}, {low} to {high}: it is kept as a check of that, "
                "which {goes_on}.",
                day=beside.before.done_on,
                low=Temp(beside.before.low_c),
                high=Temp(beside.before.high_c),
                goes_on=lapses if contradicted else "stays in force",
            )
        )
    if beside.due.outside:
        holds = joined([Temp(need.target_c) for need in beside.due.outside], ", ")
        said.append(Says.of("No point brackets the judged holds at {holds}: nothing is known there.", holds=holds))
    for need in beside.due.unmet:
        says = "At {at} the recipe {recipe!r} allows ±{tolerance}: U leaves the furnace less than a quarter of that."
        says = says.replace("{recipe!r}", "{recipe}")
        said.append(Says.of(says, at=Temp(need.target_c), recipe=need.recipe, tolerance=Diff(need.tolerance_c)))
    return said


def record_lines(kept: KeptCalibration, about: Mapping[str, Any], unit: Unit) -> list[str]:
    """What else is on record: levels measured twice, the change since the one before, limits of use, withdrawal."""
    twice, before, limits = about["measured_twice"], about.get("before"), about["limits_of_use"]
    lines = list(about["left_out"])
    if twice["apart_c"] is None:
        lines.append("No level was measured twice.")
    else:
        where = "The first level again at the end" if twice["closed"] else "A level measured twice"
        lines.append(f"{where}: {difference(twice['apart_c'], unit)} apart.")
    if before is None:
        lines.append("No calibration before it was in force.")
    elif (apart := before["compared"]) is not None:
        at = temperature(apart["reading_c"], unit)
        change = difference(apart["new_c"] - apart["old_c"], unit, signed=True)
        u = difference(float(apart["old_u_c"]), unit), difference(float(apart["new_u_c"]), unit)
        lines.append(
            f"Change since that of {before['done_on']}: {change} at {at} (U {u[0]} then, {u[1]} now): "
            f"{'contradicted' if before['contradicts'] else 'confirmed'}."
        )
    else:
        lines.append(f"No temperature in common with that of {before['done_on']}.")
    lines.append(
        f"Limits of use: readings from {temperature(limits['low_c'], unit)} to {temperature(limits['high_c'], unit)}, "
        f"until {kept.due_on or 'further notice'}."
    )
    if kept.kind == "calibration":
        lines.append(limits["drift"])
    if limits["outside"]:
        holds = ", ".join(temperature(need["target_c"], unit) for need in limits["outside"])
        lines.append(f"No point brackets the judged holds at {holds}.")
    if kept.counts_from and kept.counts_from != kept.done_on:
        lines.append(f"Counts from {kept.counts_from} on purpose: {kept.counts_why}.")
    if kept.note:
        lines.append(f"Note: {kept.note}")
    if kept.struck_utc:
        lines.append(f"WITHDRAWN on {kept.struck_utc[:10]} by {kept.struck_by}: {kept.struck_why}.")
    return lines


def due_words(beside: BesideTheBook | None, unit: Unit) -> str:
    """Why it falls due when it does."""
    if beside is None:
        return ""
    need = beside.due.need
    if need is None:
        return f", the longest that is allowed: {beside.due.months} months, or by the hours hot"
    at = temperature(need.target_c, unit)
    return f", when U has grown to what {need.recipe} at {at} leaves it ({difference(need.most_c, unit)})"
