"""What an instrumented run tells about a packet: emissivity outside, factor and gap inside, the transformation peak."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.draws import CONVECTION_SPREAD
from soakwitness.analysis.packet.grid import STEP_S, ChamberGrid, Steps, bridge, lay_steps
from soakwitness.analysis.packet.piece import (
    FIGURE_WORDS,
    LAG_LIMITS,
    LIMITS,
    PARAMETERS,
    PEAK_LIMITS_C,
    PacketModel,
)
from soakwitness.analysis.packet.rack import Beside
from soakwitness.analysis.packet_runs.asking_together import together
from soakwitness.analysis.packet_runs.blades_with_figures import blades_with
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, counted, moment

FloatArray = npt.NDArray[np.float64]
_Modelled = tuple[FloatArray, FloatArray]
_Asked = tuple["_Problem", FloatArray]
# Weak priors: standard deviations of the logarithms, then of the peak's place [K] and the sensor's offset [K]; the lag
# of the chamber's sensor with its middle [s].
PRIOR_LOGS = (0.35, 0.50, 0.50, 0.40)
PRIOR_PEAK_C, PRIOR_OFFSET_C = 30.0, 5.0
# Of a sheathed sensor, and how much its lag seems to differ from run to run as the elements shine on it more or less:
# engineering guesses, no source.
PRIOR_LAG_S, PRIOR_LAG_SPREAD_S, LAG_AGAIN_S = 20.0, 15.0, 8.0
STEPS_OF_DERIVATIVE = (0.02, 0.02, 0.02, 0.03, 1.0, 2.0, 0.05)
RUN_TO_RUN = (0.15, 0.15, 0.30, 0.0)  # of eps_o, f_i, gap_mm, peak_factor unless measured: engineering guess, no source
NOISE_AT_LEAST_C = 0.5
PEAKS_TRIED_C = (735.0, 780.0, 825.0)  # where a search begins, until the model follows the sensor
LEAST_RISE_C = 100.0
QUENCH_C_PER_S, QUENCHED_C = 3.0, 60.0  # so fast, and so far for ten minutes: no open door does that
FEWEST_POINTS = 20
ROUNDS, TOLERANCES = 12, (0.03, 0.01, 0.01, 0.001)  # of each weighing; the last two with neighbours counted as alike
GOOD_FIT_C = 2.0  # root mean square; beyond it other places of the peak are tried
CLEAN_FIT_C = 0.7  # hardly more than a thermocouple's own noise; beyond it the warm part is tried alone
FAR, MOST_ALIKE = 2.0, 25.0  # in usual differences; in neighbours that say the same


@dataclass(frozen=True)
class Fit:
    """A fitted packet and how well it follows the load sensor.

    ``residual_c`` is the root mean square difference [K], ``worst_c`` the largest [K]; ``t_s`` [s] and ``fitted_c``,
    ``measured_c`` [degC], shape (k,), are the points used; ``told`` names the figures of which the run told more than
    was assumed before.
    """

    packet: PacketModel
    residual_c: float
    worst_c: float
    t_s: FloatArray
    fitted_c: FloatArray
    measured_c: FloatArray
    told: tuple[str, ...]
    says: tuple[Says, ...]


def fit_packet(
    t_s: npt.ArrayLike,
    chamber_c: npt.ArrayLike,
    work_c: npt.ArrayLike,
    *,
    packet: PacketModel,
    load_t_s: float | None = None,
    pull_t_s: float | None = None,
    where: Beside | None = None,
    fitted_from: str = "",
    progress: Callable[[], None] = lambda: None,
) -> Fit:
    """Fit a packet to a run in which a sensor rode in it.

    Least squares in the logarithms of the figures with weak normal priors; the place of the peak and an offset between
    the two sensors are fitted beside them. Neighbouring differences are alike, so they count for fewer than they are.

    ``chamber_c``, ``work_c``: chamber and load sensor [degC], shape (n,), NaN where nothing was read. ``packet``: what
    is known before: thickness [mm], foil, heated faces, and figures to start from. ``load_t_s``: load mark [s]; None:
    in from the first reading. ``pull_t_s``: pull mark [s]; the quench that the load sensor shows, or the last reading,
    where that is earlier. ``where``: its slot in a rack and what stood beside it, which is taken to be wrapped as it
    is; None: it stood alone. Returns the fitted packet with its spread and the run-to-run scatter.

    Raises NotEnoughData if the load sensor has too few readings or the run does not heat it by 100 K.
    """
    chamber = bridge(t_s, chamber_c)
    times, work = _seen(t_s, work_c)
    load = float(chamber.t_s[0]) if load_t_s is None else max(load_t_s, float(chamber.t_s[0]))
    out = _last_in(times, work, load)
    stop = out if pull_t_s is None else min(pull_t_s, out)
    inside = (times >= load) & (times <= stop)
    if inside.sum() < FEWEST_POINTS or np.ptp(work[inside]) < LEAST_RISE_C:
        rise = float(np.ptp(work[inside])) if inside.any() else 0.0
        seen = f"From {moment(load)} to {moment(stop)} the load sensor has {counted(int(inside.sum()), 'reading')}"
        says = f"{seen} and rises by {{rise}}; a fit needs {counted(FEWEST_POINTS, 'reading')} and {{least}}. "
        says += "Check which sensor rode in the packet."
        raise NotEnoughData(Says.of(says, rise=Diff(rise), least=Diff(LEAST_RISE_C)))
    warm = _warm_from(chamber, load)
    begins = (load, warm) if warm < stop - FEWEST_POINTS * STEP_S else (load,)
    problems = [_problem(chamber, packet, where, (times, work), begin, stop) for begin in begins]
    whole, *parts = _solved(problems, fitted_from, progress)
    if not parts or parts[0].residual_c > 0.5 * whole.residual_c:
        return whole
    note = Says.of(
        f"before {moment(warm)}, while the chamber was not half as hot as it got, the two sensors do not go together "
        "({apart} apart): only what came after was used",
        apart=Diff(whole.residual_c),
    )
    return replace(parts[0], says=(note, *parts[0].says))


def _problem(
    chamber: ChamberGrid,
    packet: PacketModel,
    where: Beside | None,
    measured: tuple[FloatArray, FloatArray],
    begin_s: float,
    stop_s: float,
) -> _Problem:
    times, work = measured
    inside = (times >= begin_s) & (times <= stop_s)
    start_c = float(np.interp(begin_s, times, work))
    seen = chamber.t_s <= stop_s + STEP_S
    until = replace(chamber, t_s=chamber.t_s[seen], temp_c=chamber.temp_c[seen])
    steps = lay_steps(until, packet, begin_s, min(start_c, float(chamber.temp_c.max())))
    return _Problem(packet, where, steps, times[inside], work[inside], start_c)


def _seen(t_s: npt.ArrayLike, work_c: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    times, work = np.asarray(t_s, dtype=float), np.asarray(work_c, dtype=float)
    good = np.isfinite(times) & np.isfinite(work)
    if not good.any():
        raise NotEnoughData("The load sensor has no readings at all. Check which sensor rode in the packet.")
    return times[good], work[good]


def _last_in(times: FloatArray, work: FloatArray, load_s: float) -> float:
    """When the load sensor left the furnace: it cools as no furnace does, for good; the last reading if it did not.

    Of packets pulled in turn under one mark the instrumented one may have come out long before it. A wire that is loose
    for a moment is back soon.
    """
    grid = np.arange(load_s, times[-1], 10.0)
    temp_c = np.interp(grid, times, work)
    falls = np.flatnonzero(np.diff(temp_c) < -10.0 * QUENCH_C_PER_S)
    for at in falls:
        after_c = temp_c[at + 6 : at + 60] if at + 6 < temp_c.size else temp_c[-1:]  # from a minute on, for ten
        if temp_c[at] - after_c.max() >= QUENCHED_C:
            return float(grid[at])
    return float(times[-1])


def _warm_from(chamber: ChamberGrid, load_s: float) -> float:
    """When the chamber is half as hot as it gets: before, its own sensor lags and the elements shine past it."""
    hot = np.flatnonzero((chamber.t_s >= load_s) & (chamber.temp_c >= 0.5 * float(chamber.temp_c.max())))
    return float(chamber.t_s[hot[0]]) if hot.size else load_s


def usual_lag_s(before: PacketModel) -> float:
    """Lag of the chamber's sensor that a fit starts from [s]."""
    return before.sensor_lag_s if before.fitted else PRIOR_LAG_S


