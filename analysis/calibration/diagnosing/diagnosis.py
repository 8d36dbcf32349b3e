"""What is wrong with this thermocouple? Causes ranked from readings against a reference."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.diagnosing import faults
from soakwitness.analysis.calibration.diagnosing.cheap_tests import FOR_CAUSE, CheapTest, best_test, named_test
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.thermocouples.reference_functions import TYPES
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, Value, number

FloatArray = npt.NDArray[np.float64]
SaysSize = Callable[[int], Says]  # of the index in a grid of sizes

NOTHING = "nothing wrong"
SURE = 0.95  # probability from which a cause is named alone
MENTION = 0.02
NO_FIT_BELOW = 1e-6  # probability of so bad a fit below which a cause explains nothing
NOISE_C = 1.0
# Every wire is off by some share of the temperature by itself: a third of its tolerance (0.75 %, R, S and B 0.25 %).
OWN_SHARE = {"B": 0.0008, "R": 0.0008, "S": 0.0008}
OWN_SHARE_BASE = 0.0025
HEAD_KNOWN_TO_C = 2.0
# A head not measured may be as warm always (0), warm in proportion to the furnace (1), or more steeply: radiation.
HEAD_POWERS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
ROOM_KNOWN_TO_C = 2.0
# Fine steps: wired T and set to R, one kelvin at the terminals shows as some seven.
ROOMS_C = np.arange(10.0, 40.5, 0.5)
ROOM_STEPS = np.linspace(-1.0, 1.0, 9)


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


@dataclass(frozen=True)
class _Guess:
    """One cause with a grid of sizes: predictions (g, n) [degC], log prior weights (g,), and how to say a size."""

    cause: str
    shown_c: FloatArray
    weight: FloatArray
    size: SaysSize
    prior: float = 1.0
    own_noise_c: float = 0.0  # of what the prediction itself was made from


def diagnose(readings: Sequence[PairReading], *, set_to: str | None = None, noise_c: float = NOISE_C) -> Diagnosis:
    """Rank what may be wrong with a thermocouple.

    Each cause predicts what is shown, over a grid of its size. Its evidence is the mean over the grid of a normal
    likelihood with covariance noise^2 I + share^2 t t', the second term being what new wire is off by itself. All
    causes count the same beforehand.

    ``readings``: reference and shown temperature [degC], head and room temperature where known. ``set_to``: letter of
    the type set in the instrument; None: every type is tried, as likely as the others. ``noise_c``: standard
    uncertainty of one comparison of shown and reference [K]. Returns A cause alone where its probability is 0.95 or
    more; else "cannot tell" with the test that would.

    Raises NotEnoughData with fewer than two readings.
    """
    if len(readings) < 2:
        raise NotEnoughData("one reading fits any cause: take two or more, far apart in temperature.")
    true = np.array([r.reference_c for r in readings])
    shown = np.array([r.sensor_c for r in readings])
    kinds = (set_to.upper(),) if set_to else TYPES
    covariance = _covariance(true, kinds, noise_c)
    scored = [_score(guess, shown, covariance) for guess in _guesses(readings, true, kinds)]
    evidence: dict[str, float] = {}
    best: dict[str, tuple[float, Says, FloatArray, bool]] = {}
    for guess, log_evidence, at, fits in scored:
        evidence[guess.cause] = np.logaddexp(evidence.get(guess.cause, -np.inf), log_evidence)
        if guess.cause not in best or log_evidence > best[guess.cause][0]:
            best[guess.cause] = (log_evidence, guess.size(at), guess.shown_c[at], fits)
    chances = _chances(evidence)
    order = sorted(chances, key=lambda cause: -chances[cause])
    candidates = tuple(
        _candidate(
            cause,
            chances[cause],
            best[cause][1],
            best[cause][2] - true,
            shown - best[cause][2],
            true,
            fits=best[cause][3],
        )
        for cause in order
    )
    return _decided(candidates, chances, order)


def _candidate(
    cause: str, chance: float, size: Says, error: FloatArray, left: FloatArray, true: FloatArray, *, fits: bool
) -> FaultCandidate:
    """Put one cause into words."""
    hottest = int(np.argmax(true))
    says = Says.plain("within tolerance")
    if cause != NOTHING:
        shows, at = Diff(float(error[hottest]), signed=True), Temp(float(true[hottest]))
        says = Says.of("{size}: would show {shows} at {at}", size=size, shows=shows, at=at)
    step = named_test(FOR_CAUSE[cause]).do if cause != NOTHING else "Calibrate to learn its correction."  # type: ignore[index]
    misfit = float(np.sqrt(np.mean(left**2))) if np.isfinite(left).all() else float("nan")
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


def _covariance(true: FloatArray, kinds: Sequence[str], noise_c: float) -> FloatArray:
    """Noise of each comparison and the wire's own share, which moves all together."""
    share = max(OWN_SHARE.get(kind, OWN_SHARE_BASE) for kind in kinds)
    return np.asarray(np.diag(np.full(true.size, noise_c**2)) + share**2 * np.outer(true, true))


