"""Whether the furnace heats: when a run begins and when it is over. Pure: fed with readings, asked nothing of a clock.

What tells heating from sun on the wall, a space heater in the shed, a door that was open or interference:

- *asked for*: the output is on, or the setpoint was raised or is being followed, and the temperature climbs; the output
  is high for ten minutes, or on while a program moves the setpoint;
- *climbing*: over 60 degC, by 12 K in ten minutes or 20 K in an hour, above what its bricks can give back (``bricks``),
  or at an even rate for half an hour and longer (bricks that give heat back slow down);
- *held*: a furnace left to itself falls, ever more slowly; one that stays level for an hour and a half is heated, or
  for half an hour where its fall stopped; not behind a door, where bricks do the same;
- *doubtful*: level for half an hour, or a little output for twenty minutes, and none of these, which may be bricks:
  recorded, until one of them settles it.

A reason counts when it stands for five minutes, a climb that nobody asked for when it stands for twenty. Each sensor
that feels the furnace is followed (``trail``); one that reads higher than the chamber's own shows heat that the
chamber's own does not feel, and is believed then.

A run is over when the furnace is cold, or when nothing has heated it for two hours (three while it still is so hot
that a power cut is likelier than the next charge, no door was opened and no setpoint was let go, or while the setpoint
asks for heat; the output, where it is read, knows better). An instrument that was silent is waited for while the
furnace may still be warm. Numbers are common practice for small brick-lined furnaces, kilns and tempering ovens; the
settings change most.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, duration
from soakwitness.firmware_bridge.recording.asking import ASKS_C, FOLLOWED, OFF_BELOW, ON, TRICKLES_S, Asking
from soakwitness.firmware_bridge.recording.heat_sensors import HeatSensors
from soakwitness.firmware_bridge.recording.levels import (
    caught_s,
    climbed_again_s,
    held_since_s,
    maybe_held_since_s,
    stopped_sharply,
    was_held,
)
from soakwitness.firmware_bridge.recording.trail import HALF_HOUR_S, MINUTE_S, RETURNS_S, Trail

SAME_WITHIN_S = 600.0  # a gap this short is always the same heating
SAME_WHILE_WARM_S = 6 * 3600.0  # a longer one only if the furnace is still warm
WARM_C = 60.0
STANDS_S = 300.0  # so long a reason must stand
RETURNED_S = RETURNS_S + STANDS_S  # and a climb that nobody asked for: what jumps returns sooner
UNSEEN_S = 900.0
HOT_C = 100.0
CHAMBER = "chamber"


@dataclass(frozen=True)
class HeatingSettings:
    """When a run begins and ends. Temperatures in degC, times in s, ``output`` in %."""

    cold_c: float = 50.0
    cold_s: float = 600.0
    idle_s: float = 7200.0
    warm_c: float = WARM_C
    climb_c: float = 12.0
    slow_climb_c: float = 20.0
    slow_climb_s: float = 3600.0
    asked_climb_c: float = 5.0
    climb_s: float = 600.0
    held_c: float = 70.0
    output: float = 3.0
    before_s: float = 300.0


@dataclass(frozen=True)
class HeatingDecision:
    """A run begins (and from when), perhaps ``doubtful``, or that is settled: it heats; or it ends. And why."""

    act: Literal["begin", "end", "settle"]
    why: Says
    from_s: float
    doubtful: bool = False


def same_while_warm(gap_s: float, before_c: float | None, now_c: float | None) -> bool:
    """Whether a furnace that nobody saw for so long [s] still is in the heating it was in."""
    warm = before_c is not None and now_c is not None and min(before_c, now_c) >= WARM_C
    return warm and gap_s <= SAME_WHILE_WARM_S


class Heating:
    """Follows one furnace. ``look`` answers a Decision at the moment a run begins or ends."""

    def __init__(
        self,
        settings: HeatingSettings | None = None,
        *,
        heating_since_s: float | None = None,
        doubtful: bool = False,
    ) -> None:
        self.settings = settings or HeatingSettings()
        self.running = heating_since_s is not None
        self.doubtful = self.running and doubtful
        set_ = self.settings
        self._sensors = HeatSensors(cold_c=set_.cold_c, warm_c=set_.warm_c, climb_c=set_.climb_c)
        self._asking = Asking(on=set_.output, warm_c=set_.warm_c, works_s=set_.climb_s)
        self._minute_s = -float("inf")
        self._ended_s = -float("inf")
        self._reason_s: float | None = None
        self._onset_s = heating_since_s or -float("inf")
        self._heated_s = heating_since_s or 0.0
        self._by_bricks = self._let_go = False
        self._read_s: float | None = heating_since_s
        self._warm_s: float | None = heating_since_s
        self._doubts: list[tuple[str, str]] = []
        self._doubted = False
        self._believe_all = self.running

    def look(
        self,
        t_s: float,
        temps_c: Mapping[str, float | None] | float | None,
        setpoint_c: float | None = None,
        output: float | None = None,
    ) -> HeatingDecision | None:
        """Take one reading.

        ``temps_c``: temperatures by sensor [degC], the chamber's own first; or the chamber's alone. ``output``:
        controller output [%].
        """
        temps = temps_c if isinstance(temps_c, Mapping) else {CHAMBER: temps_c}
        if all(temp_c is None for temp_c in temps.values()):
            return self._silent(t_s)
        self._sensors.read(t_s, temps)
        if not self._sensors.only_stuck:
            self._read_s = t_s
        self._asking.read(setpoint_c, output)
        if t_s - self._minute_s < MINUTE_S:
            return None
        return self._close_minute(t_s)

    def take_doubts(self) -> list[tuple[str, str]]:
        """Who disagrees, since the last question: (a sensor that stays as it was, what shows heat); once a run."""
        doubts, self._doubts = self._doubts, []
        return doubts

    def _silent(self, t_s: float) -> HeatingDecision | None:
        idle_s = self.settings.idle_s
        if not self.running or self._read_s is None or t_s - self._read_s < idle_s:
            return None
        hottest_c = self._sensors.hottest_c()
        if same_while_warm(t_s - self._read_s, hottest_c, hottest_c):
            return None
        warm = same_while_warm(0.0, hottest_c, hottest_c)
        return self._over(f"no reading for {duration(max(idle_s, SAME_WHILE_WARM_S) if warm else idle_s)}", t_s)

    def _close_minute(self, t_s: float) -> HeatingDecision | None:
        before_c, since_s = self._sensors.hottest_c(), self._minute_s
        self._asking.close_minute(t_s)
        self._minute_s = t_s
        on = max(self._asking.outputs(), default=0.0) >= self.settings.output
        before_s = self._sensors.close_minute(since_s, t_s, heated=self.running and not self.doubtful, on=on)
        if before_s is None:
            return None
        if self._sensors.only_stuck:
            return self._silent(t_s)
        if not self.running:
            return self._begin(t_s)
        if self._believe_all:
            self._believe_all = False
            self._sensors.believe()
        gap_s = t_s - before_s
        if before_c is not None and gap_s >= UNSEEN_S:
            if gap_s >= self.settings.idle_s and not same_while_warm(gap_s, before_c, self._sensors.hottest_c()):
                return self._over("cold after a time without readings", t_s)
            self._heated_s += gap_s  # nobody knows what it did
        return (self._settle(t_s) if self.doubtful else None) or self._end(t_s)

    # Beginning

    def _begin(self, t_s: float) -> HeatingDecision | None:
        found = self._found(t_s)
        doubt = self._doubt() if self._reason_s is None else None  # what is about to be sure is no doubt
        if found is None and doubt is None:
            return None
        why, onset_s = found or doubt or (Says.plain(""), t_s)
        self.running, self.doubtful = True, found is None
        self._onset_s, self._heated_s = onset_s, t_s
        self._warm_s = self._reason_s = None
        from_s = max(onset_s - self.settings.before_s, self._ended_s)
        return HeatingDecision("begin", why, from_s, doubtful=self.doubtful)

    def _found(self, t_s: float) -> tuple[Says, float] | None:
        """Why it surely heats, and since when, once that has stood for long enough."""
        # A program that has just begun may put little out for a while: its setpoint moves.
        for trail in filter(self._only_bricks, () if self._asking.moves_setpoint() else self._sensors.live().values()):
            trail.left_alone_s = t_s
        found = self._reason()
        if found is None:
            self._reason_s = None
            return None
        why, onset_s, stands_s = found
        self._reason_s = t_s if self._reason_s is None else self._reason_s
        return (why, onset_s) if t_s - self._reason_s >= stands_s else None

    def _settle(self, t_s: float) -> HeatingDecision | None:
        """A doubtful run is a heating, or is over because one begins only now."""
        found = self._found(t_s)
        if found is None:
            return None
        why, onset_s = found
        self.doubtful = False
        if onset_s > self._onset_s + HALF_HOUR_S:
            self.running = False  # the reason stands, so that the next look begins the run
            return HeatingDecision("end", Says.plain("another heating begins"), t_s)
        self._reason_s = None
        return HeatingDecision("settle", why, onset_s)

    def _doubt(self) -> tuple[Says, float] | None:
        """Why it may heat, and since when, though bricks behind a door could do the same; nothing says it is off."""
        leader, held_c = self._sensors.leader(), self.settings.held_c
        if self._minute_s - HALF_HOUR_S < self._ended_s or self._is_off(leader) or not leader.ever_moved:
            return None
        if leader.minutes[-1].temp_c >= held_c and self._asking.trickles():
            return Says.of("a little comes out above {hot}", hot=Temp(held_c)), self._minute_s - TRICKLES_S
        since_s = maybe_held_since_s(leader, held_c, self.settings.climb_c)
        says = Says.of("level above {hot}, by the heater or by hot bricks", hot=Temp(held_c))
        return None if since_s is None else (says, since_s)

    def _reason(self) -> tuple[Says, float, float] | None:
        """Why a run begins, since when it heats, and how long that reason must stand."""
        own = next(iter(self._sensors.live().values()))
        for trail in (own, *self._sensors.nearer().values()):
            asked, why = self._why_asked(trail), self._why_climbing(trail)
            if asked is not None or why is not None:
                onset_s = trail.onset_s(ceiling_c=trail.minutes[-1].temp_c + 10.0)
                return asked or why or Says.plain(""), onset_s, STANDS_S if asked else RETURNED_S
            if self._stays(trail) or ((trail is own or trail.moved_c >= self.settings.climb_c) and self._held(trail)):
                onset_s = held_since_s(trail, self.settings.held_c, self.settings.climb_c)
                return Says.of("held above {hot}", hot=Temp(self.settings.held_c)), onset_s, STANDS_S
        if self._asking.works():
            return Says.plain(ON), self._minute_s - self.settings.climb_s, 0.0
        return None

    def _why_asked(self, trail: Trail) -> Says | None:
        climb_c, within_s, now_c = self.settings.asked_climb_c, self.settings.climb_s, trail.minutes[-1].temp_c
        asked = self._asking.heat(now_c)
        if asked is None or not trail.rises(climb_c, within_s, after_s=self._ended_s):
            return None
        if asked == FOLLOWED and self._asking.stands_still and now_c < self._sensors.bricks_c():
            return None  # bricks that come back may pass a setpoint that nobody touched
        return Says.plain(f"{asked} and the temperature climbs")

    def _why_climbing(self, trail: Trail) -> Says | None:
        set_ = self.settings
        for climb_c, within_s in ((set_.climb_c, set_.climb_s), (set_.slow_climb_c, set_.slow_climb_s)):
            if self._climbs(trail, climb_c, within_s):
                says = "the temperature climbed by over {climb} in {time}"
                return Says.of(says, climb=Diff(climb_c), time=duration(within_s))
        return None

    def _stays(self, trail: Trail) -> bool:
        """Whether it is hotter than its bricks can make it, for half an hour: even one step is heat then."""
        if self._minute_s - HALF_HOUR_S - self.settings.climb_s < self._ended_s or self._only_bricks(trail):
            return False
        return trail.stays_above(
            max(self._sensors.bricks_c() + self.settings.climb_c, self.settings.warm_c), HALF_HOUR_S
        )

    def _held(self, trail: Trail) -> bool:
        set_ = self.settings
        long_enough = self._minute_s - 3 * HALF_HOUR_S >= self._ended_s
        if not long_enough or trail.minutes[-1].temp_c < set_.held_c or self._is_off(trail):
            return False
        outputs = self._asking.outputs()
        if outputs and min(outputs) >= set_.output and trail.is_level(set_.held_c):
            return True
        little = bool(outputs) and max(outputs) < set_.output  # it may have fallen that far by itself
        if was_held(trail, set_.held_c) or (caught_s(trail, set_.held_c) is not None and not little):
            return True
        if trail.minutes[-1].temp_c >= self._sensors.bricks_c() and stopped_sharply(trail, set_.climb_c):
            return True
        return climbed_again_s(trail, set_.climb_c) is not None

    def _climbs(self, trail: Trail, climb_c: float, within_s: float) -> bool:
        """Whether it is warm and climbed so far: above what bricks give back, or evenly for half an hour."""
        now = trail.minutes[-1]
        if now.temp_c < self.settings.warm_c or not trail.climbs(climb_c, within_s, after_s=self._ended_s):
            return False
        if now.temp_c >= self._sensors.bricks_c() + self.settings.climb_c:
            return True
        return not self._is_off(trail) and trail.keeps_climbing(climb_c, max(within_s, HALF_HOUR_S))

    def _is_off(self, trail: Trail) -> bool:
        """Whether nothing came out for half an hour; where a door let heat out, a setpoint far below says so too.

        Without a door it does not: a furnace that is switched by hand may have a setpoint of 0.
        """
        outputs = self._asking.outputs()
        if outputs:
            return max(outputs) < OFF_BELOW
        setpoint_c = max(self._asking.setpoints(), default=float("inf"))
        return trail.may_come_back and setpoint_c < trail.minutes[-1].temp_c - 2 * ASKS_C

    def _only_bricks(self, trail: Trail) -> bool:
        """Whether a door let heat out and nothing is on (off alone says less where it is rarely read)."""
        return trail.may_come_back and self._is_off(trail)

    # Ending

    def _end(self, t_s: float) -> HeatingDecision | None:
        set_ = self.settings
        leader = self._sensors.leader()
        self._say_doubts(self._sensors.read_lately(), leader)
        heats = self._heats(leader)
        self._let_go = self._asking.let_go or (self._let_go and not heats)
        if heats:
            self._heated_s, self._by_bricks = t_s, leader.may_come_back
        if (now_c := leader.minutes[-1].temp_c) > set_.cold_c or self._warm_s is None:
            self._warm_s = t_s
        quiet_s = t_s - self._heated_s
        if t_s - self._warm_s >= set_.cold_s and quiet_s >= set_.cold_s:
            return self._over("cold", t_s)
        climbs = leader.rises(3.0, set_.climb_s, after_s=-float("inf"))  # the next minutes tell what it is
        if quiet_s >= set_.idle_s * self._patience(now_c) and not climbs:
            return self._over(f"not heated for {duration(set_.idle_s)}", t_s)
        return None

    def _patience(self, now_c: float) -> float:
        """So many times the idle time: more where a little comes out, or this may be a power cut.

        What came back behind a door was no power cut: somebody stood there.
        """
        if outputs := self._asking.outputs():
            return 1.0 if max(outputs) < OFF_BELOW else 1.4  # bricks may carry most of a hold
        if self._let_go:
            return 1.0
        setpoint_c = self._asking.now.setpoint_c
        if setpoint_c is not None and setpoint_c >= max(self.settings.warm_c, now_c + ASKS_C):
            return 2.25
        return 1.4 if now_c >= HOT_C and not self._by_bricks else 1.0

    def _heats(self, leader: Trail) -> bool:
        """Whether anything shows heating now: the controller, a climb, or that it does not fall by itself.

        A setpoint near by is not enough: one that was left there is passed by a furnace that is off. Nor is the one of
        another program than that which is over, until the furnace answers.
        """
        warm_c = self.settings.warm_c
        if self._asking.is_on or (self._asking.moves_setpoint() and not self._let_go):
            return True
        if self._only_bricks(leader) or leader.plunges:
            return False
        within_s, ever_s = self.settings.climb_s, -float("inf")
        asked = self._asking.heat(leader.minutes[-1].temp_c)
        climbs = leader.rises(3.0, within_s, after_s=ever_s) if asked else leader.climbs(3.0, within_s, after_s=ever_s)
        return climbs or leader.is_level(warm_c) or leader.falls_evenly(warm_c)

    def _over(self, why: str, t_s: float) -> HeatingDecision:
        self.running = self.doubtful = self._doubted = self._let_go = False
        self._ended_s = t_s
        self._sensors.stand_still(t_s)
        self._asking.stand_still()
        return HeatingDecision("end", Says.plain(why), t_s)

    def _say_doubts(self, live: Mapping[str, Trail], leader: Trail) -> None:
        """The chamber's own sensor stays as it was while another climbs, or all do while the output is on."""
        own_name, own = next(iter(live.items()))
        before_c = own.at_c(self._onset_s)
        if self._doubted or before_c is None or own.minutes[-1].temp_c >= before_c + self.settings.climb_c:
            return
        if leader is not own:
            self._doubts.append((own_name, next(name for name, trail in live.items() if trail is leader)))
        elif self._asking.works():
            self._doubts.append((own_name, "the output"))
        self._doubted = bool(self._doubts)
