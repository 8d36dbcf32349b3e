"""What a comparison with a reference found, in words: the sentence, the next act, the points; budgets where asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from soakwitness.cli.options.screen import fitted, said_first, screen_width, table
from soakwitness.cli.words.budget_words import rows_of_budget
from soakwitness.cli.words.calibration_words import (
    clock_words,
    correction_rows,
    dominated_words,
    range_words,
    stable_words,
)
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import (
    counted,
    difference,
    duration,
    listed,
    moment,
    number,
    temperature,
)

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.accuracy import AccuracyTest
    from soakwitness.analysis.calibration.correcting.calibrating import CalibratedPoint, Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.calibration.measured_pairs.fixed_points import FixedPoint

HEADS = {"pass": ("Pass", "green"), "fail": ("Off by more than allowed", "red"), "not proven": ("Not proven", "yellow")}
NOTHING_C = 0.05  # smaller differences are shown as none


def calibration_lines(
    found: Calibration, correction: Correction, pair: Pair | None, unit: Unit, *, every: bool = False
) -> list[str]:
    """Lines for the screen: how it reads, what to do with that, its points; ``every``: budgets, the correction."""
    furnace = correction.furnace or "a furnace not named"
    first = f"{correction.sensor} of {furnace} {how_it_reads(found.points, unit)}. {_set_by(correction)}"
    lines = [first, "", f"Against {found.reference.says.text(unit)}.", *clock_words(pair)]
    lines += [table(_points(found.points, unit), width=screen_width())]
    lines += [left.text(unit) for left in found.left_out]
    lines.append(f"{_added(correction, unit)} {range_words(correction, unit)}")
    if every:
        lines += stable_words(found, unit)
        for place, point in enumerate(found.points, 1):
            lines += _budget(
                f"point {place}, {temperature(point.reference_c, unit)} (in the manner of EA-4/02)", point, unit
            )
        lines += ["", f"Correction, to be added to the reading. {correction.why[:1].upper()}{correction.why[1:]}."]
        lines.append(table(correction_rows(correction, unit), indent="  ", width=screen_width()))
    return [part for line in lines for part in fitted(line)]


def how_it_reads(points: Sequence[CalibratedPoint], unit: Unit) -> str:
    """``reads 2.9 °C high at 780 °C and 3.8 °C high at 1050 °C``."""
    return f"reads {listed(_off(p, unit) for p in points)}"


def _off(point: CalibratedPoint, unit: Unit) -> str:
    error, at = point.error_c, temperature(round(point.reference_c), unit, digits=0)
    if abs(error) < NOTHING_C:
        return f"right at {at}"
    return f"{difference(abs(error), unit)} {'high' if error > 0 else 'low'} at {at}"


def _set_by(correction: Correction) -> str:
    """The controller does not know its error: what is typed in has to."""
    named = f' --furnace "{correction.furnace}"' if correction.furnace else " --furnace NAME"
    return f"What to type in so that it is truly at the recipe's temperatures: soakwitness recipe program FILE{named}"


def _added(correction: Correction, unit: Unit) -> str:
    """What is added to the reading, from the least to the most."""
    low, high = (
        difference(add, unit, signed=True)
        for add in (correction.table_correction_c[0], correction.table_correction_c[-1])
    )
    return f"To be added to the reading: {low}." if low == high else f"To be added to the reading: {low} to {high}."


def _points(points: Sequence[CalibratedPoint], unit: Unit) -> list[list[str]]:
    """A line a point, its numbers in the unit that the head names."""
    rows = [[f"reads (°{unit})", "is truly", "±", "off by", "over"]]
    for point in points:
        where = point.stretch
        over = counted(point.readings, "reading")
        if where is not None:
            over = f"{duration(60.0 * where.minutes)} from {moment(where.start_s)} on"
        rows.append([*_read_and_true(point, unit), over])
    return rows


def _read_and_true(point: CalibratedPoint, unit: Unit) -> list[str]:
    return [
        number(from_celsius(point.reading_c, unit)),
        number(from_celsius(point.reference_c, unit)),
        number(from_kelvin(point.budget.expanded_c, unit)),
        difference(point.error_c, unit, signed=True).removesuffix(f" °{unit}"),
    ]


def _budget(of: str, point: CalibratedPoint, unit: Unit) -> Iterator[str]:
    """The budget of a point, and what one source that dominates does to it."""
    yield f"\nBudget of {of}:"
    yield table(rows_of_budget(point.budget, unit), indent="  ", width=screen_width())
    if (dominated := dominated_words(point.budget)) is not None:
        yield f"  {dominated}"


def accuracy_lines(
    result: AccuracyTest, unit: Unit, *, sensor: str, furnace: str | None, against: str, every: bool = False
) -> list[str]:
    """Lines for the screen: the verdict with its reason, the next act, figures; ``every``: the rule and the budget."""
    point, decision = result.point, result.decision
    head, colour = HEADS[decision.verdict]
    u, limit = difference(point.budget.expanded_c, unit), difference(result.limit_c, unit)
    reason = f"{sensor} reads {_off(point, unit)}, give or take {u}; ±{limit} allowed."
    verdict = said_first(f"{head}: {reason} {_next(result)}", ":", colour)
    lines = [
        "",
        f"{sensor} of {furnace or 'a furnace not named'}, against {against}.",
        table(_points([point], unit), width=screen_width()),
    ]
    if result.corrected_c is not None:
        left = difference(result.corrected_c, unit, signed=True)
        own = difference(result.correction_u_c or 0.0, unit)
        lines.append(
            f"The correction of {result.correction_of} would leave {left} (its own U by now {own}), which the "
            "controller does not know."
        )
    if every:
        lines.append(f"Limit ±{limit} ({result.limit_origin}), accepted within {_accepted(decision.accept_to, unit)}.")
        lines.append(f"Probability that it is inside the limit: {decision.conformity:.3f}.")
        lines.append(f"Rule: {decision.rule} (ILAC-G8:09/2019, JCGM 106:2012).")
        lines += _budget("this point", point, unit)
    return [*verdict, *(part for line in lines for part in fitted(line))]


def _next(result: AccuracyTest) -> str:
    """What to do after an accuracy test."""
    if result.decision.verdict == "pass":
        return "Nothing to do."
    if result.decision.verdict == "fail":
        return "Calibrate it, or find what is wrong: soakwitness sensor diagnose, with these readings."
    return "Test it again with a reference that is known better."


def _accepted(within_c: float | None, unit: Unit) -> str:
    """Acceptance limits in words: a guard band wider than the limit leaves none."""
    within = within_c or 0.0
    return f"±{difference(within, unit)}" if within >= 0 else "nothing: U is larger than the limit allows"


def fixed_point_lines(
    found: Calibration, points: Sequence[FixedPoint], correction: Correction, unit: Unit, *, every: bool = False
) -> list[str]:
    """Lines for the screen: how it reads, what that says nothing of, its points; ``every``: their budgets."""
    span = f"{temperature(correction.low_c, unit)} to {temperature(correction.high_c, unit)}"
    lines = [
        f"{correction.sensor} {how_it_reads(found.points, unit)}. It speaks for {span} as shown, and says nothing of "
        "what is hotter: a thermocouple that is right at the foot can be wrong where it hardens. There a fresh one of "
        "special limits (class 1), used once, tip to tip with yours, serves most: soakwitness calibrate.",
        "",
    ]
    heads, *rows = _points(found.points, unit)
    named = [point.says.text(unit).partition(",")[0] for point in points]
    lines.append(
        table([["point", *heads], *([name, *row] for name, row in zip(named, rows, strict=True))], width=screen_width())
    )
    lines.append(
        "A used base-metal thermocouple that was moved to a bench reads otherwise than in its place: its error lies "
        "where its gradient was."
    )
    if every:
        for one, point in zip(found.points, points, strict=True):
            lines += _budget(point.says.text(unit) + (f" ({point.marked})" if point.marked else ""), one, unit)
    return [part for line in lines for part in fitted(line)]