def _score(guess: _Guess, shown: FloatArray, covariance: FloatArray) -> tuple[_Guess, float, int, bool]:
    """Log evidence of a cause, the index of its best size, and whether that agrees with the readings at all."""
    from scipy.special import chdtrc

    root = np.linalg.cholesky(covariance + guess.own_noise_c**2 * np.eye(shown.size))
    left = np.linalg.solve(root, (shown - guess.shown_c).T)
    fit = -0.5 * np.sum(left**2, axis=0) - np.log(np.diag(root)).sum() + guess.weight
    fit = np.where(np.isfinite(fit), fit, -1e9)
    at = int(np.argmax(fit))
    fits = bool(chdtrc(shown.size, np.sum(left[:, at] ** 2)) > NO_FIT_BELOW)
    return guess, float(np.log(np.exp(fit - fit[at]).sum()) + fit[at] + np.log(guess.prior)), at, fits


def _guesses(readings: Sequence[PairReading], true: FloatArray, kinds: Sequence[str]) -> Iterator[_Guess]:
    """All causes with their grids; those that depend on the type for each that may be set."""
    rooms = _rooms(readings)
    yield _grid(NOTHING, true[None, :], _always(""))
    yield from _wrong_types(true, rooms, kinds)
    for kind in kinds:
        if_kind, prior = (f" (if type {kind})" if len(kinds) > 1 else ""), 1.0 / len(kinds)
        yield from _wrong_leads(readings, true, rooms, kind, if_kind, prior)
        unsensed = faults.unsensed_c(true, kind, rooms)
        terminals = _sized(f"terminals at {{size}}{if_kind}", rooms.mean(axis=1), Temp)
        yield _grid("cold junction not sensed", unsensed, terminals, prior)
    sizes = np.concatenate([-_spread(2.0, 80.0, 200), _spread(2.0, 80.0, 200)])
    yield _grid("plain offset", true + sizes[:, None], _sized("offset {size}", sizes, _signed))
    yield _drift(true)
    both = np.stack([faults.mixed_up_c(true, shows_fahrenheit=flag) for flag in (True, False)])
    ways = [Says.plain("shows °F, read as °C"), Says.plain("shows °C, read as °F")]
    yield _grid("degrees C and F mixed up", both, ways.__getitem__)
    shares = _spread(0.005, 0.4, 300)
    pulled = faults.pulled_back_c(true, shares[:, None], 25.0)
    lost = _sized("{size} of the difference to the room lost", shares, lambda share: f"{number(100.0 * share)} %")
    yield _grid("tip pulled back", pulled, lost)


def _grid(cause: str, shown_c: FloatArray, size: SaysSize, prior: float = 1.0) -> _Guess:
    """A cause whose sizes are all as likely beforehand."""
    return _Guess(cause, shown_c, np.full(shown_c.shape[0], -np.log(shown_c.shape[0])), size, prior)


def _spread(low: float, high: float, count: int) -> FloatArray:
    """Sizes from low to high, evenly by ratio."""
    return np.geomspace(low, high, count)


def _always(words: str) -> SaysSize:
    """The same for every size."""
    return lambda _: Says.plain(words)


def _sized(template: str, sizes: FloatArray, of: Callable[[float], Value]) -> SaysSize:
    """A sentence with ``{size}``, made only for the size that fits best."""
    return lambda at: Says.of(template, size=of(float(sizes[at])))


