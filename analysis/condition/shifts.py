"""Changes of level in a series of runs, beside everything that is known to move it: which shape, from where, how much.

``y = X b + s a + noise``: ``X`` holds the known conditions of the runs (each coefficient with what it may be
beforehand), ``s`` is 0 up to some run and goes to 1 after it, at once or slowly. The shape that explains most is taken;
its gain is how much it lowers the sum of squares, in variances: the square of how many standard errors it is from none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from soakwitness.analysis.record.run import FloatArray

Way = Literal["at once", "slowly"]
REFERENCES = 4  # runs that tell what was before; a step needs so many
AT_ONCE_FROM, SLOWLY_FROM = 2, 6  # runs that a step and a slow change need to be seen
ADD_GAIN = 22.0
MOST_SHAPES = 4
PRIOR_RUNS = 6.0  # how many runs' worth the usual scatter of such a figure counts
WINSOR = 3.0
ROUNDS = 3
ODD_FROM = 6.0  # a difference between neighbours counts for so many usual ones at most
RESTLESS_BEFORE, RESTLESS_AFTER = 12, 4


@dataclass(frozen=True)
class KnownColumns:
    """Known conditions of runs, shape (n, p), and the standard deviation that each coefficient may have, shape (p,).

    The last ``levels`` columns are no conditions but levels: the first one, and those that a repair began.
    """

    columns: FloatArray
    spread: FloatArray
    levels: int = 1


@dataclass(frozen=True)
class LevelChange:
    """One change of level: from which value on, in which way, and its size at the end of the series.

    ``lead`` is by how much its way explains more than the other one could.
    """

    begins: int
    way: Way
    size: float
    gain: float
    lead: float = 0.0


@dataclass(frozen=True)
class LevelCourse:
    """What became of a series. ``change`` is its level now less that at first, ``gain`` how sure that is.

    ``level`` is the line through the values with the known conditions taken out (``cleaned``), ``scatter`` the standard
    deviation about it, ``flat`` the line where no change is believed. ``main`` is the piece that carries the change;
    None where there is none. ``restless`` is by how much more neighbours differ from ``restless_from`` on than before,
    1.0 where they do not; ``restless_gain`` how sure that is. ``kept`` is what was fitted.
    """

    cleaned: FloatArray
    level: FloatArray
    flat: FloatArray
    scatter: float
    pieces: tuple[LevelChange, ...] = ()
    change: float = 0.0
    gain: float = 0.0
    main: LevelChange | None = None
    restless: float = 1.0
    restless_from: int = 0
    restless_gain: float = 0.0
    kept: tuple[FloatArray, KnownColumns] | None = None

    def laid_on(self, shape: FloatArray) -> tuple[float, float]:
        """Size of another series' change in this one, and its standard error; the shape ends with one."""
        assert self.kept is not None
        values, known = self.kept
        fit = _Fit(known, shape[:, None], self.scatter)
        sizes, *_ = fit.solve(values, known.levels)
        return float(sizes[0]), float(np.sqrt(fit.variance[0, 0]))


def shift_of(values: FloatArray, known: KnownColumns, *, usual_scatter: float, fresh: int = 0) -> LevelCourse:
    """Find how a series moved.

    ``values``: in order of time, shape (n,), none missing. ``usual_scatter``: standard deviation that such values have
    in an ordinary workshop, which counts as much as six runs. ``fresh``: index of the first value of the present
    baseline; changes are looked for from there on.
    """
    y = _without_odd_ones(values, usual_scatter)
    scatter, shapes, found = usual_scatter, np.empty((y.size, 0)), LevelCourse(y, y, y, usual_scatter)
    for _ in range(ROUNDS):
        picked = _pick(y, known, scatter, fresh)
        shapes = np.column_stack([s.course for s in picked]) if picked else np.empty((y.size, 0))
        fit = _Fit(known, shapes, scatter)
        sizes, rest, conditions, standing = fit.solve(y, known.levels)
        scatter = float(
            np.sqrt((PRIOR_RUNS * usual_scatter**2 + (rest**2).sum()) / (PRIOR_RUNS + max(fit.freedom, 1.0)))
        )
        level = standing + (shapes @ sizes if picked else 0.0)
        *_, flat = _Fit(known, shapes[:, :0], scatter).solve(y, known.levels)
        found = replace(_told(values - conditions, level, picked, sizes, fit, scatter), flat=flat, kept=(y, known))
        y = conditions + np.clip(found.cleaned, level - WINSOR * scatter, level + WINSOR * scatter)
    return _with_restlessness(found, fresh, 0.5 * usual_scatter)


