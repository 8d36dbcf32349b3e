"""Pieces of one charge that heat alike, followed through the run. Standard library only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.live.counting import SoakCount
from soakwitness.analysis.live.packet import LivePacket, slow_packet
from soakwitness.analysis.live.state import PieceState, Source
from soakwitness.analysis.live.tracking import Phase
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.recipes.recipe import Hold

LOOK_AHEAD_EVERY_S = 10.0
OVERDUE_AFTER_S = 600.0  # beyond the required soak where the recipe names no longest: common practice, no source


@dataclass(frozen=True)
class ClockReading:
    """One reading and what the chamber does with it.

    ``aim`` is the hold at hand, ``counted`` the holds it counts for and where the chamber stands to each, ``back`` the
    hold whose time set aside counts after all, ``anew`` the hold that is being tried once more.
    """

    t_s: float
    chamber_c: float
    load_c: float | None
    aim: int | None
    counted: tuple[tuple[int, Phase], ...]
    back: int | None
    anew: int | None


@dataclass
class _Side:
    """Best or slow estimate: its packet, the temperature counted last and its soak in each hold."""

    live: LivePacket | None
    last_c: float
    counts: dict[int, SoakCount]


class Track:
    """Work temperature and soak of pieces that went in together and heat alike.

    ``gap_s``: between two readings farther apart nobody can be sure of the soak [s].
    """

    def __init__(
        self, load_s: float, packet: PacketModel | None, *, trust_load: bool, start_c: float, gap_s: float
    ) -> None:
        self._load_s, self._trust_load, self._gap_s = load_s, trust_load, gap_s
        self.end_s: float | None = None
        self.source: Source = "control"
        lives = (None, None) if packet is None else (packet, slow_packet(packet))
        self._best, self._slow = (_Side(LivePacket(p, start_c=start_c) if p else None, start_c, {}) for p in lives)
        self._last_s: float | None = None
        self._looked: tuple[float, int, float | None, float | None] | None = None

    def read(self, reading: ClockReading, before: ClockReading | None, holds: Sequence[Hold]) -> None:
        """Take one reading; ``before`` is the one before it, None for the first."""
        if self.end_s is not None and reading.t_s > self.end_s:
            return
        if reading.t_s < self._load_s or (reading.t_s == self._load_s and before is not None):
            return
        if self._last_s is None:
            self._begin(reading, before, holds)
        assert self._last_s is not None
        length_s = reading.t_s - self._last_s
        for side in (self._best, self._slow):
            self._tidy(side, reading, holds)
            work_c = self._work(side, reading, holds)
            for number, phase in reading.counted:
                aside = self._set_aside(phase, work_c, holds[number])
                count = self._count(side, number, holds)
                count.add(length_s, side.last_c, work_c, set_aside=aside, unseen=length_s > self._gap_s)
            side.last_c = work_c
        self._last_s = reading.t_s

    def _begin(self, reading: ClockReading, before: ClockReading | None, holds: Sequence[Hold]) -> None:
        """Put the pieces in, the chamber interpolated between the readings around the load mark."""
        start, chamber_c = max(self._load_s, before.t_s if before else reading.t_s), reading.chamber_c
        if before is not None and reading.t_s > before.t_s:
            share = (start - before.t_s) / (reading.t_s - before.t_s)
            chamber_c = before.chamber_c + share * (reading.chamber_c - before.chamber_c)
        for side in (self._best, self._slow):
            if side.live is not None:
                side.live.begin(start, chamber_c)
        self._last_s = start
        began = ClockReading(start, chamber_c, before.load_c if before else reading.load_c, reading.aim, (), None, None)
        for side in (self._best, self._slow):
            side.last_c = self._work(side, began, holds)

    @staticmethod
    def _tidy(side: _Side, reading: ClockReading, holds: Sequence[Hold]) -> None:
        if reading.anew is not None:
            side.counts = {number: count for number, count in side.counts.items() if number < reading.anew}
        if reading.back in side.counts:
            side.counts[reading.back].take_back()

    def _work(self, side: _Side, reading: ClockReading, holds: Sequence[Hold]) -> float:
        estimated_c = side.live.advance(reading.t_s, reading.chamber_c) if side.live is not None else None
        if reading.aim is not None and holds[reading.aim].soak_from == "control":
            self.source = "control"
        elif reading.load_c is not None and self._trust_load:
            self.source = "load"
            return reading.load_c
        elif estimated_c is not None:
            self.source = "packet estimate"
            return estimated_c
        else:
            self.source = "control"
        return reading.chamber_c

    @staticmethod
    def _set_aside(phase: Phase, work_c: float, hold: Hold) -> bool:
        """Whether time counts only if the chamber comes back: the work went out of the band upwards with it."""
        return phase == "above" and work_c > hold.upper_c

    @property
    def read_until_s(self) -> float:
        """Time of the last reading that was counted [s]."""
        return self._load_s if self._last_s is None else self._last_s

    def soak_s(self, number: int) -> float:
        """Longest soak in a hold so far [s], holds from 0."""
        count = self._best.counts.get(number)
        return count.longest_s if count else 0.0

    @staticmethod
    def _count(side: _Side, number: int, holds: Sequence[Hold]) -> SoakCount:
        if number not in side.counts:
            side.counts[number] = SoakCount(holds[number].lower_c, holds[number].dip_s)
        return side.counts[number]

    def state(
        self, charge: int, pieces: tuple[str, ...], aim: int, holds: Sequence[Hold], chamber_c: float, *, take_out: bool
    ) -> PieceState:
        """How they stand in a hold."""
        hold, count = holds[aim], self._count(self._best, aim, holds)
        complete = max(count.longest_s, count.soak_s) >= hold.required_s
        left_s, sure_s = self._ahead(aim, holds, chamber_c)
        longest = hold.at_most_s if hold.at_most_s is not None else hold.required_s + OVERDUE_AFTER_S
        return PieceState(
            charge=charge,
            pieces=pieces,
            source=self.source,
            work_c=self._best.last_c,
            in_band=count.in_band,
            short_c=max(hold.lower_c - self._best.last_c, 0.0),
            soak_s=count.soak_s,
            dip_s=count.dip_s,
            required_s=hold.required_s,
            left_s=0.0 if complete else left_s,
            sure_in_s=sure_s,
            complete=complete,
            overdue=complete and count.above_s > longest and (take_out or hold.at_most_s is not None),
        )

    def _ahead(self, aim: int, holds: Sequence[Hold], chamber_c: float) -> tuple[float | None, float | None]:
        """Time left by the best estimate and to be sure [s]; the look ahead is taken every ten seconds only.

        To be sure, the packet is slow, and what went by without a reading does not count.
        """
        now = self._last_s if self._last_s is not None else self._load_s
        counts = [self._count(side, aim, holds) for side in (self._best, self._slow)]
        if all(count.in_band for count in counts) or self._looked is None or self._looked[1] != aim:
            fresh = True
        else:
            fresh = now - self._looked[0] >= LOOK_AHEAD_EVERY_S
        if fresh:
            best = self._left(self._best, counts[0], holds[aim], chamber_c, sure=False)
            sure = self._left(self._slow, counts[1], holds[aim], chamber_c, sure=True)
            self._looked = (now, aim, best, sure)
        assert self._looked is not None
        passed = now - self._looked[0]
        return _less(self._looked[2], passed), _less(self._looked[3], passed)

    def _left(self, side: _Side, count: SoakCount, hold: Hold, chamber_c: float, *, sure: bool) -> float | None:
        had_s = count.soak_s - (count.unseen_s if sure else 0.0) if count.dip_s <= hold.dip_s else 0.0
        longest_s = count.longest_seen_s if sure else count.longest_s
        left_s = max(hold.required_s - max(had_s, longest_s if longest_s >= hold.required_s else 0.0), 0.0)
        if count.in_band or left_s == 0.0:
            return left_s
        if self.source != "packet estimate" or side.live is None:
            return None
        until_s = side.live.reaches_in_s(hold.lower_c, chamber_c)
        return None if until_s is None else until_s + left_s


def _less(left_s: float | None, passed_s: float) -> float | None:
    return None if left_s is None else max(left_s - passed_s, 0.0)