def _signed(kelvin: float) -> Diff:
    return Diff(kelvin, signed=True)


def _rooms(readings: Sequence[PairReading]) -> FloatArray:
    """Temperatures that the terminals may have, shape (g, n) [degC]."""
    known = [r.room_c for r in readings]
    mean = [room for room in known if room is not None]
    if not mean:
        return np.repeat(ROOMS_C[:, None], len(readings), axis=1)
    centre = np.array([room if room is not None else float(np.mean(mean)) for room in known])
    return np.asarray(centre[None, :] + ROOM_KNOWN_TO_C * ROOM_STEPS[:, None])


def _wrong_types(true: FloatArray, rooms: FloatArray, kinds: Sequence[str]) -> Iterator[_Guess]:
    """All pairs with a type that may be set."""
    pairs = [(wired, other) for other in kinds for wired in TYPES if wired != other]
    for wired, other in pairs:
        shown = faults.wrong_type_c(true, wired, other, rooms)
        yield _grid("wrong type set", shown, _always(f"wired {wired}, set to {other}"), 1.0 / len(pairs))


def _wrong_leads(
    readings: Sequence[PairReading], true: FloatArray, rooms: FloatArray, kind: str, if_kind: str, prior: float
) -> Iterator[_Guess]:
    """Reversed extension lead and copper, for the head temperatures measured or any that are plausible."""
    rooms = rooms[:: max(1, rooms.shape[0] // 6)]  # the difference to the head is what counts
    heads, size = _heads(readings, true, rooms, if_kind)
    for cause, reverse in (("reversed extension lead", True), ("copper in place of extension lead", False)):
        shown = faults.wrong_lead_c(
            true, kind, heads, np.tile(rooms, (heads.shape[0] // rooms.shape[0], 1)), reversed_lead=reverse
        )
        noise_c = HEAD_KNOWN_TO_C * (2.0 if reverse else 1.0) if _all_heads(readings) else 0.0
        yield replace(_grid(cause, shown, size, prior), own_noise_c=noise_c)


def _all_heads(readings: Sequence[PairReading]) -> bool:
    """Whether the head's temperature is known at every reading."""
    return all(r.head_c is not None for r in readings)


def _heads(
    readings: Sequence[PairReading], true: FloatArray, rooms: FloatArray, if_kind: str
) -> tuple[FloatArray, SaysSize]:
    """Head temperatures (g, n) for each room temperature in turn [degC], and how to say one of them."""
    known = np.array([np.nan if r.head_c is None else r.head_c for r in readings])
    if _all_heads(readings):
        heads = np.repeat(known[None, :], rooms.shape[0], axis=0)
        return heads, _sized(f"head at {{size}}, as measured{if_kind}", heads.mean(axis=1), Temp)
    warmer = _spread(4.0, 150.0, 60)
    rise = [(np.maximum(true - 25.0, 0.0) / 1000.0) ** power for power in HEAD_POWERS]
    heads = np.concatenate([rooms + d * shape for shape in rise for d in warmer])
    heads = np.where(np.isfinite(known), known, heads)
    whens = ["" if power == 0.0 else Says.of(" at {at}", at=Temp(1000.0)) for power in HEAD_POWERS]

    def size(at: int) -> Says:
        when, more = divmod(at // rooms.shape[0], warmer.size)
        words = f"head {{more}} warmer than the terminals{{when}}{if_kind}"
        return Says.of(words, more=Diff(float(warmer[more])), when=whens[when])

    return heads, size


def _drift(true: FloatArray) -> _Guess:
    """Errors that grow in proportion to the temperature or faster, either way."""
    size = np.concatenate([-_spread(4.0, 120.0, 100), _spread(4.0, 120.0, 100)])
    power = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 4.0])
    every = np.repeat(size, power.size)
    shown = faults.drifted_c(true, every[:, None], np.tile(power, size.size)[:, None])

    def said(at: int) -> Says:
        return Says.of("{size} at {at}, more above", size=_signed(float(every[at])), at=Temp(1000.0))

    return _grid("drift growing with temperature", shown, said)
