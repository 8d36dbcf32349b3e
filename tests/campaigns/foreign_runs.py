"""Random runs of invented furnaces with known truth, written without sight of the judge.

A run is made in four strokes: a recipe is drawn; a furnace with walls, chamber and controller does a programme
(the recipe's, or another one); sensors with one constant error each read it; and the truth is taken from the true
temperatures on the 1 s grid, never from the readings.

``expected`` holds every verdict that would be right. ``clear`` says that nothing decisive is near its limit, seen
from the truth (+-U) and seen from the readings (+-U about what is shown), noise and resolution added to both; a clear
run has a single right verdict unless something was hidden, the record is not whole, or its unit is wrong.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d
from scipy.signal import lfilter

from soakwitness.analysis.record.run import Run
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.verification_runs import make_run, sensor

FloatArray = NDArray[np.float64]
Span = tuple[float, float]

PASS, FAIL, OPEN = "pass", "fail", "not proven"
PAUSE_S = 120  # a fall below the lower edge no longer than this only pauses the soak
HOT_LOAD_S, HOT_CONTROL_S, PEAK_S = 30, 60, 30  # how long a heat must last to count
ABSURD_C = (25.0, 0.0, 1372.0)  # what a loose or broken wire shows
KINDS = (
    "plain",
    "overshoot",
    "ringing",
    "cycling",
    "door",
    "power_cut",
    "drift",
    "hot_charge",
    "pulled_one_by_one",
    "aborted",
    "cut_short",
    "begins_late",
    "wrong_recipe",
    "unasked_hotter",
    "stands_hot",
    "stands_cold",
    "wrong_unit",
    "one_degree",
    "degrees_f",
    "slow_sampling",
    "loose_contact",
    "broken",
    "stuck",
    "dropouts",
    "two_close",
    "temper",
    "repeats",
    "load_sensor",
    "two_loads",
    "unknown_u",
    "short",
)


class ForeignColumn(NamedTuple):
    """One sensor's readings, in the unit its label states; NaN where nothing was read."""

    role: str
    unit: str
    values: FloatArray


class ForeignMark(NamedTuple):
    """A mark of the person at the furnace; no pieces named means all of them."""

    t_s: float
    act: str
    pieces: tuple[str, ...] = ()


@dataclass(frozen=True)
class Dip:
    """A dip within a hold (its number from 0); its depth is below the hold's median [K].

    Cause "contact" is the one that never took place: the deciding sensor only showed it.
    """

    start_s: float
    end_s: float
    depth_c: float
    cause: str
    marked: bool
    hold: int


@dataclass(frozen=True)
class HoldTruth:
    """What truly became of one hold; times on the record's clock [s], differences in K."""

    done: bool
    stands_beside: bool
    enter_s: float | None
    leave_s: float | None
    soak_s: float | None
    seen_soak_s: float
    required_s: float
    seen_whole: bool
    too_hot_by_c: float
    overshoot_c: float | None
    median_c: float | None
    judged: bool


@dataclass(frozen=True)
class ForeignRun:
    """A run and its truth; ``true_c`` are the true courses [degC] at whole seconds of the record."""

    seed: int
    kinds: tuple[str, ...]
    recipe_toml: str
    t_s: FloatArray = field(repr=False)
    columns: Mapping[str, ForeignColumn] = field(repr=False)
    resolution: float
    expanded_u_c: float | None
    marks: tuple[ForeignMark, ...]
    truth: tuple[HoldTruth, ...]
    dips: tuple[Dip, ...]
    expected: frozenset[str]
    clear: bool
    wrong_unit: bool
    whole: bool
    hidden_s: float
    why: tuple[str, ...]
    period_s: float
    noise_c: float
    errors_c: Mapping[str, float]
    deciding: tuple[str, ...]
    true_c: Mapping[str, FloatArray] = field(repr=False)


# ---------------------------------------------------------------------------------------------------- the recipe


@dataclass(frozen=True)
class _Ask:
    """One hold that the recipe asks for, in degC, K and s."""

    target_c: float
    required_s: float
    below_c: float
    above_c: float
    judged: bool
    max_overshoot_c: float | None
    at_most_s: float | None
    rate_c_s: float | None

    @property
    def low_c(self) -> float:
        return self.target_c - self.below_c

    @property
    def high_c(self) -> float:
        return self.target_c + self.above_c

    @property
    def limit_c(self) -> float:
        return self.target_c + max(self.above_c, self.max_overshoot_c or 0.0)


@dataclass(frozen=True)
class _Recipe:
    asks: tuple[_Ask, ...]
    load_at_c: float | None
    text: str
    shape: str

    @property
    def oven(self) -> bool:
        return "temper" in self.shape


