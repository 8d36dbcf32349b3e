"""What is wrong with this thermocouple? Causes ranked from readings against a reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.diagnosing.cheap_tests import FOR_CAUSE, CheapTest, best_test, named_test
from soakwitness.analysis.calibration.diagnosing.drawn_causes import CircuitReadings, DrawnCause, drawn_causes
from soakwitness.analysis.calibration.diagnosing.fault_evidence import OtherEvidence, likelihoods
from soakwitness.analysis.calibration.diagnosing.faults import NOTHING
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.thermocouples.reference_functions import TYPES
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

FloatArray = npt.NDArray[np.float64]

SURE = 0.95  # probability from which a cause is named alone
MENTION = 0.02
NO_FIT_BELOW = 1e-6  # probability of so bad a fit below which a cause explains nothing
NOISE_C = 1.0
DRAWS_LOG2, DRAWS_A_TYPE_LOG2 = 13, 11  # of one type that is known, of each where none is


@dataclass(frozen=True)
class FaultCandidate:
    """One cause: its probability among all causes, its size in words, the error it would make, and what to do next."""

    cause: str
    probability: float
    size: Says
    says: Says
    error_c: tuple[float, ...]
    misfit_c: float
    next: str
    fits: bool = True

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "cause": self.cause,
            "probability": self.probability,
            "size": str(self.size),
            "says": str(self.says),
            "error_c": list(self.error_c),
            "misfit_c": self.misfit_c,
            "fits": self.fits,
            "next": self.next,
        }


@dataclass(frozen=True)
class Diagnosis:
    """Causes, likeliest first. ``cause`` None: cannot tell, and ``test`` would tell between ``between``.

    With ``between`` empty none of the known causes explains the readings.
    """

    cause: str | None
    candidates: tuple[FaultCandidate, ...]
    between: tuple[str, ...]
    test: CheapTest | None
    says: Says

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        test = self.test
        return {
            "cause": self.cause,
            "between": list(self.between),
            "says": str(self.says),
            "test": None if test is None else {"name": test.name, "do": test.do, "shows": self.outcomes()},
            "candidates": [c.as_dict() for c in self.candidates],
        }

    def outcomes(self) -> dict[str, str]:
        """What the test would show for each cause still in question."""
        return {} if self.test is None else {cause: self.test.outcome(cause) for cause in self.between}


def diagnose(
    readings: Sequence[PairReading],
    *,
    set_to: str | None = None,
    noise_c: float = NOISE_C,
    other: OtherEvidence | None = None,
) -> Diagnosis:
    """Rank what may be wrong with a thermocouple.

    Each cause predicts what is shown by circuits drawn from what is plausible of it. Its evidence is the mean over the
    draws of a normal likelihood with covariance noise^2 I + share^2 t t', the second term being what new wire is off by
    itself; times how often it is met, and times what else was seen (``other``). Ordinary causes count more beforehand:
    a costly name needs readings that they do not explain.

    ``readings``: reference and shown temperature [degC], head and room temperature where known. ``set_to``: letter of
    the type set in the instrument; None: every type is tried, as likely as the others. ``noise_c``: standard
    uncertainty of one comparison of shown and reference [K]. Returns A cause alone where its probability is 0.95 or
    more; else "cannot tell" with the test that would.

    Raises NotEnoughData with fewer than two readings.
    """
    other = other or OtherEvidence()
    if len(readings) + len(other.lost) < 2:
        raise NotEnoughData("one reading fits any cause: take two or more, far apart in temperature.")
    kinds = (set_to.upper(),) if set_to else TYPES
    evidence: dict[str, float] = {}
    best: dict[str, tuple[float, DrawnCause, int, bool]] = {}
    for drawn in drawn_causes(_asked(readings, other), kinds, counts_log2=DRAWS_LOG2 if set_to else DRAWS_A_TYPE_LOG2):
        for cause, weight, likelihood in likelihoods(drawn, readings, other, kinds, noise_c):
            found = float(_mean_of(likelihood.log)) + float(np.log(weight))
            evidence[cause] = np.logaddexp(evidence.get(cause, -np.inf), found)
            at = int(np.argmax(likelihood.log))
            if cause not in best or found > best[cause][0]:
                best[cause] = (found, drawn, at, likelihood.fits(at, NO_FIT_BELOW))
    chances = _chances(evidence)
    order = sorted(chances, key=lambda cause: -chances[cause])
    candidates = tuple(_put(cause, chances[cause], *best[cause][1:], readings) for cause in order)
    return _decided(candidates, chances, order)


def _asked(readings: Sequence[PairReading], other: OtherEvidence) -> CircuitReadings:
    """Readings with a number first, then those without."""
    known = [(r.reference_c, r.head_c, r.room_c) for r in readings]
    known += [(r.reference_c, r.head_c, r.room_c) for r in other.lost]
    rows = np.array([[np.nan if value is None else value for value in row] for row in known], dtype=float)
    rates = np.full(len(known), np.nan)
    rates[: len(other.rates_c_per_h)] = other.rates_c_per_h
    return CircuitReadings(rows[:, 0], rows[:, 1], rows[:, 2], rates)


def _mean_of(log: FloatArray) -> float:
    top = float(log.max())
    return top + float(np.log(np.exp(log - top).mean()))


def _put(
    cause: str, chance: float, drawn: DrawnCause, at: int, fits: bool, readings: Sequence[PairReading]
) -> FaultCandidate:
    true = np.array([r.reference_c for r in readings])
    shown = np.array([r.sensor_c for r in readings])
    would = drawn.shown_c[min(at, len(drawn.shown_c) - 1), : true.size]
    would = np.where(np.isfinite(would), would, np.nan)
    size = drawn.size(at) if cause == drawn.cause else Says("")
    return _candidate(cause, chance, size, would - true, shown - would, true, fits=fits)


def _candidate(
    cause: str, chance: float, size: Says, error: FloatArray, left: FloatArray, true: FloatArray, *, fits: bool
) -> FaultCandidate:
    """Put one cause into words."""
    says = size if cause != NOTHING else Says.plain("within tolerance")
    if cause != NOTHING and true.size and size.template:
        hottest = int(np.argmax(true))
        shows, at = Diff(float(error[hottest]), signed=True), Temp(float(true[hottest]))
        says = Says.of("{size}: would show {shows} at {at}", size=size, shows=shows, at=at)
    step = named_test(FOR_CAUSE[cause]).do if cause != NOTHING else "Calibrate to learn its correction."  # type: ignore[index]
    known = left[np.isfinite(left)]
    misfit = float(np.sqrt(np.mean(known**2))) if known.size else float("nan")
    return FaultCandidate(cause, chance, size, says, tuple(float(e) for e in error), misfit, step, fits)


def _decided(candidates: tuple[FaultCandidate, ...], chances: dict[str, float], order: list[str]) -> Diagnosis:
    """Name the cause, or say what would tell."""
    first = candidates[0]
    if not first.fits:
        says = Says.of(
            "none of the known causes explains these readings: {cause} misses by {misfit}. "
            "Check the readings; there may be two faults at once.",
            cause=first.cause,
            misfit=Diff(first.misfit_c),
        )
        return Diagnosis(None, candidates, (), None, says)
    if first.probability >= SURE:
        alone = Says.of("{cause} ({says}).", cause=first.cause, says=first.says)
        return Diagnosis(first.cause, candidates, (first.cause,), None, alone)
    between = tuple(cause for cause in order if chances[cause] >= MENTION)
    test = best_test(chances)
    unsure = f"cannot tell between {', '.join(between[:-1])} and {between[-1]}. {test.do}"
    return Diagnosis(None, candidates, between, test, Says.plain(unsure))


def _chances(evidence: dict[str, float]) -> dict[str, float]:
    """Probabilities from log evidences."""
    top = max(evidence.values())
    weights = {cause: float(np.exp(value - top)) for cause, value in evidence.items()}
    total = sum(weights.values())
    return {cause: weight / total for cause, weight in weights.items()}
