"""How well what was read, and what else was seen, agrees with what a cause would show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.diagnosing.circuits import range_of
from soakwitness.analysis.calibration.diagnosing.drawn_causes import OFTEN, DrawnCause
from soakwitness.analysis.calibration.diagnosing.faults import NOTHING
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading

FloatArray = npt.NDArray[np.float64]
Side = Literal["over", "under", "none"]

# Every wire is off by some share of the temperature by itself: a third of its tolerance (0.75 %, R, S and B 0.25 %).
OWN_SHARE = {"B": 0.0010, "R": 0.0010, "S": 0.0010}
OWN_SHARE_BASE = 0.0030
LARGE_SHARE = 0.012  # of a large error that no drawing foretells: its size goes by more than was drawn
OPEN, COARSE = "contact that comes and goes", "coarse display"
COARSE_C = 2.0  # a step from which a display is called coarse
LOST_WHERE_SOUND = 0.003  # how often a sound contact has no number
LOST_WHERE_LOOSE = 0.35  # and one that comes and goes
NO_DENSITY = -30.0  # log likelihood of a number where there should be none, or none where there should be one
SAYS_SO = 3.0  # log weight of a note that tells of a loose contact
# What a spare thermocouple in the same place takes away, and what drawing both out by some centimetres shows.
IN_THE_SENSOR = frozenset({"drift growing with temperature", "inhomogeneous wire", "hot shunt in the insulation"})
IN_THE_SENSOR |= {"short at the head"}
MAYBE_IN_THE_SENSOR = frozenset({OPEN, "thermocouple reversed", "wrong type set"})
NEAR_END_C, FAR_C = 3.0, 100.0
SEEN_WRONG = 0.05  # how often such a trial is misread
MOVED_C, STEADY_C = 7.0, 1.5  # by what an uneven wire changes when it is moved, and a sound one [K, standard deviation]


@dataclass(frozen=True)
class LostReading:
    """A moment at which the display had no number: at which reference [degC], and on which side it was out of range."""

    reference_c: float
    side: Side
    head_c: float | None = None
    room_c: float | None = None


@dataclass(frozen=True)
class OtherEvidence:
    """What was seen beside the readings.

    ``step_c`` is the step of the display [K] as the numbers show it; ``loose``: a note tells that it came and went;
    ``rates_c_per_h`` how fast the furnace climbed at each reading, where noted (NaN). ``spare_helped``: whether the
    error went away with a spare in the same place; ``moved_by_c``: by how much the reading went off from the reference
    when both were drawn out by some centimetres [K].
    """

    lost: tuple[LostReading, ...] = ()
    step_c: float = 0.1
    loose: bool = False
    rates_c_per_h: tuple[float, ...] = ()
    spare_helped: bool | None = None
    moved_by_c: float | None = None


@dataclass(frozen=True)
class Likelihood:
    """Log likelihood of each draw, and chi squared with its number of readings."""

    log: FloatArray
    chi_squared: FloatArray
    count: int

    def fits(self, at: int, below: float) -> bool:
        """Whether a draw agrees with the readings at all."""
        from scipy.special import chdtrc

        return self.count == 0 or bool(chdtrc(self.count, self.chi_squared[at]) > below)


def likelihoods(
    drawn: DrawnCause, readings: Sequence[PairReading], other: OtherEvidence, kinds: Sequence[str], noise_c: float
) -> Iterator[tuple[str, float, Likelihood]]:
    """Name, weight and likelihood of a drawn cause; of the sound circuit also as a display that is coarse or loose."""
    found = _normal(drawn, readings, other, kinds, noise_c)
    yield drawn.cause, drawn.weight * _seen(drawn.cause, other), found
    if drawn.cause != NOTHING:
        return
    yield OPEN, OFTEN[OPEN] * _seen(OPEN, other), _coming_and_going(readings, other, kinds, noise_c)
    if other.step_c >= COARSE_C:
        # That all numbers are multiples of so coarse a step by chance is the less likely the more there are.
        chance = min(other.step_c ** min(len(readings), 4), 400.0)
        yield COARSE, OFTEN[COARSE] * chance * _seen(COARSE, other), found


def _seen(cause: str, other: OtherEvidence) -> float:
    """Weight of what was tried beside the readings."""
    weight = 1.0
    if other.spare_helped is not None:
        helps = 1.0 - SEEN_WRONG if cause in IN_THE_SENSOR else 0.5 if cause in MAYBE_IN_THE_SENSOR else SEEN_WRONG
        weight *= helps if other.spare_helped else 1.0 - helps
    if other.moved_by_c is not None:
        spread = float(np.hypot(MOVED_C, STEADY_C)) if cause == "inhomogeneous wire" else STEADY_C
        if cause in ("tip pulled back", "place difference"):
            spread = 4.0
        away = abs(other.moved_by_c) / spread
        weight *= max(float(np.exp(-0.5 * away**2)), 1e-4) / spread
    return weight


def _share(kinds: Sequence[str]) -> float:
    return max(OWN_SHARE.get(kind, OWN_SHARE_BASE) for kind in kinds)


def _normal(
    drawn: DrawnCause, readings: Sequence[PairReading], other: OtherEvidence, kinds: Sequence[str], noise_c: float
) -> Likelihood:
    """Normal about what is drawn; readings beyond the range, and numbers where there should be none, by their odds."""
    true = np.array([r.reference_c for r in readings])
    shown = np.array([r.sensor_c for r in readings])
    ends = at_ends(readings, kinds if drawn.set_to is None else (drawn.set_to,))
    had = np.array([end is None for end in ends], dtype=bool)
    would = drawn.shown_c[:, : true.size]
    own = noise_c**2 + drawn.own_noise_c**2 + (LARGE_SHARE * (shown[had] - true[had])) ** 2
    covariance = np.diag(own) + _share(kinds) ** 2 * np.outer(true[had], true[had])
    root = np.linalg.cholesky(covariance) if had.any() else np.zeros((0, 0))
    here = would[:, had]
    known = np.isfinite(here).all(axis=1)
    off = np.where(np.isfinite(here), shown[had] - here, 0.0)
    scaled = np.linalg.solve(root, off.T) if had.any() else np.zeros((0, len(would)))
    chi = np.sum(scaled**2, axis=0)
    log = -0.5 * chi - np.log(np.diag(root)).sum() - 0.5 * had.sum() * np.log(2.0 * np.pi)
    log = np.where(known, log, NO_DENSITY * 4.0)
    lost = [(n, end) for n, end in enumerate(ends) if end is not None]
    lost += [(true.size + n, one.side) for n, one in enumerate(other.lost)]
    for number, side in lost:
        log = log + _out_of_range(drawn.shown_c[:, number], side)
    return Likelihood(log, np.where(known, chi, np.inf), int(had.sum()))


def at_ends(readings: Sequence[PairReading], kinds: Sequence[str]) -> list[Side | None]:
    """Which readings are the end of a curve's range in truth, where a display stands when it has no number."""
    ranges = [range_of(kind) for kind in kinds]

    def end(one: PairReading) -> Side | None:
        far_c = one.sensor_c - one.reference_c
        if far_c > FAR_C and any(abs(one.sensor_c - high_c) <= NEAR_END_C for _, high_c in ranges):
            return "over"
        if far_c < -FAR_C and any(abs(one.sensor_c - low_c) <= NEAR_END_C for low_c, _ in ranges):
            return "under"
        return None

    return [end(one) for one in readings]


