"""Random furnace runs with known truth: a true temperature on a dense grid, then readings of it.

The truth comes from the noise-free temperature and from the generator's own plan of the run, never from the analyser:
*enter* is the first time the true temperature is at or above the lower edge on the way into the hold, *leave* the first
time it is out of the band after the plan has ended the hold, *soak* the true time at or above the lower edge between.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.run import FloatArray

DENSE_S = 0.5
ROOM_C = 20.0


@dataclass
class Plan:
    """The true course of one run, drawn piece by piece on a grid of ``DENSE_S``."""

    temp_c: list[FloatArray] = field(default_factory=list)
    label: list[FloatArray] = field(default_factory=list)  # hold that is meant, + 0.5 on the way to it, -1 for none
    now_c: float = ROOM_C

    def _add(self, temp_c: FloatArray, label: float) -> None:
        self.temp_c.append(temp_c)
        self.label.append(np.full(temp_c.size, label, dtype=float))
        if temp_c.size:
            self.now_c = float(temp_c[-1])

    def idle(self, duration_s: float, label: float = -1) -> None:
        """Stay where it is."""
        self._add(np.full(int(duration_s / DENSE_S), self.now_c), label)

    def ramp(self, rate_c_per_h: float, to_c: float, label: float = -1, *, fade: float = 0.0) -> None:
        """Go to ``to_c``; with ``fade`` the rate falls linearly to (1 - fade) of its start, as at full power."""
        span = to_c - self.now_c
        steps = max(2, int(abs(span) / (rate_c_per_h * (1 - fade / 2)) * 3600 / DENSE_S))
        x = np.arange(1, steps + 1) / steps
        self._add(self.now_c + span * (x - fade / 2 * x * x) / (1 - fade / 2), label)

    def hold(self, duration_s: float, label: float, *, swing_c: float = 0.0, period_s: float = 600.0) -> None:
        """Hold the level for ``duration_s``, perhaps with a swing of the controller that fades in."""
        t = np.arange(1, int(duration_s / DENSE_S) + 1) * DENSE_S
        wave = swing_c * np.sin(2 * np.pi * t / period_s) * np.minimum(1, t / 60)
        self._add(self.now_c + wave - (wave[-1:] if wave.size else 0) * t / max(duration_s, 1), label)

    def cool(self, tau_s: float, to_c: float, label: float = -1) -> None:
        """Cool freely towards the room until ``to_c``."""
        duration = tau_s * np.log((self.now_c - ROOM_C + 5) / (to_c - ROOM_C + 5))
        t = np.arange(1, max(2, int(duration / DENSE_S)) + 1) * DENSE_S
        self._add((self.now_c - ROOM_C + 5) * np.exp(-t / tau_s) + ROOM_C - 5, label)

    def cool_for(self, duration_s: float, tau_s: float, label: float = -1) -> None:
        """Cool freely for a time."""
        t = np.arange(1, max(2, int(duration_s / DENSE_S)) + 1) * DENSE_S
        self._add((self.now_c - ROOM_C + 5) * np.exp(-t / tau_s) + ROOM_C - 5, label)

    def course(self, rounding_s: float = 0.0) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Times, true temperature (corners rounded by a first-order lag) and labels on the dense grid."""
        from scipy.signal import lfilter

        temp, label = np.concatenate(self.temp_c), np.concatenate(self.label)
        if rounding_s > 0:
            share = 1.0 - float(np.exp(-DENSE_S / rounding_s))
            temp = lfilter([share], [1, share - 1], temp, zi=np.array([temp[0] * (1 - share)]))[0]
        return np.arange(temp.size) * DENSE_S, temp, label


@dataclass(frozen=True)
class HoldTruth:
    """What really happened in one hold; None: the run has no such hold."""

    enter_s: float
    leave_s: float
    soak_s: float
    peak_c: float = np.nan


@dataclass(frozen=True)
class Case:
    """One run: its recipe, its readings and the truth."""

    kind: str
    seed: int
    recipe: Recipe
    t_s: FloatArray
    temp_c: FloatArray
    truth: tuple[HoldTruth | None, ...]
    resolution_c: float
    period_s: float
    noise_c: float
    error_c: float = 0.0
    expanded_c: float = 0.0
    rate_c_per_s: float = 0.0  # slowest crossing of an edge, for the tolerance that noise asks for
    load_c: FloatArray | None = None
    true_c: FloatArray | None = None