class _Problem:
    """Residuals and derivatives of one fit.

    The unknowns, all zero at the prior: five figures, the lag of the chamber's sensor, the convection, which nobody
    asks for but which is not known either, and last the offset.
    """

    def __init__(
        self,
        packet: PacketModel,
        where: Beside | None,
        steps: Steps,
        times: FloatArray,
        work: FloatArray,
        start_c: float,
    ) -> None:
        self.packet, self.steps, self.start_c = packet, steps, start_c
        self.lag_s = usual_lag_s(packet)
        self.where = None if where is None or where.alone else where
        edges = steps.edges_s
        self.index = np.flatnonzero((edges > times[0]) & (edges <= times[-1]))
        self.t_s = edges[self.index]
        self.measured_c = _around(times, work, self.t_s)
        self.weigh_alike()
        self.prior = np.array([*PRIOR_LOGS, PRIOR_PEAK_C, PRIOR_LAG_SPREAD_S, CONVECTION_SPREAD, PRIOR_OFFSET_C])
        self._ask: Callable[[_Asked], _Modelled] | None = None
        self._answered: dict[bytes, _Modelled] = {}

    def asking(self, ask: Callable[[_Asked], _Modelled]) -> _Problem:
        """The same problem for one of several searches, which has its own weights and gets its answers so."""
        twin = copy(self)
        twin._ask, twin._answered = ask, {}
        return twin

    def weigh_alike(self) -> None:
        """Before anything is known of the differences, each point counts the same."""
        self.noise_c = np.full(self.index.size, NOISE_AT_LEAST_C)

    def weigh(self, left: FloatArray, most_alike: float) -> None:
        """Give each point the noise that its like has shown; points far off, such as the cold start, count little."""
        usual = max(1.4826 * float(np.median(np.abs(left))), NOISE_AT_LEAST_C)
        far = np.sqrt(1.0 + (left / (FAR * usual)) ** 2)
        spread = float(np.sqrt(np.mean((left / far) ** 2)))
        self.noise_c = far * max(spread * np.sqrt(min(_alike(left / far), most_alike)), NOISE_AT_LEAST_C)

    def figures(self, x: FloatArray) -> PacketModel:
        """Packet at a point of the search."""
        values: dict[str, Any] = {
            name: float(np.clip(getattr(self.packet, name) * np.exp(x[i]), *LIMITS[name]))
            for i, name in enumerate(PARAMETERS)
        }
        lag_s = float(np.clip(self.lag_s + x[5], *LAG_LIMITS))
        peak_c = float(np.clip(self.packet.peak_c + x[4], *PEAK_LIMITS_C))
        return replace(self.packet, peak_c=peak_c, sensor_lag_s=lag_s, **values)

    def modelled(self, x: FloatArray) -> _Modelled:
        """Load sensor as modelled [degC], shape (k,), and its derivatives, shape (k, 8)."""
        key = x.tobytes()
        if key not in self._answered:
            assert self._ask is not None
            self._answered[key] = self._ask((self, x))  # a solver comes back to a point when the next is no better
        return self._answered[key]

    def slopes(self, x: FloatArray, table: npt.NDArray[np.float32]) -> _Modelled:
        """The same out of the blades, shape (m + 1, 8): at a point, and a step from there in each direction."""
        picked = table[self.index].astype(float)
        slopes = (picked[:, 1:] - picked[:, :1]) / np.array(STEPS_OF_DERIVATIVE)
        return picked[:, 0] + x[7], np.column_stack([slopes, np.ones(self.index.size)])

    def residuals(self, x: FloatArray) -> FloatArray:
        """Differences over the noise, then the unknowns over their priors."""
        return np.concatenate([(self.modelled(x)[0] - self.measured_c) / self.noise_c, x / self.prior])

    def jacobian(self, x: FloatArray) -> FloatArray:
        """Derivatives of :meth:`residuals`."""
        return np.vstack([self.modelled(x)[1] / self.noise_c[:, None], np.diag(1.0 / self.prior)])


