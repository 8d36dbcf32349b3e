"""What is known of a furnace before a run: how fast it climbs, how it arrives and stands, how long a load sets it back.

From its runs in the log book, from figures a person gives, or generic where neither is there.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from statistics import median
from typing import Any, Literal

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.evidence.arrival import Arrival
from soakwitness.firmware_bridge.common.units import Unit, to_celsius

Source = Literal["log book", "by hand", "generic"]
WINDOW_C, NEAR_C = 100.0, 60.0
ROOM_C = 20.0
FADES = 0.85  # of the window below, where nothing is known above: engineering guess
SLOWEST_C_PER_H = 20.0

# Engineering guesses, no source: a small furnace is at 900 degC after about an hour, and slows towards its top.
GENERIC_CLIMB = ((100.0, 1300.0), (600.0, 800.0), (800.0, 600.0), (900.0, 450.0), (1000.0, 320.0), (1100.0, 220.0))
GENERIC_SPREAD = 0.4  # standard deviation of the logarithm of all rates together
HAND_SPREAD, LEAST_SPREAD = 0.12, 0.04
DOOR_S = 45.0  # of the time to come back after a load: what the open door takes by itself
USUAL_MM = 9.0  # steel of a load of which nobody wrote what it was: three blades of 3 mm
UNWRITTEN_SPREAD = 0.5
SLOWER = (0.5, 3.0)  # how far a furnace that climbs otherwise than usual is followed in what is not known of its loads
FEW_RUNS = 3.0  # what is generic counts as so many runs beside those measured


class FiguresError(AnalysisError):
    """Figures of a furnace that a person gave and that cannot be."""


@dataclass(frozen=True)
class WithSpread:
    """A figure with its standard deviation: of its logarithm where the figure is a time, else in its own unit."""

    value: float
    spread: float


@dataclass(frozen=True)
class Climb:
    """How one run climbed, by the lower edge of each window of 100 degC [K/h]: at full power, and as it was seen."""

    full_power: Mapping[str, float] = field(default_factory=dict)
    seen: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Recovery:
    """One cold load into the hot furnace: how long it set it back [s], and its steel, the blades' thickness summed.

    ``steel_mm`` None: nobody wrote what went in.
    """

    took_s: float
    steel_mm: float | None = None


@dataclass(frozen=True)
class UsualArrival:
    """How the chamber usually comes to holds near a temperature.

    ``settle`` is the time constant of the last degrees before a hold [s], ``overshoot`` how far the chamber goes over
    its level [K], ``level`` how far it stands from what was set [K], ``swing_c`` how far it swings about that [K]
    and ``swing_s`` how long that takes, from one rise to the next [s]; None where it does not go up and down.
    """

    settle: WithSpread = WithSpread(90.0, 0.5)
    overshoot: WithSpread = WithSpread(2.0, 1.5)
    level: WithSpread = WithSpread(0.0, 0.7)
    swing_c: float = 0.0
    swing_s: float | None = None


GENERIC_RECOVERY = WithSpread(450.0, 0.6)  # half a MJ into blades of 3 x 3 mm, at some 1.1 kW to spare


@dataclass(frozen=True)
class FurnaceKnown:
    """What is known of a furnace.

    ``climb`` maps lower edges of windows of 100 degC to rates at full power [K/h], in order, with ``climb_spread`` (of
    the logarithm), which nobody knows above ``climb_to_c`` [degC]; ``runs`` counts those it is of. ``near`` is how it
    arrives by the target of a hold [degC], ``arrival`` how it does elsewhere, of ``arrivals`` holds. ``recovery`` is
    how long a cold load of ``USUAL_MM`` sets it back [s]; ``loads_written`` whether the loads before are known.
    """

    name: str = ""
    source: Source = "generic"
    runs: int = 0
    arrivals: int = 0
    climb: tuple[tuple[float, float], ...] = GENERIC_CLIMB
    climb_spread: float = GENERIC_SPREAD
    arrival: UsualArrival = UsualArrival()
    near: tuple[tuple[float, UsualArrival], ...] = ()
    recovery: WithSpread = GENERIC_RECOVERY
    climb_to_c: float = math.inf
    loads_written: bool = True

    def recovery_s(self, steel_mm: float) -> float:
        """How long a cold load sets it back: what the steel takes up, the furnace gives at the same pace [s].

        Where nobody wrote what the loads before were, they were as much like this one as like the usual, and a small
        one is not taken to be less than they were.
        """
        share = steel_mm / USUAL_MM
        share = share if self.loads_written else math.sqrt(max(share, 1.0))
        if self.recovery == GENERIC_RECOVERY:
            share *= self._slower()
        return DOOR_S + max(self.recovery.value - DOOR_S, 0.0) * share

    def _slower(self) -> float:
        """How much longer than usual it takes for what it has to spare near its top: by its climb there."""
        top_c = max(self.climb[-1][0], GENERIC_CLIMB[0][0])
        usual = next(rate for low_c, rate in reversed(GENERIC_CLIMB) if low_c <= top_c)
        return min(max(usual / self.rate_c_per_h(top_c), SLOWER[0]), SLOWER[1])

    def arrival_at(self, target_c: float) -> UsualArrival:
        """How it arrives at a hold: as at the nearest target that its runs had, where one is near."""
        near = min(self.near, key=lambda one: abs(one[0] - target_c), default=None)
        return near[1] if near is not None and abs(near[0] - target_c) <= NEAR_C else self.arrival

    def rate_c_per_h(self, temp_c: float, climb: float = 1.0) -> float:
        """Rate at full power at a temperature: of its window, of the nearest below it, or fading above the last.

        ``climb``: a factor within what is not known, which is more in each window above the last.
        """
        rate = next((rate for low_c, rate in reversed(self.climb) if low_c <= temp_c), self.climb[0][1])
        above = max(math.ceil((temp_c - self.climb_to_c) / WINDOW_C), 0) if math.isfinite(self.climb_to_c) else 0
        return max(rate * FADES**above * climb ** (1 + above), SLOWEST_C_PER_H)


def generic_furnace(name: str = "") -> FurnaceKnown:
    """A furnace of which nothing is known."""
    return FurnaceKnown(name)


def by_hand(text: str, *, unit: Unit, name: str = "", among: FurnaceKnown | None = None) -> FurnaceKnown:
    """What a person saw: ``600:20,900:45``, which is 600 degrees after 20 min at full power from cold, 900 after 45.

    ``among``: what else is known; the climb given takes the place of its own.

    Raises FiguresError for what is no such list, or does not rise.
    """
    points = [_point(part, text, unit) for part in text.split(",")]
    rates = []
    for (from_c, from_s), (to_c, to_s) in pairwise(((ROOM_C, 0.0), *points)):
        if to_c <= from_c or to_s <= from_s:
            raise FiguresError(f"{text}: each temperature and each time must be above the one before it.")
        rates.append((from_c, 3600.0 * (to_c - from_c) / (to_s - from_s)))
    known = among or FurnaceKnown(name)
    return replace(known, source="by hand", runs=0, climb=tuple(rates), climb_spread=HAND_SPREAD, climb_to_c=to_c)


def _point(part: str, text: str, unit: Unit) -> tuple[float, float]:
    found = re.fullmatch(r"\s*(\d{2,4}(?:\.\d+)?)\s*:\s*(\d{1,4}(?:\.\d+)?)\s*", part)
    if found is None:
        raise FiguresError(
            f"{text}: {part.strip()!r} is no temperature with its minutes. Write where the furnace is after how many "
            "minutes at full power from cold, such as 600:20,900:45,1050:75"
        )
    return to_celsius(float(found[1]), unit), 60.0 * float(found[2])


def from_runs(
    name: str,
    climbs: Sequence[Climb],
    arrivals: Sequence[Arrival],
    loads: Sequence[Recovery] = (),
) -> FurnaceKnown:
    """What a furnace's runs tell; what they do not tell stays generic.

    ``arrivals`` are those of its holds, ``loads`` the cold ones into it while hot. The spread is what the runs showed,
    the generic one counting as three runs.
    """
    known = FurnaceKnown(name)
    told = [climb for climb in climbs if climb.full_power or climb.seen]
    if told:
        windows = sorted({float(low) for climb in told for low in (*climb.full_power, *climb.seen)})
        rates: dict[float, float] = {}
        for low in windows:
            rates[low] = _can(told, f"{low:.0f}", rates.get(low - WINDOW_C, 0.0))
        runs = [climb.full_power for climb in told if climb.full_power]
        offs = [median(math.log(rate / rates[float(low)]) for low, rate in one.items()) for one in runs]
        known = replace(
            known,
            source="log book",
            runs=len(told),
            climb=tuple(rates.items()),
            climb_spread=max(_usual_spread(offs, HAND_SPREAD), LEAST_SPREAD),
            climb_to_c=windows[-1] + WINDOW_C,
        )
    return replace(
        known,
        arrivals=len(arrivals),
        arrival=_usual(arrivals, known.arrival),
        near=tuple((at_c, _usual(group, known.arrival)) for at_c, group in _groups(arrivals)),
        **_recovery(loads, known.recovery),
    )


def _recovery(loads: Sequence[Recovery], guess: WithSpread) -> dict[str, Any]:
    """Of the usual load, by those of which is known what they were; else by all, as if each had been usual."""
    written = [one for one in loads if one.steel_mm]
    known = written or list(loads)
    usual = _time([_as_usual(one) for one in known], guess)
    if loads and not written:
        usual = replace(usual, spread=math.hypot(usual.spread, UNWRITTEN_SPREAD))
    return {"recovery": usual, "loads_written": bool(written) or not loads}


def _as_usual(one: Recovery) -> float:
    return DOOR_S + max(one.took_s - DOOR_S, 15.0) * USUAL_MM / (one.steel_mm or USUAL_MM)


def _can(climbs: Sequence[Climb], low: str, below: float) -> float:
    """What the furnace can in a window [K/h], ``below`` being what it can in the one below.

    A run that climbed faster without being at full power could do more. Where none was at full power, what was seen is
    the least: a hold in that window, or a slow ramp, says nothing of what it can.
    """
    full = [climb.full_power[low] for climb in climbs if low in climb.full_power]
    seen = [climb.seen[low] for climb in climbs if low in climb.seen and low not in climb.full_power]
    if not full:
        return max(median(seen), FADES * below)
    return median([*full, *(rate for rate in seen if rate > median(full))])


def _groups(arrivals: Sequence[Arrival]) -> list[tuple[float, list[Arrival]]]:
    """Arrivals at like targets: a hold that a fast climb ends in is reached otherwise than one after a slow ramp."""
    found: list[tuple[float, list[Arrival]]] = []
    for one in sorted(arrivals, key=lambda a: a.target_c):
        if found and one.target_c - found[-1][1][0].target_c <= NEAR_C:
            found[-1][1].append(one)
        else:
            found.append((one.target_c, [one]))
    return [(median(a.target_c for a in group), group) for _, group in found]


def _usual(arrivals: Sequence[Arrival], guess: UsualArrival) -> UsualArrival:
    return UsualArrival(
        settle=_time([a.settle_s for a in arrivals], guess.settle),
        overshoot=_plain([a.overshoot_c for a in arrivals], guess.overshoot),
        level=_plain([a.level_c for a in arrivals if a.level_c is not None], guess.level),
        swing_c=median(a.swing_c for a in arrivals) if arrivals else guess.swing_c,
        swing_s=_usual_period_s(arrivals),
    )


def _usual_period_s(arrivals: Sequence[Arrival]) -> float | None:
    """Of the swing, where half of the holds or more went up and down."""
    known = [a.swing_s for a in arrivals if a.swing_s is not None]
    return median(known) if known and 2 * len(known) >= len(arrivals) else None


def _time(values: Sequence[float], guess: WithSpread) -> WithSpread:
    logs = [math.log(max(value, 5.0)) for value in values]
    if not logs:
        return guess
    middle = _drawn(logs, math.log(guess.value))
    return WithSpread(math.exp(middle), _usual_spread([log - middle for log in logs], guess.spread))


def _plain(values: Sequence[float], guess: WithSpread) -> WithSpread:
    if not values:
        return guess
    middle = _drawn(values, guess.value)
    return WithSpread(middle, _usual_spread([value - middle for value in values], guess.spread))


def _drawn(values: Sequence[float], guess: float) -> float:
    """The middle of what was measured; of one or two runs the guess still counts as one."""
    middle = median(values)
    return middle if len(values) >= FEW_RUNS else (middle * len(values) + guess) / (len(values) + 1.0)


def _usual_spread(offs: Sequence[float], guess: float) -> float:
    """The same by the middle of their sizes: one run in which something broke does not make the others uncertain."""
    usual = 1.4826 * median(abs(off) for off in offs) if offs else 0.0
    return _spread([usual] * len(offs), guess)


def _spread(offs: Sequence[float], guess: float) -> float:
    """Standard deviation about nought, the guess counting as three values."""
    return math.sqrt((FEW_RUNS * guess**2 + sum(off**2 for off in offs)) / (FEW_RUNS + len(offs)))