class _Dice:
    """The draws of one run."""

    def __init__(self, seed: int, attempt: int) -> None:
        self.rng = np.random.default_rng((seed, attempt))

    def real(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def whole(self, low: int, high: int) -> int:
        """A whole number, both ends included."""
        return int(self.rng.integers(low, high + 1))

    def chance(self, p: float) -> bool:
        return bool(self.rng.random() < p)

    def one(self, weights: Mapping[Any, float]) -> Any:
        names = list(weights)
        p = np.array([weights[n] for n in names], dtype=float)
        return names[int(self.rng.choice(len(names), p=p / p.sum()))]

    def log(self, low: float, high: float) -> float:
        """Even on a logarithmic scale."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))


_SHAPES = {"single": 38, "equalise": 20, "two_close": 11, "three": 6, "temper": 10, "temper_repeats": 10, "cycles": 5}


def _draw_recipe(d: _Dice, story: _Story) -> _Recipe:
    """A recipe; its numbers are round in its own unit, and the truth uses the same numbers."""
    shape = d.one(_SHAPES)
    unit = "F" if d.chance(0.6 if story.fahrenheit else 0.07) else "C"
    per_k = 1.8 if unit == "F" else 1.0
    offset = 32.0 if unit == "F" else 0.0

    def level(c: float) -> float:
        return round((c * per_k + offset) / 5.0) * 5.0

    def step(k: float) -> float:
        return float(max(1, round(k * per_k)))

    oven = "temper" in shape
    top = d.real(150, 250) if oven else d.real(740, 1060) if d.chance(0.4) else d.real(760, 860)
    if shape == "equalise":
        targets = [top - d.real(70, 220), top]
    elif shape == "two_close":
        targets = [top - 20.0, top]
    elif shape == "three":
        targets = [top - d.real(220, 330), top - d.real(80, 140), top]
    elif shape in ("temper_repeats", "cycles"):
        targets = [top] * d.whole(2, 3)
    else:
        targets = [top]
    widest = 8.0 if shape == "two_close" else 12.0 if oven else 15.0
    minutes = d.whole(25, 75) if oven else d.whole(4, 9) if shape == "cycles" else d.whole(5, 25)
    tolerance = d.real(4.5, widest)
    asks: list[_Ask] = []
    lines = [f'name = "foreign {shape.replace("_", " ")}"', f'unit = "{unit}"']
    load_at: float | None = None
    if story.hot_charge:
        first = level(targets[0])
        load_at = first if d.chance(0.65) else level(targets[0] - d.real(25, 110))
        lines.append(f"load_at = {_number(load_at)}")
    elif d.chance(0.7):
        lines.append('load = "cold"')
    same = shape in ("temper_repeats", "cycles")
    for k, target_c in enumerate(targets):
        target = level(target_c) if shape != "two_close" or k == 0 else level(targets[0]) + 20.0 * per_k
        last = k == len(targets) - 1
        if not same:
            minutes = d.whole(25, 75) if oven else d.whole(5, 22)
            tolerance = d.real(4.5, widest)
        below = above = step(tolerance)
        if not same and d.chance(0.2):
            above = step(d.real(4.0, widest))
        judged = last or same or not d.chance(0.35)
        peak = step(d.real(3.0, 20.0)) if judged and d.chance(0.25) else None
        most = None
        if judged and story.whole and d.chance(0.15):
            most = round(max(minutes * d.real(1.5, 2.8), minutes + 6))
        rate = None
        if d.chance(0.25):
            rate = round((d.real(150, 500) if oven else d.real(500, 1500)) * per_k / 10) * 10.0
        lines += ["", "[[step]]", f"ramp = {_number(rate) if rate else chr(34) + 'full power' + chr(34)}"]
        lines += [f"to = {_number(target)}", "", "[[step]]", f"hold_minutes = {minutes}"]
        if above == below:
            lines.append(f"tolerance = {_number(below)}")
        else:
            lines += [f"tolerance_below = {_number(below)}", f"tolerance_above = {_number(above)}"]
        if not judged:
            lines.append("judged = false")
        if peak is not None:
            lines.append(f"max_overshoot = {_number(peak)}")
        if most is not None:
            lines.append(f"at_most_minutes = {most}")
        asks.append(
            _Ask(
                (target - offset) / per_k,
                minutes * 60.0,
                below / per_k,
                above / per_k,
                judged,
                None if peak is None else peak / per_k,
                None if most is None else most * 60.0,
                None if rate is None else rate / per_k / 3600.0,
            )
        )
    if same:  # the recipe file asks how far pieces cool between rounds at one temperature
        lowest = min(ask.target_c - ask.below_c for ask in asks) * per_k + offset
        lines.insert(2, f"cool_below = {_number(float(int(lowest) - 1))}")
    load_at_c = None if load_at is None else (load_at - offset) / per_k
    return _Recipe(tuple(asks), load_at_c, "\n".join(lines) + "\n", shape)


def _number(value: float) -> str:
    return str(int(value)) if float(value).is_integer() else repr(value)


# ------------------------------------------------------------------------------------------- what is to happen


@dataclass
class _Story:
    """What is to happen in a run: at most one turn of the course and one fault of a sensor."""

    turn: str
    fault: str
    shapes: tuple[str, ...]
    hot_charge: bool
    one_by_one: bool
    wrong_unit: bool
    fahrenheit: bool

    @property
    def whole(self) -> bool:
        return self.turn not in ("cut_short", "begins_late")


_TURNS = {
    "": 62,
    "power_cut": 8,
    "aborted": 8,
    "cut_short": 8,
    "begins_late": 7,
    "wrong_recipe": 7,
    "unasked_hotter": 7,
    "stands_hot": 8,
    "stands_cold": 7,
}
_FAULTS_WITH = {
    "": {"": 42, "loose_contact": 14, "broken": 12, "stuck": 14, "dropouts": 12},
    "aborted": {"": 50, "loose_contact": 8, "broken": 20, "stuck": 20, "dropouts": 8},
    "power_cut": {"": 80, "loose_contact": 10, "dropouts": 10},
    "cut_short": {"": 75, "loose_contact": 10, "dropouts": 10, "stuck": 5},
    "wrong_recipe": {"": 80, "loose_contact": 10, "dropouts": 10},
    "stands_cold": {"": 80, "loose_contact": 10, "dropouts": 10},
}


def _draw_story(d: _Dice) -> _Story:
    turn = d.one(_TURNS)
    wrong_unit = d.chance(0.045)
    fault = "" if wrong_unit else d.one(_FAULTS_WITH.get(turn, {"": 1}))
    likely = {"overshoot": 0.17, "ringing": 0.1, "cycling": 0.17, "door": 0.17, "drift": 0.1}
    if fault in ("stuck", "broken"):
        likely["door"] = 0.0
    shapes = tuple(name for name, p in likely.items() if d.chance(p))
    if "ringing" in shapes and "overshoot" in shapes:
        shapes = tuple(s for s in shapes if s != "ringing")
    if len(shapes) > 2:
        shapes = shapes[:2]
    hot_charge = turn not in ("begins_late",) and d.chance(0.14)
    one_by_one = turn not in ("cut_short", "aborted") and d.chance(0.15)
    return _Story(turn, fault, shapes, hot_charge, one_by_one, wrong_unit, d.chance(0.16))


# ---------------------------------------------------------------------------------------------------- the furnace


class _Furnace:
    """Walls that are heated and lose heat, and the air of the chamber between them; one step is one second.

    The controller is a proportional one with lead, reset and a guess of the losses, or a contactor that
    switches between two powers.
    """

    def __init__(self, d: _Dice, oven: bool, top_c: float, start_c: float | None, cycling: bool) -> None:
        self.ambient = d.real(15, 25)
        self.loss_s = d.real(1800, 4500)
        self.air_s = d.real(14, 45) if not cycling else d.real(8, 18)
        if d.chance(0.2) and not cycling:
            self.air_s = d.real(45, 80)
        reach = max((top_c - self.ambient) * d.real(1.45, 1.9), (top_c + 130 - self.ambient) * 1.15)
        self.full = reach / self.loss_s  # wall heating at full power [K/s]
        self.share = d.real(0.05, 0.13)  # heat that the air takes from the walls
        self.gain = d.real(0.3, 0.6) / (self.full * self.air_s)
        self.reset_s = d.real(250, 700)
        self.lead_s = self.air_s * d.real(0.7, 1.1)
        self.guess = d.real(0.98, 1.02)
        self.air = self.wall = self.ambient if start_c is None else start_c
        self.sum = 0.0
        self.last = self.air
        self.course: list[float] = []
        self.relay = cycling
        if cycling:
            swing = d.log(1.0, 9.0)
            self.slope = 4.0 * swing / d.log(70, 480)
            self.skew = d.real(0.65, 1.5)
            self.swing = swing
        self.on = True

    @property
    def now(self) -> int:
        return len(self.course)

    def follow(
        self,
        wanted: Sequence[float],
        *,
        power: Sequence[float] | None = None,
        leak: Sequence[float] | None = None,
        sink: Sequence[float] | None = None,
        until: float | None = None,
        below: float | None = None,
    ) -> bool:
        """Do as many seconds as there are wanted temperatures [degC]; True when the air came to ``until``/``below``.

        ``power`` scales the heating (0: cut), ``leak`` is the open door [1/s], ``sink`` a cold charge [K/s].
        """
        n = len(wanted)
        zero = [0.0] * n
        power = [1.0] * n if power is None else power
        leak = zero if leak is None else leak
        sink = zero if sink is None else sink
        air, wall, summed, last, on = self.air, self.wall, self.sum, self.last, self.on
        ambient, full, air_s, share = self.ambient, self.full, self.air_s, self.share
        gain, per_reset, lead = self.gain, self.gain / self.reset_s, self.lead_s
        keep = self.guess / (full * self.loss_s)
        loss = 1.0 / self.loss_s
        add = self.course.append
        relay = self.relay
        if relay:
            held = (wanted[-1] - ambient) / (full * self.loss_s)
            rise = min(self.slope, 0.95 * full * held, 0.95 * full * (1.0 - held))
            band = max(self.swing - rise * air_s, 0.2)
            high = min(1.0, held + rise * self.skew / full)
            low = max(0.0, held - rise / self.skew / full)
            far = self.swing + 4.0
            ahead = air_s * 0.9
        top = 1e9 if until is None else until
        bottom = -1e9 if below is None else below
        found = False
        for sp, p, door, cold in zip(wanted, power, leak, sink, strict=True):
            error = sp - air
            if relay:
                seen = error - (air - last) * ahead
                if seen > band:
                    on = True
                elif seen < -band:
                    on = False
                u = (1.0 if error > far and seen > 0 else high) if on else (0.0 if error < -far else low)
            else:
                u = (sp - ambient) * keep + gain * ((error if error < 14.0 else 14.0 + error) - lead * (air - last))
                u += summed
                if u > 1.0:
                    u = 1.0
                elif u < 0.0:
                    u = 0.0
                elif -15.0 < error < 15.0 or error * summed < 0.0:
                    summed = min(max(summed + per_reset * error, -0.1), 0.1)
            last = air
            flow = (wall - air) / air_s
            wall += u * p * full - (wall - ambient) * loss - share * flow
            air += flow - door * (air - ambient) - cold
            add(air)
            if air >= top or air <= bottom:
                found = True
                break
        self.air, self.wall, self.sum, self.last, self.on = air, wall, summed, last, on
        return found

    def heat(self, target: float, rate: float | None, until: float) -> bool:
        """Go to a target [degC] at full power or a rate [K/s]; False when it cannot be reached in 4 h."""
        if self.air >= until:
            return True
        self.sum = 0.0
        if rate is None:
            return self.follow([target] * 14400, until=until)
        start = self.air
        n = int(max(0.0, target - start) / rate) + 1
        wanted = np.minimum(start + rate * np.arange(n + 7200), target).tolist()
        return self.follow(wanted, until=until)

    def idle(self, seconds: float, *, leak: float = 0.0, below: float | None = None) -> bool:
        """Stand unheated."""
        n = max(1, int(seconds))
        return self.follow([self.ambient] * n, power=[0.0] * n, leak=[leak] * n, below=below)


@dataclass
class _Window:
    """One hold of the programme, in seconds of the simulation.

    ``start``: the way to it begins (or the load mark); ``leaves``: the programme leaves it; ``end``: nothing after
    this can belong to it; ``hotter``: it is left towards a hotter level; ``odd``: stretches in which the furnace
    stood too hot, so that they may be called no soak; ``level``: when the furnace had arrived and when it went on;
    ``hot_end``: the heat after this is not this hold's.
    """

    start: int
    leaves: int
    end: int
    hotter: bool = False
    odd: list[Span] = field(default_factory=list)
    level: Span | None = None
    hot_end: int = 0


@dataclass
class _Course:
    """A course of the true chamber [degC] and what happened on the way [s of the simulation].

    ``load``: the charge is in; ``pulls``: marked pulls; ``out``: the blades with sensors are taken out; ``stop``: the
    furnace is off for good; ``begin``: the record begins; ``cut``: it ends in the middle.
    """

    chamber: FloatArray
    windows: list[_Window | None]
    load: int = 0
    pulls: list[int] = field(default_factory=list)
    out: int | None = None
    doors: list[Span] = field(default_factory=list)
    cuts: list[Span] = field(default_factory=list)
    marks: list[ForeignMark] = field(default_factory=list)
    stop: int | None = None
    begin: int = 0
    cut: bool = False
    kinds: set[str] = field(default_factory=set)
    arguable: bool = False


_NAMES = ("thin one", "long one", "cook", "petty", "sword end", "test bar", "old file")


def _door(furnace: _Furnace, depth: float, seconds: int) -> float:
    """The leak of an open door [1/s] that takes the chamber down by a depth [K] within its seconds."""
    span = max(furnace.air - furnace.ambient, 20.0)
    return float(-np.log(1.0 - min(depth / span, 0.8)) / seconds)


def _shape(d: _Dice, story: _Story, n: int, kinds: set[str]) -> FloatArray:
    """What the controller adds to the level of a hold [K], second by second."""
    t = np.arange(n, dtype=float)
    add = np.zeros(n)
    if "overshoot" in story.shapes:
        peak = d.log(1.0, 25.0) if d.chance(0.6) else d.log(1.0, 6.0)
        rise = d.log(120, 1500) / 5.5
        late = 0.7 * rise
        add += peak * ((t + late) / rise) * np.exp(1.0 - (t + late) / rise)
        kinds.add("overshoot")
    if "ringing" in story.shapes:
        period = d.log(150, 600)
        sign = 1.0 if d.chance(0.8) else -1.0
        add += sign * d.log(3.0, 16.0) * np.exp(-t / (period * d.real(0.8, 3.0))) * np.sin(2 * np.pi * t / period)
        kinds.add("ringing")
    if "drift" in story.shapes:
        size = d.log(2.0, 20.0) * (1.0 if d.chance(0.5) else -1.0)
        add += size * (t / n if d.chance(0.7) else np.sin(np.pi * t / n))
        kinds.add("drift")
    return add


class _Teller:
    """Has the furnace do what the story says."""

    def __init__(self, d: _Dice, story: _Story, recipe: _Recipe, taus: Sequence[float]) -> None:
        self.d, self.story, self.recipe = d, story, recipe
        self.asks = recipe.asks
        self.last = len(self.asks) - 1
        self.again = recipe.shape in ("temper_repeats", "cycles")
        self.loaded = bool(taus)
        self.slow = max(taus, default=0.0)
        start = None
        if recipe.load_at_c is not None and d.chance(0.5):
            start = recipe.load_at_c
        elif not recipe.oven and d.chance(0.5):
            start = d.real(60, 400)
        self.furnace = _Furnace(d, recipe.oven, self.asks[-1].target_c, start, "cycling" in story.shapes)
        self.course = _Course(np.empty(0), [None] * len(self.asks))
        if "cycling" in story.shapes:
            self.course.kinds.add("cycling")
        self.over = False
        self.where = ""  # when it stands too hot, seen from the hold
        self.way = ""  # in what the programme is the wrong one
        self.at = self._pick_hold()
        self.levels = [self._level(k) for k in range(len(self.asks))]

    def _pick_hold(self) -> int:
        """The hold that the turn concerns; where another would be arguable, the last one."""
        d, turn, shape = self.d, self.story.turn, self.recipe.shape
        k = d.whole(0, self.last)
        if turn == "begins_late":
            return 0
        if turn == "unasked_hotter":
            return self.last
        if turn in ("stands_cold", "wrong_recipe") and not self.asks[k].judged and d.chance(0.8):
            k = self.last
        if turn == "stands_cold" and shape == "two_close":
            k = 0
        if turn == "stands_cold" and self.again:
            k = self.last
        if turn == "stands_hot":
            self.where = d.one({"before": 1, "in": 1, "after": 1})
            if self.where == "after" or (k < self.last and self.asks[k + 1].low_c - self.asks[k].target_c < 110):
                k = self.last  # lower down, the heat would look like the next hold
        if turn == "wrong_recipe":
            self.way = d.one({"level": 4, "time": 3, "skip": 3})
            if self.way == "skip" and self.last == 0:
                self.way = "level"
            if self.way == "skip" and self.again:
                k = self.last
            if self.way == "level" and self.last and shape != "equalise":
                self.way = "time"
        return k

    def _level(self, k: int) -> float:
        """Where the furnace stands in a hold [degC]."""
        d, ask, turn = self.d, self.asks[k], self.story.turn
        level = ask.target_c + d.real(-1.0, 1.0) * min(1.5, 0.2 * ask.below_c)
        if k != self.at:
            return level
        if turn == "stands_cold":
            self.course.kinds.add("stands_cold")
            return ask.target_c - d.real(8, 30)
        if self.way:
            self.course.kinds.add("wrong_recipe")
        if self.way == "level":
            off = d.real(40, 60 if self.recipe.oven else 120)
            cold = ask.target_c - off
            if k == 0 and self.last:
                return cold
            if d.chance(0.6) and (k == 0 or cold > self.asks[k - 1].high_c + 25):
                return cold
            return ask.target_c + max(off, ask.limit_c - ask.target_c + 15)
        return level

    def tell(self) -> _Course:
        """The whole course."""
        course, furnace = self.course, self.furnace
        self._load()
        for k in range(len(self.asks)):
            if not self.over:
                self._hold(k)
        if not self.over:
            self._end()
        course.chamber = np.asarray(furnace.course)
        n = furnace.now
        begun = [w for w in course.windows if w is not None]
        for w, after in zip(begun, begun[1:], strict=False):
            w.end = n if w.hotter else after.start
        begun[-1].end = begun[-1].hot_end = n
        return course

    # -- the charge is put in

    def _load(self) -> None:
        d, furnace, course, at = self.d, self.furnace, self.course, self.recipe.load_at_c
        if at is None:
            if d.chance(0.25) and self.story.turn != "begins_late":
                course.marks.append(ForeignMark(round(d.real(0, 20), 1), "load"))
            return
        course.kinds.add("hot_charge")
        if self.where and self.at == 0 and d.chance(0.35):
            hotter = at + d.real(15, 60)  # the empty furnace stands too hot: no harm to the charge
            self._stand_at(hotter, d.real(200, 900))
            furnace.follow([at] * 5400, below=at + 1.0)
            course.kinds.add("stands_hot")
            self.where, self.at = "", -1
        self._stand_at(at, d.real(150, 700))
        course.load = furnace.now
        course.marks.append(ForeignMark(float(course.load) + round(d.real(-4, 4), 1), "load"))
        n, seconds = 900, d.whole(6, 22)
        leak = [_door(furnace, d.log(15, 120), seconds)] * seconds
        sink = (d.real(6, 45) / furnace.air_s * np.exp(-np.arange(n) / d.real(60, 220))).tolist()
        course.doors.append((course.load, course.load + seconds))
        wanted = [self.levels[0]] * n
        furnace.follow(wanted[:seconds], leak=leak, sink=sink[:seconds])
        furnace.follow(wanted[seconds:], sink=sink[seconds:], until=self.levels[0] - 2.0)

    def _stand_at(self, level: float, seconds: float) -> None:
        self.furnace.heat(level, None, level - 2.0)
        self.furnace.follow([level] * int(seconds))

    # -- one hold

    def _hold(self, k: int) -> None:
        d, furnace, course, ask, level = self.d, self.furnace, self.course, self.asks[k], self.levels[k]
        begin = course.load if k == 0 else furnace.now
        if self.way == "skip" and k == self.at:
            if k < self.last:
                course.windows[k] = _Window(begin, begin, begin, hotter=True, hot_end=begin)
            return
        w = course.windows[k] = _Window(begin, begin, begin)
        turn = self.story.turn if k == self.at else ""
        where = self.where if turn == "stands_hot" else ""
        heat = ask.target_c + d.real(10, 60)
        if where:
            course.kinds.add("stands_hot")
        if turn in ("aborted", "power_cut", "cut_short") and furnace.air < level - 60 and d.chance(0.25):
            stop = min(furnace.air + (level - furnace.air) * d.real(0.3, 0.93), ask.low_c - 12)
            furnace.heat(level, ask.rate_c_s, stop)
            self._break_off(turn, w, k, never=d.chance(0.15))
            turn = ""
        if self.over:
            return
        if where == "before":
            self._stand_at(heat, d.real(300, 1800))
            furnace.follow([level] * 5400, below=level + 1.0)
            w.odd.append((begin, furnace.now))
        if not furnace.heat(level, ask.rate_c_s, level - 2.0):
            course.arguable = True
        arrived = furnace.now
        n = self._seconds(k)
        if turn == "aborted":
            n = int(ask.required_s * d.real(0.05, 0.6 if self.again else 1.1))
        elif turn == "cut_short":
            n = int(ask.required_s * d.real(0.05, 1.5))
        elif turn == "power_cut":
            n = int(n * d.real(0.05, 0.9))
        elif where == "in":
            n = int(n * d.real(0.2, 0.8))
        self._stand(k, n, () if turn or where else self._doors(n))
        w.level = (arrived, furnace.now)
        if turn in ("aborted", "power_cut", "cut_short"):
            self._break_off(turn, w, k, never=d.chance(0.2))
            if self.over:
                return
            furnace.heat(level, None, level - 2.0)
            lasts = ask.required_s * d.real(1.15, 1.4) + self.slow * 2 if d.chance(0.5) else d.real(60, ask.required_s)
            furnace.follow([level] * int(lasts))
        if where == "in":
            came = furnace.now
            self._stand_at(heat, d.real(300, 1800))
            furnace.follow([level] * 3600, below=level + 2.0)
            w.odd.append((came, furnace.now))
            furnace.follow([level] * int(d.real(60, ask.required_s)))
        w.level = (arrived, furnace.now)
        w.leaves = w.hot_end = furnace.now
        if turn == "begins_late":
            course.begin = int(arrived + (furnace.now - arrived) * d.real(0.08, 0.8))
            course.kinds.add("begins_late")
        if where == "after":
            w.hotter = True
            self._stand_at(heat, d.real(300, 1800))
        if self.way == "level" and k == self.at and level > ask.high_c:
            w.leaves, w.hotter = w.start, True
        ends = k == self.last or (self.way == "skip" and self.at == self.last == k + 1)
        if not ends and self.asks[k + 1].target_c > ask.target_c + 1.0:
            w.hotter = True
        elif not ends:
            floor = furnace.ambient + (30 if self.recipe.oven else 150)
            furnace.idle(14400, leak=1.0 / d.real(600, 2500), below=max(floor, ask.low_c - d.real(60, 300)))
            furnace.idle(self.slow * 2 + d.real(60, 400))

    def _seconds(self, k: int) -> int:
        """How long the furnace stands in a hold."""
        d, ask = self.d, self.asks[k]
        if self.way == "time" and k == self.at:
            return int(ask.required_s * d.real(0.15, 0.5))
        lot = d.real(0, 1) if k == self.last or d.chance(0.3) else 0.0
        factor = d.real(1.15, 1.45)
        if 0.8 < lot < 0.93 - (0.07 if self.story.turn else 0.0):
            factor = d.real(0.2, 0.75)
            self.course.kinds.add("short")
        elif lot >= 0.93:
            factor = d.real(0.85, 1.15)
        extra = self.slow * d.real(1.8, 3.2) if self.loaded and d.chance(0.85) else 0.0
        if ask.at_most_s is not None and d.chance(0.35):
            extra += ask.at_most_s - ask.required_s
        return int(ask.required_s * factor + extra + d.real(40, 240))

    def _doors(self, n: int) -> tuple[int, ...]:
        """When the door opens within a hold of n seconds."""
        if "door" not in self.story.shapes or n < 240:
            return ()
        times = sorted(self.d.whole(30, n - 120) for _ in range(self.d.whole(1, 3)))
        return tuple(t for i, t in enumerate(times) if i == 0 or t - times[i - 1] > 60)

    def _stand(self, k: int, n: int, doors: Sequence[int]) -> None:
        """The level of a hold with all that the controller and the doors do to it."""
        d, furnace, course = self.d, self.furnace, self.course
        n = max(n, 30)
        wanted = self.levels[k] + _shape(d, self.story, n, course.kinds)
        leak, power, begin = np.zeros(n), np.ones(n), furnace.now
        for at in doors:
            seconds = d.whole(4, 20)
            leak[at : at + seconds] = _door(furnace, d.log(8, 80 if self.recipe.oven else 120), seconds)
            if d.chance(0.6):
                power[at : at + seconds] = 0.0
            course.doors.append((begin + at, begin + at + seconds))
            course.kinds.add("door")
            if d.chance(0.5):
                course.marks.append(ForeignMark(begin + at + round(d.real(-5, 8), 1), "door"))
        furnace.follow(wanted.tolist(), leak=leak.tolist(), power=power.tolist())

    # -- ends

    def _break_off(self, turn: str, w: _Window, k: int, *, never: bool) -> None:
        """The programme stops, the power fails, or the record ends, here and now."""
        d, furnace, course = self.d, self.furnace, self.course
        course.kinds.add(turn)
        if turn == "cut_short":
            self.over, course.cut = True, True
            w.leaves = w.hot_end = furnace.now
            return
        here = furnace.now
        if turn == "power_cut" and not never:
            # between equal holds a long cut would make two of one
            furnace.idle(d.log(60, 240 if self.again else 2400))
            course.cuts.append((here, furnace.now))
            return
        self.over, course.stop = True, here
        w.leaves = w.hot_end = here
        furnace.idle(14400, below=max(min(self.asks[k].low_c, furnace.air) - d.real(60, 200), furnace.ambient + 15))
        furnace.idle(d.real(300, 900) + 3 * self.slow)
        if turn == "power_cut":
            course.cuts.append((here, furnace.now))

    def _end(self) -> None:
        """The charge is pulled, or cools in the furnace."""
        d, furnace, course = self.d, self.furnace, self.course
        k, w = max((k, w) for k, w in enumerate(course.windows) if w is not None)
        ask, level = self.asks[k], self.levels[k]
        styles = {"mark_off": 4.0, "mark_on": 2.0, "off": 3.0, "out": 1.5 if self.loaded else 0.0}
        if self.where == "after":
            styles = {"mark_off": 2.0, "off": 2.0}
        one_by_one = self.story.one_by_one
        hotter = 0.0
        if self.story.turn == "unasked_hotter":
            course.kinds.add("unasked_hotter")
            hotter = ask.limit_c + d.real(14, 90)
            styles.pop("off")
            if d.chance(0.5):
                w.hotter = True
                self._stand_at(hotter, d.real(300, 1500) + 2.5 * self.slow)
                hotter, one_by_one = 0.0, False
                styles = {"mark_off": 1.0, "off": 1.0}
        if one_by_one:
            styles = {"mark_off": 3.0, "mark_on": 2.0}
        style = d.one(styles)
        if style == "off":
            furnace.idle(14400, below=ask.low_c - d.real(30, 120))
            furnace.idle(d.real(200, 600) + 3 * self.slow)
            return
        pieces: list[tuple[str, ...]] = [()]
        if one_by_one:
            names = [str(n) for n in d.rng.permutation(_NAMES)]
            pieces = [(name,) for name in names[: d.whole(2, 4)]]
            course.kinds.add("pulled_one_by_one")
        stand = furnace.air if w.hotter else level
        for i, named in enumerate(pieces):
            at, seconds, more = furnace.now, d.whole(5, 20), i < len(pieces) - 1
            if style != "out":
                course.pulls.append(at)
                course.marks.append(ForeignMark(at + round(d.real(-3, 6), 1), "pull", named))
            course.out = at
            leak = _door(furnace, d.log(8, 90), seconds)
            course.doors.append((at, at + seconds))
            on = 1.0 if more or style == "mark_on" or hotter else 0.0
            furnace.follow([stand] * seconds, leak=[leak] * seconds, power=[on] * seconds)
            if more:
                furnace.follow([stand] * int(d.real(25, 200)))
        if hotter:
            self._stand_at(hotter, d.real(300, 1500))
        elif style == "mark_on":
            furnace.follow([level] * int(d.real(60, 700)))
        soon = style != "out" and not hotter and d.chance(0.3)
        furnace.idle(d.real(70, 200) if soon else d.real(240, 1200))


# ------------------------------------------------------------------------------------------- blades and sensors


def _blade(chamber: FloatArray, tau_s: float, top_c: float, radiant: bool, load: int, out: int | None) -> FloatArray:
    """The true temperature [degC] of a blade that follows the chamber, from its load until it is taken out."""
    n = chamber.size
    begin = 22.0
    inside = chamber[load:]
    course = np.full(n, begin)
    if radiant:
        air = inside[: inside.size // 4 * 4].reshape(-1, 4).mean(axis=1) + 273.15
        b, kept = begin + 273.15, []
        k = 4.0 / tau_s / (4.0 * (top_c + 273.15) ** 3)
        for a in air.tolist():
            kept.append(b)
            b += (a - b) * min(k * (a * a + b * b) * (a + b), 0.9)
        kept.append(b)
        at = np.arange(len(kept)) * 4.0
        course[load:] = np.interp(np.arange(inside.size), at, np.array(kept) - 273.15)
    else:
        share = 1.0 / tau_s
        course[load:], _ = lfilter([share], [1.0, share - 1.0], inside, zi=[begin * (1.0 - share)])
    if out is not None:
        after = np.arange(n - out)
        low = 45.0
        course[out:] = low + (course[out - 1] - low) * np.exp(-after / (5.0 if top_c > 400 else 60.0))
    return course


@dataclass
class _Shown:
    """What one sensor shows [degC], and where its readings are no furnace [s of the record]."""

    name: str
    role: str
    true: FloatArray
    error: float
    values: FloatArray
    hidden: list[Span] = field(default_factory=list)
    low: list[tuple[float, float, float]] = field(default_factory=list)

    def hide(self, t: FloatArray, i: int, j: int, what: float | None) -> None:
        """Readings i..j-1 are replaced; the course is hidden from the last good reading to the next."""
        before = float(self.values[max(i - 1, 0)])
        if what is None:
            self.values[i:j] = self.values[i]
            i += 1
        else:
            self.values[i:j] = what
        if j <= i:
            return
        self.hidden.append((float(t[max(i - 1, 0)]), float(t[min(j, t.size - 1)])))
        if what is not None and np.isfinite(what) and what < before:
            self.low.append((float(t[i]), float(t[j - 1]), what))


def _spoil(d: _Dice, fault: str, shown: _Shown, t: FloatArray, span: Span, stop: float | None) -> bool:
    """Put a fault on a sensor's readings; ``span`` is when the work was in its holds [s of the record]."""
    first, last = span
    wide = max(last - first, 60.0)

    def index(at: float) -> int:
        return int(np.clip(np.searchsorted(t, at), 1, t.size - 2))

    if fault == "loose_contact":
        for _ in range(d.whole(1, 4)):
            at = first + wide * d.real(-0.1, 1.0) if d.chance(0.75) else d.real(t[1], t[-2])
            i = index(at)
            j = max(i + 1, int(np.searchsorted(t, t[i] + d.log(1, 60))))
            shown.hide(t, i, min(j, t.size - 1), float(d.one({v: 1 for v in ABSURD_C})))
        return True
    if fault == "dropouts":
        for _ in range(d.whole(1, 4)):
            i = index(first + wide * d.real(-0.2, 1.0))
            j = max(i + 1, int(np.searchsorted(t, t[i] + d.log(4, 500))))
            shown.hide(t, i, min(j, t.size - 1), float("nan"))
        return True
    if fault == "broken":
        at = first + wide * d.real(-0.15, 0.98) if stop is None else stop - d.real(0, 40)
        values = {1372.0: 3, 0.0: 2, float("nan"): 3} | ({25.0: 1} if shown.role == "control" else {})
        shown.hide(t, index(at), t.size, float(d.one(values)))
        return True
    if fault == "stuck":
        at = first + wide * d.real(-0.4, 1.0) if stop is None else stop - d.real(0, 400)
        i = index(at)
        j = int(np.searchsorted(t, t[i] + d.log(120, 1800)))
        j = min(j, index(t[-1] - 90))
        if t[j] - t[i] < 120 or j - i < 3:
            return False
        shown.hide(t, i, j, None)
        return True
    return False


# ----------------------------------------------------------------------------------------------------- the truth


@dataclass(frozen=True)
class _How:
    """One reading of the definitions: added to the temperature [K], how long a pause, and the doubtful ends."""

    add: float
    pause_s: float = PAUSE_S
    fill_s: float = 0.0
    late: bool = True
    odd_counts: bool = True


@dataclass(frozen=True)
class _Soak:
    """A soak [s] within a hold, its first and last second in the simulation, and whether it was left in there."""

    counted: float = 0.0
    total: float = 0.0
    enter: int | None = None
    leave: int | None = None
    left: bool = False


def _soak(x: FloatArray, ask: _Ask, w: _Window, rec: tuple[int, int], pull: int | None, how: _How) -> _Soak:
    """The soak of a piece in one hold of the programme."""
    a, b = max(w.start, rec[0]), min(w.end, rec[1])
    left = w.end < rec[1]
    if pull is not None and pull < b:
        b, left = pull, True
    if w.hotter:
        i = max(w.leaves, a)
        if how.late:
            over = np.flatnonzero(x[i:b] - how.add > ask.high_c)
            if over.size:
                b, left = i + int(over[0]), True
        elif w.leaves < b:
            b, left = w.leaves, True
    if b <= a:
        return _Soak(left=left)
    above = x[a:b] + how.add >= ask.low_c
    if not how.odd_counts:
        for begin, end in w.odd:
            above[max(int(begin) - a, 0) : max(int(end) - a, 0)] = False
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(np.int8), [0]))))
    if not edges.size:
        return _Soak(left=left)
    starts, ends = edges[::2].tolist(), edges[1::2].tolist()
    counted, best = 0.0, 0.0
    last = None
    for s, e in zip(starts, ends, strict=True):
        if last is not None:
            gap = s - last
            counted = counted + (gap if gap <= how.fill_s else 0.0) if gap <= how.pause_s else 0.0
        counted += e - s
        best = max(best, counted)
        last = e
    return _Soak(best, float(ends[-1] - starts[0]), a + starts[0], a + ends[-1], left or ends[-1] < b - a)


