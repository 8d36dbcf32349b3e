"""Readings of one sensor that are no furnace, told while they come: spikes, contacts, stuck and broken. No numpy.

The rules are those of ``verification.odd`` and ``spikes``; what the readings to come would show is not known yet.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from statistics import median

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.record import spikes
from soakwitness.analysis.verification.rules import odd
from soakwitness.analysis.verification.rules.course import USUAL
from soakwitness.analysis.verification.rules.odd import Row, Still
from soakwitness.analysis.verification.rules.states import NUMBERS

LOOK_EVERY_S = 30.0
MOST_STEPS = 400
RISE_READINGS, RISE_SHARE, SPIKE_SHARE = 8, 0.98, 0.995
MOST_RATES = 2000
SPARE_ROWS = 64
Signals = dict[str, list[float]]


@dataclass(frozen=True)
class Sifted:
    """Readings to believe now, and stretches (from, to) [s] of earlier ones that turned out to be none."""

    rows: tuple[Row, ...] = ()
    dropped: tuple[tuple[float, float], ...] = ()


@dataclass
class _Stretch:
    """A number as long as it repeats: rows before it, what signals did meanwhile."""

    at_c: float
    start_s: float
    end_s: float
    row: int
    last_row: int
    highest_before_c: float = -math.inf
    count: int = 1
    before: tuple[tuple[int, Row], ...] = ()
    signals: Signals = field(default_factory=dict)
    looked_s: float = -math.inf
    told: bool = False


@dataclass
class _Left:
    """A reading after which a contact may have opened: when the first reading after it was, how many came since."""

    at: Row
    first_s: float
    sudden: bool
    count: int = 1


class Sifter:
    """Sifts the readings of one sensor; ``kept`` are those believed so far, ``every_s`` [s] their distance."""

    def __init__(self, role: str, kept: KeptReadings, *, every_s: float) -> None:
        self._role, self._kept, self._every_s = role, kept, every_s
        self._need = odd.fewest_still(every_s)
        self._rows: deque[tuple[int, Row]] = deque(maxlen=odd.rows_before(every_s) + self._need + odd.ROWS_AFTER)
        self._steps: deque[float] = deque(maxlen=MOST_STEPS)
        self._row = 0
        self._highest_c = -math.inf
        self._doubted: Row | None = None
        self._believed: deque[Row] = deque(maxlen=3)
        self._left: list[_Left] = []
        self._spare_c, self._spare_until = spikes.LEAST_SPARE_C, 0
        self._now: _Stretch | None = None
        self._over: _Stretch | None = None  # a stretch that ended lately
        self.doors_s: Sequence[float] = ()

    def take(self, t_s: float, temp_c: float | None, signals: dict[str, float] | None = None) -> Sifted:
        """Take one reading [degC], None where it is missing; ``signals`` are output and setpoint at that moment."""
        self._row += 1
        if temp_c is None or not spikes.COLDEST_C <= temp_c <= spikes.HOTTEST_C:
            self._end()
            return Sifted()
        dropped = self._still(t_s, temp_c, signals or {})
        if self._now is not None and self._now.told:
            self._doubted = None
            return Sifted((), dropped)
        rows, more = [], list(dropped)
        for row in self._without_spikes((t_s, temp_c)):
            more += self._contact(row)
            rows.append(row)
        more += self._look_back()
        return Sifted(tuple(rows), tuple(more))

    # Single points

    def _without_spikes(self, row: Row) -> list[Row]:
        """The readings to believe: one that leaves the last faster than any furnace waits for the next."""
        passed: list[Row] = []
        doubted, self._doubted = self._doubted, None
        if doubted is not None and not self._alone(doubted, row):
            passed.append(doubted)
            self._believed.append(doubted)
        if self._leaves(row):
            self._doubted = row
        else:
            passed.append(row)
            self._believed.append(row)
        return passed

    def _limit(self, step_c: float) -> float:
        """Fastest fall or rise of a reading [K/s]."""
        fall = spikes.fastest_fall(self._role)
        return fall if step_c < 0.0 else spikes.fastest_rise(self._role, self._rise(share=SPIKE_SHARE))

    def _leaves(self, row: Row) -> bool:
        """Whether a reading leaves the last so fast that it may stand alone."""
        if not self._believed:
            return False
        step, apart = row[1] - self._believed[-1][1], row[0] - self._believed[-1][0]
        spare = self._spare()
        return abs(step) > spare and abs(step) - self._limit(step) * apart > spare

    def _alone(self, here: Row, after: Row) -> bool:
        last = self._believed[-1]
        steps, apart = (here[1] - last[1], after[1] - here[1]), (here[0] - last[0], after[0] - here[0])
        spare = self._spare()
        if steps[0] * steps[1] >= 0.0 or min(abs(step) for step in steps) <= spare:
            return False
        before = [c for _, c in self._believed]
        around = median([*before[:1] * (3 - len(before)), *before, *[after[1]] * 3])
        fall, limit = spikes.fastest_fall(self._role), self._limit(steps[0])
        return bool(spikes.stands_alone(steps, apart, abs(here[1] - around), min(apart), limit, fall, spare))

    def _spare(self) -> float:
        """Step that noise alone may make [K]."""
        if self._row >= self._spare_until:
            off = [o for o in self._kept.off_c[-MOST_STEPS:] if o == o]
            noise = 2.0 * USUAL * median(off) / math.sqrt(6.0) if off else 0.0
            self._spare_c, self._spare_until = spikes.spare(self._kept.resolution_c, noise), self._row + SPARE_ROWS
        return self._spare_c

    # A contact that opens

    def _contact(self, row: Row) -> list[tuple[float, float]]:
        """What was read while a contact was open, where this reading is back from it."""
        last = self._rows[-1][1] if self._rows else row
        self._rows.append((self._row, row))
        self._highest_c = max(self._highest_c, row[1])
        step, apart = row[1] - last[1], row[0] - last[0]
        self._steps.append(step)
        for left in self._left:
            if self._came_back(left, row, step, apart):
                self._left = []
                return [(left.first_s, last[0])]
            left.count += 1
        self._left = [left for left in self._left if row[0] - left.at[0] <= odd.CONTACT_S]
        if abs(step) > odd.STEP_C:
            sudden = bool(odd.wide(step, apart, self._spread(), NUMBERS))
            if sudden or odd.lost(last[1], row[1]):
                self._left.append(_Left(last, row[0], sudden))
        return []

    def _came_back(self, left: _Left, row: Row, step: float, apart: float) -> bool:
        if not left.sudden and left.count > odd.SLOW_READINGS:
            return False
        pace = odd.contact_pace(self._rise(share=RISE_SHARE)) if abs(step) > odd.STEP_C else odd.NEAR_C_PER_S
        off, away = row[1] - left.at[1], row[0] - left.at[0]
        return bool(odd.comes_back(off, away, step, apart, pace, NUMBERS, sudden=left.sudden))

    def _spread(self) -> float:
        middle = median(self._steps)
        return USUAL * median(abs(step - middle) for step in self._steps)

    def _rise(self, above_c: float = -math.inf, *, share: float) -> float:
        """Fastest heating that the readings sustain over eight of them [K/s], above a level where it was there."""
        t, y = self._kept.t_s, self._kept.temp_c
        over = max(1, round(RISE_READINGS * self._every_s / self._kept.period_s))
        every = max(1, (len(t) - over) // MOST_RATES)
        rates = [((y[k + over] - y[k]) / (t[k + over] - t[k]), y[k]) for k in range(0, len(t) - over, every)]
        if len(rates) <= 2:
            return 1.0
        hot = sorted(rate for rate, from_c in rates if from_c > above_c)
        hot = hot if len(hot) > 2 else sorted(rate for rate, _ in rates)
        return max(hot[min(int(share * len(hot)), len(hot) - 1)], 0.02)

    # One number that repeats

    def _still(self, t_s: float, temp_c: float, signals: dict[str, float]) -> tuple[tuple[float, float], ...]:
        """Stretches of one number that are no temperature, as far as it can be told now."""
        now = self._now
        if now is None or temp_c != now.at_c:
            self._end()
            self._now = now = _Stretch(temp_c, t_s, t_s, self._row, self._row, self._highest_c)
        else:
            now.count, now.end_s, now.last_row = now.count + 1, t_s, self._row
        for name, value in signals.items():
            values = now.signals.setdefault(name, [])
            values.append(value)
            if len(values) > MOST_STEPS:
                del values[::2]
        if now.count == self._need:
            now.before = tuple(row for row in self._rows if row[0] < now.row)
        if now.count >= self._need and not now.told and t_s - now.looked_s >= LOOK_EVERY_S:
            now.looked_s = t_s
            if self._told(now, lasts=True):
                now.told = True
                return ((now.start_s, now.end_s),)
        return ()

    def _look_back(self) -> list[tuple[float, float]]:
        """The stretch that ended lately, if the readings believed after it tell that it was no temperature."""
        over = self._over
        if over is None:
            return []
        told = self._told(over, lasts=False)
        if told or self._row - over.last_row >= odd.ROWS_AFTER:
            self._over = None
        return [(over.start_s, over.end_s)] if told else []

    def _end(self) -> None:
        now, self._now = self._now, None
        if now is not None and now.count >= self._need and not now.told:
            self._over = now

    def _told(self, stretch: _Stretch, *, lasts: bool) -> bool:
        """Whether a stretch that ``lasts`` or is over is no temperature."""
        after = [(row, at) for row, at in self._rows if row > stretch.last_row]
        still = Still(
            role=self._role,
            resolution_c=self._kept.resolution_c,
            period_s=self._every_s,
            at_c=stretch.at_c,
            start_s=stretch.start_s,
            end_s=stretch.end_s,
            before=lambda count: [at for row, at in stretch.before if row >= stretch.row - count],
            after=lambda count: [at for row, at in after if row <= stretch.last_row + count],
            later=lambda until_s: [at for _, at in after if at[0] < until_s],
            highest_c=lambda: max(self._highest_c, stretch.at_c),
            highest_before_c=lambda: stretch.highest_before_c,
            rise=lambda above_c: self._rise(above_c, share=RISE_SHARE),
            output_moved=_moved(stretch.signals.get("output")),
            setpoint_moved=_moved(stretch.signals.get("setpoint")),
        )
        if lasts and odd.broken(still) is not None:
            return True
        return odd.stuck(still, self.doors_s) is not None


def _moved(values: list[float] | None) -> Callable[[], float]:
    """How far a signal's level moved: medians over eighths, the first left out."""

    def moved() -> float:
        if values is None or len(values) < 8:
            return 0.0
        size = len(values) / 8.0
        levels = [median(values[int(k * size) : max(int((k + 1) * size), int(k * size) + 1)]) for k in range(1, 8)]
        return max(levels) - min(levels)

    return moved