def recipe_of(
    targets_c: list[float], required_s: list[float], band_c: list[float], rates: list[float | None]
) -> Recipe:
    """A recipe of ramps and holds in turn."""
    steps: list[Ramp | Hold] = []
    for target, need, band, rate in zip(targets_c, required_s, band_c, rates, strict=True):
        steps.append(Ramp(len(steps) + 1, target, rate))
        steps.append(Hold(len(steps) + 1, target, band, band, need, dip_s=120.0))
    return Recipe("random", "C", tuple(steps))


def truth_of(
    t_s: FloatArray, temp_c: FloatArray, label: FloatArray, recipe: Recipe, number: int, *, ends: bool = True
) -> HoldTruth | None:
    """Truth of hold ``number`` from the dense course: its last attempt, as the plan's labels tell it."""
    hold = recipe.holds[number]
    meant = np.flatnonzero(label == number)
    if not meant.size:
        return None
    later = label[meant[-1] + 1 :]
    follows = next((int(n) for n in later if n >= 0), None)
    climbs = follows is not None and recipe.holds[follows].target_c > hold.target_c
    inside = np.flatnonzero(temp_c[meant] >= hold.lower_c)
    above = np.flatnonzero(temp_c[meant] <= hold.upper_c)
    if not inside.size or not above.size:
        return None
    first = meant[inside[0]]
    before = np.flatnonzero(temp_c[:first] < hold.lower_c)
    from_above = number > 0 and recipe.holds[number - 1].target_c > hold.target_c
    if from_above and not (before.size and before[-1] > np.flatnonzero(label == number - 1)[-1] if number else False):
        before = np.flatnonzero(temp_c[:first] > hold.upper_c)
    first = before[-1] + 1 if before.size else 0
    after = temp_c[meant[-1] :]
    out = np.flatnonzero(after > hold.upper_c if climbs else after < hold.lower_c)
    last = meant[-1] + (out[0] if out.size else after.size - 1)
    part = temp_c[first : last + 1]
    soak = float(np.count_nonzero(part >= hold.lower_c)) * DENSE_S
    return HoldTruth(float(t_s[first]), float(t_s[last]), soak, float(part[: meant[-1] - first + 1].max()))


def readings(
    rng: np.random.Generator,
    t_s: FloatArray,
    temp_c: FloatArray,
    *,
    period_s: float,
    noise_c: float,
    resolution_c: float,
    error_c: float = 0.0,
    jitter: float = 0.02,
) -> tuple[FloatArray, FloatArray]:
    """Sample the course: jittered times, white noise, one constant error, rounded to the resolution."""
    count = int(t_s[-1] / period_s)
    at = np.sort(np.arange(count) * period_s + rng.uniform(-jitter, jitter, count) * period_s + jitter * period_s)
    seen = np.interp(at, t_s, temp_c) + error_c + rng.normal(0, noise_c, count)
    return at, np.round(seen / resolution_c) * resolution_c


