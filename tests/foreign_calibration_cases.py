"""Calibrations as small workshops do them, with what is true of each; by a hand that had not read the rules.

A chamber with swings, slow soaking and places that differ holds a few levels; in it are a sensor on its instrument and
a reference with a certificate. The truth is the sensor's whole chain at its own tip: what it shows less what is there,
on a day on which no cold junction is off. ``calibration_case(seed)`` is the same case for the same seed, always.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.thermocouples.reference_functions import emf_mv, seebeck_uv_per_c, temperature_c
from tests.foreign_chains import FULL_C, STEP_S, Chain, Chamber, FloatArray, lagged, rounded

Random = np.random.Generator
KINDS = {  # kind: weight in the draw
    "right inputs": 3,
    "three-point certificate": 2,
    "one stretch": 2,
    "swing to 4": 2,
    "by eye once, 0.1": 1,
    "by eye once, 1": 2,
    "by eye three times, 0.1": 1,
    "by eye three times, 1": 2,
    "by eye, hand meter": 2,
    "reference opens": 1,
    "reference shorts": 1,
    "reference steps": 2,
    "two stretches differ": 2,
    "plugs swapped": 1,
    "names swapped": 1,
    "certificate of other serial": 1,
    "certificate of other type": 1,
    "narrow check after wide": 2,
    "drift over a year": 2,
}
BY_EYE = frozenset(kind for kind in KINDS if kind.startswith("by eye"))
CONTRADICTIONS = frozenset(
    {
        "reference steps",
        "two stretches differ",
        "plugs swapped",
        "names swapped",
        "certificate of other serial",
        "certificate of other type",
    }
)
JUDGED_LATER = frozenset({"narrow check after wide", "drift over a year"})


@dataclass(frozen=True)
class CertificatePoint:
    """A row of the paper: at ``temp_c`` the reference's correction (or deviation) and U with its k."""

    temp_c: float
    value_c: float
    expanded_c: float
    k: float


@dataclass(frozen=True)
class Certificate:
    """The paper of a reference; ``states``: "correction" (to be added) or "deviation" (shown less true)."""

    type: str
    serial: str
    age_days: int
    states: str
    points: tuple[CertificatePoint, ...]
    drift_c: float  # half-width of what its owner grants it since, homogeneity included


@dataclass(frozen=True)
class Meter:
    """A hand meter's accuracy out of its leaflet, cold junction included."""

    percent: float
    plus_c: float


@dataclass(frozen=True)
class Stated:
    """What the user knows and states."""

    sensor_resolution_c: float
    reference_resolution_c: float
    distance_mm: float
    gradient_c_per_mm: float
    cold_junction_c: float
    readout_expanded_c: float  # U (k = 2) of the reference's whole readout, its cold junction included; 0: not stated
    meter: Meter | None = None


@dataclass(frozen=True)
class Log:
    """What the logger wrote; NaN where it wrote nothing. Control sensor and reference have a column each."""

    every_s: float
    sensor_c: FloatArray
    reference_c: FloatArray


@dataclass(frozen=True)
class SheetRow:
    """One line on paper: clock, what both displays showed to the last digit."""

    clock: str
    reference: str
    sensor: str


@dataclass(frozen=True)
class Later:
    """What comes after the calibration: heats and a day on which a hold is judged."""

    day: int  # days after the calibration
    hot_hours: float
    thin: bool
    judged_c: float


@dataclass(frozen=True)
class Calibration:
    """One calibration as the workshop has it: either a log or a sheet."""

    levels_c: tuple[float, ...]
    sensor_type: str
    reference_type: str
    reference_serial: str
    certificate: Certificate
    stated: Stated
    log: Log | None
    sheet: tuple[SheetRow, ...] = ()
    names_swapped: bool = False


@dataclass(frozen=True)
class CalibrationTruth:
    """Chains that were true of the sensor while it was calibrated, that of the judged day, and what was wrong."""

    chains: tuple[Chain, ...]
    later: Chain
    reference: Chain  # as it is today
    place_c: float  # sensor's place less reference's place at 1100 degC
    contradiction: str


@dataclass(frozen=True)
class CalibrationCase:
    """What is entered, one after the other, and what is true."""

    seed: int
    kind: str
    calibrations: tuple[Calibration, ...]
    later: Later | None
    truth: CalibrationTruth


