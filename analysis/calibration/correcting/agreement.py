"""What contradicts itself is no calibration: levels that were measured twice must agree, sensors must not step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.analysis.calibration.measured_pairs.measured_levels import SAME_PLACE_C
from soakwitness.analysis.calibration.measured_pairs.steps import SensorStep
from soakwitness.analysis.errors import ContradictionError
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, moment

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import CalibratedPoint


@dataclass(frozen=True)
class Repeats:
    """How far levels measured twice were apart at most [K]; ``closed``: the first level was measured again at the end.

    None where no level was measured twice.
    """

    apart_c: float | None = None
    closed: bool = False


def repeats(points: Sequence[CalibratedPoint]) -> Repeats:
    """Compare levels that were measured twice.

    ``points``: in the order of time. Raises ContradictionError where two of them disagree by more than U of either.
    """
    apart: list[float] = []
    closed = False
    for i, first in enumerate(points):
        for j in range(i + 1, len(points)):
            again = points[j]
            if abs(first.reference_c - again.reference_c) >= SAME_PLACE_C:
                continue
            apart.append(abs(again.error_c - first.error_c))
            allowed = max(first.budget.expanded_c, again.budget.expanded_c)
            if apart[-1] > allowed:
                raise ContradictionError(_disagree(first, again, allowed))
            closed = closed or (i == 0 and j == len(points) - 1)
    return Repeats(max(apart, default=None), closed)


def _disagree(first: CalibratedPoint, again: CalibratedPoint, allowed: float) -> Says:
    return Says.of(
        "measured twice at {at} the error is {first} ({when}) and {again} ({later}): {apart} apart, where U is {u}. "
        "One of the two sensors moved, or was moved; nothing is averaged over that. Look at the reference, its "
        "connections and its tip, and calibrate again.",
        at=Temp(first.reference_c),
        first=Diff(first.error_c, signed=True),
        again=Diff(again.error_c, signed=True),
        when=_when(first, "first"),
        later=_when(again, "then"),
        apart=Diff(abs(again.error_c - first.error_c)),
        u=Diff(allowed),
    )


def _when(point: CalibratedPoint, typed: str) -> str:
    return typed if point.stretch is None else f"at {moment(point.stretch.start_s)}"


def stepped(step: SensorStep) -> ContradictionError:
    """Say that a sensor stepped."""
    return ContradictionError(
        Says.of(
            "at {when}, near {at}, the {of} steps by {step} within one reading while the other goes on: what was read "
            "before and after does not belong together. Look for a loose terminal, a shunt or a tip that slipped, and "
            "calibrate again.",
            when=moment(step.t_s),
            at=Temp(step.at_c),
            of=step.of,
            step=Diff(step.step_c, signed=True),
        )
    )