def _lasting(x: FloatArray, seconds: float) -> float:
    """The highest temperature that lasts so many seconds."""
    n = max(1, round(seconds))
    if x.size < n:
        return float("-inf")
    if n == 1:
        return float(x.max())
    low = minimum_filter1d(x, n, mode="nearest")
    return float(low[n // 2 : x.size - (n - 1) // 2].max())


@dataclass
class _Work:
    """A true course that decides, with what the sensor in it hides [s of the simulation]."""

    shown: _Shown
    x: FloatArray
    hidden: list[Span]


@dataclass
class _Figures:
    """The figures of one hold on one work under one reading of the definitions."""

    soak: _Soak
    longest: _Soak
    hot: float
    peak: float | None
    median: float | None
    partial: bool


class _Truth:
    """All that is true of a run."""

    def __init__(
        self, recipe: _Recipe, course: _Course, works: Sequence[_Work], rec: tuple[int, int], period_s: float
    ) -> None:
        self.recipe, self.course, self.works, self.rec, self.period = recipe, course, works, rec, period_s
        self.loaded = works[0].shown.role == "load"
        longest = max((b - a for w in works for a, b in w.hidden), default=0.0)
        self.fuzz = 20 + 2 * period_s + min(longest, 120.0)
        self.first = min(course.pulls, default=None)
        self.final = max(course.pulls, default=None)
        self.arguable = course.arguable
        self.late = course.begin > 0

    def nominal(self, k: int, work: _Work) -> _Figures:
        return self._figures(k, work, work.x, _How(0.0), HOT_LOAD_S if self.loaded else HOT_CONTROL_S, PEAK_S)

    def range(self, k: int, work: _Work, low: float, high: float, x: FloatArray | None = None) -> list[_Figures]:
        """The figures at their least and at their greatest, readings off by low..high [K]."""
        x = work.x if x is None else x
        hot = HOT_LOAD_S if self.loaded else HOT_CONTROL_S
        slack = 10 + 2 * self.period
        least = _How(low, max(PAUSE_S - self.fuzz, 0.0), 0.0, False, False)
        most = _How(high, PAUSE_S + self.fuzz, 2 * self.period, True, True)
        return [
            self._figures(k, work, x, least, hot + slack, PEAK_S + slack),
            self._figures(k, work, x, most, hot - slack, PEAK_S - slack),
        ]

    def _figures(self, k: int, work: _Work, x: FloatArray, how: _How, hot_s: float, peak_s: float) -> _Figures:
        ask, w, rec = self.recipe.asks[k], self.course.windows[k], self.rec
        if w is None:
            return _Figures(_Soak(), _Soak(), float("-inf"), None, None, self.course.cut)
        soak = _soak(work.x, ask, w, rec, self.first, how)
        longest = soak if self.final == self.first else _soak(work.x, ask, w, rec, self.final, how)
        partial = self.course.cut and not (soak.left and k < self._last_begun())
        if self.late and k == 0:
            whole = _soak(work.x, ask, w, (0, rec[1]), self.first, how)
            partial = partial or (whole.enter is not None and whole.enter < rec[0])
        before = max((j for j in range(k) if self.course.windows[j] is not None), default=None)
        prior = self.course.windows[before] if before is not None else None
        a = max(prior.hot_end if prior else self.course.load, rec[0])
        b = min(w.hot_end, rec[1])
        if self.final is not None:
            b = min(b, self.final)
        elif k == self._last_begun():
            i = max(w.leaves, a)
            gone = np.flatnonzero(work.x[i:b] + max(how.add, 0.0) < ask.low_c)
            if gone.size:
                b = i + int(gone[0])
        went = min(int(w.level[1]), rec[1]) if w.level is not None else a
        if w.hotter and k < self._last_begun() and not how.late:
            # what rises above the band and does not come back may be called the way to the next hold
            below = np.flatnonzero(work.x[a:b] <= ask.high_c - how.add)
            b = a + int(below[-1]) + 1 if below.size else a
            went = min(went, b)
        hot = float("-inf")
        if b > a:
            limit = np.full(b - a, ask.limit_c)
            if before is not None:
                enter = soak.enter if soak.enter is not None else b
                limit[: max(enter - a, 0)] = max(ask.limit_c, self.recipe.asks[before].limit_c)
            hot = _lasting(x[a:b] - limit, hot_s) + how.add
        peak = median = None
        if soak.enter is not None and w.level is not None:
            stood = x[soak.enter : went]
            inside = x[soak.enter : max(went, self.final or 0)] if k == self._last_begun() else stood
            if inside.size:
                peak = _lasting(inside, min(peak_s, inside.size)) - ask.target_c + how.add
            if stood.size >= 120:
                both = (float(np.median(stood)), float(np.median(stood[stood.size // 2 :])))
                median = (both[0] if how.add == 0 else min(both) if not how.late else max(both)) + how.add
        return _Figures(soak, longest, hot, peak, median, partial)

    def _last_begun(self) -> int:
        return max(k for k, w in enumerate(self.course.windows) if w is not None)

    def side(self, bounds: Callable[[_Work], Span], strict: bool, mask: bool = False) -> tuple[str, set[str], str]:
        """Verdict on the ranges ("?": could be either), what fails, and what the record does not show of the soaks.

        ``strict`` asks soaks to be 12 % and a minute off the asked time, else half a minute. The last is ""
        (all shown), "enough" (cut, but the soak was seen), "maybe", or "unseen".
        """
        bad: set[str] = set()
        doubt: set[str] = set()
        seen = ""
        rank = ("", "enough", "maybe", "unseen")
        for k, ask in enumerate(self.recipe.asks):
            found = []
            for work in self.works:
                x = work.x
                if mask:
                    x = x.copy()
                    for a, b in work.hidden:
                        x[max(int(a), 0) : int(b) + 1] = -1e9
                found.append(self.range(k, work, *bounds(work), x=x))
            if not ask.judged and any(f[0].partial or f[1].partial for f in found):
                seen = max(seen, "enough", key=rank.index)
            if ask.judged:
                for least, most in found:
                    state = self._enough(least.soak.counted, most.soak.counted, ask.required_s, strict)
                    if least.partial or most.partial:
                        new = {"pass": "enough", "fail": "unseen"}.get(state, "maybe")
                        seen = max(seen, new, key=rank.index)
                    elif state == FAIL:
                        bad.add("soak")
                    elif state == "?":
                        doubt.add("soak")
                if ask.at_most_s is not None:
                    low = max(f[0].longest.counted for f in found)
                    high = max(f[1].longest.total for f in found)
                    self._over("at_most", self._enough(low, high, ask.at_most_s, strict), bad, doubt)
            self._tell("hot", [(f[0].hot, f[1].hot) for f in found], bad, doubt)
            if ask.max_overshoot_c is not None:
                top = ask.max_overshoot_c
                pairs = [(f[0].peak, f[1].peak) for f in found]
                self._tell("peak", [(_less(a, top), _less(b, top)) for a, b in pairs], bad, doubt)
            high_c = ask.high_c
            pairs = [(f[0].median, f[1].median) for f in found]
            partial = any(f[1].partial for f in found)
            wrong: set[str] = set()
            self._tell("level", [(_less(a, high_c), _less(b, high_c)) for a, b in pairs], wrong, doubt)
            (doubt if partial else bad).update(wrong)
        return FAIL if bad else "?" if doubt else PASS, bad, seen

    def _enough(self, low: float, high: float, asked: float, strict: bool) -> str:
        margin = (max(0.12 * asked, 60.0) if strict else 30.0) + 2 * self.period
        return PASS if low > asked + margin else FAIL if high < asked - margin or high == 0.0 else "?"

    @staticmethod
    def _over(name: str, state: str, bad: set[str], doubt: set[str]) -> None:
        if state == PASS:
            bad.add(name)
        elif state == "?":
            doubt.add(name)

    @staticmethod
    def _tell(name: str, pairs: Sequence[tuple[float, float]], bad: set[str], doubt: set[str]) -> None:
        if any(low > 0 for low, _ in pairs):
            bad.add(name)
        elif any(high >= 0 for _, high in pairs):
            doubt.add(name)

    def plain(self) -> tuple[str, set[str]]:
        """The verdict on the true temperatures, as if all had been seen."""
        bad: set[str] = set()
        for k, ask in enumerate(self.recipe.asks):
            all_f = [self.nominal(k, work) for work in self.works]
            if ask.judged and any(f.soak.counted < ask.required_s and not f.partial for f in all_f):
                bad.add("soak")
            if ask.judged and ask.at_most_s is not None and max(f.longest.counted for f in all_f) > ask.at_most_s:
                bad.add("at_most")
            if any(f.hot > 0 for f in all_f):
                bad.add("hot")
            top = ask.max_overshoot_c
            if top is not None and any(f.peak is not None and f.peak > top for f in all_f):
                bad.add("peak")
            if any(f.median is not None and f.median > ask.high_c for f in all_f):
                bad.add("level")
        return FAIL if bad else PASS, bad

    # -- what the holds truly were

    def holds(self) -> tuple[tuple[HoldTruth, ...], tuple[Dip, ...]]:
        made: list[HoldTruth] = []
        dips: list[Dip] = []
        rec, zero = self.rec, self.course.begin
        for k, ask in enumerate(self.recipe.asks):
            all_f = [self.nominal(k, work) for work in self.works]
            i = int(np.argmin([f.soak.counted for f in all_f]))
            f, work, w = all_f[i], self.works[i], self.course.windows[k]
            partial = any(g.partial for g in all_f)
            enter, leave = f.soak.enter, f.soak.leave
            hides = False
            if enter is not None and leave is not None:
                hides = any(a < leave and b > enter for a, b in work.hidden)
                dips += self._dips(k, work, enter, leave)
            begun_before = self.late and k == 0 and f.partial
            peaks = [g.peak for g in all_f if g.peak is not None]
            levels = [g.median for g in all_f if g.median is not None]
            made.append(
                HoldTruth(
                    done=w is not None and self._done(ask, w),
                    stands_beside=w is not None and self._beside(ask, w),
                    enter_s=None if enter is None or begun_before else float(enter - zero),
                    leave_s=float(leave - zero) if leave is not None and f.soak.left and leave < rec[1] else None,
                    soak_s=None if partial else f.soak.counted,
                    seen_soak_s=f.soak.counted,
                    required_s=ask.required_s,
                    seen_whole=not partial and not hides,
                    too_hot_by_c=max(g.hot for g in all_f),
                    overshoot_c=max(peaks) if peaks and ask.max_overshoot_c is not None else None,
                    median_c=max(levels) if levels else None,
                    judged=ask.judged,
                )
            )
        return tuple(made), tuple(dips)

    def _done(self, ask: _Ask, w: _Window) -> bool:
        air = self.course.chamber
        s = _soak(air, ask, w, self.rec, None, _How(0.0))
        if s.enter is None or s.leave is None:
            return False
        inside = air[s.enter : s.leave]
        return bool(np.sum((inside >= ask.low_c) & (inside <= ask.high_c)) >= 0.4 * ask.required_s)

    def _beside(self, ask: _Ask, w: _Window) -> bool:
        if w.level is None:
            return False
        a, b = max(int(w.level[0]), self.rec[0]), min(int(w.level[1]), self.rec[1])
        if b - a < 0.4 * ask.required_s:
            return False
        level = float(np.median(self.course.chamber[a:b]))
        return not ask.low_c <= level <= ask.high_c and abs(level - ask.target_c) <= 40.0

    def _dips(self, k: int, work: _Work, enter: int, leave: int) -> list[Dip]:
        zero, course = self.course.begin, self.course
        x = work.x[enter:leave]
        level = float(np.median(x))
        low = (x < level - 1.0).astype(np.int8)
        edges = np.flatnonzero(np.diff(low))
        made: list[Dip] = []
        if low[0] and edges.size:
            edges = edges[1:]
        for a, b in zip((edges[::2] + 1).tolist(), (edges[1::2] + 1).tolist(), strict=False):
            depth = level - float(x[a:b].min())
            if depth < 2.0:
                continue
            a, b = a + enter, b + enter
            marked = any(a - 90 <= m.t_s <= b and m.act != "load" for m in course.marks)
            cause = "other"
            if any(s < b and e > a - 40 for s, e in course.doors):
                cause = "door"
            elif any(s < b and e > a - 40 for s, e in course.cuts):
                cause = "power"
            elif "cycling" in course.kinds:
                cause = "cycling"
            elif course.kinds & {"ringing", "overshoot"}:
                cause = "undershoot"
            made.append(Dip(float(a - zero), float(b - zero), depth, cause, marked and cause == "door", k))
        for a, b, shown in work.shown.low:
            if enter <= a + zero < leave:
                made.append(Dip(a, b, level - shown, "contact", False, k))
        return made

    def look_at_ends(self, bounds: Callable[[_Work], Span]) -> None:
        """Find what cannot be told: a record that begins or ends in a dip, a hold whose end was not reached."""
        rec, asks = self.rec, self.recipe.asks
        k = self._last_begun()
        w, ask = self.course.windows[k], asks[k]
        assert w is not None
        for work in self.works:
            low, high = bounds(work)
            now = work.x[min(rec[1], work.x.size) - 1]
            was_in = _soak(work.x, ask, w, rec, None, _How(high)).enter is not None
            if self.course.cut:
                if was_in and now + low < ask.low_c + 1.0:
                    self.arguable = self.arguable or bool(self.course.windows[k] and w.level is not None)
            elif self.final is None and now + high > ask.low_c - 2.0:
                self.arguable = True
            if self.late:
                first = self.course.windows[0]
                assert first is not None
                before = work.x[first.start : rec[0]]
                if before.size and before.max() + high >= asks[0].low_c and work.x[rec[0]] + low < asks[0].low_c + 0.5:
                    self.arguable = True

    def look_for_doubles(self, bounds: Callable[[_Work], Span]) -> None:
        """Find what no reading can tell: a hold that strayed to its neighbour's level, one hold that became two."""
        asks, windows = self.recipe.asks, self.course.windows
        courses = [(w.x, *bounds(w)) for w in self.works] + [(self.course.chamber, -1.0, 1.0)]
        for k, (ask, w) in enumerate(zip(asks, windows, strict=True)):
            if w is None or w.level is None:
                continue
            for x, low, high in courses:
                inside = np.flatnonzero(x[w.start : w.leaves] >= ask.low_c)
                if inside.size == 0:
                    continue
                stay = x[w.start + int(inside[0]) : w.leaves]
                if k + 1 < len(asks) and asks[k + 1].target_c > ask.target_c:
                    self.arguable |= _lasting(stay + high, 45) >= asks[k + 1].low_c
                same = any(a.target_c == ask.target_c for a in asks[:k] + asks[k + 1 :])
                if same:
                    self.arguable |= _lasting(-(stay + low), 60) > -ask.low_c
                if k and not same:
                    off = np.maximum(asks[k - 1].low_c - (stay + high), (stay + low) - asks[k - 1].high_c)
                    self.arguable |= _lasting(-off, 180) > 0.0

    def hides(self) -> float:
        """For how long the deciding readings were no furnace where it matters [s]."""
        total = 0.0
        begin = max(self.course.load, self.rec[0])
        for work in self.works:
            spans: list[Span] = []
            for k in range(len(self.recipe.asks)):
                s = self.nominal(k, work).soak
                if s.enter is not None and s.leave is not None:
                    spans.append((s.enter - 120.0, s.leave + 120.0))
            end = max([b for _, b in spans], default=float(self.rec[1]))
            for a, b in work.hidden:
                if any(a < q and b > p for p, q in spans) or (b - a > 60 and b > begin and a < end):
                    total += b - a
        return total


def _less(value: float | None, top: float) -> float:
    return float("-inf") if value is None else value - top


# ------------------------------------------------------------------------------------------------------- the run


_PERIODS = {1.0: 28, 2.0: 15, 5.0: 20, 10.0: 17, 30.0: 10, 60.0: 10}


def foreign_run(seed: int) -> ForeignRun:
    """The run of a seed, with its truth; a draw whose truth would be arguable is drawn again."""
    for attempt in range(50):
        case = _draw(seed, attempt)
        if case is not None:
            return case
    raise AssertionError(f"seed {seed} gives only arguable runs")


def _draw(seed: int, attempt: int) -> ForeignRun | None:
    d = _Dice(seed, attempt)
    story = _draw_story(d)
    recipe = _draw_recipe(d, story)
    loads = d.one({0: 52, 1: 33, 2: 15})
    taus = [d.log(25, 420) for _ in range(loads)]
    course = _Teller(d, story, recipe, taus).tell()
    kinds = set(course.kinds)

    narrow = min(min(a.below_c, a.above_c) for a in recipe.asks)
    expanded = None if d.chance(0.15) else max(0.3, round(narrow * d.real(0.05, 0.3), 1))
    noise = 0.0 if d.chance(0.2) else d.real(0.0, 0.5) if d.chance(0.5) else d.real(0.0, 0.2)
    unit = "F" if story.fahrenheit else "C"
    resolution = d.one({1.0: 60, 0.1: 40}) if unit == "F" else d.one({1.0: 22, 0.1: 78})
    resolution_c = resolution / (1.8 if unit == "F" else 1.0)
    period = d.one(_PERIODS)

    n = course.chamber.size
    length = n - course.begin
    t = np.arange(0.0, length - 1.0, period)
    t[1:] += d.rng.uniform(-0.04, 0.04, t.size - 1) * period
    if t[-1] > length - 1:
        t = t[:-1]
    rec = (course.begin, course.begin + int(t[-1]) + 1)

    sensors: list[tuple[str, str, FloatArray]] = [("furnace", "control", course.chamber)]
    top = recipe.asks[-1].target_c
    for i, tau in enumerate(taus):
        name = "blade" if loads == 1 else f"blade {'ab'[i]}"
        course_i = _blade(course.chamber, tau, top, d.chance(0.5), course.load, course.out)
        sensors.append((name, "load", course_i))
    if d.chance(0.07):
        sensors.append(("roof", "recording", course.chamber + d.real(-8, 8)))
    shown = [_read(d, name, role, true, t + course.begin, expanded, noise) for name, role, true in sensors]
    deciding = [s for s in shown if s.role == ("load" if loads else "control")]

    faulty = _fault(d, story, recipe, course, shown, deciding, t, rec, kinds)
    works = [_Work(s, s.true, [(a + course.begin, b + course.begin) for a, b in s.hidden]) for s in deciding]
    truth = _Truth(recipe, course, works, rec, period)
    stuck_unseen = (
        faulty is not None
        and "stuck" in kinds
        and (noise < 0.45 * resolution_c or (faulty.hidden[-1][1] - faulty.hidden[-1][0]) / period < 10)
    )
    expected, clear, why, hidden_s = _expect(truth, expanded, noise, resolution_c, story.wrong_unit, stuck_unseen)
    if truth.arguable:
        return None
    holds, dips = truth.holds()

    if unit == "F":
        kinds.add("degrees_f")
    label = unit
    if story.wrong_unit:
        kinds.add("wrong_unit")
        label = "C" if unit == "F" else "F"
    columns = {}
    for s in shown:
        values = s.values * 1.8 + 32.0 if unit == "F" else s.values
        columns[s.name] = ForeignColumn(s.role, label, np.round(values / resolution) * resolution)
    if not kinds:
        kinds.add("plain")
    told = {
        "one_degree": resolution == 1.0,
        "slow_sampling": period >= 30,
        "two_close": recipe.shape == "two_close",
        "temper": recipe.oven,
        "repeats": recipe.shape in ("temper_repeats", "cycles"),
        "load_sensor": loads > 0,
        "two_loads": loads == 2,
        "unknown_u": expanded is None,
    }
    kinds |= {name for name, is_so in told.items() if is_so}
    marks = sorted(m._replace(t_s=round(m.t_s - course.begin, 1)) for m in course.marks)
    marks = [m._replace(t_s=max(m.t_s, 0.0)) for m in marks if m.t_s > -5.0]
    return ForeignRun(
        seed=seed,
        kinds=tuple(k for k in KINDS if k in kinds),
        recipe_toml=recipe.text,
        t_s=t,
        columns=columns,
        resolution=resolution,
        expanded_u_c=expanded,
        marks=tuple(marks),
        truth=holds,
        dips=dips,
        expected=expected,
        clear=clear,
        wrong_unit=story.wrong_unit,
        whole=not course.cut and course.begin == 0,
        hidden_s=hidden_s,
        why=why,
        period_s=period,
        noise_c=noise,
        errors_c={s.name: s.error for s in shown},
        deciding=tuple(s.name for s in deciding),
        true_c={s.name: s.true[rec[0] : rec[1]] for s in shown},
    )


def _read(
    d: _Dice, name: str, role: str, true: FloatArray, at: FloatArray, expanded: float | None, noise: float
) -> _Shown:
    """A sensor's readings before its fault, [degC]; its error is one constant within +-U."""
    error = 0.0
    if expanded is not None:
        error = (
            d.real(-expanded, expanded)
            if d.chance(0.5)
            else float(np.clip(d.rng.normal(0, expanded / 2), -expanded, expanded))
        )
    values = np.interp(at, np.arange(true.size), true) + error + d.rng.normal(0, 1, at.size) * noise
    return _Shown(name, role, true, error, values)


def _fault(
    d: _Dice,
    story: _Story,
    recipe: _Recipe,
    course: _Course,
    shown: Sequence[_Shown],
    deciding: Sequence[_Shown],
    t: FloatArray,
    rec: tuple[int, int],
    kinds: set[str],
) -> _Shown | None:
    """Spoil one sensor, in most runs one that decides; None when there is no fault."""
    if not story.fault:
        return None
    spoilt = deciding[d.whole(0, len(deciding) - 1)] if d.chance(0.8) else shown[0]
    soaks = [
        _soak(spoilt.true, ask, w, rec, max(course.pulls, default=None), _How(0.0))
        for ask, w in zip(recipe.asks, course.windows, strict=True)
        if w is not None
    ]
    first = min((s.enter for s in soaks if s.enter is not None), default=rec[0] + (rec[1] - rec[0]) // 3)
    last = max((s.leave for s in soaks if s.leave is not None), default=rec[1])
    stop = None if course.stop is None else course.stop - course.begin
    if not _spoil(d, story.fault, spoilt, t, (first - course.begin, last - course.begin), stop):
        return None
    kinds.add(story.fault)
    return spoilt


def _expect(
    truth: _Truth, expanded: float | None, noise: float, resolution_c: float, wrong_unit: bool, unseen_stuck: bool
) -> tuple[frozenset[str], bool, tuple[str, ...], float]:
    """The right verdicts, whether the case is clear, what truly fails, and how long the course was hidden [s]."""
    u, more = expanded or 0.0, 3 * noise + resolution_c

    def far(work: _Work) -> Span:
        e = work.shown.error
        return min(-u, e - u) - more, max(u, e + u) + more

    def near(work: _Work) -> Span:
        return -more, more

    truth.look_at_ends(far)
    truth.look_for_doubles(far)
    side, bad, seen = truth.side(far, True)
    close, close_bad, close_seen = truth.side(near, False)
    clear = side != "?"
    expected = {side} if clear else {close, OPEN} if close != "?" else {PASS, FAIL, OPEN}
    if close_seen and PASS in expected:
        expected.add(OPEN)
        if close_seen == "unseen":
            expected.discard(PASS)
    if seen == "maybe" and expected != {FAIL}:
        clear = False
    hidden = truth.hides()
    if hidden > 0:
        expected.add(OPEN)
        if FAIL in expected and "soak" not in close_bad and truth.side(near, False, mask=True)[0] != FAIL:
            expected.add(PASS)  # the heat that was too much was never shown
            clear = False
        if FAIL in expected and unseen_stuck:
            expected.add(PASS)  # a level furnace and a quiet sensor look the same
            clear = False
    if wrong_unit:
        expected, clear = {FAIL, OPEN}, True
    return frozenset(expected), clear, tuple(sorted(truth.plain()[1])), hidden


def as_run(case: ForeignRun) -> Run:
    """The run in memory, all of it in degC and K as the columns' labels have it."""
    values, columns = {}, []
    for name, column in case.columns.items():
        fahrenheit = column.unit == "F"
        values[name] = (column.values - 32.0) / 1.8 if fahrenheit else column.values
        columns.append(
            sensor(
                name,
                column.role,
                resolution=case.resolution / (1.8 if fahrenheit else 1.0),
                expanded_uncertainty=case.expanded_u_c,
            )
        )
    marks = [Mark(m.t_s, m.act, m.pieces) for m in case.marks]  # type: ignore[arg-type]
    return make_run(case.t_s, values, columns=columns, marks=marks)


def _check(case: ForeignRun) -> None:
    """What must hold of any run."""
    assert case.expected
    assert case.expected <= {PASS, FAIL, OPEN}
    assert np.all(np.diff(case.t_s) > 0)
    assert all(c.values.size == case.t_s.size for c in case.columns.values())
    assert all(0 <= m.t_s <= case.t_s[-1] + case.period_s for m in case.marks)
    for name, error in case.errors_c.items():
        assert abs(error) <= (case.expanded_u_c or 0.0) + 1e-9, name
    truth_fails = bool(case.why)
    if case.clear and not case.wrong_unit:
        assert (PASS in case.expected) <= (not truth_fails)
        assert (FAIL in case.expected) <= truth_fails
        if case.whole and case.hidden_s == 0:
            assert case.expected == {FAIL if truth_fails else PASS}
    for hold in case.truth:
        assert hold.seen_soak_s >= 0
        if hold.enter_s is not None and hold.leave_s is not None:
            assert hold.enter_s <= hold.leave_s
            assert hold.seen_soak_s <= hold.leave_s - hold.enter_s
        if hold.judged and hold.soak_s is not None and hold.soak_s < hold.required_s:
            assert "soak" in case.why


def main() -> None:
    """Count the kinds, the clear cases and the expected verdicts of some runs."""
    import sys
    import time

    n = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    kinds: Counter[str] = Counter()
    verdicts: Counter[str] = Counter()
    clear = 0
    begin = time.perf_counter()
    for seed in range(n):
        case = foreign_run(seed)
        _check(case)
        kinds.update(case.kinds)
        clear += case.clear
        verdicts[" or ".join(sorted(case.expected))] += 1
    spent = time.perf_counter() - begin
    print(f"{n} runs, {1000 * spent / n:.0f} ms each; clear {clear / n:.0%}")
    for name in KINDS:
        print(f"  {name:18} {kinds[name] / n:6.1%}")
    for name, count in verdicts.most_common():
        print(f"  {name:28} {count / n:6.1%}")


if __name__ == "__main__":
    main()