def calibration_case(seed: int, kind: str | None = None) -> CalibrationCase:
    """Draw the case of a seed; with ``kind`` of that kind."""
    rng = np.random.default_rng([1313, seed])
    weights = np.array(list(KINDS.values()), dtype=float)
    drawn = str(rng.choice(list(KINDS), p=weights / weights.sum()))
    return _Draw(seed, kind or drawn, rng).case()


class _Draw:
    """One case in the making; what is drawn first is the same whatever the kind."""

    def __init__(self, seed: int, kind: str, rng: Random) -> None:
        self.seed, self.kind, self.rng = seed, kind, rng
        self.terminals_c = rng.uniform(18.0, 38.0)
        self.sensor = self._sensor()
        self.reference, self.serial = self._reference(), f"R-{rng.integers(10, 99)}"
        self.readout_own_c = 0.0  # U (k = 2) of it without the cold junction
        self.stated = self._stated()
        bound_c = self.stated.distance_mm * self.stated.gradient_c_per_mm
        self.place_c = rng.uniform(-bound_c, bound_c)

    def _sensor(self) -> Chain:
        """Base metal, new to used: within class 2 and somewhat beyond, and an input of 0.1 %."""
        rng, type_ = self.rng, str(self.rng.choice(["K", "N", "S"], p=[0.6, 0.25, 0.15]))
        widest = {"K": 8.0, "N": 6.0, "S": 2.5}[type_]
        return Chain(
            type_,
            plus_c=rng.uniform(-1.0, 1.0),
            slope_c=rng.uniform(-widest, widest),
            hump_c=rng.uniform(0.0, 2.5) if type_ == "K" else 0.0,
            gain_percent=rng.uniform(-0.1, 0.1),
            offset_c=float(rng.choice([0.0, 0.0, 0.0, 2.0, -3.0])),
            terminals_c=self.terminals_c,
        )

    def _reference(self) -> Chain:
        rng, type_ = self.rng, str(self.rng.choice(["N", "S", "K"], p=[0.5, 0.3, 0.2]))
        widest = 1.5 if type_ == "S" else 3.0
        return Chain(type_, rng.uniform(-0.4, 0.4), rng.uniform(-widest, widest), terminals_c=self.terminals_c)

    def _stated(self) -> Stated:
        rng, kind = self.rng, self.kind
        distance_mm, gradient = float(rng.choice([5.0, 10.0, 20.0])), float(rng.choice([0.05, 0.1, 0.15]))
        cold_junction_c = float(rng.choice([0.3, 0.5, 1.0], p=[0.3, 0.5, 0.2]))
        readout_c = float(rng.choice([0.5, 1.0, 1.5]))
        step_c = float(rng.choice([0.1, 0.1, 1.0]))
        meter = Meter(float(rng.choice([0.05, 0.1, 0.2])), float(rng.choice([0.5, 0.7, 1.0])))
        eye_step_c = 1.0 if kind.endswith(", 1") else 0.1 if kind.endswith("0.1") else step_c
        steps = (eye_step_c, eye_step_c) if kind in BY_EYE else (step_c, 0.1)
        if kind == "by eye, hand meter":
            return Stated(step_c, 0.1, distance_mm, gradient, cold_junction_c, 0.0, meter)
        # a sheet has no place for the readout's own uncertainty: its owner has one that needs none
        if kind in BY_EYE:
            return Stated(*steps, distance_mm, gradient, cold_junction_c, 0.0)
        self.readout_own_c = readout_c
        at_work = {"K": 1.0, "N": 0.7, "S": 0.56}[self.reference.type]  # slope at 25 over slope at 800 degC
        whole_c = 2.0 * float(np.hypot(readout_c / 2.0, cold_junction_c * at_work / np.sqrt(3.0)))
        return Stated(*steps, distance_mm, gradient, cold_junction_c, round(whole_c, 2))

    def _certificate(self, chain: Chain, serial: str, temps_c: tuple[float, ...]) -> Certificate:
        """Paper made of a chain that was the reference's then: its values scatter by their own U about what was so."""
        rng, k = self.rng, float(self.rng.choice([2.0, 2.0, 2.0, 3.0]))
        expanded_c = float(rng.choice([0.8, 1.2, 1.6, 2.2])) * (0.6 if chain.type == "S" else 1.0) * k / 2.0
        states = str(rng.choice(["correction", "deviation"], p=[0.7, 0.3]))
        common, points = rng.normal(), []
        for temp_c in temps_c:
            u_c = expanded_c * (0.85 + 0.3 * temp_c / FULL_C) / k
            error_c = float(chain.wire_error_c(np.array(temp_c))) + u_c * (0.9 * common + 0.436 * rng.normal())
            value_c = error_c if states == "deviation" else -error_c
            points.append(CertificatePoint(temp_c, round(value_c, 2), round(u_c * k, 2), k))
        return Certificate(
            chain.type, serial, int(rng.integers(10, 330)), states, tuple(points), float(rng.choice([0.3, 0.5, 1.0]))
        )

    def _levels(self) -> tuple[float, ...]:
        rng, kind = self.rng, self.kind
        low, middle, high = rng.uniform(480, 620), rng.uniform(760, 880), rng.uniform(1000, 1070)
        drawn = [(middle, high), (low, middle, high), (low, high)][int(rng.choice(3, p=[0.5, 0.35, 0.15]))]
        levels = {
            "one stretch": (float(rng.choice([middle, high])),),
            "two stretches differ": (middle, high, middle),
            "narrow check after wide": (low, middle, high),
            "drift over a year": (middle, high),
        }.get(kind, drawn)
        return tuple(round(float(level)) for level in levels)

    def _temps(self, levels_c: tuple[float, ...]) -> tuple[float, ...]:
        """Points of the paper: they reach over all levels."""
        if self.kind == "three-point certificate":
            return (450.0, 800.0, 1100.0) if min(levels_c) < 600 else (600.0, 850.0, 1100.0)
        if self.kind == "one stretch" and self.rng.random() < 0.5:
            return (float(round(levels_c[0], -1)),)
        return tuple(float(t) for t in range(400, 1101, int(self.rng.choice([100, 140]))))

    def case(self) -> CalibrationCase:
        """The whole case."""
        rng, kind, levels_c = self.rng, self.kind, self._levels()
        paper = self._certificate(self.reference, self.serial, self._temps(levels_c))
        reference = self._since(self.reference, paper)
        if kind == "certificate of other serial":
            amount_c = rng.choice([-1.0, 1.0]) * rng.uniform(3.0, 8.0)
            other = replace(self.reference, slope_c=self.reference.slope_c + amount_c)
            paper = self._certificate(other, f"{self.serial}-B", self._temps(levels_c))
        elif kind == "certificate of other type":
            other_type = {"K": "N", "N": "K", "S": "R"}[self.reference.type]
            amount_c = rng.choice([-1.0, 1.0]) * rng.uniform(3.0, 8.0)
            other = replace(self.reference, type=other_type, slope_c=self.reference.slope_c + amount_c)
            paper = self._certificate(other, self.serial, self._temps(levels_c))
        elif kind == "plugs swapped" and rng.random() < 0.7:  # of one type, nothing looks odd
            self.sensor = replace(self.sensor, type=self.reference.type, hump_c=0.0)
        first = self._calibration(levels_c, reference, paper)
        chains: tuple[Chain, ...] = (self.sensor,)
        if kind == "two stretches differ" and first[1] is not None:
            chains = (self.sensor, first[1])
        elif kind == "names swapped":
            chains = (reference,)
        calibrations, later, at_last = [first[0]], None, chains[-1]
        if kind == "narrow check after wide":
            level_c = round(levels_c[1] + rng.uniform(-30.0, 30.0))
            calibrations.append(self._calibration((level_c,), reference, paper)[0])
            later = Later(120, rng.uniform(2.0, 15.0), False, float(levels_c[-1]))
        elif kind == "drift over a year":
            later, at_last = self._aged(float(levels_c[-1]))
        contradiction = kind if kind in CONTRADICTIONS else ""
        truth = CalibrationTruth(chains, at_last, reference, self.place_c, contradiction)
        return CalibrationCase(self.seed, kind, tuple(calibrations), later, truth)

    def _since(self, chain: Chain, paper: Certificate) -> Chain:
        """The reference today: it drifted within what is granted, and its readout is off within its U."""
        rng, stated = self.rng, self.stated
        slope_c = chain.slope_c + rng.uniform(-paper.drift_c, paper.drift_c)
        off_c, gain = rng.normal(0.0, self.readout_own_c / 2.0), 0.0
        if stated.meter is not None:
            off_c = rng.uniform(-stated.meter.plus_c, stated.meter.plus_c)
            gain = rng.uniform(-stated.meter.percent, stated.meter.percent)
        return replace(chain, slope_c=slope_c, offset_c=off_c, gain_percent=gain)

    def _aged(self, judged_c: float) -> tuple[Later, Chain]:
        """A year on: drift without sign, within 2 + 2 h/100 (thin: 2 + 6 h/100) for h hours above 950 degC."""
        rng, thin = self.rng, bool(self.rng.random() < 0.3)
        hours = float(rng.uniform(3.0, 45.0 if thin else 95.0))
        most_c = 2.0 + (6.0 if thin else 2.0) * hours / 100.0
        if self.sensor.type == "S":
            most_c = 0.5 + 0.5 * hours / 100.0
        drift_c = rng.uniform(-most_c, most_c) * FULL_C / judged_c
        aged = replace(self.sensor, slope_c=self.sensor.slope_c + drift_c)
        return Later(363, hours, thin, judged_c), aged

    def _calibration(
        self, levels_c: tuple[float, ...], reference: Chain, paper: Certificate
    ) -> tuple[Calibration, Chain | None]:
        """Run the furnace; with a sensor that changed on the way, what it was afterwards."""
        rng, kind, stated = self.rng, self.kind, self.stated
        swing_c, period_s = rng.uniform(0.0, 0.6), rng.uniform(60.0, 400.0)
        if kind == "swing to 4":
            swing_c, period_s = rng.uniform(1.0, 4.0), rng.uniform(90.0, 600.0)
        chamber = Chamber(
            levels_c,
            rng.uniform(40.0, 70.0) * 60.0,
            rng.uniform(300.0, 1500.0),
            rng.uniform(0.0, 8.0),
            rng.uniform(-1.0, 1.0),
            swing_c,
            period_s,
        )
        air_c, spans = chamber.trace()
        t_s: FloatArray = np.asarray(np.arange(air_c.size) * STEP_S, dtype=np.float64)
        sensor_lag_s, reference_lag_s = rng.uniform(8.0, 50.0), rng.uniform(5.0, 40.0)
        tip_c = lagged(air_c + self.place_c * air_c / FULL_C, sensor_lag_s)
        # where the reference is soaks a little later: its place settles over a quarter of an hour
        reference_tip_c = lagged(air_c, reference_lag_s)
        for begin_s, _ in spans:
            since_s = np.clip(t_s - begin_s, 0.0, None)
            reference_tip_c = reference_tip_c + np.where(
                t_s >= begin_s, 0.3 * self.place_c * np.exp(-since_s / 400.0), 0.0
            )
        off_c = rng.uniform(-stated.cold_junction_c, stated.cold_junction_c)
        their_off_c = rng.uniform(-stated.cold_junction_c, stated.cold_junction_c) if stated.meter is None else 0.0
        sensor_c = self.sensor.shown_c(tip_c, off_c)
        reference_c = reference.shown_c(reference_tip_c, their_off_c)
        after: Chain | None = None
        if kind == "two stretches differ":
            amount_c = rng.choice([-1.0, 1.0]) * rng.uniform(4.0, 12.0)
            moved = t_s > rng.uniform(*spans[1])
            if rng.random() < 0.3:
                after = replace(self.sensor, slope_c=self.sensor.slope_c + amount_c * FULL_C / levels_c[0])
                sensor_c = np.where(moved, after.shown_c(tip_c, off_c), sensor_c)
            else:
                reference_c = np.where(moved, reference_c + amount_c, reference_c)
        sensor_c = sensor_c + rng.normal(0.0, rng.uniform(0.02, 0.25), t_s.size)
        reference_c = reference_c + rng.normal(0.0, rng.uniform(0.02, 0.25), t_s.size)
        reference_c = self._harmed(t_s, spans, reference_c)
        if kind == "plugs swapped":
            sensor_c, reference_c = self._swapped(tip_c, reference_tip_c, reference, (off_c, their_off_c))
        sensor_c = rounded(sensor_c, stated.sensor_resolution_c)
        reference_c = rounded(reference_c, stated.reference_resolution_c)
        log: Log | None = None
        sheet: tuple[SheetRow, ...] = ()
        if kind in BY_EYE:
            sheet = self._read_by_eye(spans, sensor_c, reference_c)
        else:
            every = int(rng.choice([4, 10, 20, 30]) / STEP_S)
            log = Log(every * STEP_S, sensor_c[::every], reference_c[::every])
        made = Calibration(
            levels_c,
            self.sensor.type,
            reference.type,
            self.serial,
            paper,
            stated,
            log,
            sheet,
            names_swapped=kind == "names swapped",
        )
        return made, after

    def _harmed(self, t_s: FloatArray, spans: tuple[tuple[float, float], ...], shown_c: FloatArray) -> FloatArray:
        """Open, short or step of the reference, some time within the second half of a hold or between two."""
        rng, kind = self.rng, self.kind
        if kind not in ("reference opens", "reference shorts", "reference steps"):
            return shown_c
        begin_s, end_s = (
            spans[-1] if len(spans) > 1 or kind == "reference steps" else (spans[0][1] - 900.0, spans[0][1])
        )
        # one whole hold is left before it opens, so that the rest is of use
        from_s = rng.uniform(begin_s, end_s) if rng.random() < 0.8 else rng.uniform(spans[0][1] - 1200.0, spans[0][1])
        gone = t_s > from_s
        if kind == "reference opens":
            top_c = {"K": 1372.0, "N": 1300.0, "S": 1768.0}[self.reference.type]
            return np.where(gone, top_c if rng.random() < 0.5 else np.nan, shown_c)
        if kind == "reference shorts":
            shorted_c = 40.0 + 0.03 * shown_c + rng.normal(0.0, 0.3, t_s.size)
            return np.where(gone, shorted_c, shown_c)
        return np.where(gone, shown_c + rng.choice([-1.0, 1.0]) * rng.uniform(3.0, 15.0), shown_c)

    def _swapped(
        self, tip_c: FloatArray, reference_tip_c: FloatArray, reference: Chain, off_c: tuple[float, float]
    ) -> tuple[FloatArray, FloatArray]:
        """Each thermocouple on the other one's input: the curve belongs to the input, the wire does not."""
        shown = []
        for wire, tip, on, off in (
            (reference, reference_tip_c, self.sensor, off_c[0]),
            (self.sensor, tip_c, reference, off_c[1]),
        ):
            wire_mv = emf_mv(tip, wire.type) + wire.wire_error_c(tip) * seebeck_uv_per_c(tip, wire.type) * 1e-3
            mv = wire_mv - emf_mv(self.terminals_c, wire.type) + emf_mv(self.terminals_c + off, on.type)
            shown.append(temperature_c(mv, on.type) + on.offset_c + self.rng.normal(0.0, 0.1, tip.size))
        return shown[0], shown[1]

    def _read_by_eye(
        self, spans: tuple[tuple[float, float], ...], sensor_c: FloatArray, reference_c: FloatArray
    ) -> tuple[SheetRow, ...]:
        """Late in each hold; some seconds pass from one display to the other."""
        rng, rows = self.rng, []
        times = 3 if "three" in self.kind or (self.stated.meter is not None and rng.random() < 0.5) else 1
        for begin_s, end_s in spans:
            at_s = rng.uniform(begin_s + 1500.0, end_s - 700.0)
            for _ in range(times):
                first, second = int(at_s / STEP_S), int((at_s + rng.uniform(2.0, 15.0)) / STEP_S)
                clock = f"{8 + int(at_s // 3600) % 16:02d}:{int(at_s % 3600 // 60):02d}"
                rows.append(
                    SheetRow(
                        clock,
                        _digits(reference_c[first], self.stated.reference_resolution_c),
                        _digits(sensor_c[second], self.stated.sensor_resolution_c),
                    )
                )
                at_s += rng.uniform(100.0, 300.0)
        return tuple(rows)


def _digits(value_c: float, step_c: float) -> str:
    return f"{value_c:.0f}" if step_c >= 1.0 else f"{value_c:.1f}"
