"""Many simulated calibrations with known truth: does U cover it, and is every stable stretch a real one?

``python tests/campaigns/calibrations.py [COUNT]`` prints the shares for 1,000 calibrations. ``simulate`` and ``judge``
are also used, for fewer, by the tests.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.calibrating import Calibration, calibrate, correction_of
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.reference import CertifiedPoint, certified
from soakwitness.analysis.errors import ContradictionError, NotEnoughData
from soakwitness.analysis.thermocouples.reference_functions import seebeck_uv_per_c

FloatArray = npt.NDArray[np.float64]
DENSE_S = 2.0


@dataclass(frozen=True)
class Case:
    """One run with its truth: readings [degC], true temperature at the sensor [degC], coefficients of its error."""

    t_s: FloatArray
    reference_c: FloatArray
    sensor_c: FloatArray
    true_c: FloatArray
    error: FloatArray
    certificate: tuple[CertifiedPoint, ...]
    comparing: Comparing

    def error_c(self, temp_c: npt.ArrayLike) -> FloatArray:
        """True error of the sensor at a true temperature [K]."""
        return np.asarray(np.polynomial.polynomial.polyval(np.asarray(temp_c) / 1000.0, self.error))


def course(rng: np.random.Generator) -> FloatArray:
    """True temperature every 2 s: holds of 8 to 50 min with creep, swing, door dips; ramps; cooling [degC]."""
    levels = np.sort(rng.choice(np.arange(200, 1101, 50), size=rng.integers(1, 6), replace=False)).astype(float)
    parts, now = [np.full(150, 22.0)], 22.0
    for level in levels:
        rate = rng.uniform(150, 900) / 3600.0 * DENSE_S
        parts.append(np.arange(now, level, rate))
        steps = int(rng.uniform(8, 50) * 60 / DENSE_S)
        t = np.arange(steps) * DENSE_S
        creep = rng.choice([0.0, 0.0, rng.uniform(-4, 4), rng.uniform(-15, 15)]) * t / 3600.0
        swing = rng.choice([0.0, 0.2, 0.5, 4.0]) * np.sin(2 * np.pi * t / rng.uniform(120, 900))
        overshoot = rng.uniform(0, 8) * np.exp(-t / rng.uniform(60, 400))
        hold = level + creep + swing + overshoot
        if rng.random() < 0.25:
            dip = rng.integers(steps // 4, steps)
            hold -= np.where(t > dip * DENSE_S, rng.uniform(15, 60), 0.0) * np.exp(-(t - dip * DENSE_S) / 200.0)
        parts.append(hold)
        now = float(hold[-1])
    cooling = 20 + (now - 20) * np.exp(-np.arange(0, 5400, DENSE_S) / 3500.0)
    return _lagged(np.concatenate([*parts, cooling]), 30.0)


def _lagged(values: FloatArray, tau_s: float) -> FloatArray:
    """First-order lag."""
    from scipy.signal import lfilter

    share = 1.0 - np.exp(-DENSE_S / tau_s)
    return np.asarray(lfilter([share], [1, share - 1], values, zi=[values[0] * (1 - share)])[0])


def simulate(seed: int) -> Case:
    """One calibration run. Every error is drawn from the distribution that its budget row states."""
    rng = np.random.default_rng(seed)
    true_c = course(rng)
    kind, other = rng.choice(["K", "N", "S"], size=2)
    comparing = Comparing(
        sensor_resolution_c=float(rng.choice([0.1, 1.0])),
        reference_resolution_c=0.1,
        sensor_type=str(kind),
        reference_type=str(other),
        distance_mm=float(rng.uniform(2, 12)),
    )
    error = np.array([rng.uniform(-3, 3), rng.uniform(-6, 6), rng.normal(0, 3) * (rng.random() < 0.5)])
    u = rng.uniform(0.8, 2.2)
    certificate = tuple(CertifiedPoint(t, rng.uniform(-2, 2), u) for t in (150.0, 450.0, 800.0, 1150.0))
    share = rng.normal() * u / 2.0  # the reference is wrong by one and the same share of U everywhere
    corrections = np.interp(true_c, [p.temp_c for p in certificate], [p.correction_c for p in certificate])
    gradient = rng.uniform(-1, 1) * comparing.distance_mm * comparing.gradient_c_per_mm

    def readout(values: FloatArray, letter: str, resolution: float) -> FloatArray:
        cold = rng.uniform(-1, 1) * comparing.cold_junction_c
        warm = np.maximum(values, 30.0)
        values = values + cold * seebeck_uv_per_c(25.0, letter) / seebeck_uv_per_c(warm, letter)
        values = values + rng.normal(0, rng.uniform(0.02, 0.3), values.size)
        return np.asarray(np.round(values / resolution) * resolution)

    reference = readout(
        _lagged(true_c + gradient - corrections + share, rng.uniform(5, 60)),
        str(other),
        comparing.reference_resolution_c,
    )
    bent = np.polynomial.polynomial.polyval(true_c / 1000.0, error)
    sensor = readout(_lagged(true_c + bent, rng.uniform(5, 60)), str(kind), comparing.sensor_resolution_c)
    every = int(rng.choice([1, 2, 5]))
    t_s = np.arange(true_c.size)[::every] * DENSE_S
    return Case(t_s, reference[::every], sensor[::every], true_c[::every], error, certificate, comparing)


@dataclass
class Tally:
    """Counts over many calibrations."""

    runs: int = 0
    without: int = 0
    points: int = 0
    covered: int = 0
    between: int = 0
    between_covered: int = 0
    stretches: int = 0
    false_stretches: int = 0
    swinging: int = 0
    refused: int = 0
    models: dict[str, int] | None = None


def judge(case: Case, tally: Tally, rng: np.random.Generator) -> Calibration | None:
    """Calibrate and compare with the truth."""
    tally.runs += 1
    reference = certified(case.certificate, "simulated certificate")
    try:
        found = calibrate(case.t_s, case.reference_c, case.sensor_c, reference, case.comparing)
    except NotEnoughData:
        tally.without += 1
        return None
    except ContradictionError:
        tally.refused += 1
        return None
    for point in found.points:
        stretch = point.stretch
        assert stretch is not None
        inside = (case.t_s >= stretch.start_s) & (case.t_s <= stretch.end_s)
        tally.points += 1
        truth = float(case.error_c(case.true_c[inside]).mean())
        tally.covered += abs(point.error_c - truth) <= point.budget.expanded_c
        tally.stretches += 1
        tally.swinging += stretch.swing_s is not None
        tally.false_stretches += is_false(case, inside, stretch.swing_s or 60.0)
    correction = correction_of(found, furnace="f", sensor="s", done_on="2026-01-01")
    lowest, highest = found.points[0].reading_c, max(p.reading_c for p in found.points)
    true_c = rng.uniform(lowest, highest) if highest - lowest > 30 else highest
    reading_c = true_c + float(case.error_c(true_c))
    tally.between += 1
    tally.between_covered += abs(float(correction.correct(reading_c)) - true_c) <= float(
        correction.expanded_c(reading_c)
    )
    tally.models = tally.models or {}
    tally.models[correction.model] = tally.models.get(correction.model, 0) + 1
    return found


def is_false(case: Case, inside: npt.NDArray[np.bool_], over_s: float) -> bool:
    """Whether the furnace really moved in a stretch said to be stable: over 9 degC/h, or over 3 degC and a step.

    A swing of under two minutes that no sheathed sensor shows is no movement: the truth is averaged over a minute, or
    over the swing that a stretch was averaged over.
    """
    cells = max(1, round(over_s / (case.t_s[1] - case.t_s[0])))
    felt_c = np.convolve(case.true_c[inside], np.ones(cells) / cells, mode="valid")
    t_s = case.t_s[inside][: felt_c.size]
    drift = abs(np.polyfit(t_s - t_s[0], felt_c, 1)[0]) * 3600.0
    return bool(drift > 9.0 or np.ptp(felt_c) > 3.0 + case.comparing.sensor_resolution_c)


def campaign(count: int, first_seed: int = 1) -> Tally:
    """Judge ``count`` simulated calibrations."""
    tally, rng = Tally(), np.random.default_rng(first_seed)
    for seed in range(first_seed, first_seed + count):
        judge(simulate(seed), tally, rng)
    return tally


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    result = campaign(many)
    print(f"{result.runs} runs, {result.without} without a stable stretch, models {result.models}")
    print(f"{result.refused} refused as contradicting themselves, {result.swinging} stretches averaged over swings")
    print(f"points: U covers the truth in {result.covered} of {result.points}: {result.covered / result.points:.1%}")
    share = result.between_covered / result.between
    print(f"between the points: in {result.between_covered} of {result.between}: {share:.1%}")
    print(f"false stretches: {result.false_stretches} of {result.stretches}")
