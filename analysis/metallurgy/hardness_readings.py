"""Rockwell C readings: what they mean, what makes them doubtful, and when two of them differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from soakwitness.analysis.errors import LogBookError
from soakwitness.firmware_bridge.common.wording import counted

SCALES = ("HRC", "HRA", "HR15N", "HR30N", "HV")
ROCKWELL_LOADS_N = {"HRC": 1471.0, "HRA": 588.4, "HR15N": 147.1, "HR30N": 294.2}
FEWEST_READINGS = 3

_HRC_TO_HV = {55: 595, 56: 613, 57: 633, 58: 653, 59: 674, 60: 697, 61: 720, 62: 746, 63: 772, 64: 800, 65: 832}
_TIP_RADIUS_MM = 0.2
_MACHINE_ERROR_HRC = 0.5
_WIDEST_RANGE_HRC = 2.0
_LEAST_DIFFERENCE_HRC = 1.0
MEANT_FOR_HRC = (20.0, 70.0)  # ISO 6508-1: scope of scale C


@dataclass(frozen=True)
class HardnessReading:
    """One hardness test: several readings at one place of one piece, with what is known of tester and place."""

    readings: tuple[float, ...]
    scale: str = "HRC"
    load_n: float | None = None
    block_value: float | None = None
    block_readings: tuple[float, ...] = ()
    spacing_mm: float | None = None
    edge_mm: float | None = None
    thickness_mm: float | None = None

    @property
    def mean(self) -> float:
        """Mean of the readings, on their scale."""
        return fmean(self.readings)

    @property
    def block_error(self) -> float | None:
        """Mean of the readings on the test block minus its value, or None."""
        if self.block_value is None or not self.block_readings:
            return None
        return fmean(self.block_readings) - self.block_value


@dataclass(frozen=True)
class Spread:
    """All readings of several tests on one scale: their mean, lowest, highest and count."""

    mean: float
    low: float
    high: float
    count: int


def spread_of(tests: Sequence[HardnessReading]) -> Spread:
    """Mean and range of all readings of tests on one scale; at least one."""
    readings = [value for test in tests for value in test.readings]
    return Spread(fmean(readings), min(readings), max(readings), len(readings))


def depth_of_hrc(hardness_hrc: float) -> float:
    """Permanent depth of a Rockwell C indentation.

    ``hardness_hrc``: hardness [HRC]. Returns depth [mm].

    Source: ISO 6508-1 / ASTM E18, definition of the scale.
    """
    return (100.0 - hardness_hrc) * 0.002


def indent_diameter_mm(hardness_hrc: float) -> float:
    """Width of a Rockwell C indentation at the surface, to plan spacing by.

    Geometry of the indenter, a 120 degree cone with a tip of 0.2 mm radius: above the depth R (1 - sin 60 degrees),
    where tip and cone meet, the half width is R cos 60 degrees plus the rest of the depth x tan 60 degrees. Taken at
    the permanent depth, so a few hundredths of a millimetre too small.

    ``hardness_hrc``: hardness [HRC].
    """
    depth = depth_of_hrc(hardness_hrc)
    meet = _TIP_RADIUS_MM * (1.0 - math.sin(math.radians(60)))
    if depth <= meet:
        return 2.0 * math.sqrt(depth * (2.0 * _TIP_RADIUS_MM - depth))
    return 2.0 * (_TIP_RADIUS_MM * math.cos(math.radians(60)) + (depth - meet) * math.tan(math.radians(60)))


def hv_of_hrc(hardness_hrc: float) -> int | None:
    """Vickers hardness that goes with a whole Rockwell C figure, approximately.

    Converted values are approximate; the table is for steel that is not austenitic.

    ``hardness_hrc``: hardness [HRC]; rounded to whole points, for the table knows no more. Returns hardness [HV]; None
    outside 55 to 65 HRC.

    Source: ASTM A370, table of approximate conversions (read in a public copy).
    """
    return _HRC_TO_HV.get(math.floor(hardness_hrc + 0.5))


def hrc_of_hv(hardness_hv: float) -> int | None:
    """Whole Rockwell C figure nearest to a Vickers hardness, approximately.

    ``hardness_hv``: hardness [HV]. Returns hardness [HRC], whole points; None outside the table's ends.

    Source: ASTM A370, table of approximate conversions (read in a public copy).
    """
    if not _HRC_TO_HV[55] <= hardness_hv <= _HRC_TO_HV[65]:
        return None
    return min(_HRC_TO_HV, key=lambda hrc: abs(_HRC_TO_HV[hrc] - hardness_hv))


def check_readings(test: HardnessReading) -> None:
    """Refuse what cannot be a hardness test.

    Raises LogBookError if the scale is unknown or a reading is outside it.
    """
    if test.scale not in SCALES:
        raise LogBookError(f"{test.scale!r} is no scale known here. Use one of {', '.join(SCALES)}.")
    if not test.readings:
        raise LogBookError("A hardness test needs its readings, at least three.")
    low, high = (5.0, 2000.0) if test.scale == "HV" else (0.0, 100.0)
    for value in (*test.readings, *test.block_readings):
        if not (math.isfinite(value) and low <= value <= high):
            asks = f" Is {value / 10:g} meant?" if test.scale == "HRC" and low <= value / 10 <= high else ""
            raise LogBookError(f"{value:g} {test.scale} is no reading: the scale goes from {low:g} to {high:g}.{asks}")


def slip_of(test: HardnessReading) -> str | None:
    """Asks whether a reading was typed wrongly: outside what the scale is meant for, and inside with the point moved.

    Returns a question, or None where nothing looks like a slip.
    """
    low, high = MEANT_FOR_HRC
    for value in (*test.readings, *test.block_readings) if test.scale == "HRC" else ():
        if not low <= value <= high:
            moved = next((v for v in (value * 10.0, value / 10.0) if low <= v <= high), None)
            asks = f" Is {moved:g} meant?" if moved is not None else ""
            return f"{value:g} HRC is outside the range the scale is meant for ({low:g} to {high:g}).{asks}"
    return None


def warnings_of(test: HardnessReading) -> tuple[str, ...]:
    """What makes a hardness test doubtful, in sentences.

    Indentations 3 d from centre to centre and 2.5 d from an edge; three readings at least; a test block read before;
    for a cone a specimen ten times as thick as the indentation is deep (from memory, common practice).

    Source: ISO 6508-1 and ASTM E18: spacing. ASTM E18-19 table A1.3: machine error at 60 HRC and over.
    """
    found: list[str] = []
    if len(test.readings) < FEWEST_READINGS:
        found.append(f"{counted(len(test.readings), 'reading')}: take at least {FEWEST_READINGS}.")
    expected = ROCKWELL_LOADS_N.get(test.scale)
    if test.load_n is not None and expected is not None and abs(test.load_n / expected - 1.0) > 0.02:
        found.append(f"the load of {test.load_n:g} N does not belong to {test.scale} ({expected:g} N).")
    error = test.block_error
    if error is None:
        found.append("the test block was not read: the tester's own error is not known.")
    elif abs(error) > _MACHINE_ERROR_HRC:
        found.append(f"the tester reads {error:+.1f} on its block of {test.block_value:g}, more than 0.5 off.")
    if len(test.block_readings) >= 5 and block_nonuniformity(test.block_readings) > 1.0:
        found.append(
            f"the block's readings range over {block_nonuniformity(test.block_readings):.1f}: block or tester."
        )
    if test.scale == "HRC":
        found += _place_warnings(test)
        if max(test.readings) - min(test.readings) > _WIDEST_RANGE_HRC:
            found.append(
                f"readings from {min(test.readings):g} to {max(test.readings):g}: a range over {_WIDEST_RANGE_HRC:g}"
                " points speaks of uneven steel, a tapered section or a dirty anvil."
            )
        low, high = MEANT_FOR_HRC
        if not low <= test.mean <= high:
            found.append(f"{test.mean:.1f} HRC is outside the range the scale is meant for ({low:g} to {high:g}).")
    return tuple(found)


def _place_warnings(test: HardnessReading) -> list[str]:
    found: list[str] = []
    width = indent_diameter_mm(test.mean)
    if test.spacing_mm is not None and test.spacing_mm < 3.0 * width:
        found.append(
            f"indentations {test.spacing_mm:g} mm apart: keep 3 d = {3.0 * width:.1f} mm from centre to centre."
        )
    if test.edge_mm is not None and test.edge_mm < 2.5 * width:
        found.append(f"{test.edge_mm:g} mm from an edge: keep 2.5 d = {2.5 * width:.1f} mm.")
    least = 10.0 * depth_of_hrc(test.mean)
    if test.thickness_mm is not None and test.thickness_mm < least:
        found.append(
            f"the section of {test.thickness_mm:g} mm is thin for HRC at this hardness (ten times the depth is "
            f"{least:.1f} mm, common practice): use a lighter load such as HR15N or HV."
        )
    return found


def block_nonuniformity(readings: Sequence[float]) -> float:
    """Non-uniformity of a test block: highest minus lowest of five readings.

    ``readings``: five readings on the block [HRC]. Returns hmax - Hmin [HRC].

    Source: ISO 6508-3, definition for reference blocks.
    """
    return max(readings) - min(readings)


def least_difference_hrc(first: HardnessReading, second: HardnessReading) -> float:
    """Smallest difference of two tests that the tester can show.

    The larger of one point (twice the machine error allowed at 60 HRC) and twice the standard uncertainty of the
    difference, from the readings' own scatter; plus any error seen on the block.

    Returns difference below which nothing may be concluded [HRC].
    """
    scatter = 2.0 * math.hypot(*(_standard_error(test) for test in (first, second)))
    block = abs((first.block_error or 0.0) - (second.block_error or 0.0))
    return max(_LEAST_DIFFERENCE_HRC, scatter) + block


def _standard_error(test: HardnessReading) -> float:
    if len(test.readings) < 2:
        return _MACHINE_ERROR_HRC
    return stdev(test.readings) / math.sqrt(len(test.readings))