def _without_odd_ones(values: FloatArray, usual_scatter: float) -> FloatArray:
    """Single values far from both neighbours, the last one from the one before, brought nearer to them."""
    if values.size < 3:
        return values.copy()
    steps = np.diff(values)
    near = WINSOR * max(usual_scatter, 1.4826 * float(np.median(np.abs(steps))) / np.sqrt(2.0))
    before, after = np.concatenate(([values[1]], values[:-1])), np.concatenate((values[1:], [values[-2]]))
    lowest, highest = np.minimum(before, after), np.maximum(before, after)
    return np.asarray(np.clip(values, lowest - near, highest + near))


def _told(
    cleaned: FloatArray,
    level: FloatArray,
    picked: list[_CandidateShape],
    sizes: FloatArray,
    fit: _Fit,
    scatter: float,
) -> LevelCourse:
    if not picked:
        return LevelCourse(cleaned, level, level, scatter)
    pieces = tuple(
        LevelChange(shape.begins, shape.way, float(a), float(a * a / v), shape.lead)
        for shape, a, v in zip(picked, sizes, np.diag(fit.variance), strict=True)
    )
    ends = np.ones(len(pieces))
    change = float(ends @ sizes)
    variance = float(ends @ fit.variance @ ends)
    same = [p for p in pieces if p.size * change > 0]
    main = max(same, key=lambda p: abs(p.size)) if same else None
    return LevelCourse(cleaned, level, level, scatter, pieces, change, change * change / variance, main)


@dataclass(frozen=True)
class _CandidateShape:
    """Nought up to ``begins``, one at the end, shape (n,)."""

    begins: int
    way: Way
    course: FloatArray
    lead: float = 0.0


