"""One packet from several instrumented runs: its mean figures, and how much they really differ from run to run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.piece import LAG_LIMITS, LIMITS, PARAMETERS, PacketModel
from soakwitness.analysis.packet_runs.fitting import (
    LAG_AGAIN_S,
    PRIOR_LAG_SPREAD_S,
    PRIOR_LOGS,
    RUN_TO_RUN,
    Fit,
    usual_lag_s,
)

FloatArray = npt.NDArray[np.float64]
GUESS_COUNTS = 3.0  # the scatter that was assumed counts as so many runs beside those measured
SCATTER_LIMITS = (0.02, 1.0)
LEAST_LAG_SPREAD_S = 0.1
SAME = ("thickness_mm", "foil", "foil_mm", "heated_faces", "blades")


def combine_fits(fits: Sequence[PacketModel], *, before: PacketModel) -> PacketModel:
    """Combine packets fitted to several runs of the same instrumented blade.

    The logarithms of the figures of one run are a normal draw around their mean over all runs. What a run told by
    itself is its fit less the prior that the fit contains. Scatter: the most probable one, where the guess made for a
    single run counts as three runs (scaled inverse chi-squared), so that two runs alone cannot claim that packets never
    differ. The size of the transformation peak belongs to the steel and does not scatter. The peak's place is a mean
    weighted by what each run told, the offset between the two sensors a plain mean. The chamber's sensor has one lag.

    ``fits``: two or more, each fitted to one run, of one thickness [mm]. Returns mean figures with their spread, and
    the scatter from run to run as the runs showed it.

    Raises ValueError if there are fewer than two fits, or they are of different pieces. Source: Gelman et al., Bayesian
    Data Analysis, 3rd edition, chapter 5 (normal hierarchical model) and 2.6 (scaled inverse chi-squared prior), from
    memory.
    """
    if len(fits) < 2:
        raise ValueError(f"{len(fits)} fit: several are combined. Fit one run by itself.")
    for name in SAME:
        if len({getattr(fit, name) for fit in fits}) > 1:
            raise ValueError(f"The fits are of different pieces: {name} {[getattr(fit, name) for fit in fits]}.")
    used = [i for i, name in enumerate(PARAMETERS) if before.foil or name in ("eps_o", "peak_factor")]
    guess = np.append(np.array(RUN_TO_RUN)[used], 0.0)  # and last the chamber's sensor, which is the same in all
    prior = np.diag(np.append(np.array(PRIOR_LOGS)[used], PRIOR_LAG_SPREAD_S) ** -2.0)
    told = [_told(fit, before, used, prior) for fit in fits]
    scatter = _most_probable(told, guess, prior)
    mean, covariance = _mean(told, scatter, prior)
    deviation = np.sqrt(np.diag(covariance))
    correlation, last = np.eye(len(PARAMETERS) + 1), [*used, len(PARAMETERS)]
    correlation[np.ix_(last, last)] = covariance / np.outer(deviation, deviation)
    np.fill_diagonal(correlation, 1.0)
    correlation = 0.5 * (correlation + correlation.T)
    figures: dict[str, Any] = {
        PARAMETERS[i]: float(np.clip(getattr(before, PARAMETERS[i]) * np.exp(x), *LIMITS[PARAMETERS[i]]))
        for i, x in zip(used, mean[:-1], strict=True)
    }
    lag_spread_s = math.hypot(float(deviation[-1]), LAG_AGAIN_S)
    weights = np.array([fit.peak_spread_c**-2.0 for fit in fits])
    return replace(
        fits[0],
        spread=_all(used, deviation[:-1]),
        scatter=_all(used, np.where(guess > 0.0, np.sqrt(scatter), 0.0)[:-1]),
        correlation=tuple(tuple(round(float(v), 6) for v in row[:-1]) for row in correlation[:-1]),
        peak_c=float(np.average([fit.peak_c for fit in fits], weights=weights)),
        peak_spread_c=float(weights.sum() ** -0.5),
        sensor_lag_s=float(np.clip(usual_lag_s(before) + mean[-1], *LAG_LIMITS)),
        sensor_lag_spread_s=lag_spread_s,
        sensor_lag_with=tuple(round(float(v * deviation[-1]) / lag_spread_s, 6) for v in correlation[-1, :-1]),
        sensor_offset_c=float(np.mean([fit.sensor_offset_c for fit in fits])),
        fitted_from=", ".join(fit.fitted_from for fit in fits),
        source=", ".join(fit.fitted_from for fit in fits),
        **figures,
    )


def fits_to_dict(fits: Sequence[Fit], found: PacketModel, *, file: str) -> dict[str, Any]:
    """What runs told of a packet as plain data, ``soakwitness/packet-fit/1``: each fit, and what was made of all.

    ``file`` is where that was written.
    """
    each = [
        {
            "run": one.packet.fitted_from,
            "residual_c": one.residual_c,
            "worst_c": one.worst_c,
            "told": list(one.told),
            "says": [str(says) for says in one.says],
        }
        for one in fits
    ]
    return {
        "schema": "soakwitness/packet-fit/1",
        "file": file,
        "packet": asdict(found),
        "residual_c": max(one.residual_c for one in fits),
        "worst_c": max(one.worst_c for one in fits),
        "told": sorted({name for one in fits for name in one.told}),
        "says": list(dict.fromkeys(str(says) for one in fits for says in one.says)),
        "runs": each,
    }


def _all(used: Sequence[int], values: FloatArray) -> tuple[float, ...]:
    """Values of the used figures in the places of all of them, 0 elsewhere."""
    row = np.zeros(len(PARAMETERS))
    row[list(used)] = values
    return tuple(float(v) for v in row)


def _told(
    fit: PacketModel, before: PacketModel, used: Sequence[int], prior: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """What one run told by itself of figures and sensor lag: precision of its likelihood, and precision times mean."""
    spread = np.append(np.array(fit.spread)[list(used)], max(fit.sensor_lag_spread_s, LEAST_LAG_SPREAD_S))
    together = np.array(fit.sensor_lag_with)[list(used), None]
    own = np.block([[np.array(fit.correlation)[np.ix_(used, used)], together], [together.T, np.eye(1)]])
    precision = np.linalg.inv(np.outer(spread, spread) * own)
    x = [np.log(getattr(fit, PARAMETERS[i]) / getattr(before, PARAMETERS[i])) for i in used]
    values, vectors = np.linalg.eigh(0.5 * (precision + precision.T) - prior)
    likelihood: FloatArray = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return likelihood, precision @ np.array([*x, fit.sensor_lag_s - usual_lag_s(before)])


def _mean(
    told: Sequence[tuple[FloatArray, FloatArray]], scatter: FloatArray, prior: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean over the runs and its covariance, for a scatter (variances, shape (k,))."""
    precision, linear = prior.copy(), np.zeros(scatter.size)
    inverse = np.diag(1.0 / scatter)
    for own, pull in told:
        inner = np.linalg.inv(own + inverse)
        precision += inverse - inverse @ inner @ inverse
        linear += inverse @ inner @ pull
    covariance: FloatArray = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return covariance @ linear, covariance


