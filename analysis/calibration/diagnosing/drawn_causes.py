"""What each cause would show: circuits drawn from what is plausible of it before anything is read.

How often a cause is met, and how large it is, are settings of this program; the draws are a fixed set, so that the same
readings have the same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.diagnosing.circuits import COPPER, Wiring, shown_by
from soakwitness.analysis.calibration.diagnosing.faults import NOTHING
from soakwitness.firmware_bridge.common.units import from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, Value, number

FloatArray = npt.NDArray[np.float64]
SaysSize = Callable[[int], Says]  # of the index in the draws

# How often each is met beside the others: ordinary ones first. A costly name needs evidence that these do not explain.
OFTEN = {
    NOTHING: 3.0,
    "place difference": 2.0,
    "plain offset": 2.0,
    "drift growing with temperature": 2.0,
    "cold junction wrong": 2.0,
    "wrong type set": 1.5,
    "tip pulled back": 1.5,
    "reversed extension lead": 1.3,
    "copper in place of extension lead": 1.3,
    "wrong extension lead": 1.3,
    "contact that comes and goes": 1.5,
    "hot shunt in the insulation": 1.3,
    "inhomogeneous wire": 1.5,
    "high loop resistance": 0.7,
    "slow filter": 0.8,
    "thermocouple reversed": 0.8,
    "short at the head": 0.7,
    "coarse display": 0.7,
    "degrees C and F mixed up": 0.5,
}
LEAD_KINDS = ("K", "J", "N", "E", "T", "S")
ROOM_C = (8.0, 38.0)
ROOM_KNOWN_TO_C = (-1.5, 3.5)  # terminals in an instrument's case are warmer than the room that was written down
HEAD_KNOWN_TO_C = 2.0
NOBLE = frozenset("BRS")
# How uncertain a head's or room's temperature is from reading to reading [K], and how much of that each cause shows.
HEAD_NOISE_C = 1.3
BY_HEAD = {"reversed extension lead": 2.0, "thermocouple reversed": 2.0, "cold junction wrong": 0.5}
BY_HEAD |= dict.fromkeys(("copper in place of extension lead", "wrong extension lead", "short at the head"), 1.0)


@dataclass(frozen=True)
class CircuitReadings:
    """What was read: the reference [degC], head and terminals where known (else NaN), rate of climb where noted."""

    true_c: FloatArray
    head_c: FloatArray
    room_c: FloatArray
    rate_c_per_h: FloatArray


@dataclass(frozen=True)
class DrawnCause:
    """One cause: what it would show (draws, readings) [degC], how often it is met, and how to say one of the draws."""

    cause: str
    shown_c: FloatArray
    weight: float
    size: SaysSize
    own_noise_c: float = 0.0  # of each reading, by what the drawing itself rests on: a head's temperature as measured
    set_to: str | None = None  # the type it was drawn for


class Draws:
    """A fixed set of numbers between 0 and 1, evenly spread in all directions; one column a parameter."""

    def __init__(self, count_log2: int) -> None:
        from scipy.stats.qmc import Sobol

        self.all = Sobol(8, scramble=True, rng=np.random.default_rng(7)).random_base2(count_log2)

    def between(self, column: int, low: float, high: float) -> FloatArray:
        """Evenly between two values, shape (draws, 1)."""
        return np.asarray(low + (high - low) * self.all[:, column : column + 1])

    def by_ratio(self, column: int, low: float, high: float) -> FloatArray:
        """Evenly by ratio."""
        return np.asarray(low * (high / low) ** self.all[:, column : column + 1])

    def either_way(self, column: int, low: float, high: float) -> FloatArray:
        """Evenly by ratio, as often below as above nought."""
        half = self.all[:, column : column + 1]
        size = low * (high / low) ** np.where(half < 0.5, 2.0 * half, 2.0 * half - 1.0)
        return np.asarray(np.where(half < 0.5, -size, size))

    def rooms(self, asked: CircuitReadings) -> FloatArray:
        """Temperatures of the terminals: as written down, else as rooms are."""
        known = np.where(np.isfinite(asked.room_c), asked.room_c, np.nan)
        if np.isfinite(known).any():
            known = np.where(np.isfinite(known), known, np.nanmean(known))
            return np.asarray(known + self.between(0, *ROOM_KNOWN_TO_C))
        return self.between(0, *ROOM_C) + np.zeros_like(asked.true_c)

    def heads(self, asked: CircuitReadings, rooms: FloatArray) -> FloatArray:
        """Temperatures of the head: as measured, else warmer than the room by something or other."""
        power = self.between(2, 0.0, 2.5)
        rise = self.by_ratio(1, 4.0, 150.0) * (np.maximum(asked.true_c - rooms, 1.0) / 1000.0) ** power
        near = asked.head_c + self.between(1, -HEAD_KNOWN_TO_C, HEAD_KNOWN_TO_C)
        return np.asarray(np.where(np.isfinite(asked.head_c), near, rooms + rise))


def drawn_causes(asked: CircuitReadings, kinds: Sequence[str], *, counts_log2: int) -> Iterator[DrawnCause]:
    """All causes; those that depend on the type for each that may be set."""
    draws = Draws(counts_log2)
    for kind in kinds:
        yield from _of_kind(asked, draws, kind, len(kinds))
    yield from _of_readings(asked, draws, noble=all(kind in NOBLE for kind in kinds))


def _often(cause: str, parts: int = 1) -> float:
    return OFTEN[cause] / parts


def _of_readings(asked: CircuitReadings, draws: Draws, *, noble: bool) -> Iterator[DrawnCause]:
    """Causes that no curve is needed for."""
    true = asked.true_c
    yield DrawnCause(NOTHING, true[None, :], _often(NOTHING), lambda _: Says(""))
    for name, low, high in (("place difference", 1.5, 20.0), ("plain offset", 2.0, 60.0)):
        size = draws.either_way(3, low, high)
        power = draws.between(4, 0.0, 2.0) if name == "place difference" else np.zeros_like(size)
        shown = true + size * (np.maximum(true, 1.0) / 1000.0) ** power
        words = "{size} at {at}" if name == "place difference" else "offset {size}"
        yield DrawnCause(name, shown, _often(name), _sized(words, size, _signed))
    yield _drift(true, draws, noble=noble)
    lost = draws.by_ratio(3, 0.008, 0.35)
    pulled = true - lost * (1.0 + draws.between(4, -0.1, 0.4) * (500.0 - true) / 1000.0) * (true - 22.0)
    words = "{size} of the difference to the room lost"
    yield DrawnCause("tip pulled back", pulled, _often("tip pulled back"), _sized(words, lost, _percent))
    both = np.stack([from_celsius(true, "F"), to_celsius(true, "F")])
    ways = (Says.plain("shows °F, read as °C"), Says.plain("shows °C, read as °F"))
    yield DrawnCause("degrees C and F mixed up", both, _often("degrees C and F mixed up"), ways.__getitem__)
    yield _filtered(asked, draws)


def _drift(true: FloatArray, draws: Draws, *, noble: bool) -> DrawnCause:
    """Nothing below some temperature, more and more above: the alloy has changed in the hot part."""
    size = draws.either_way(3, 4.0, 60.0) * (0.5 if noble else 1.0)
    begins, power = np.maximum(draws.between(4, -250.0, 600.0), 0.0), draws.between(5, 0.9, 3.0)
    shown = true + size * (np.maximum(true - begins, 0.0) / (1000.0 - begins)) ** power
    name = "drift growing with temperature"
    return DrawnCause(name, shown, _often(name), _sized("{size} at {at}, more above", size, _signed))


def _filtered(asked: CircuitReadings, draws: Draws) -> DrawnCause:
    """A slow display is behind while the furnace climbs; where nothing was noted some readings may have been so."""
    lag_s = draws.by_ratio(3, 20.0, 500.0)
    if np.isfinite(asked.rate_c_per_h).any():
        rate = np.nan_to_num(asked.rate_c_per_h)
    else:
        some = (draws.all * 8.0) % 1.0
        rate = np.resize(np.where(some < 0.5, 0.0, 400.0 * some), (len(draws.all), asked.true_c.size))
    words = "{size} behind"
    shown = asked.true_c - rate / 3600.0 * lag_s
    return DrawnCause("slow filter", shown, _often("slow filter"), _sized(words, lag_s, lambda s: f"{number(s)} s"))


def _of_kind(asked: CircuitReadings, draws: Draws, kind: str, kinds: int) -> Iterator[DrawnCause]:
    """Causes in the wires and at the terminals, for one type that may be set."""
    true = asked.true_c + np.zeros((len(draws.all), 1))
    rooms = draws.rooms(asked)
    heads = draws.heads(asked, rooms)
    if_kind = f" (if type {kind})" if kinds > 1 else ""
    head_words = _sized(f"head at {{size}}{if_kind}", heads.mean(axis=1, keepdims=True), Temp)
    plain = Wiring(kind, kind, kind)

    by_head = HEAD_NOISE_C if np.isfinite(asked.head_c).all() else HEAD_NOISE_C / 2.0

    def of(name: str, shown: FloatArray, words: SaysSize, parts: int = 1) -> DrawnCause:
        noise_c = by_head * BY_HEAD.get(name, 0.0)
        return DrawnCause(name, shown, _often(name, kinds * parts), words, noise_c, kind)

    crossed = shown_by(Wiring(kind, kind, kind, lead_sign=-1.0), true, heads, rooms)
    yield of("reversed extension lead", crossed, head_words)
    copper = shown_by(Wiring(kind, COPPER, kind), true, heads, rooms)
    yield of("copper in place of extension lead", copper, head_words)
    others = [lead for lead in LEAD_KINDS if lead != kind]
    for lead in others:
        words = _sized(f"lead of type {lead}, head at {{size}}{if_kind}", heads.mean(axis=1, keepdims=True), Temp)
        shown = shown_by(Wiring(kind, lead, kind), true, heads, rooms)
        yield of("wrong extension lead", shown, words, len(others))
    for lead_sign, where in ((1.0, "at the head"), (-1.0, "at the terminals")):
        shown = shown_by(Wiring(kind, kind, kind, -1.0, lead_sign), true, heads, rooms)
        yield of("thermocouple reversed", shown, _always(f"{where}{if_kind}"), 2)
    yield of("short at the head", shown_by(plain, heads, heads, rooms), head_words)
    yield from _cold_junction(true, rooms, heads, draws, plain, of, if_kind)
    yield from _wrong_types(true, rooms, heads, kind, of)
    yield from _leaking(true, rooms, heads, draws, plain, of, if_kind)


Named = Callable[..., DrawnCause]


def _cold_junction(
    true: FloatArray, rooms: FloatArray, heads: FloatArray, draws: Draws, plain: Wiring, of: Named, if_kind: str
) -> Iterator[DrawnCause]:
    """Not sensed at all, sensed wrongly, or sensed elsewhere than where the furnace warms the terminals."""
    name = "cold junction wrong"
    words = _sized(f"not sensed, terminals at {{size}}{if_kind}", rooms.mean(axis=1, keepdims=True), Temp)
    yield of(name, shown_by(plain, true, heads, rooms, taken_c=0.0), words, 3)
    off = draws.either_way(3, 3.0, 25.0)
    words = _sized(f"sensed {{size}} wrong{if_kind}", off, _signed)
    yield of(name, shown_by(plain, true, heads, rooms, taken_c=rooms + off), words, 3)
    share = draws.by_ratio(3, 0.004, 0.04)
    warmed = rooms + share * np.maximum(true - rooms, 0.0)
    words = _sized(f"terminals warmed by the furnace, {{size}} of it{if_kind}", share, _percent)
    yield of(name, shown_by(plain, true, np.maximum(heads, warmed), warmed, taken_c=rooms), words, 3)


def _wrong_types(true: FloatArray, rooms: FloatArray, heads: FloatArray, kind: str, of: Named) -> Iterator[DrawnCause]:
    """Every other type wired to an instrument set to this one, its own lead with it."""
    others = [other for other in "KJNTESRB" if other != kind]
    common = {"K": "NJ", "N": "K", "J": "K", "S": "R", "R": "S"}.get(kind, "")
    parts = len(others) + 3 * len(common)
    for wired in others:
        shown = shown_by(Wiring(wired, wired, kind), true, heads, rooms)
        found = of("wrong type set", shown, _always(f"wired {wired}, set to {kind}"), parts)
        more = 4.0 if wired in common else 1.0
        yield replace(found, weight=found.weight * more)


def _leaking(
    true: FloatArray, rooms: FloatArray, heads: FloatArray, draws: Draws, plain: Wiring, of: Named, if_kind: str
) -> Iterator[DrawnCause]:
    """Emf lost or made along the way: hot insulation, aged stretches, a loaded or watched loop."""
    from soakwitness.analysis.calibration.diagnosing.circuits import emf_of

    # Hot insulation conducts some way up, where it is colder: a second junction, felt as the insulation's resistance
    # falls to 1/e in some tens of degC.
    colder, falls_c = draws.between(4, 0.6, 0.96), draws.between(5, 35.0, 100.0)
    leak = draws.by_ratio(3, 0.01, 3.0) * np.exp((true - 1000.0) / falls_c)
    there = emf_of(colder * true, plain.wired) - emf_of(true, plain.wired)
    shown = shown_by(plain, true, heads, rooms, added_mv=there * leak / (1.0 + leak))
    yield of("hot shunt in the insulation", shown, _always(f"more the hotter{if_kind}"))
    # A stretch whose alloy has changed lies in the gradient: emf of its own between its two ends.
    share, cold = draws.either_way(3, 0.008, 0.08), draws.between(4, 0.05, 0.6)
    hot = np.minimum(cold + draws.between(5, 0.1, 0.55), 0.98)
    piece = emf_of(hot * true, plain.wired) - emf_of(cold * true, plain.wired)
    words = _sized(f"a stretch of wire {{size}} off{if_kind}", share, _percent)
    yield of("inhomogeneous wire", shown_by(plain, true, heads, rooms, added_mv=share * piece), words)
    loss = draws.by_ratio(3, 0.004, 0.06)
    words = _sized(f"the input loads it by {{size}}{if_kind}", loss, _percent)
    yield of("high loop resistance", shown_by(plain, true, heads, rooms, gain=1.0 - loss), words, 2)
    watch = draws.either_way(3, 0.03, 1.5) * (1.0 + draws.between(4, 0.0, 0.4) * true / 1000.0)
    words = _sized(f"{{size}} by the current that watches it{if_kind}", watch[:, :1], lambda mv: f"{number(mv, 2)} mV")
    yield of("high loop resistance", shown_by(plain, true, heads, rooms, added_mv=watch), words, 2)


def _always(words: str) -> SaysSize:
    """The same for every draw."""
    return lambda _: Says.plain(words)


def _sized(template: str, sizes: FloatArray, of: Callable[[float], Value]) -> SaysSize:
    """A sentence with ``{size}``, made only for the draw that fits best."""
    return lambda at: Says.of(template, size=of(float(sizes[at, 0])), at=Temp(1000.0))


def _signed(kelvin: float) -> Diff:
    return Diff(kelvin, signed=True)


def _percent(share: float) -> str:
    return f"{number(100.0 * share)} %"