def _out_of_range(would_c: FloatArray, side: Side) -> FloatArray:
    """Log odds of no number where a draw would show so much."""
    sound = float(np.log(LOST_WHERE_SOUND))
    if side == "none":
        return np.where(np.isfinite(would_c), sound, -0.5)
    right = np.inf if side == "over" else -np.inf
    return np.where(would_c == right, 0.0, np.where(np.isfinite(would_c), sound, NO_DENSITY))


def _coming_and_going(
    readings: Sequence[PairReading], other: OtherEvidence, kinds: Sequence[str], noise_c: float
) -> Likelihood:
    """A sound circuit whose contact is open at times: no number, the end of the range, or anything on the way there."""
    each = [_loose_with(readings, other, kind, noise_c) for kind in kinds]
    log = float(np.logaddexp.reduce(each) - np.log(len(each)))
    return Likelihood(np.array([log]), np.zeros(1), 0)


def _loose_with(readings: Sequence[PairReading], other: OtherEvidence, kind: str, noise_c: float) -> float:
    """Log likelihood with one type set."""
    loose, share = float(np.log(LOST_WHERE_LOOSE)), _share((kind,))
    log = (SAYS_SO if other.loose else 0.0) + len(other.lost) * loose
    for reading, end in zip(readings, at_ends(readings, (kind,)), strict=True):
        spread = float(np.hypot(noise_c, share * reading.reference_c))
        away = (reading.sensor_c - reading.reference_c) / spread
        sound = np.log1p(-LOST_WHERE_LOOSE) - 0.5 * away**2 - np.log(spread * np.sqrt(2.0 * np.pi))
        anywhere = loose - np.log(3.0) - np.log(max(reading.reference_c - 20.0, 50.0))
        between = 0.0 <= reading.sensor_c < reading.reference_c
        log += loose if end is not None else float(np.logaddexp(sound, anywhere if between else NO_DENSITY))
    return log
