"""What audit and condition need of one run, as frozen data that the log book keeps. Computed by ``measuring``.

Temperatures degC, differences K, times s on the run's ``t_s``; None is "not known".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any


@dataclass(frozen=True)
class DipFigures:
    """A fall of the control reading within the heated time: how deep [K], how long [s], how fast [K/s].

    ``fall_s`` is the time from its start to its bottom [s], ``output_pct`` the output while it fell, ``gap`` whether
    readings were missing in it.
    """

    start_s: float
    seconds: float
    depth_c: float
    fall_c_per_s: float
    output_pct: float | None = None
    gap: bool = False
    fall_s: float = 0.0

    @property
    def quick(self) -> bool:
        """Whether it fell as when a door is opened: within seconds, not as a furnace cools by itself.

        Without power a small furnace falls at up to half a degree a second at first, an opened one at one and more.
        """
        return self.fall_c_per_s >= 1.0 or (self.fall_c_per_s >= 0.2 and self.fall_s < 120.0)


@dataclass(frozen=True)
class HeatLost:
    """The moment from which the furnace cooled for good though it was asked to heat.

    ``output_pct``, ``setpoint_c``: their means over the first minutes after it, None where not logged.
    """

    at_s: float
    at_c: float
    output_pct: float | None = None
    setpoint_c: float | None = None


@dataclass(frozen=True)
class HoldFigures:
    """One hold. ``work_c`` is the level of the temperature the verdict rests on, ``control_c`` the control reading's.

    ``in_band_s`` is the time in the band of the sensor the edges are of, ``chamber_s`` that of the control reading
    above its lower edge, from ``chamber_enter_s`` on. ``setpoint_c`` is the logged setpoint's level and ``setpoint_s``
    how long it stayed there; ``program_c`` and ``program_s`` what the recipe asks to be typed in.
    """

    step: int
    target_c: float
    lower_c: float
    upper_c: float
    required_s: float
    found: bool
    on_record: bool = True
    judged: bool = True
    at_most_s: float | None = None
    max_overshoot_c: float | None = None
    enter_s: float | None = None
    leave_s: float | None = None
    soak_s: float | None = None
    in_band_s: float | None = None
    chamber_s: float | None = None
    chamber_enter_s: float | None = None
    work_c: float | None = None
    control_c: float | None = None
    highest_c: float | None = None
    overshoot_c: float | None = None
    above_s: float | None = None
    lag_s: float | None = None
    setpoint_c: float | None = None
    setpoint_s: float | None = None
    program_c: float | None = None
    program_s: float | None = None
    output_pct: float | None = None
    gap_s: float = 0.0
    verdict: str = "not proven"


@dataclass(frozen=True)
class Difference:
    """Control reading minus another sensor's [K], both level, at a temperature [degC]; ``step`` None: cold."""

    sensor: str
    role: str
    at_c: float
    difference_c: float
    step: int | None = None


@dataclass(frozen=True)
class PieceFigures:
    """One piece in this run, in the judged hold (``step``) where ``soak_share``, soak over required, is smallest."""

    piece: str | None
    charge: str | None = None
    soak_share: float | None = None
    soak_s: float | None = None
    lag_s: float | None = None
    load_s: float | None = None
    load_c: float | None = None
    pull_s: float | None = None
    plates_s: float | None = None
    quench_delay_s: float | None = None
    verdict: str = "not proven"
    step: int | None = None


@dataclass(frozen=True)
class FindingFigures:
    """A finding of the verification, as far as the audit needs it."""

    code: str
    severity: str
    step: int | None
    says: str
    pieces: tuple[str, ...] = ()


@dataclass(frozen=True)
class SensorFigures:
    """The control sensor's life and calibration on the day of the run."""

    name: str
    life: int | None = None
    fitted_utc: str | None = None
    serial: str | None = None
    channel: str | None = None
    position: str | None = None
    input_offset_c: float | None = None
    thermocouple: str | None = None
    calibrated_on: str | None = None
    calibration_due: str | None = None
    overdue: bool = False
    expanded_c: float | None = None

    @property
    def key(self) -> tuple[object, ...]:
        """What makes a sensor life: a change of any of these ends it."""
        return (self.life, self.serial, self.channel, self.position, self.input_offset_c)


