"""The blade of one packet followed through the run, by the best estimate and by a slow one. Standard library only."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.packet import LivePacket, slow_packet
from soakwitness.analysis.packet.piece import PacketModel

LOOK_AHEAD_EVERY_S = 10.0


@dataclass
class _Side:
    """One estimate: its packet, and the work temperature so far."""

    live: LivePacket
    work: KeptReadings


class Track:
    """Estimated work temperature of pieces in one kind of packet that went in together.

    ``load_s`` [s] is when that was, ``start_c`` [degC] what they were then.
    """

    def __init__(self, load_s: float, packet: PacketModel, *, start_c: float, every_s: float) -> None:
        self.load_s, self.packet, self._start_c, self._every_s = load_s, packet, start_c, every_s
        self._begin()

    def _begin(self) -> None:
        self._best, self._slow = (
            _Side(LivePacket(packet, start_c=self._start_c), KeptReadings(every_s=self._every_s, resolution_c=0.0))
            for packet in (self.packet, slow_packet(self.packet))
        )
        self._last: tuple[float, float] | None = None
        self._looked: tuple[float, float, float | None, float | None] | None = None

    @property
    def best(self) -> KeptReadings:
        """Work temperature by the best estimate."""
        return self._best.work

    @property
    def slow(self) -> KeptReadings:
        """Work temperature of a slow packet."""
        return self._slow.work

    def read(self, t_s: float, chamber_c: float) -> None:
        """Follow a reading of the chamber [degC]."""
        before, self._last = self._last, (t_s, chamber_c)
        if t_s < self.load_s:
            return
        for side in (self._best, self._slow):
            if not len(side.work):
                begin_s, begin_c = self._entered(before, t_s, chamber_c)
                side.live.begin(begin_s, begin_c)
                side.work.add(begin_s, side.live.work_c)
            if t_s > side.work.t_s[-1]:
                side.work.add(t_s, side.live.advance(t_s, chamber_c))

    def _entered(self, before: tuple[float, float] | None, t_s: float, chamber_c: float) -> tuple[float, float]:
        """When it went in, and the chamber then, on the line between the readings around."""
        if before is None or before[0] >= self.load_s or t_s <= before[0]:
            return t_s, chamber_c
        share = (self.load_s - before[0]) / (t_s - before[0])
        return self.load_s, before[1] + share * (chamber_c - before[1])

    def read_again(self, chamber: KeptReadings) -> None:
        """Follow the chamber from the beginning: its past is other than it was."""
        self._begin()
        for t_s, temp_c in zip(chamber.t_s, chamber.temp_c, strict=True):
            self.read(t_s, temp_c)

    def reaches_in_s(self, level_c: float, chamber_c: float) -> tuple[float | None, float | None]:
        """Time until the best and the slow estimate are at a level if the chamber stays [s]; looked at now and then."""
        now = self.best.t_s[-1] if len(self.best) else self.load_s
        looked = self._looked
        if looked is None or looked[1] != level_c or now - looked[0] >= LOOK_AHEAD_EVERY_S:
            best, slow = (side.live.reaches_in_s(level_c, chamber_c) for side in (self._best, self._slow))
            self._looked = looked = (now, level_c, best, slow)
        passed = now - looked[0]
        return _less(looked[2], passed), _less(looked[3], passed)


def _less(left_s: float | None, passed_s: float) -> float | None:
    return None if left_s is None else max(left_s - passed_s, 0.0)
