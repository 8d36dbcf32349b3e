"""Figures that put one heat treatment beside another. They are comparisons only: the clock soak stays the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, duration_span, temperature

LABEL = "for comparison only; the soak by the clock stays the verdict"
ZERO_C_IN_K = 273.15
GAS_CONSTANT = 8.314462618  # J/(mol K), exact by the SI of 2019
TEMPER_CONSTANT = 20.0
S_PER_H = 3600.0
TEMPER_BELOW_C = 700.0
MOST_READINGS = 20_000
STEP_K = 0.25
GAP_PERIODS = 3.0  # as everywhere: longer than this between two readings is a gap
ACTIVATION_RANGE_J_PER_MOL = (200e3, 250e3, 300e3)  # carbides going into solution; a range to compare with, no source
MS_REFUSED = (
    "Formulas for Ms need the composition of the matrix after hardening. In high-carbon and chromium stainless steels "
    "part of the carbon and chromium stays in carbides, so the certificate's analysis gives a wrong Ms. "
    "Give an Ms that was measured for this hardening temperature: --ms MS."
)


class ComparisonRefused(AnalysisError):
    """A figure that would say nothing true about this steel or these temperatures."""


@dataclass(frozen=True)
class EquivalentSoak:
    """A soak weighted to one temperature: ``time_s`` [s] at ``reference_c`` [degC] for ``activation_j_per_mol``."""

    reference_c: float
    activation_j_per_mol: float
    time_s: float


def hollomon_jaffe(temp_c: float, time_h: float, *, constant: float = TEMPER_CONSTANT) -> float:
    """Temper parameter of a hold at one temperature.

    P = T (C + lg t) / 1000 with T in K and t in h. It compares tempers of one steel; it predicts no hardness, and says
    nothing where a steel hardens again by secondary carbides.

    ``constant``: the constant C [log10 h]. Returns P [10^3 K].

    Raises ComparisonRefused for a time of 0 or less, or a temperature below absolute zero. Source: EN 13445-4:2021,
    equation (11.1-1), with C = 20.
    """
    if not time_h > 0.0 or not temp_c > -ZERO_C_IN_K:
        says = f"A temper of {time_h:g} h at {{at}}: time and absolute temperature must be above 0."
        raise ComparisonRefused(Says.of(says, at=Temp(temp_c)))
    return (temp_c + ZERO_C_IN_K) * (constant + math.log10(time_h)) / 1000.0


def equal_temper_time_h(temp_c: float, parameter: float, *, constant: float = TEMPER_CONSTANT) -> float:
    """Time at one temperature that gives a temper parameter.

    lg t = 1000 P / T - C, the equation of :func:`hollomon_jaffe` solved for t.

    ``parameter``: P [10^3 K]. ``constant``: the constant C [log10 h].
    """
    return float(10.0 ** (1000.0 * parameter / (temp_c + ZERO_C_IN_K) - constant))


def temper_parameter(t_s: FloatArray, temp_c: FloatArray, *, constant: float = TEMPER_CONSTANT) -> float:
    """Temper parameter of a measured temper, its ramps included.

    Piecewise accumulation: the parameter reached so far is turned into an equal time at the next temperature, the step
    is added, and so on. In small steps this solves dt/dT = 1/r - ln10 t (C + lg t)/T for a ramp of rate r; its usual
    closed form t = T / (ln10 r (C + lg t)) leaves the left side out and comes 2 % too high.

    ``temp_c``: temperature of the work [degC], shape (n,); NaN where nothing was read is bridged by a straight line.
    ``constant``: the constant C [log10 h]. Returns P [10^3 K] at the end.

    Raises ComparisonRefused where fewer than two temperatures are on record. Source: EN 13445-4:2021, equation
    (11.1-1).
    """
    hours, temp_k = _fine(t_s, temp_c, step_k=STEP_K, step_s=60.0)
    equal_h = 0.0
    parameter = -math.inf
    for step_h, kelvin in zip(hours.tolist(), temp_k.tolist(), strict=True):
        if parameter > 0.0:
            equal_h = 10.0 ** min(300.0, 1000.0 * parameter / kelvin - constant)
        parameter = kelvin * (constant + math.log10(equal_h + step_h)) / 1000.0
    return parameter


def equivalent_time_s(t_s: FloatArray, temp_c: FloatArray, *, reference_c: float, activation_j_per_mol: float) -> float:
    """Soak weighted by how fast a thermally activated process runs, counted at one temperature.

    Integral of exp(Q/R (1/T_ref - 1/T)) dt with T in K; between two readings the temperature is a straight line and the
    integrand is evaluated on steps of at most 0.25 K by the trapezoid rule. Of very many readings some are taken.

    ``temp_c``: temperature of the work [degC], shape (n,); NaN where nothing was read is bridged by a straight line.
    ``activation_j_per_mol``: activation energy Q [J/mol].

    Raises ComparisonRefused where fewer than two temperatures are on record, or Q is not above 0. Source: S. Arrhenius,
    Z. phys. Chem. 4 (1889) 226-248, for the rate law.
    """
    if not activation_j_per_mol > 0.0:
        raise ComparisonRefused(f"An activation energy of {activation_j_per_mol:g} J/mol: it must be above 0.")
    t, temp = _refined(*_some(*_known(t_s, temp_c)), step_k=STEP_K)
    exponent = activation_j_per_mol / GAS_CONSTANT * (1.0 / (reference_c + ZERO_C_IN_K) - 1.0 / (temp + ZERO_C_IN_K))
    weight = np.exp(np.minimum(exponent, 700.0))
    return float(np.sum(0.5 * (weight[1:] + weight[:-1]) * np.diff(t)))


def equivalent_soaks(t_s: FloatArray, temp_c: FloatArray, *, reference_c: float) -> tuple[EquivalentSoak, ...]:
    """Equivalent soaks over a range of activation energies, since nobody knows a steel's own.

    ``reference_c``: temperature that the time is counted at [degC], usually the hold's target.
    """
    return tuple(
        EquivalentSoak(
            reference_c, energy, equivalent_time_s(t_s, temp_c, reference_c=reference_c, activation_j_per_mol=energy)
        )
        for energy in ACTIVATION_RANGE_J_PER_MOL
    )


def retained_fraction(temp_c: float, *, ms_c: float | None) -> float:
    """Share of austenite left after cooling to a temperature: a what-if for a cold treatment.

    f = exp(-0.011 (Ms - T)), fitted to plain carbon steels cooled in one go. No Ms is computed here: the published
    formulas need the composition of the matrix, which differs from the certificate's in high-carbon and chromium
    stainless grades. Austenite that rested at room temperature before the cold treatment is partly stabilised: the
    fraction is then too low.

    ``ms_c``: martensite start temperature that was measured for this steel and hardening temperature [degC]; None is
    refused, see Notes. Returns fraction from 0 to 1; 1 at or above ``ms_c``.

    Raises ComparisonRefused where no Ms is given. Source: D. P. Koistinen and R. E. Marburger, Acta Metallurgica 7
    (1959) 59-60.
    """
    if ms_c is None:
        raise ComparisonRefused(MS_REFUSED)
    return math.exp(-0.011 * max(0.0, ms_c - temp_c))


@dataclass(frozen=True)
class HoldComparison:
    """What a hold amounts to at ``target_c`` [degC]: a temper by its parameter [10^3 K], a hotter one by ``soaks``.

    ``equal_h`` [h] at the target gives the same parameter. ``bridged_s`` [s] of it went by without a reading and count
    as a straight line.
    """

    target_c: float
    parameter: float | None
    equal_h: float | None
    soaks: tuple[EquivalentSoak, ...]
    bridged_s: float


def compare_hold(t_s: FloatArray, temp_c: FloatArray, *, target_c: float) -> HoldComparison:
    """Find what a hold amounts to at its target.

    ``t_s``: times [s], shape (n,), strictly rising; the hold with the ramps that belong to it. ``temp_c``: temperature
    of the work [degC], shape (n,); NaN where nothing was read is bridged by a straight line. ``target_c``: the hold's
    target [degC]; below 700 it is compared as a temper.

    Raises ComparisonRefused where fewer than two temperatures are on record.
    """
    times, _ = _known(t_s, temp_c)
    between = np.diff(times)
    bridged_s = float(between[between > GAP_PERIODS * np.median(np.diff(t_s))].sum())
    if target_c < TEMPER_BELOW_C:
        parameter = temper_parameter(t_s, temp_c)
        return HoldComparison(target_c, parameter, equal_temper_time_h(target_c, parameter), (), bridged_s)
    return HoldComparison(target_c, None, None, equivalent_soaks(t_s, temp_c, reference_c=target_c), bridged_s)


def comparison_sentence(compared: HoldComparison, unit: Unit = "C") -> str:
    """Say what a hold amounts to.

    Returns one sentence that ends with the label of every such figure.
    """
    at = temperature(compared.target_c, unit)
    bridged = f", {duration(compared.bridged_s)} without a reading taken as a straight line"
    more = f"{bridged if compared.bridged_s else ''} ({LABEL})."
    if compared.parameter is not None:
        figure = f"Hollomon-Jaffe parameter {compared.parameter:.2f} with C = {TEMPER_CONSTANT:g}"
        return f"{figure}, as {duration(3600.0 * (compared.equal_h or 0.0))} at {at}{more}"
    times_s = [soak.time_s for soak in compared.soaks]
    energies = f"{ACTIVATION_RANGE_J_PER_MOL[0] / 1e3:.0f} to {ACTIVATION_RANGE_J_PER_MOL[-1] / 1e3:.0f} kJ/mol"
    return f"As {duration_span(min(times_s), max(times_s))} at {at}, weighted after Arrhenius for {energies}{more}"


def _known(t_s: FloatArray, temp_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    had = np.isfinite(temp_c)
    if int(had.sum()) < 2:
        raise ComparisonRefused("Fewer than two temperatures are on record, so there is nothing to compare.")
    return t_s[had], temp_c[had]


def _some(t: FloatArray, temp: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Take evenly spread readings where there are very many; first and last stay."""
    if t.size <= MOST_READINGS:
        return t, temp
    some = np.unique(np.append(np.arange(0, t.size, -(-t.size // MOST_READINGS)), t.size - 1))
    return t[some], temp[some]


def _refined(
    t: FloatArray, temp: FloatArray, *, step_k: float, step_s: float = math.inf
) -> tuple[FloatArray, FloatArray]:
    """Add points on the straight lines so that no step is longer than this [K], [s]."""
    parts = np.maximum(np.ceil(np.abs(np.diff(temp)) / step_k), np.ceil(np.diff(t) / step_s)).astype(int)
    parts = np.maximum(parts, 1)
    if int(parts.max()) == 1:
        return t, temp
    place = np.concatenate(([0.0], np.cumsum(np.repeat(1.0 / parts, parts))))
    index = np.arange(t.size, dtype=np.float64)
    place[-1] = index[-1]
    return np.interp(place, index, t), np.interp(place, index, temp)


def _fine(t_s: FloatArray, temp_c: FloatArray, *, step_k: float, step_s: float) -> tuple[FloatArray, FloatArray]:
    """Steps [h] with the mean temperature of each [K]; of much denser readings only some are taken."""
    t, temp = _refined(*_some(*_known(t_s, temp_c)), step_k=step_k, step_s=step_s)
    return np.diff(t) / S_PER_H, 0.5 * (temp[1:] + temp[:-1]) + ZERO_C_IN_K