def _most_probable(told: Sequence[tuple[FloatArray, FloatArray]], guess: FloatArray, prior: FloatArray) -> FloatArray:
    """Variances of the logarithms from run to run, shape (k,)."""
    from scipy.optimize import minimize

    free = guess > 0.0
    least, most = np.log(SCATTER_LIMITS)
    fixed = np.full(guess.size, SCATTER_LIMITS[0] ** 2)

    def variances(logs: FloatArray) -> FloatArray:
        out = fixed.copy()
        out[free] = np.exp(2.0 * logs)
        return out

    def cost(logs: FloatArray) -> float:
        scatter = variances(logs)
        mean, covariance = _mean(told, scatter, prior)
        size = 0.5 * GUESS_COUNTS * float(np.sum((guess[free] / np.exp(logs)) ** 2 + 2.0 * logs))
        size -= 0.5 * float(mean @ np.linalg.solve(covariance, mean)) + 0.5 * float(np.linalg.slogdet(covariance)[1])
        for own, pull in told:
            inner = np.linalg.inv(own + np.diag(1.0 / scatter))
            size += 0.5 * float(np.linalg.slogdet(np.eye(guess.size) + own * scatter)[1]) - 0.5 * float(
                pull @ inner @ pull
            )
        return size

    start = np.log(guess[free])
    found = minimize(cost, start, method="L-BFGS-B", bounds=[(least, most)] * start.size)
    return variances(np.asarray(found.x, dtype=np.float64))