@dataclass(frozen=True)
class ConditionFigures:
    """The furnace's own figures of one run: ``full_power`` maps a window's lower edge [degC] to a rate [K/h].

    ``output`` maps a hold's target [degC] to the output that held it [%], ``overshoot`` to its overshoot [K],
    ``difference`` to control minus load [K]. ``cooling`` maps a window's upper edge to the rate of free cooling [K/h].
    ``charged`` None: not known. ``door`` is how often the door was opened while it was hot. ``swing`` maps a hold's
    target to the range of the control reading in it [K], ``afterheat_c`` is how far the reading climbed while the
    output had been off for a minute [K]. What moves the others by itself: ``room_c`` at the start, ``warm`` where the
    furnace still was, what was in as ``charge_kg`` or as steel ``charge_mm`` (thickness times blades), ``mains_v``.
    """

    run: str
    furnace: str
    started_utc: str
    sensor_key: str
    charged: bool | None = None
    door: int = 0
    full_power: Mapping[str, float] | None = None
    output: Mapping[str, float] | None = None
    overshoot: Mapping[str, float] | None = None
    difference: Mapping[str, float] | None = None
    cooling: Mapping[str, float] | None = None
    missed_share: float | None = None
    noise_c: float | None = None
    lost: int = 0
    faults: int = 0
    sensor: str = ""
    other: str | None = None
    swing: Mapping[str, float] | None = None
    afterheat_c: float | None = None
    recipe: str | None = None
    room_c: float | None = None
    warm: bool = False
    charge_kg: float | None = None
    charge_mm: float | None = None
    mains_v: float | None = None


@dataclass(frozen=True)
class RunFigures:
    """Everything the audit needs of one run. ``loads_s``, ``pulls_s``: marks, whether or not a hold was found.

    ``blanks`` are times with rows on record but no control reading, hot.

    ``climb`` maps a window's lower edge [degC] to the rate of the first rise through it [K/h], ``top_c`` is the highest
    control reading.
    """

    run: str
    furnace: str
    started_utc: str
    ended_utc: str | None
    recipe_digest: str | None
    recipe: str | None
    verdict: str | None
    temperature_from: str | None
    sensor: SensorFigures
    holds: tuple[HoldFigures, ...] = ()
    pieces: tuple[PieceFigures, ...] = ()
    findings: tuple[FindingFigures, ...] = ()
    differences: tuple[Difference, ...] = ()
    dips: tuple[DipFigures, ...] = ()
    door_marks_s: tuple[float, ...] = ()
    loads_s: tuple[float, ...] = ()
    pulls_s: tuple[float, ...] = ()
    recovery_s: float | None = None
    loaded_at_c: float | None = None
    load_at_c: float | None = None
    quench_within_s: float | None = None
    ramp_rates: Mapping[str, float] | None = None
    ramp_outputs: Mapping[str, float] | None = None
    gaps: tuple[tuple[float, float], ...] = ()
    gap_c: tuple[float, ...] = ()
    gap_end_c: tuple[float, ...] = ()
    blanks: tuple[tuple[float, float], ...] = ()
    heat_lost: HeatLost | None = None
    climb: Mapping[str, float] | None = None
    top_c: float | None = None
    events: tuple[tuple[float, str, str], ...] = ()
    cold_c: float | None = None
    duration_s: float = 0.0
    period_s: float = 1.0
    resolution_c: float = 0.1


def to_plain(value: RunFigures | ConditionFigures) -> dict[str, Any]:
    """Figures as plain data for JSON."""
    return asdict(value)


def run_figures_from(data: Mapping[str, Any]) -> RunFigures:
    """Figures of one run from plain data."""
    parts: dict[str, Any] = {
        "sensor": _one(SensorFigures, data["sensor"]),
        "holds": tuple(_one(HoldFigures, d) for d in data["holds"]),
        "pieces": tuple(_one(PieceFigures, d) for d in data["pieces"]),
        "findings": tuple(_one(FindingFigures, {**d, "pieces": tuple(d.get("pieces", ()))}) for d in data["findings"]),
        "differences": tuple(_one(Difference, d) for d in data["differences"]),
        "dips": tuple(_one(DipFigures, d) for d in data["dips"]),
        "gaps": tuple((float(a), float(b)) for a, b in data["gaps"]),
        "gap_c": tuple(data["gap_c"]),
        "gap_end_c": tuple(data.get("gap_end_c", ())),
        "blanks": tuple((float(a), float(b)) for a, b in data.get("blanks", ())),
        "heat_lost": _one(HeatLost, data["heat_lost"]) if data.get("heat_lost") else None,
        "events": tuple((float(t), str(e), str(d)) for t, e, d in data["events"]),
        "door_marks_s": tuple(data["door_marks_s"]),
        "loads_s": tuple(data.get("loads_s", ())),
        "pulls_s": tuple(data.get("pulls_s", ())),
    }
    figures: RunFigures = _one(RunFigures, {**data, **parts})
    return figures


def condition_from(data: Mapping[str, Any]) -> ConditionFigures:
    """The furnace's own figures of one run from plain data."""
    figures: ConditionFigures = _one(ConditionFigures, data)
    return figures


def _one(kind: Any, data: Mapping[str, Any]) -> Any:
    known = {field.name for field in fields(kind)}
    return kind(**{name: value for name, value in data.items() if name in known})
