"""Whether the furnace heats: when a run begins and when it is over. Pure: fed with readings, asked nothing of a clock.

What tells heating from sun on the wall, a space heater in the shed or a door that was open:

- *asked for*: the output is on, or the setpoint was raised or is being followed, and the temperature climbs;
- *climbing*: over 60 degC, by 12 K in ten minutes or 20 K in an hour, above everything of the last six hours, or
  without a sudden fall (a door) in them, or for half an hour and longer;
- *held*: a furnace left to itself above 80 degC falls; one that stays level for an hour and a half is heated. (A
  furnace whose door was closed again climbs too, by the heat of its bricks, but falls soon after.)

A run is over when the furnace is cold, or when nothing has heated it for two hours. Numbers are common practice for
small brick-lined furnaces and kitchen-type tempering ovens; all are settings.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration

BLOCK_S = 60.0
WINDOW_S = 300.0
KEPT_S = 6 * 3600.0
HALF_HOUR_S = 1800.0
LEVEL_C = 1.0
STRAY_C = 2.0


@dataclass(frozen=True)
class HeatingSettings:
    """When a run begins and ends. Temperatures in degC, times in s, ``output`` in %."""

    cold_c: float = 50.0
    cold_s: float = 600.0
    idle_s: float = 7200.0
    warm_c: float = 60.0
    climb_c: float = 12.0
    slow_climb_c: float = 20.0
    slow_climb_s: float = 3600.0
    asked_climb_c: float = 5.0
    climb_s: float = 600.0
    hot_c: float = 80.0
    output: float = 3.0
    before_s: float = 300.0


@dataclass(frozen=True)
class HeatingDecision:
    """A run begins (with the moment from which it is to be recorded) or ends, and why."""

    act: Literal["begin", "end"]
    why: Says
    from_s: float


@dataclass(frozen=True)
class _Block:
    t_s: float
    temp_c: float
    setpoint_c: float | None
    output: float | None


class Heating:
    """Follows one furnace. ``look`` answers a Decision at the moment a run begins or ends."""

    def __init__(self, settings: HeatingSettings | None = None, *, heating_since_s: float | None = None) -> None:
        self.settings = settings or HeatingSettings()
        self.running = heating_since_s is not None
        self._blocks: deque[_Block] = deque()
        self._waiting: list[tuple[float, float, float | None, float | None]] = []
        self._ended_s = -float("inf")
        self._heated_s = heating_since_s or 0.0
        self._read_s: float | None = heating_since_s
        self._warm_s: float | None = heating_since_s

    def look(
        self, t_s: float, temp_c: float | None, setpoint_c: float | None = None, output: float | None = None
    ) -> HeatingDecision | None:
        """Take one reading.

        ``output``: controller output [%].
        """
        if temp_c is None:
            return self._silent(t_s)
        self._read_s = t_s
        self._waiting.append((t_s, temp_c, setpoint_c, output))
        if t_s - self._waiting[0][0] < BLOCK_S and len(self._waiting) < 1000:
            return None
        self._blocks.append(_block(self._waiting))
        self._waiting.clear()
        while self._blocks[0].t_s < t_s - KEPT_S:
            self._blocks.popleft()
        return self._end(t_s) if self.running else self._begin(t_s)

    def _silent(self, t_s: float) -> HeatingDecision | None:
        if self.running and self._read_s is not None and t_s - self._read_s >= self.settings.idle_s:
            return self._over(f"no reading for {duration(self.settings.idle_s)}", t_s)
        return None

    # Beginning

    def _begin(self, t_s: float) -> HeatingDecision | None:
        why = self._why_heating()
        if why is None:
            return None
        self.running = True
        self._heated_s = t_s
        self._warm_s = None
        return HeatingDecision("begin", why, max(self._onset_s() - self.settings.before_s, self._ended_s))

    def _why_heating(self) -> Says | None:
        set_ = self.settings
        now = self._blocks[-1]
        before = self._mean(now.t_s - set_.climb_s, BLOCK_S)
        if before is not None and now.t_s - set_.climb_s >= self._ended_s:
            climb_c = now.temp_c - before
            if climb_c >= set_.asked_climb_c and (asked := self._asked()):
                return Says.plain(f"{asked} and the temperature climbs")
        for climb_c, within_s in ((set_.climb_c, set_.climb_s), (set_.slow_climb_c, set_.slow_climb_s)):
            if self._climbs(climb_c, within_s):
                says = "the temperature climbed by over {climb} in {time}"
                return Says.of(says, climb=Diff(climb_c), time=duration(within_s))
        if self._held():
            return Says.of("held above {hot}", hot=Temp(set_.hot_c))
        return None

    def _asked(self) -> str | None:
        """Whether the controller asks for heat: its output is on, or its setpoint was raised or is followed."""
        now = self._blocks[-1]
        recent = self._since(now.t_s - 3 * BLOCK_S)
        outputs = [block.output for block in recent if block.output is not None]
        if outputs:
            return "the output is on" if sum(outputs) / len(outputs) >= self.settings.output else None
        if now.setpoint_c is None or now.setpoint_c < self.settings.hot_c - 20:
            return None
        earlier = [block.setpoint_c for block in self._since(now.t_s - 1800.0) if block.setpoint_c is not None]
        if now.setpoint_c >= min(earlier) + 20:
            return "the setpoint was raised"
        return "the setpoint is followed" if abs(now.setpoint_c - now.temp_c) <= 15 else None

    def _climbs(self, climb_c: float, within_s: float) -> bool:
        """Whether it is warm and climbed so far, above everything of the hours before."""
        now = self._blocks[-1]
        before = self._mean(now.t_s - within_s, BLOCK_S)
        if before is None or now.t_s - within_s < self._ended_s:
            return False
        if now.temp_c < self.settings.warm_c or now.temp_c - before < climb_c:
            return False
        highest = max((b.temp_c for b in self._blocks if b.t_s <= now.t_s - within_s), default=now.temp_c)
        if now.temp_c >= highest + climb_c:
            return True
        off = now.output is not None and now.output < 1.0
        if now.temp_c < self.settings.hot_c or off:
            return False
        return not self._door_was_open() or self._steadily(climb_c, within_s)

    def _steadily(self, climb_c: float, within_s: float) -> bool:
        """Whether it has climbed for long enough: a furnace whose door was closed has its climb over by then."""
        third_s = max(within_s / 3, self.settings.climb_s)
        now_s = self._blocks[-1].t_s
        means = [self._mean(now_s - back * third_s, BLOCK_S) for back in range(4)]
        known = [mean for mean in means if mean is not None]
        return len(known) == 4 and all(a - b >= climb_c / 4 for a, b in zip(known, known[1:], strict=False))

    def _door_was_open(self) -> bool:
        """Whether the temperature fell suddenly in the last hours: then a climb may be the door that was closed."""
        blocks = list(self._blocks)
        pairs = (pair for apart in (1, 2, 3) for pair in zip(blocks, blocks[apart:], strict=False))
        return any(
            before.temp_c - after.temp_c > 5.0 + 0.02 * before.temp_c and after.t_s - before.t_s < WINDOW_S
            for before, after in pairs
        )

    def _held(self) -> bool:
        """Whether it is hot and level: three half hours whose medians do not fall, nor jump (a door closed again)."""
        now_s = self._blocks[-1].t_s
        if self._blocks[-1].temp_c < self.settings.hot_c:
            return False
        halves = [self._median(now_s - back_s, HALF_HOUR_S) for back_s in (2 * HALF_HOUR_S, HALF_HOUR_S, 0.0)]
        first, second, third = halves
        if first is None or second is None or third is None or min(first, second, third) < self.settings.hot_c:
            return False
        return second >= first - LEVEL_C and third >= second - LEVEL_C and third - second <= 10.0

    def _onset_s(self) -> float:
        """When the climb began: the last moment near the lowest temperature before it.

        Of a climb that is seen at once the search ends where the furnace was hotter than now; of a furnace that is
        held, perhaps after it overshot, it goes through all that is kept.
        """
        now = self._blocks[-1]
        ceiling = float("inf") if self._held() else now.temp_c + 10.0
        lowest, onset_s = now.temp_c, now.t_s
        for block in reversed(self._blocks):
            if block.temp_c > ceiling or block.t_s < self._ended_s:
                break
            if block.temp_c < lowest:
                lowest, onset_s = block.temp_c, block.t_s
        for block in self._since(onset_s):
            if block.temp_c <= lowest + STRAY_C:
                return block.t_s
        return onset_s

    # Ending

    def _end(self, t_s: float) -> HeatingDecision | None:
        set_ = self.settings
        now = self._blocks[-1]
        if self._heats():
            self._heated_s = t_s
        if now.temp_c > set_.cold_c or self._warm_s is None:
            self._warm_s = t_s
        quiet_s = t_s - self._heated_s
        if t_s - self._warm_s >= set_.cold_s and quiet_s >= set_.cold_s:
            return self._over("cold", t_s)
        if quiet_s >= set_.idle_s:
            return self._over(f"not heated for {duration(set_.idle_s)}", t_s)
        return None

    def _over(self, why: str, t_s: float) -> HeatingDecision:
        self.running = False
        self._ended_s = t_s
        return HeatingDecision("end", Says.plain(why), t_s)

    def _heats(self) -> bool:
        """Whether anything shows heating now: output, a climb, or that it does not fall as it would by itself."""
        now = self._blocks[-1]
        if now.output is not None and now.output >= self.settings.output:
            return True
        before = self._mean(now.t_s - 1200.0, WINDOW_S)
        if before is None:
            return True
        fall_c = before - now.temp_c
        if fall_c <= -3.0:
            return True
        natural = 25.0 if now.temp_c >= 600 else 10.0 if now.temp_c >= 300 else 2.0
        return now.temp_c >= self.settings.hot_c and fall_c <= natural

    # Windows

    def _since(self, t_s: float) -> list[_Block]:
        found = []
        for block in reversed(self._blocks):
            if block.t_s < t_s:
                break
            found.append(block)
        return found

    def _median(self, until_s: float, length_s: float) -> float | None:
        """Median temperature of a window; None where it is not filled."""
        inside = sorted(b.temp_c for b in self._since(until_s - length_s) if b.t_s <= until_s)
        if not inside or self._blocks[0].t_s > until_s - length_s:
            return None
        return inside[len(inside) // 2]

    def _mean(self, until_s: float, length_s: float) -> float | None:
        """Mean temperature of the window that ends at ``until_s``, widened to one block where readings are rare."""
        inside: list[float] = []
        for block in reversed(self._blocks):
            if block.t_s <= until_s + BLOCK_S / 2:
                if block.t_s <= until_s - length_s and inside:
                    break
                if block.t_s < until_s - length_s - WINDOW_S:
                    break
                inside.append(block.temp_c)
        return sum(inside) / len(inside) if inside else None


def _block(rows: Iterable[tuple[float, float, float | None, float | None]]) -> _Block:
    """One minute: the median temperature, so that a single wrong reading does nothing."""
    rows = list(rows)
    temps = sorted(row[1] for row in rows)
    return _Block(
        rows[-1][0],
        temps[len(temps) // 2],
        next((row[2] for row in reversed(rows) if row[2] is not None), None),
        _mean_of(row[3] for row in rows),
    )


def _mean_of(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
