"""Values by which loggers say that nothing was read: stated by a person, or noticed by what they are and how they come.

What is noticed is an extreme of its column to the last digit, reached and left in one step that is no heating:

- the end of a thermocouple's range, or a number such as 9999, apart from every other reading;
- zero, where a hot sensor goes to it and comes back within one row each;
- another value far outside what a furnace or a room can have.

Another level extreme of three rows and more, reached and left so, is asked: it may be a probe dipped into the furnace.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import counted

Mask = npt.NDArray[np.bool_]
# Ends of the ranges of the reference functions, IEC 60584-1:2013, degC; whole and at tenths as instruments round them.
RANGE_C: dict[str, tuple[float, ...]] = {
    "B": (1820.0,), "E": (1000.0, -200.0, -270.0), "J": (760.0, 1200.0, -200.0, -210.0),
    "K": (1372.0, 1370.0, -200.0, -270.0), "N": (1300.0, -200.0, -270.0), "R": (1768.0, 1768.1, -50.0),
    "S": (1768.0, 1768.1, -50.0), "T": (400.0, -200.0, -270.0),
}  # fmt: skip
UNSAID_C = (1372.0, 1370.0, 1768.0, 1768.1, 1820.0, -200.0, -210.0, -270.0)  # the letter is not known: the far ends
NUMBERS = (999.0, 999.9, 9999.0, 9999.9, 99999.0, 3276.7, 32767.0, 3276.8, 32768.0, 6553.5, 65535.0, 65534.0)
STEP_K = 50.0  # one row to the next: with a code
FAR_STEP_K = 200.0  # with a value that is no code
LEVEL_ROWS = 3
HOTTEST_C, COLDEST_C = 2400.0, -199.5  # no furnace of a shop is hotter; liquid nitrogen is at -196
GAP_PERIODS = 3.0  # a longer pause and the step says nothing


@dataclass(frozen=True)
class FaultValue:
    """A value that was taken as no reading, in one column; ``name`` is what the run calls it."""

    name: str
    column: str
    value: float
    rows: Mask
    stated: bool

    def until(self, end: int) -> FaultValue:
        """The same in the rows before ``end``."""
        return replace(self, rows=self.rows[:end])

    def says(self) -> str:
        """One sentence; a person may know better."""
        count = counted(int(self.rows.sum()), "cell")
        if self.stated:
            return f"{self.column}: {count} of {self.value:g}, taken as missing readings, as said."
        return (
            f"{self.column}: {count} of {self.value:g}, taken as missing readings: instruments write it "
            "where a sensor is open. If they are readings: --fault-value none."
        )


@dataclass(frozen=True)
class ReadCells:
    """The readings of one sensor's column with their times [s], in the file's unit; NaN where none was had."""

    path: Path
    name: str
    column: str
    unit: Unit
    thermocouple: str | None
    t_s: FloatArray
    values: FloatArray
    lines: npt.NDArray[np.int64]


def find_faults(readings: ReadCells, stated: Sequence[float], *, notice: bool) -> list[FaultValue]:
    """Faults of one column: the stated ones, then those noticed, one after the other until none is left.

    Raises ImportFileError if a value may be a fault or a reading, or one is left that no thermocouple can read.
    """
    values = readings.values.copy()
    found: list[FaultValue] = []

    def take(value: float, stated: bool) -> None:
        rows = np.isclose(values, value, rtol=0.0, atol=1e-6 * max(1.0, abs(value)))
        if rows.any():
            found.append(FaultValue(readings.name, readings.column, value, rows, stated))
            values[rows] = np.nan

    for value in stated:
        take(value, True)
    while notice and (seen := _noticed(readings, values)) is not None:
        take(seen, False)
    if notice:
        _ask_nothing_else(readings, values)
        _ask_level(readings, values)
        _ask_impossible(readings, values)
    return found


def _noticed(readings: ReadCells, values: FloatArray) -> float | None:
    """An extreme that is a fault, if there is one."""
    had = np.isfinite(values)
    for extreme in (np.max, np.min):
        if not had.any():
            return None
        value = float(extreme(values[had]))
        steps = _steps(readings, values, value)
        if not steps or (had & (values != value)).sum() == 0:
            continue
        least = min(steps)
        if _is_code(value, readings) and least >= STEP_K:
            return value
        if value == 0.0 and len(steps) == 2 * _stretches(values, value) and least >= FAR_STEP_K:
            return value
        beyond = not COLDEST_C < to_celsius(value, readings.unit) < HOTTEST_C
        if beyond and least >= FAR_STEP_K and _rows(values, value) > 1:
            return value
    return None


def _is_code(value: float, readings: ReadCells) -> bool:
    """Whether instruments write this value for an open sensor, in this unit and with this thermocouple."""
    ends = UNSAID_C if readings.thermocouple is None else RANGE_C.get(readings.thermocouple.upper(), UNSAID_C)
    fuzz = 0.05 if readings.unit == "C" else 0.5  # 1372 degC is 2501.6 degF, or 2502
    if any(abs(to_celsius(value, readings.unit) - end) <= fuzz for end in ends):
        return True
    return abs(value) in NUMBERS


def _rows(values: FloatArray, value: float) -> int:
    return int((values == value).sum())


def _stretches(values: FloatArray, value: float) -> int:
    same = values == value
    return int(same[0]) + int((same[1:] & ~same[:-1]).sum())


def _steps(readings: ReadCells, values: FloatArray, value: float) -> list[float]:
    """Sizes of the steps into and out of this value [K], from the nearest reading; none over a pause of the logger."""
    had = np.flatnonzero(np.isfinite(values))
    if had.size < 2:
        return []
    t_s, v = readings.t_s[had], values[had]
    same = v == value
    edges = np.flatnonzero(same[1:] != same[:-1])
    usual_s = float(np.median(np.diff(readings.t_s)))
    close = (t_s[edges + 1] - t_s[edges]) <= GAP_PERIODS * usual_s
    steps = np.abs(to_kelvin(v[edges + 1] - v[edges], readings.unit))
    return [float(step) for step in steps[close]]


def _ask_nothing_else(readings: ReadCells, values: FloatArray) -> None:
    """A column that holds nothing but what instruments write for an open sensor is asked."""
    had = values[np.isfinite(values)]
    if had.size and np.all(had == had[0]) and _is_code(float(had[0]), readings):
        raise ImportFileError(
            f"{readings.path}: {readings.column} holds nothing but {had[0]:g}, which instruments write where a "
            "sensor is open. Leave the column out. If they are readings: --fault-value none."
        )


def _ask_level(readings: ReadCells, values: FloatArray) -> None:
    """A level extreme that comes and goes in one row each is asked."""
    had = np.isfinite(values)
    for extreme in (np.max, np.min) if had.any() else ():
        value = float(extreme(values[had]))
        steps, count = _steps(readings, values, value), _stretches(values, value)
        level = count > 0 and _rows(values, value) >= LEVEL_ROWS * count and len(steps) == 2 * count
        if level and min(steps) >= FAR_STEP_K:
            line = int(readings.lines[np.flatnonzero(values == value)[0]])
            raise ImportFileError(
                f"{readings.path}, line {line}: {readings.column} is {value:g} for "
                f"{counted(_rows(values, value), 'row')}, reached and left in one step. If the instrument writes it "
                f"where nothing is read: --fault-value {value:g}. If they are readings: --fault-value none."
            )


def _ask_impossible(readings: ReadCells, values: FloatArray) -> None:
    """A value that no sensor in a furnace can have is not kept as one."""
    in_c = to_celsius(values, readings.unit)
    beyond = np.flatnonzero((in_c > HOTTEST_C) | (in_c < COLDEST_C))
    if beyond.size:
        value = float(values[beyond[0]])
        line = int(readings.lines[beyond[0]])
        raise ImportFileError(
            f"{readings.path}, line {line}: {readings.column} is {value:g}, a temperature that no furnace has "
            f"({counted(int(beyond.size), 'such cell')}). If it says that nothing was read: "
            f"--fault-value {value:g}. Are these tenths of a degree, or is it another column? To keep them: "
            "--fault-value none."
        )
