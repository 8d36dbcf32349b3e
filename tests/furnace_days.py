"""A small furnace, its pieces and its people, simulated coarsely and fast, for tests of the audit and of condition.

Two heat stores (chamber, brick), a controller with a logged program, blades that follow by radiation. Everything that
may go wrong is a field of ``Day``. Independent of the packet model and of the furnace simulated for links: the audit is
not tested with its own physics. Engineering guesses throughout; only the way the figures move matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.diagnosing.faults import wrong_type_c
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.firmware_bridge.runfolder.contents import Column, Event, Mark, RecordCheck, RunHeader
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

FloatArray = npt.NDArray[np.float64]
ROOM_C = 20.0
SIGMA = 5.670374e-8
EVERY_S = 10.0
IDLE_S = 120.0  # the recorder was started before the furnace

CHAMBER_J_PER_K = 9_000.0
BRICK_J_PER_K = 16_000.0
CHAMBER_TO_BRICK_W_PER_K = 4.5
LOSS_W_PER_K = 0.75
LOSS_RADIATION = 0.35
FULL_POWER_W = 4_600.0
SHEET_M2 = 0.0075  # one face of one blade
STEEL_J_PER_M3_K = 5.1e6

HARDEN = """
name = "Chef's blades, harden"
unit = "C"
steel = "S44004"
load = "cold"
order = ["harden", "cold treatment", "temper", "temper"]
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
judged = false
[[step]]
ramp = 400
to = 1040
[[step]]
hold_minutes = 25
tolerance = 6
max_overshoot = 8
[packet]
thickness_mm = 3.0
foil = true
[quench]
medium = "plates"
within_s = 30
[hardness]
as_quenched = [60, 64]
final = [58, 61]
"""

HARDEN_HOT = HARDEN.replace('load = "cold"', 'load = "hot"\nload_at = 1040').replace(
    """[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
judged = false
[[step]]
ramp = 400
to = 1040
""",
    """[[step]]
ramp = "full power"
to = 1040
""",
)

TEMPER = """
name = "Chef's blades, temper"
unit = "C"
[[step]]
ramp = "full power"
to = 200
[[step]]
hold_minutes = 120
tolerance = 8
"""


@dataclass(frozen=True)
class Blade:
    """One blade in the furnace. ``late_s`` is its way to the plates; ``foil`` a packet around it."""

    name: str
    thickness_mm: float = 3.0
    foil: bool = True
    blades: int = 1
    pull_after_s: float = 0.0
    plates_s: float = 9.0
    place: str = "middle"
    lot: str = "7733"
    steel: str = "S44004"
    place_off_c: float = 0.0


@dataclass
class Day:
    """One run of the furnace and what goes wrong in it."""

    seed: int = 0
    start: datetime = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
    program: tuple[tuple[float | None, float, float], ...] = ((None, 780.0, 600.0), (400.0, 1040.0, 1500.0))
    blades: tuple[Blade, ...] = ()
    room_c: float = ROOM_C
    mains: float = 1.0  # share of the nominal power
    insulation: float = 1.0  # share of the nominal loss
    sensor_error: Mapping[str, float] = field(default_factory=dict)  # offset, share, lead, type
    hot_load: bool = False
    load_at_s: float | None = None
    doors: tuple[tuple[float, float], ...] = ()  # start after the last hold began [s], seconds
    cut: tuple[float, float] | None = None  # power cut: start after the last hold began [s], seconds
    record_gap: tuple[float, float] | None = None  # likewise
    fault: tuple[float, float] | None = None  # control sensor broken: likewise
    extra_hold_s: float = 180.0
    fahrenheit_program: bool = False
    cooling: bool = True


@dataclass(frozen=True)
class Lived:
    """What happened: readings every 10 s, marks, each blade's true temperature, what the recorder noted."""

    day: Day
    t_s: FloatArray
    chamber_c: FloatArray
    control_c: FloatArray
    second_c: FloatArray
    load_c: FloatArray
    setpoint_c: FloatArray
    output_pct: FloatArray
    blades_c: Mapping[str, FloatArray]
    marks: tuple[tuple[float, str, tuple[str, ...]], ...]
    events: tuple[tuple[float, str, str], ...]
    last_hold_s: float
    end_s: float


def live(day: Day) -> Lived:
    """Run the furnace through one day."""
    return _Furnace(day).run()


class _Furnace:
    def __init__(self, day: Day) -> None:
        self.day = day
        self.rng = np.random.default_rng(day.seed)
        self.chamber = self.brick = day.room_c
        self.control = day.room_c
        self.integral = 0.0
        self.rows: list[tuple[float, ...]] = []
        self.temps = {b.name: day.room_c for b in day.blades}
        self.inside = set() if day.hot_load else set(self.temps)
        self.blade_rows: list[list[float]] = []
        self.marks: list[tuple[float, str, tuple[str, ...]]] = []
        self.events: list[tuple[float, str, str]] = []
        self.head_c = day.room_c
        self.control = self.shown(day.room_c)

    def shown(self, true_c: float) -> float:
        """What the control sensor's chain makes of the truth."""
        error = self.day.sensor_error
        if "type" in error:
            wired, set_to = ("K", "N") if error["type"] > 0 else ("N", "K")
            return float(wrong_type_c(true_c, wired, set_to, 25.0))
        warm = 25.0 + 40.0 * (1.0 - np.exp(-max(self.chamber - 25.0, 0.0) / 300.0))  # the head sits on the shell
        self.head_c += EVERY_S / 900.0 * (warm - self.head_c)
        lead = error.get("lead", 0.0) * max(self.head_c - 25.0, 0.0)
        return true_c + error.get("offset", 0.0) + error.get("share", 0.0) * (true_c - 25.0) - lead

    def run(self) -> Lived:
        day, t, stage, reached = self.day, 0.0, 0, None
        setpoint = day.room_c
        last_hold, phase, end = float("inf"), "climb", float("inf")
        pulls = sorted(day.blades, key=lambda b: b.pull_after_s)
        loaded = not day.hot_load
        while t < 50_000.0:
            if phase != "off" and t >= IDLE_S:
                rate, target, hold_s = day.program[stage]
                setpoint = target if rate is None else min(target, setpoint + rate * EVERY_S / 3600.0)
                last = stage == len(day.program) - 1
                if phase == "climb" and setpoint >= target and self.control > target - 4.0:
                    phase, reached = "hold", t
                    if last:
                        last_hold = t
                if last and day.hot_load and not loaded and t >= (day.load_at_s or last_hold + 900.0):
                    loaded = True
                    self.inside = set(self.temps)
                    self.marks.append((t - 5.0, "load", tuple(self.temps)))
                    self._open(t, 25.0)
                    last_hold = reached = t
                    phase = "hold"
                wait = day.hot_load and not loaded
                if phase == "hold" and reached is not None and not wait:
                    over = t - reached - hold_s - (day.extra_hold_s if last else 0.0)
                    if last:
                        end = reached + hold_s + day.extra_hold_s
                        self._pull(pulls, t, end)
                    if over >= 0 and not (last and pulls):
                        if last:
                            phase = "off"
                        else:
                            stage, phase = stage + 1, "climb"
            since = t - last_hold
            cut = day.cut is not None and day.cut[0] <= since < sum(day.cut)
            output = 0.0 if phase == "off" or t < IDLE_S else self._controller(setpoint, broken=self._broken(since))
            self._step(output * (0.0 if cut else 1.0), door=self._door(t, since))
            self._note(t, since, setpoint, output, cut)
            t += EVERY_S
            if phase == "off" and (not day.cooling or self.chamber < 560.0):
                break
        return self._lived(last_hold, end)

    def _open(self, t: float, seconds: float) -> None:
        self.opened = (*getattr(self, "opened", ()), (t, seconds))

    def _door(self, t: float, since: float) -> bool:
        planned = any(a <= since < a + s for a, s in self.day.doors)
        return planned or any(a <= t < a + s for a, s in getattr(self, "opened", ()))

    def _broken(self, since: float) -> bool:
        return self.day.fault is not None and self.day.fault[0] <= since < sum(self.day.fault)

    def _pull(self, pulls: list[Blade], t: float, end: float) -> None:
        while pulls and t >= end + pulls[0].pull_after_s:
            blade = pulls.pop(0)
            self.marks.append((t, "pull", (blade.name,)))
            self.marks.append((t + blade.plates_s, "plates", (blade.name,)))
            self.inside.discard(blade.name)
            self._open(t, 8.0)

    def _controller(self, setpoint: float, *, broken: bool) -> float:
        if broken:
            return 0.0
        error = setpoint - self.control
        if abs(error) < 20:
            self.integral = min(max(self.integral + 0.03 * error * EVERY_S / 300.0, 0.0), 1.0)
        elif error > 40:
            self.integral = 0.45
        return float(min(max(0.03 * error + self.integral, 0.0), 1.0))

    def _step(self, output: float, *, door: bool) -> None:
        day = self.day
        for _ in range(2):
            dt = EVERY_S / 2
            to_brick = CHAMBER_TO_BRICK_W_PER_K * (self.chamber - self.brick)
            loss = day.insulation * (
                LOSS_W_PER_K * (self.brick - day.room_c) + LOSS_RADIATION * (max(self.brick, 0) / 100.0) ** 2
            )
            taken = 0.0
            for blade in day.blades:
                if blade.name in self.inside:
                    taken += self._heat(blade, dt)
            out = 5.0 * (self.chamber - day.room_c) if door else 0.0
            power = FULL_POWER_W * day.mains * output
            self.chamber += dt * (power - to_brick - taken - out) / CHAMBER_J_PER_K
            self.brick += dt * (to_brick - loss) / BRICK_J_PER_K
            seen = self.chamber - (55.0 if door else 0.0)
            self.control += dt / 18.0 * (self.shown(seen) - self.control)

    def _heat(self, blade: Blade, dt: float) -> float:
        """Warm one packet; return the power it takes [W]."""
        temp = self.temps[blade.name]
        around = self.chamber + blade.place_off_c * min(1.0, self.chamber / 1000.0)
        share = 0.16 if blade.foil else 0.5
        a, b = around + 273.15, temp + 273.15
        flux = share * SIGMA * (a**4 - b**4) + (4.0 if blade.foil else 9.0) * (around - temp)
        heat = STEEL_J_PER_M3_K * blade.thickness_mm * 1e-3 * blade.blades / 2.0
        self.temps[blade.name] = temp + min(dt * flux / heat, around - temp, key=abs)
        return 2.0 * SHEET_M2 * flux

    def _note(self, t: float, since: float, setpoint: float, output: float, cut: bool) -> None:
        day = self.day
        noise = self.rng.normal(0.0, 0.15, 3)
        control = self.control + noise[0]
        if self._broken(since):
            if not any(e == "sensor fault" for _, e, _ in self.events):
                self.events.append((t, "sensor fault", "control: open circuit"))
            control = np.nan
        gone = day.record_gap is not None and day.record_gap[0] <= since < sum(day.record_gap)
        if gone and not any(e == "link lost" for _, e, _ in self.events):
            self.events.append((t, "link lost", "missing"))
        if not gone:
            inside = [b for b in day.blades if b.name in self.inside]
            load = self.temps[inside[0].name] if inside else np.nan
            second = self.chamber + noise[1] - (30.0 if self._door(t, since) else 0.0)
            self.rows.append((t, self.chamber, control, second, load + noise[2], setpoint, 100.0 * output))
        self.blade_rows.append([t, *(self.temps[b.name] for b in day.blades)])

    def _lived(self, last_hold: float, end: float) -> Lived:
        table = np.array(self.rows)
        blades = np.array(self.blade_rows)
        return Lived(
            self.day,
            *(table[:, i] for i in range(7)),
            {b.name: blades[:, 1 + i] for i, b in enumerate(self.day.blades)},
            tuple(self.marks),
            tuple(self.events),
            last_hold,
            end,
        )


def utc_at(day: Day, t_s: float) -> str:
    """UTC text of a moment of the day."""
    return (day.start + timedelta(seconds=t_s)).astimezone(UTC).replace(tzinfo=None).isoformat(
        timespec="milliseconds"
    ) + "Z"


@dataclass(frozen=True)
class Fitting:
    """How a furnace is fitted: which sensors and signals its recorder sees. ``serial`` is the control sensor's."""

    name: str = "small furnace"
    control: bool = True
    recording: bool = False
    load: bool = False
    signals: bool = True
    serial: str = "K-1"
    thermocouple: str = "K"
    input_offset: float = 0.0
    thickness_mm: float = 3.0

    def columns(self) -> tuple[Column, ...]:
        """Columns of its run folders."""
        kind, serial = self.thermocouple, self.serial
        found = []
        if self.control:
            found.append(
                Column(
                    "control", "sensor", "C", role="control", thermocouple=kind, resolution=0.1, serial=serial,
                    channel="1", input_offset=self.input_offset,
                )
            )  # fmt: skip
        if self.recording:
            found.append(Column("second", "sensor", "C", role="recording", thermocouple="K", resolution=0.1))
        if self.load:
            found.append(
                Column(
                    "load", "sensor", "C", role="load", thermocouple="K", resolution=0.1, thickness_mm=self.thickness_mm
                )
            )
        if self.signals:
            found += [Column("setpoint", "signal", "C"), Column("output", "signal", "%")]
        return tuple(found)


def values_of(lived: Lived, fitting: Fitting) -> dict[str, FloatArray]:
    """What the recorder read, by column, rounded as an instrument does."""
    every = {
        "control": np.round(lived.control_c, 1),
        "second": np.round(lived.second_c, 1),
        "load": np.round(lived.load_c, 1),
        "setpoint": np.round(lived.setpoint_c, 1),
        "output": np.round(lived.output_pct, 0),
    }
    return {column.name: every[column.name] for column in fitting.columns()}


def all_events(lived: Lived) -> tuple[Event, ...]:
    """Events of the run, start and end among them."""
    last = float(lived.t_s[-1])
    parts = [(0.0, "start", ""), *lived.events, (last, "end", "")]
    return tuple(Event(t, utc_at(lived.day, t), event, detail) for t, event, detail in parts)


def run_of(lived: Lived, fitting: Fitting, name: str) -> Run:
    """The run in memory, as ``open_run`` would read it."""
    columns, values = fitting.columns(), values_of(lived, fitting)
    header = RunHeader(name, utc_at(lived.day, 0.0), columns, fitting.name, every_s=EVERY_S, zone="UTC")
    marks = tuple(Mark(t, act, pieces, mark_id=str(i)) for i, (t, act, pieces) in enumerate(lived.marks))  # type: ignore[arg-type]
    traces = tuple(
        Trace(c.name, c.role or "", lived.t_s, values[c.name], 0.1, EVERY_S) for c in columns if c.kind == "sensor"
    )
    check = RecordCheck(lived.t_s.size, (), False, True, True, None, ())
    return Run(Path(name), header, lived.t_s, values, all_events(lived), marks, check, traces)


def record(lived: Lived, fitting: Fitting, logbook: Path, recipe: tuple[str, str] | None) -> Path:
    """Write the run folder that a recorder would have left; ``recipe`` is its name and text."""
    from soakwitness.firmware_bridge.runfolder.marks import encode_mark

    name, text = recipe or (None, None)
    run = RunFolder.create(
        logbook, columns=fitting.columns(), furnace_name=fitting.name, started_utc=lived.day.start, zone="UTC",
        recipe_name=name, recipe_file=text, every_s=EVERY_S, origin="simulated",
    )  # fmt: skip
    values = values_of(lived, fitting)
    for i, t in enumerate(lived.t_s):
        row = {column: (None if np.isnan(v[i]) else float(v[i])) for column, v in values.items()}
        run.write_row(float(t), utc_at(lived.day, float(t)), row)
    marks = [
        (t, "mark", encode_mark(Mark(t, act, pieces, mark_id=f"{i:06x}", entered_t_s=t)))  # type: ignore[arg-type]
        for i, (t, act, pieces) in enumerate(lived.marks)
    ]
    for t, event, detail in sorted([*((e.t_s, e.event, e.detail) for e in all_events(lived)), *marks]):
        run.write_event(t, utc_at(lived.day, t), event, detail)
    run.seal(sealed_utc=lived.day.start + timedelta(seconds=float(lived.t_s[-1])))
    return run.path