def _answers(asked: Sequence[_Asked]) -> list[_Modelled]:
    """What is asked by searches of one problem or two, in one march: two differ in when they begin and no more."""
    problems = list({id(one.steps): one for one, _ in asked}.values())
    points = [[x for one, x in asked if one.steps is problem.steps] for problem in problems]
    most = max(map(len, points))
    moves = np.vstack([np.zeros(8), np.eye(7, 8) * np.array(STEPS_OF_DERIVATIVE)[:, None]])
    moved = [x + move for each in points for x in each + each[-1:] * (most - len(each)) for move in moves]
    packets, convection = [problems[0].figures(m) for m in moved], np.exp([m[6] for m in moved])
    begins = [(one.steps, one.start_c) for one in problems]
    tables = blades_with(packets, convection, begins, problems[0].where)
    found: list[_Modelled] = []
    for problem, each, table in zip(problems, points, tables, strict=True):
        found += [problem.slopes(x, table[:, 8 * n : 8 * n + 8]) for n, x in enumerate(each)]
    return found


def _around(times: FloatArray, work: FloatArray, at_s: FloatArray) -> FloatArray:
    """Mean of the straight line through the readings over five seconds on either side."""
    offsets = np.linspace(-5.0, 5.0, 5)
    near = np.interp(at_s[:, None] + offsets, times, work)
    middle = np.interp(at_s, times, work)
    # No mean where the reading bends: just after loading.
    return np.where(np.ptp(near, axis=1) < 10.0, near.mean(axis=1), middle)


