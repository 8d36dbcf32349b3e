"""One sensor's last six hours, a minute at a time, and what shape they have. Pure: fed with readings.

What a furnace can do decides what is believed:

- a single reading is nothing: a minute is the median of its readings, of the last three where they are rarer;
- what jumps and returns within a quarter of an hour was no change of the furnace (interference, a door): forgotten;
- no furnace climbs in one step: a climb counts with its largest step left out;
- a furnace left to itself falls more slowly the colder it is, and bricks that give heat back slow down too: what keeps
  its rate, up or down, is heated, and so is what stays level.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise

from soakwitness.firmware_bridge.recording.bricks import ROOM_C, STRAY_C, Bricks

MINUTE_S = 60.0
KEPT_S = 6 * 3600.0
HALF_HOUR_S = 1800.0
RETURNS_S = 900.0
SHORTEST_S = 600.0  # a climb is seen over ten minutes at least
FASTEST_C_PER_S = 2.0
LEVEL_C = 0.5
SLOWEST_H = 30.0  # no furnace left to itself takes longer to lose two thirds of its heat
BACK_C = 5.0  # what bricks are hotter by than a chamber that has come up to them
DRIFT_C_PER_H = 1.0  # a room does so in the morning


@dataclass(frozen=True)
class Minute:
    """The median temperature up to a moment; ``back``: whether a door let heat out, and it has not come back yet."""

    t_s: float
    temp_c: float
    bricks: Bricks = field(default=Bricks(0.0, 0.0), compare=False)
    back: bool = field(default=False, compare=False)


def swing_c(temp_c: float) -> float:
    """What a furnace does not do by itself within a few minutes [K]."""
    return 5.0 + 0.02 * max(temp_c, 0.0)


class Trail:
    """Follows one sensor. ``moved_c`` is how far it went since ``stand_still`` [K]: a stuck sensor never does.

    ``ever_moved``: whether it read more than one number. ``left_alone_s`` is when a run was over last, or bricks behind
    a door were all that could warm it.
    """

    def __init__(self) -> None:
        self.minutes: deque[Minute] = deque()
        self._range_c: tuple[float, float] | None = None
        self._felt_c = (float("inf"), -float("inf"))
        self._same_since_s: float | None = None
        self.ever_moved = False
        self.is_stuck = False
        self.left_alone_s = -float("inf")
        self._readings: deque[tuple[float, float]] = deque()

    @property
    def now(self) -> Minute | None:
        """The last minute."""
        return self.minutes[-1] if self.minutes else None

    @property
    def moved_c(self) -> float:
        """Between which temperatures it was [K]."""
        return self._range_c[1] - self._range_c[0] if self._range_c is not None else 0.0

    @property
    def felt_c(self) -> float:
        """Between which temperatures it ever was [K]."""
        return self._felt_c[1] - self._felt_c[0]

    def read(self, t_s: float, temp_c: float) -> None:
        """Take one reading."""
        if self._readings and t_s - self._readings[-1][0] > HALF_HOUR_S:
            self._readings.clear()
        self._readings.append((t_s, temp_c))

    def close_minute(self, since_s: float, t_s: float, *, heated: bool = False) -> None:
        """Make a minute of the readings after ``since_s``, or of the last three; ``heated`` where a run is open."""
        inside = [temp_c for at_s, temp_c in self._readings if at_s > since_s]
        while len(self._readings) > 3:
            self._readings.popleft()
        if not inside or len(self._readings) < 3:
            return
        if len(inside) < 3:
            inside = [temp_c for _, temp_c in self._readings]
        self._add(Minute(t_s, sorted(inside)[len(inside) // 2]), heated)

    def _add(self, minute: Minute, heated: bool) -> None:
        self._forget_excursion(minute)
        self._follow_sameness(minute)
        bricks = self._bricks_after(minute, heated)
        away_c, before = bricks.most_c - minute.temp_c, self.now
        back = away_c >= BACK_C or (before is not None and before.back and away_c > 0.0)
        self.minutes.append(replace(minute, bricks=bricks, back=back))
        low_c, high_c = self._range_c or (minute.temp_c, minute.temp_c)
        self._range_c = min(low_c, minute.temp_c), max(high_c, minute.temp_c)
        self._felt_c = min(self._felt_c[0], minute.temp_c), max(self._felt_c[1], minute.temp_c)
        while self.minutes[0].t_s < minute.t_s - KEPT_S:
            self.minutes.popleft()

    def _bricks_after(self, minute: Minute, heated: bool) -> Bricks:
        if not self.minutes:
            return Bricks(minute.temp_c, minute.temp_c)
        lately = [(minute.t_s - m.t_s, m.temp_c) for m in list(self.minutes)[-10:] if minute.t_s - m.t_s <= SHORTEST_S]
        lately = lately or [(minute.t_s - self.minutes[-1].t_s, self.minutes[-1].temp_c)]
        bricks = self.minutes[-1].bricks.seen(minute.temp_c, lately)
        return bricks.heated(minute.temp_c) if heated else bricks

    def _follow_sameness(self, minute: Minute) -> None:
        """Keep since when it reads one exact number."""
        changed = bool(self.minutes) and self.minutes[-1].temp_c != minute.temp_c
        if changed or self._same_since_s is None:
            self._same_since_s = minute.t_s
        self.ever_moved = self.ever_moved or changed
        self.is_stuck = self.is_stuck and not changed

    def disbelieve(self, others: Iterable[Trail], *, cold_c: float, fall_c: float) -> None:
        """Call it stuck, until it changes: one exact number for an hour while another sensor shows a cooling furnace.

        The other went on falling long after this came to its number (a load that was taken out is at the room's
        temperature sooner), or is cold and this one never read anything else.
        """
        now = self.now
        if now is None or self._same_since_s is None or now.t_s - self._same_since_s < 2 * HALF_HOUR_S:
            return
        for other in others:
            if other is self or other.is_stuck or other.now is None:
                continue
            highest_c = max((m.temp_c for m in other.since(self._same_since_s + HALF_HOUR_S)), default=other.now.temp_c)
            falls_c, never_moved = highest_c - other.now.temp_c, not self.ever_moved
            shows = falls_c >= (STRAY_C if never_moved else fall_c) or (never_moved and other.now.temp_c < cold_c)
            self.is_stuck = self.is_stuck or shows

    def lies_outside(self) -> None:
        """Forget how hot its bricks can be: it feels none."""
        temp_c = self.minutes[-1].temp_c
        self.minutes[-1] = replace(self.minutes[-1], bricks=Bricks(temp_c, temp_c), back=False)

    def _forget_excursion(self, minute: Minute) -> None:
        """Drop minutes that jumped away and are back now, or where the furnace went meanwhile."""
        swing = swing_c(minute.temp_c)
        away: list[float] = []
        for before in reversed(self.minutes):
            if before.t_s < minute.t_s - RETURNS_S:
                return
            low_c, high_c = sorted((before.temp_c, minute.temp_c))
            if high_c - low_c <= 3 * swing and all(c > high_c + swing or c < low_c - swing for c in away):
                break
            away.append(before.temp_c)
        else:
            return
        for _ in away:
            self.minutes.pop()

    def stand_still(self, t_s: float) -> None:
        """Nothing heats it: count ``moved_c`` from here."""
        self._range_c, self.left_alone_s = None, t_s

    def believe(self) -> None:
        """Count it as moved: a run is gone on with, whose beginning was not seen."""
        self._range_c = -float("inf"), float("inf")
        self.ever_moved = True

    # Windows

    def since(self, t_s: float) -> list[Minute]:
        """Minutes from a moment on, newest first."""
        found = []
        for minute in reversed(self.minutes):
            if minute.t_s < t_s:
                break
            found.append(minute)
        return found

    def at_c(self, t_s: float, *, length_s: float = MINUTE_S) -> float | None:
        """Mean temperature around a moment, None where nothing was read near it."""
        slack_s = max(length_s / 2, MINUTE_S / 2)
        near: Minute | None = None
        inside = []
        for minute in reversed(self.minutes):
            if abs(minute.t_s - t_s) <= slack_s:
                inside.append(minute.temp_c)
            if near is None or abs(minute.t_s - t_s) < abs(near.t_s - t_s):
                near = minute
            if minute.t_s < t_s - slack_s:
                break
        if inside:
            return sum(inside) / len(inside)
        return near.temp_c if near is not None and abs(near.t_s - t_s) <= HALF_HOUR_S / 3 else None

    def mean_c(self, until_s: float, length_s: float) -> float | None:
        """Mean temperature of a window; None where it is not filled."""
        if not self.minutes or self.minutes[0].t_s > until_s - length_s + HALF_HOUR_S / 6:
            return None
        inside = [minute.temp_c for minute in self.since(until_s - length_s) if minute.t_s <= until_s]
        return sum(inside) / len(inside) if inside else None

    # Shapes

    def rises(self, climb_c: float, within_s: float, *, after_s: float) -> bool:
        """Whether it is so much hotter than it was, however that came."""
        before = self._back(within_s, after_s)
        return before is not None and self.minutes[-1].temp_c - before.temp_c >= climb_c

    def climbs(self, climb_c: float, within_s: float, *, after_s: float) -> bool:
        """Whether it climbed so far as a furnace does: in more than one step, and without falls in between."""
        before = self._back(within_s, after_s)
        total_c = 0.0 if before is None else self.minutes[-1].temp_c - before.temp_c
        if before is None or total_c < climb_c:
            return False
        path = [before.temp_c, *(minute.temp_c for minute in reversed(self.since(before.t_s + MINUTE_S / 2)))]
        largest_c = max(b - a for a, b in pairwise(path))
        falls_c = sum(a - b for a, b in pairwise(path) if a - b > swing_c(a))
        return total_c - largest_c >= max(climb_c / 2, total_c / 6) and falls_c <= total_c / 2

    def _back(self, within_s: float, after_s: float) -> Minute | None:
        """Where it was so long ago, or when it was seen first, if that is ten minutes at least."""
        now_s = self.minutes[-1].t_s
        from_s = max(now_s - within_s, after_s, self.minutes[0].t_s)
        temp_c = self.at_c(from_s)
        return None if temp_c is None or now_s - from_s < SHORTEST_S else Minute(from_s, temp_c)

    def stays_above(self, highest_c: float, for_s: float) -> bool:
        """Whether all of the last minutes are above what was: no interference lasts so long."""
        lately = self.since(self.minutes[-1].t_s - for_s)
        return len(lately) >= 3 and min(minute.temp_c for minute in lately) >= highest_c

    @property
    def bricks_c(self) -> float:
        """How hot its bricks can be at most: what climbs over it was heated."""
        return self.minutes[-1].bricks.most_c

    @property
    def may_come_back(self) -> bool:
        """Whether a door let heat out of which its bricks may still give some back."""
        return self.minutes[-1].back

    def keeps_climbing(self, climb_c: float, within_s: float) -> bool:
        """Whether it climbs at an even rate: bricks that give heat back slow down."""
        third_s = within_s / 3
        now_s = self.minutes[-1].t_s
        at = [self.at_c(now_s - back * third_s, length_s=HALF_HOUR_S / 6) for back in (3, 2, 1, 0)]
        known = [temp_c for temp_c in at if temp_c is not None]
        if len(known) < 4:
            return False
        first, second, third = (b - a for a, b in pairwise(known))
        return min(first, second, third) >= climb_c / 4 and third >= 0.85 * max(first, second)

    def thirds_c(self, third_s: float) -> list[float]:
        """Means of three windows up to now, oldest first; nothing where one is not filled."""
        now_s = self.minutes[-1].t_s
        means = [self.mean_c(now_s - back * third_s, third_s) for back in (2, 1, 0)]
        known = [temp_c for temp_c in means if temp_c is not None]
        return known if len(known) == 3 else []

    def is_level(self, least_c: float) -> bool:
        """Whether it is as warm as half an hour ago: a furnace left to itself is not."""
        now_s, length_s = self.minutes[-1].t_s, HALF_HOUR_S / 3
        latest_c, earlier_c = self.mean_c(now_s, length_s), self.mean_c(now_s - HALF_HOUR_S, length_s)
        if latest_c is None or earlier_c is None:
            return False
        return min(latest_c, earlier_c) >= least_c and latest_c >= earlier_c - LEVEL_C

    @property
    def plunges(self) -> bool:
        """Whether it falls as no heated furnace does, whatever it was half an hour ago."""
        before_c = self.at_c(self.minutes[-1].t_s - SHORTEST_S)
        return before_c is not None and before_c - self.minutes[-1].temp_c > swing_c(before_c)

    def falls_evenly(self, least_c: float) -> bool:
        """Whether it fell at one rate for an hour and a half: controlled. Left to itself it would have slowed down.

        Seen twice, ten minutes apart: where a fall has just begun, one moment looks even too. Bricks that came back
        fall evenly on their way from the top to a fall by themselves: it must be further than they could lift it.
        """
        now = self.minutes[-1]
        fell_c = (self.at_c(now.t_s - 3 * HALF_HOUR_S) or now.temp_c) - now.temp_c
        if self.may_come_back and self.bricks_c - now.temp_c > fell_c:
            return False
        even = all(self._fell_evenly(now.t_s - back_s) for back_s in (0.0, 600.0))
        return now.temp_c >= least_c and (even or self._falls_too_slowly())

    def _falls_too_slowly(self) -> bool:
        """Whether it fell for an hour and a half, but by less than any furnace left to itself does."""
        thirds = self.thirds_c(HALF_HOUR_S)
        if not thirds or self.may_come_back:
            return False
        return max(thirds[0] - thirds[1], thirds[1] - thirds[2]) <= (thirds[2] - ROOM_C) / SLOWEST_H / 2

    def _fell_evenly(self, until_s: float) -> bool:
        """By itself the rate goes with the temperature above the room; half of that slowing is the limit."""
        at = [self.at_c(until_s - back * HALF_HOUR_S, length_s=HALF_HOUR_S / 6) for back in (3, 2, 1, 0)]
        known = [temp_c for temp_c in at if temp_c is not None]
        if len(known) < 4:
            return False
        first, second, third = (a - b for a, b in pairwise(known))
        slowing = (known[0] - known[2]) / max(known[1] - ROOM_C, 1.0)
        even = first * (1 - slowing / 2) <= third <= 1.2 * first and abs(second - (first + third) / 2) <= 0.15 * second
        return even and min(first, second, third) >= 10.0

    def onset_s(self, *, ceiling_c: float) -> float:
        """When its climb began: the last moment at which the furnace stood, nothing over the ceiling or left alone.

        Near the lowest of all before it, but for what a room drifts until then; and near the lowest of the hour before
        that, lest a slow climb loses its foot.
        """
        before = []
        for minute in self.since(self.left_alone_s):
            if minute.temp_c > ceiling_c:
                break
            before.append(minute)
        before = before or [self.minutes[-1]]
        foot = _last_near_lowest(before, DRIFT_C_PER_H)
        around = before[:1] + [m for m in before if foot.t_s - 3600.0 <= m.t_s <= foot.t_s]
        return _last_near_lowest(around, 0.0).t_s


def _last_near_lowest(newest_first: list[Minute], drift_c_per_h: float) -> Minute:
    """The last minute near the lowest one, or as far above as it may have drifted since, but no large part of all."""
    lowest = min(newest_first, key=lambda minute: minute.temp_c)
    most_c = (newest_first[0].temp_c - lowest.temp_c) / 3
    for minute in newest_first:
        drift_c = drift_c_per_h * max(minute.t_s - lowest.t_s, 0.0) / 3600.0
        if minute.temp_c <= lowest.temp_c + min(STRAY_C + drift_c, most_c):
            return minute
    return lowest
