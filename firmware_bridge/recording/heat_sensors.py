"""Which sensors feel the furnace, which one is believed, and what they know of its bricks. Pure: fed with readings.

Each is followed (``trail``). One that reads higher than the chamber's own shows heat that the chamber's own does not
feel, and is believed then; one that is stuck, or lies on the bench, is not.
"""

from __future__ import annotations

from collections.abc import Mapping

from soakwitness.firmware_bridge.recording.trail import HALF_HOUR_S, Trail

HIGHER_C = 25.0  # a sensor that reads so much more than the chamber's own is nearer to the heat


class HeatSensors:
    """Follows all sensors of one furnace, the chamber's own first. Temperatures as ``HeatingSettings`` has them."""

    def __init__(self, *, cold_c: float, warm_c: float, climb_c: float) -> None:
        self._cold_c = cold_c
        self._warm_c = warm_c
        self._climb_c = climb_c
        self._trails: dict[str, Trail] = {}
        self._seen_s = -float("inf")

    def read(self, t_s: float, temps_c: Mapping[str, float | None]) -> None:
        """Take one reading of each [degC]."""
        for name, temp_c in temps_c.items():
            trail = self._trails.setdefault(name, Trail())
            if temp_c is not None:
                trail.read(t_s, temp_c)

    def close_minute(self, since_s: float, t_s: float, *, heated: bool, on: bool) -> float | None:
        """Make a minute of the readings since the last one; return when one was made last, None where none is made now.

        ``heated``: a run is open. ``on``: the output is known to be on.
        """
        for trail in self._trails.values():
            trail.close_minute(since_s, t_s, heated=heated)
        if all(trail.now is None or trail.now.t_s < t_s for trail in self._trails.values()):
            return None
        before_s, self._seen_s = self._seen_s, t_s
        if not on:
            self._find_stuck()
        self._find_outside()
        return before_s

    def believe(self) -> None:
        """A run is gone on with, whose beginning was not seen."""
        for trail in self._trails.values():
            trail.believe()

    def stand_still(self, t_s: float) -> None:
        """Nothing heats from here on."""
        for trail in self._trails.values():
            trail.stand_still(t_s)

    def live(self) -> dict[str, Trail]:
        """Sensors that were read lately and are not stuck, in their order."""
        return {name: trail for name, trail in self.read_lately().items() if not trail.is_stuck}

    def read_lately(self) -> dict[str, Trail]:
        """Those that were read in the last half hour, stuck ones too."""
        lately_s = self._seen_s - HALF_HOUR_S
        return {name: tr for name, tr in self._trails.items() if tr.now is not None and tr.now.t_s >= lately_s}

    @property
    def only_stuck(self) -> bool:
        """Whether all that is read is stuck: nobody tells of the furnace."""
        return bool(self.read_lately()) and not self.live()

    def nearer(self) -> dict[str, Trail]:
        """Sensors that are hotter than the chamber's own: it does not feel what they feel."""
        live = self.live()
        own_c = next(iter(live.values())).minutes[-1].temp_c
        return {name: trail for name, trail in live.items() if trail.minutes[-1].temp_c >= own_c + HIGHER_C}

    def leader(self) -> Trail:
        """The chamber's own sensor, or one that was heated and is hotter.

        That was once is enough where the chamber's own never felt anything: it is broken.
        """
        own = next(iter(self.live().values()))
        feels = own.felt_c >= self._climb_c
        nearer = (tr for tr in self.nearer().values() if (tr.moved_c if feels else tr.felt_c) >= self._climb_c)
        return next(nearer, own)

    def hottest_c(self) -> float | None:
        """The highest of the live ones [degC]."""
        return max((trail.minutes[-1].temp_c for trail in self.live().values()), default=None)

    def bricks_c(self) -> float:
        """How hot the furnace's bricks can be at most: a load that lay on the bench knows nothing of them."""
        return max(trail.bricks_c for trail in self.live().values())

    def _find_stuck(self) -> None:
        """Look for sensors that show heat with one exact number, while others cool."""
        read = self.read_lately().values()
        for trail in read:
            if trail.minutes[-1].temp_c >= self._warm_c:
                trail.disbelieve(read, cold_c=self._cold_c, fall_c=self._climb_c)

    def _find_outside(self) -> None:
        """Look for sensors that lie in a cold room while another is warmer: what they knew of the bricks is over.

        A load that was taken out hot would keep them as hot as it was for as long as it lies there.
        """
        hottest_c = self.hottest_c()
        for trail in self.live().values():
            lately_c = max(minute.temp_c for minute in trail.since(trail.minutes[-1].t_s - HALF_HOUR_S))
            if hottest_c is not None and lately_c < min(self._cold_c, hottest_c - HIGHER_C):
                trail.lies_outside()