class _Fit:
    """Least squares of shapes beside the known conditions, whose coefficients are held near nought by their spread."""

    def __init__(self, known: KnownColumns, shapes: FloatArray, scatter: float) -> None:
        self.x, self.shapes = known.columns, shapes
        inner = self.x.T @ self.x + np.diag((scatter / known.spread) ** 2)
        self.inner = np.linalg.inv(inner)
        self.weighed = self.left_of(shapes)
        self.grip = shapes.T @ self.weighed
        self.variance = scatter**2 * np.linalg.pinv(self.grip) if shapes.shape[1] else np.empty((0, 0))
        self.freedom = float(self.x.shape[0] - np.trace(self.inner @ (self.x.T @ self.x)) - shapes.shape[1])

    def left_of(self, part: FloatArray) -> FloatArray:
        """What the known conditions cannot explain of something."""
        return np.asarray(part - self.x @ (self.inner @ (self.x.T @ part)))

    def solve(self, y: FloatArray, levels: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Sizes of the shapes, what is left over, what the conditions explain, and the levels."""
        sizes = np.linalg.pinv(self.grip) @ (self.weighed.T @ y) if self.shapes.shape[1] else np.empty(0)
        after = y - (self.shapes @ sizes if sizes.size else 0.0)
        each = self.x * (self.inner @ (self.x.T @ after))
        explained = each[:, :-levels].sum(axis=1), each[:, -levels:].sum(axis=1)
        return sizes, after - sum(explained), *explained


def _shape(n: int, begins: int, way: Way, lead: float) -> _CandidateShape:
    since = np.arange(n) - begins + 1
    course = (since > 0).astype(float) if way == "at once" else np.clip(since / (n - begins), 0.0, 1.0)
    return _CandidateShape(begins, way, course, lead)


def _pick(y: FloatArray, known: KnownColumns, scatter: float, fresh: int) -> list[_CandidateShape]:
    """Shapes that explain most, one after the other; every further one must explain more than the first need."""
    picked: list[_CandidateShape] = []
    while len(picked) < MOST_SHAPES:
        taken = KnownColumns(
            np.column_stack([known.columns, *(s.course for s in picked)]),
            np.concatenate([known.spread, np.full(len(picked), 1e3 * scatter)]),
        )
        gains = {way: _apart(of, picked) for way, of in _gains(y, taken, scatter, fresh).items()}
        best = {way: float(of.max()) if of.size else 0.0 for way, of in gains.items()}
        way: Way = "at once" if best["at once"] >= best["slowly"] else "slowly"
        if best[way] <= 0.0 or (picked and best[way] < ADD_GAIN):
            break
        begins = int(np.argmax(gains[way]))
        picked.append(_shape(y.size, begins, way, best[way] - min(best.values())))
    return picked


def _apart(gains: FloatArray, picked: list[_CandidateShape]) -> FloatArray:
    """Gains without those that begin beside a shape: two slow ones there would be a step that no run tells of."""
    at = np.arange(gains.size)
    near = np.any([np.abs(at - shape.begins) < REFERENCES for shape in picked], axis=0) if picked else False
    return np.where(near, 0.0, gains)


def _gains(y: FloatArray, known: KnownColumns, scatter: float, fresh: int) -> dict[Way, FloatArray]:
    """Gain of each way by the run that it begins with, shape (n,), 0 where it may not begin.

    Sums from a run on, once and twice over, are those of all steps and all slopes at one stroke.
    """
    n, fit = y.size, _Fit(known, np.empty((y.size, 0)), scatter)
    left, count = fit.left_of(y), np.arange(y.size, 0, -1, dtype=float)
    steps, columns = _from_here(left), _from_here(fit.x)
    squares = {"at once": count, "slowly": count * (count + 1.0) * (2.0 * count + 1.0) / 6.0}
    sums = {"at once": (steps, columns), "slowly": (_from_here(steps), _from_here(columns))}
    may = {"at once": (fresh + REFERENCES, n - AT_ONCE_FROM), "slowly": (fresh, n - SLOWLY_FROM)}
    found: dict[Way, FloatArray] = {}
    for way in _WAYS:
        along, beside = sums[way]
        grip = squares[way] - ((beside @ fit.inner) * beside).sum(axis=1)
        sure = (grip > 1e-6 * squares[way]) & (np.arange(n) >= may[way][0]) & (np.arange(n) <= may[way][1])
        found[way] = np.where(sure, along**2 / np.where(sure, grip, 1.0), 0.0) / scatter**2
    return found


_WAYS: tuple[Way, ...] = ("at once", "slowly")


def _from_here(values: FloatArray) -> FloatArray:
    """Sum of what follows, itself included, along the first axis."""
    return np.asarray(np.cumsum(values[::-1], axis=0)[::-1])


def _with_restlessness(found: LevelCourse, fresh: int, floor: float) -> LevelCourse:
    """Whether neighbours differ more than they used to: from which run on, by how much, how much likelier that is.

    Neighbours, as a step counts but once among them; and the last run may be odd by itself, so that it must hold
    without it as well. A single shape is taken out; several would follow the very ups and downs.
    """
    rest = found.cleaned - (found.level if len(found.pieces) == 1 else 0.0)
    whole, without = _restlessness(rest, fresh, floor), _restlessness(rest[:-1], fresh, floor)
    begins, ratio, gain = min(whole, without, key=lambda r: r[2])
    return replace(found, restless=ratio, restless_from=begins, restless_gain=gain)


def _restlessness(rest: FloatArray, fresh: int, floor: float) -> tuple[int, float, float]:
    """Likeliest index, ratio of the differences, twice the log likelihood ratio of two exponential scales to one."""
    begins = np.arange(fresh + RESTLESS_BEFORE, rest.size - RESTLESS_AFTER + 1)
    if not begins.size:
        return 0, 1.0, 0.0
    apart = np.abs(np.diff(rest))[fresh:] + floor
    many, at = begins - 1 - fresh, np.arange(apart.size)
    before = np.cumsum(apart)[many - 1] / many
    clipped = np.minimum(apart, ODD_FROM * before[:, None]) * (at >= many[:, None])
    after = clipped.sum(axis=1) / (apart.size - many)
    every = (before * many + after * (apart.size - many)) / apart.size
    gain = 2.0 * (apart.size * np.log(every) - many * np.log(before) - (apart.size - many) * np.log(after))
    gain = np.where(after > before, gain, 0.0)
    best = int(np.argmax(gain))
    return int(begins[best]), float(after[best] / before[best]), float(gain[best])