def _solved(problems: Sequence[_Problem], fitted_from: str, progress: Callable[[], None]) -> list[Fit]:
    """The best solution of each problem, but of none after one that is clean.

    A peak that is far off its usual place is not found by small steps from there: others are begun from too, unless
    the fit is good.
    """
    begins_c = tuple(dict.fromkeys((problems[0].packet.peak_c, *PEAKS_TRIED_C)))

    def search(problem: _Problem, begin_c: float) -> Callable[[Callable[[_Asked], _Modelled]], Fit]:
        return lambda ask: _solved_from(problem.asking(ask), begin_c, fitted_from)

    def answers(asked: Sequence[_Asked]) -> list[_Modelled]:
        progress()
        return _answers(asked)

    def of_use(found: Mapping[int, Fit]) -> list[list[int]]:
        """Numbers of the searches, problem by problem."""
        use: list[list[int]] = []
        for n in range(len(problems)):
            numbers = list(range(n * len(begins_c), (n + 1) * len(begins_c)))
            ended = list(itertools.takewhile(found.__contains__, numbers))
            good = [number for number in ended if found[number].residual_c <= GOOD_FIT_C]
            use.append(numbers[: numbers.index(good[0]) + 1] if good else numbers)
            if found.keys() >= set(use[-1]) and min(found[number].residual_c for number in use[-1]) <= CLEAN_FIT_C:
                break
        return use

    searches = [search(problem, begin_c) for problem in problems for begin_c in begins_c]
    found = together(searches, answers, lambda found: [number for numbers in of_use(found) for number in numbers])
    return [min((found[number] for number in numbers), key=lambda fit: fit.residual_c) for numbers in of_use(found)]


def _solved_from(problem: _Problem, peak_c: float, fitted_from: str) -> Fit:
    x, left = np.zeros(8), np.zeros(0)
    x[4] = peak_c - problem.packet.peak_c
    problem.weigh_alike()
    for again, tolerance in enumerate(TOLERANCES):
        x = _least(problem, x, tolerance)
        left = problem.modelled(x)[0] - problem.measured_c
        problem.weigh(left, MOST_ALIKE if again >= 2 else 1.0)
    return _told(problem, x, left, fitted_from)