def soak_case(seed: int, *, error: bool = True) -> Case:
    """Random run: 1 to 3 holds, 0.7 to 1.4 x the required soak, one error within U (none without ``error``)."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 4))
    targets = [float(v) for v in np.sort(rng.uniform(250, 1080, count)).round()]
    while any(b - a < 40 for a, b in zip(targets, targets[1:], strict=False)):
        targets = [float(v) for v in np.sort(rng.uniform(250, 1080, count)).round()]
    bands = [float(rng.choice([5, 6, 8, 10])) for _ in targets]
    needs = [float(rng.integers(8, 46)) * 60 for _ in targets]
    rates: list[float | None] = [None if rng.random() < 0.4 else float(rng.integers(2, 25)) * 60 for _ in targets]
    recipe = recipe_of(targets, needs, bands, rates)
    expanded = float(rng.uniform(0.3, 0.3 * min(bands)))
    error_c = float(rng.uniform(-1, 1)) * expanded * error
    plan = Plan()
    plan.idle(float(rng.uniform(0, 300)))
    for number, (target, need, band, rate) in enumerate(zip(targets, needs, bands, rates, strict=True)):
        overshoot = float(rng.choice([0.0, 0.0, 0.4 * band]) * rng.random())
        plan.ramp(rate or float(rng.uniform(600, 2000)), target + overshoot, number + 0.5, fade=0.0 if rate else 0.5)
        plan.ramp(240, target, number) if overshoot > 0.2 else None
        plan.hold(
            need * float(rng.uniform(0.7, 1.4)),
            number,
            swing_c=0.15 * band * rng.random(),
            period_s=rng.uniform(120, 900),
        )
    plan.cool(float(rng.choice([120.0, 1800.0, 6000.0])), 100)
    t_s, temp_c, label = plan.course(float(rng.uniform(0, 30)))
    noise, resolution, period = rng.uniform(0, 0.4), float(rng.choice([0.1, 1.0])), float(rng.integers(1, 6))
    at, seen = readings(
        rng, t_s, temp_c, period_s=period, noise_c=noise, resolution_c=resolution, error_c=error_c, jitter=0.05
    )
    truth = tuple(truth_of(t_s, temp_c, label, recipe, n) for n in range(count))
    edges = [edge for hold in truth if hold for edge in (hold.enter_s, hold.leave_s)]
    slopes = [abs(np.interp(edge + 10, t_s, temp_c) - np.interp(edge - 10, t_s, temp_c)) / 20 for edge in edges]
    return Case(
        "soak", seed, recipe, at, seen, truth, resolution, period, noise, error_c, expanded,
        rate_c_per_s=float(min(slopes)), true_c=np.interp(at, t_s, temp_c),
    )  # fmt: skip


KINDS = (
    "plain", "late start", "20 apart", "repeats", "missing hold", "aborted", "restart in hold", "restart from cold",
    "door", "1 degree", "60 s", "dropouts", "spikes", "full power",
)  # fmt: skip


def assignment_case(seed: int, kind: str | None = None) -> Case:
    """Random run with one of the troubles of ``KINDS``, often with others on top."""
    rng = np.random.default_rng(seed)
    kind = kind or str(rng.choice(KINDS))
    return _observed(rng, kind, seed, *_planned(rng, kind))


def _targets(rng: np.random.Generator, kind: str) -> list[float]:
    if kind == "20 apart":
        first = float(rng.integers(400, 1040))
        return [first, first + 20.0]
    if kind == "repeats":
        return [float(rng.integers(170, 300))] * int(rng.integers(2, 4))
    count = int(rng.integers(2, 4)) if kind == "missing hold" else int(rng.integers(1, 4))
    while True:
        targets = [float(v) for v in np.sort(rng.integers(300, 1080, count))]
        if all(b - a >= 60 for a, b in zip(targets, targets[1:], strict=False)):
            return targets


def _planned(rng: np.random.Generator, kind: str) -> tuple[Recipe, Plan, float]:
    targets = _targets(rng, kind)
    count = len(targets)
    bands = [float(rng.choice([5, 6, 8])) for _ in targets]
    if kind == "repeats":
        bands = [bands[0]] * count
    needs = [float(rng.integers(10, 31)) * 60 for _ in targets]
    full = kind == "full power"
    rates: list[float | None] = [
        None if full or rng.random() < 0.3 else float(rng.choice([100, 200, 300, 400, 600, 900])) for _ in targets
    ]
    recipe = recipe_of(targets, needs, bands, rates)
    plan = Plan()
    if kind == "late start" or rng.random() < 0.3:
        plan.idle(float(rng.uniform(600, 7200)))
    missing = int(rng.integers(0, count - 1)) if kind == "missing hold" else -1
    stop_at = int(rng.integers(0, count)) if kind in ("aborted", "restart from cold") else -1
    number, again = 0, False
    while number < count:
        target, need, rate = targets[number], needs[number], rates[number]
        pace = rate or float(rng.uniform(500, 6000))
        if kind == "aborted" and number == stop_at and rng.random() < 0.5:
            plan.ramp(pace, plan.now_c + 0.6 * (targets[number] - 15 - plan.now_c), number + 0.5)
            break
        plan.ramp(pace, target, number + 0.5, fade=0.0 if rate else float(rng.uniform(0, 0.6)))
        if number == missing:
            number += 1
            continue
        swing = 0.3 * bands[number] * float(rng.random())
        need *= float(rng.uniform(0.75, 1.3))
        part = float(rng.uniform(0.2, 0.8))
        if kind == "aborted" and number == stop_at:
            plan.hold(need * part, number, swing_c=swing)
            break
        if kind == "restart from cold" and number == stop_at and not again:
            plan.hold(need * part, number, swing_c=swing)
            plan.label = [np.full(a.size, -1.0) for a in plan.label]
            plan.cool(3600, min(0.4 * plan.now_c, 0.5 * targets[0]))
            again, number = True, 0
            continue
        if kind == "restart in hold" or (kind == "door" and rng.random() < 0.3):
            plan.hold(need * part, number, swing_c=swing)
            if kind == "door":
                plan.ramp(8000, plan.now_c - float(rng.uniform(20, 90)), number)
                plan.ramp(3000, target, number)
            else:
                plan.cool_for(float(rng.uniform(200, 1200)), 5000, number)
                plan.ramp(pace, target, number)
            plan.hold(need * (1 - part), number, swing_c=swing)
        else:
            plan.hold(need, number, swing_c=swing, period_s=float(rng.uniform(200, 900)))
        number += 1
        if kind == "repeats" and number < count:
            plan.cool(float(rng.uniform(1500, 4000)), float(rng.uniform(40, 90)))
            plan.idle(float(rng.uniform(0, 1800)))
    plan.cool(float(rng.choice([150.0, 2000.0, 6000.0])), 80)
    return recipe, plan, float(rng.uniform(0, 40))


def _observed(rng: np.random.Generator, kind: str, seed: int, recipe: Recipe, plan: Plan, rounding_s: float) -> Case:
    t_s, temp_c, label = plan.course(rounding_s)
    period = 60.0 if kind == "60 s" else float(rng.choice([1, 2, 5, 10, 30]))
    resolution = 1.0 if kind == "1 degree" or rng.random() < 0.3 else 0.1
    noise = float(rng.uniform(0, 0.5))
    at, seen = readings(rng, t_s, temp_c, period_s=period, noise_c=noise, resolution_c=resolution)
    truth = tuple(truth_of(t_s, temp_c, label, recipe, n) for n in range(len(recipe.holds)))
    if kind == "door":
        seen = _door(rng, at, seen, [edge for hold in truth if hold for edge in (hold.enter_s, hold.leave_s)])
    if kind == "dropouts":
        seen = seen.copy()
        for _ in range(int(rng.integers(3, 12))):
            where = int(rng.integers(0, seen.size))
            seen[where : where + int(rng.integers(1, max(2, int(240 / period))))] = np.nan
    if kind == "spikes":
        seen = seen.copy()
        hit = rng.random(seen.size) < 0.002
        seen[hit] += rng.choice([-400, 300, 1000, -60, 60], int(hit.sum()))
    return Case(kind, seed, recipe, at, seen, truth, resolution, period, noise, true_c=np.interp(at, t_s, temp_c))


def _door(rng: np.random.Generator, at: FloatArray, seen: FloatArray, edges_s: list[float]) -> FloatArray:
    """Door openings: the control sensor falls within seconds and recovers in a minute or two.

    None within five minutes of an edge: there the dip itself would be the reading's edge.
    """
    seen = seen.copy()
    for _ in range(int(rng.integers(1, 4))):
        start, deep, long = float(rng.uniform(0, at[-1])), float(rng.uniform(20, 80)), float(rng.uniform(10, 25))
        if any(abs(start - edge) < 300 for edge in edges_s):
            continue
        x = at - start
        dip = np.where((x > 0) & (x < long), x / long, np.where(x >= long, np.exp(-np.maximum(x - long, 0) / 30), 0.0))
        hot = np.interp(start, at, seen) > 250
        seen = seen - deep * dip * hot
    return seen


def with_error(case: Case, error_c: float, expanded_c: float) -> Case:
    """The same run read by a sensor that reads ``error_c`` high."""
    return replace(case, temp_c=case.temp_c + error_c, error_c=error_c, expanded_c=expanded_c)


def slack_s(case: Case, at_s: float) -> float:
    """How far a crossing may be off: one interval (or gap), and the time the true course stays within the noise."""
    assert case.true_c is not None
    seen = case.t_s[np.isfinite(case.temp_c)]
    place = int(np.searchsorted(seen, at_s))
    gap = float(seen[min(place, seen.size - 1)] - seen[max(place - 1, 0)])
    near = np.abs(case.t_s - at_s) < 600
    t_s, true_c = case.t_s[near], case.true_c[near]
    within = t_s[np.abs(true_c - np.interp(at_s, t_s, true_c)) < 3 * case.noise_c + case.resolution_c / 2 + 0.2]
    return 1 + max(1.1 * case.period_s, gap) + float(np.max(np.abs(within - at_s), initial=0.0))


def wrong_holds(case: Case) -> list[int]:
    """Holds that are found though they are not there, not found though they are, or with a wrong enter or leave."""
    from soakwitness.analysis.record import traces
    from soakwitness.analysis.verification.holds.placing import place_holds
    from soakwitness.analysis.verification.inputs.readings import readings_of

    trace = traces.trace(
        "furnace", "control", case.t_s, case.temp_c, resolution_c=case.resolution_c, period_s=case.period_s
    )
    wrong = []
    for number, (truth, found) in enumerate(zip(case.truth, place_holds(readings_of(trace), case.recipe), strict=True)):
        edges = found.edges if found is not None else None
        if truth is None or edges is None:
            good = truth is None and found is None
        else:
            good = abs(edges.enter_s - truth.enter_s) <= slack_s(case, truth.enter_s) and abs(
                edges.leave_s - truth.leave_s
            ) <= slack_s(case, truth.leave_s)
        if not good:
            wrong.append(number)
    return wrong