def _least(problem: _Problem, x: FloatArray, tolerance: float) -> FloatArray:
    from scipy.optimize import least_squares

    options = {"ftol": tolerance, "xtol": tolerance, "max_nfev": ROUNDS}
    x = least_squares(problem.residuals, x, jac=problem.jacobian, **options).x
    return np.asarray(x, dtype=np.float64)


def _told(problem: _Problem, x: FloatArray, left: FloatArray, fitted_from: str) -> Fit:
    """Packet, spread and words from the solution."""
    slopes = problem.modelled(x)[1] / problem.noise_c[:, None]
    covariance = np.linalg.inv(slopes.T @ slopes + np.diag(1.0 / problem.prior**2))
    deviation = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(deviation, deviation)
    correlation = 0.5 * (correlation + correlation.T)
    np.fill_diagonal(correlation, 1.0)
    foil = problem.packet.foil
    used = [foil or name not in ("f_i", "gap_mm") for name in PARAMETERS]
    spread = tuple(float(deviation[i]) if used[i] else 0.0 for i in range(len(PARAMETERS)))
    lag_spread_s = math.hypot(float(deviation[5]), LAG_AGAIN_S)
    packet = replace(
        problem.figures(x),
        spread=spread,
        correlation=tuple(tuple(round(float(v), 6) for v in row[:4]) for row in correlation[:4]),
        scatter=RUN_TO_RUN if foil else (RUN_TO_RUN[0], 0.0, 0.0, RUN_TO_RUN[3]),
        peak_spread_c=float(deviation[4]),
        sensor_offset_c=float(x[7]),
        sensor_lag_spread_s=lag_spread_s,
        sensor_lag_with=tuple(
            round(float(correlation[5, i] * deviation[5]) / lag_spread_s, 6) if used[i] else 0.0 for i in range(4)
        ),
        fitted=True,
        slow_side=1.0,
        fitted_from=fitted_from,
        fitted_thickness_mm=problem.packet.thickness_mm,
        source=fitted_from,
    )
    told = tuple(name for i, name in enumerate(PARAMETERS) if deviation[i] < 0.7 * problem.prior[i])
    return Fit(
        packet=packet,
        residual_c=float(np.sqrt(np.mean(left**2))),
        worst_c=float(np.abs(left).max()),
        t_s=problem.t_s,
        fitted_c=problem.modelled(x)[0],
        measured_c=problem.measured_c,
        told=told,
        says=_says(problem, packet, left, told),
    )


def _alike(left: FloatArray) -> float:
    """How many neighbouring differences say the same: (1 + r)/(1 - r), r the correlation of neighbours."""
    middle = left - left.mean()
    power = float(middle @ middle)
    if power <= 0.0:
        return 1.0
    r = min(max(float(middle[1:] @ middle[:-1]) / power, 0.0), 0.99)
    return (1.0 + r) / (1.0 - r)


def _says(problem: _Problem, packet: PacketModel, left: FloatArray, told: tuple[str, ...]) -> tuple[Says, ...]:
    says: list[Says] = []
    hottest = float(problem.steps.mean_c.max())
    rms = float(np.sqrt(np.mean(left**2)))
    if rms > 5.0:
        misses = "the model misses the load sensor by {rms} on average: check thickness, marks and sensor"
        says.append(Says.of(misses, rms=Diff(rms)))
    if hottest < properties.PEAK_FROM_C and "peak_factor" not in told:
        below = "the run stayed below {hottest}: it tells nothing of the transformation peak"
        says.append(Says.of(below, hottest=Temp(hottest)))
    if abs(packet.sensor_offset_c) > 3.0:
        reads = "the load sensor reads {offset} against the control sensor: compare the two first"
        says.append(Says.of(reads, offset=Diff(packet.sensor_offset_c, signed=True)))
    used = [name for name in PARAMETERS if packet.foil or name in ("eps_o", "peak_factor")]
    untold = [FIGURE_WORDS[name] for name in used if name not in told]
    if untold:
        little = f"this run says little of the {' and the '.join(untold)}: the figures before it still stand there"
        says.append(Says.plain(little))
    return tuple(says)
