"""The soak clock: how long the blade has been in its band, reading by reading. Standard library only."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from soakwitness.analysis.live.clock_charges import Charge, charges_of
from soakwitness.analysis.live.state import ClockState, PieceState
from soakwitness.analysis.live.track import ClockReading, Track
from soakwitness.analysis.live.tracking import HoldTracker, Phase
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.firmware_bridge.marks.charges import Known
from soakwitness.firmware_bridge.runfolder.contents import Mark

KEEP_EVERY_S, KEEP_MOST = 5.0, 20_000  # readings kept for marks that are entered later: 27 h
GAP_PERIODS = 3.0  # as in the verification
JUST_NOW_S = 60.0
JUMP_C, JUMP_C_PER_S = 20.0, 10.0  # a door dips a control sensor by some 8 K/s


_Key = tuple[int, float, tuple[str, ...]]


@dataclass(frozen=True)
class _Group:
    """Pieces of one charge that heat alike."""

    charge: Charge
    pieces: tuple[str, ...]
    packet: PacketModel | None

    @property
    def key(self) -> _Key:
        return self.charge.number, self.charge.load_s, self.pieces

    @property
    def end_s(self) -> float | None:
        return self.charge.end_s(self.pieces)


class SoakClock:
    """Follows a run through its recipe and says how the soak stands.

    ``recipe``: the recipe; its packet is what a piece is when nothing else is known. ``packet``: A fitted packet in
    place of the recipe's generic one. ``known``: pieces that the log book has in this run: who is in a charge that was
    loaded without names. ``load_thickness_mm``: thickness of the dummy that carries the load sensor [mm]; it does not
    speak for thicker packets. ``every_s``: time from reading to reading [s]: over three of them without one is a gap,
    and no sure soak.
    """

    def __init__(
        self,
        recipe: Recipe,
        *,
        packet: PacketModel | None = None,
        packets: Mapping[str, PacketModel] | None = None,
        known: Sequence[Known] = (),
        load_thickness_mm: float | None = None,
        start_c: float = 20.0,
        every_s: float = KEEP_EVERY_S,
    ) -> None:
        self._recipe = recipe
        self._holds: Sequence[Hold] = recipe.holds
        self._packet = packet or (generic_packet(recipe.packet, recipe.steel) if recipe.packet else None)
        self._packets = dict(packets or {})
        self._known = tuple(known)
        self._load_thickness_mm = load_thickness_mm
        self._start_c = start_c
        self._gap_s = GAP_PERIODS * max(every_s, KEEP_EVERY_S)
        self._tracker = HoldTracker(self._holds)
        self._kept: deque[ClockReading] = deque(maxlen=KEEP_MOST)
        self._last: ClockReading | None = None
        self._marks: tuple[Mark, ...] = ()
        self._charges: tuple[Charge, ...] = ()
        self._tracks: dict[_Key, Track] = {}
        self._began = False
        self._doubted: tuple[float, float] | None = None

    def read(
        self, t_s: float, chamber_c: float | None, *, load_c: float | None = None, marks: Iterable[Mark] = ()
    ) -> None:
        """Take one reading.

        ``chamber_c``: chamber, corrected [degC]; None where it is missing: the next reading bridges it.
        """
        new = tuple(marks)
        later = self._last is None or t_s > self._last.t_s
        if chamber_c is not None and later and self._believed(t_s, chamber_c):
            self._take(t_s, chamber_c, load_c)
        if self._last is not None and (new != self._marks or not self._began):
            self._heed(new)

    def _believed(self, t_s: float, chamber_c: float) -> bool:
        """A jump that no furnace makes is believed once the next reading confirms it."""
        doubted, self._doubted = self._doubted, None
        near = [before for before in (self._last and (self._last.t_s, self._last.chamber_c), doubted) if before]
        if not near or any(abs(chamber_c - c) <= JUMP_C + JUMP_C_PER_S * (t_s - t) for t, c in near):
            return True
        self._doubted = (t_s, chamber_c)
        return False

    def _take(self, t_s: float, chamber_c: float, load_c: float | None) -> None:
        tracker = self._tracker
        tracker.read(t_s, chamber_c)
        counted: list[tuple[int, Phase]] = []
        if tracker.phase == "above" and tracker.index is not None:
            counted.append((tracker.index, "above"))
        if tracker.aim is not None and tracker.counts_for(tracker.aim, chamber_c):
            counted.append((tracker.aim, tracker.phase if tracker.aim == tracker.index else "before"))
        back = tracker.index if tracker.came_back else None
        reading = ClockReading(t_s, chamber_c, load_c, tracker.aim, tuple(counted), back, tracker.began_anew)
        for track in self._tracks.values():
            track.read(reading, self._last, self._holds)
        kept = self._kept[-1] if self._kept else None
        told = back is not None or reading.anew is not None
        if kept is None or told or t_s - kept.t_s >= KEEP_EVERY_S or kept.counted != reading.counted:
            self._kept.append(reading)
        self._last = reading

    def _heed(self, marks: tuple[Mark, ...]) -> None:
        """Marks came, were entered later or struck out: read the charges anew, catch up with those that are new."""
        assert self._last is not None
        self._began = True
        start_s = self._kept[0].t_s if self._recipe.load == "cold" else None
        charges = charges_of(marks, loaded_cold_s=start_s, known=self._known)
        if self._loaded_again(charges):
            self._tracker.go_on()
        self._marks, self._charges = marks, charges
        groups = [group for charge in charges for group in self._groups(charge)]
        self._tracks = {group.key: self._track(self._tracks.get(group.key), group) for group in groups}

    def _loaded_again(self, charges: Sequence[Charge]) -> bool:
        """The same pieces went in again for the next cycle while the furnace stayed hot."""
        assert self._last is not None
        index = self._tracker.index
        if len(charges) <= len(self._charges) or not self._charges or index is None or index + 1 >= len(self._holds):
            return False
        newest, before = charges[-1], charges[:-1]
        known = {name for charge in before for name in charge.pieces}
        return (
            self._holds[index + 1].cycle != self._holds[index].cycle
            and newest.load_s > self._last.t_s - JUST_NOW_S
            and all(charge.empty_s is not None for charge in before)
            and (not newest.pieces or set(newest.pieces) <= known)
        )

    def _groups(self, charge: Charge) -> list[_Group]:
        by_packet: dict[PacketModel | None, list[str]] = {}
        for name in charge.pieces:
            by_packet.setdefault(self._packets.get(name, self._packet), []).append(name)
        groups = [_Group(charge, tuple(names), packet) for packet, names in by_packet.items()]
        return [*groups, _Group(charge, (), self._packet)] if charge.unnamed else groups

    def _track(self, known: Track | None, group: _Group) -> Track:
        """The track of a group, gone through the kept readings again where marks entered later moved its end."""
        end_s = group.end_s
        too_far = known is not None and end_s is not None and known.read_until_s > end_s + JUST_NOW_S
        was_out = known is not None and known.end_s is not None and end_s != known.end_s
        if known is None or too_far or was_out:
            return self._caught_up(group)
        known.end_s = end_s
        return known

    def _caught_up(self, group: _Group) -> Track:
        thick = group.packet is not None and self._load_thickness_mm is not None
        trust = not (thick and group.packet and group.packet.thickness_mm > (self._load_thickness_mm or 0.0))
        track = Track(group.charge.load_s, group.packet, trust_load=trust, start_c=self._start_c, gap_s=self._gap_s)
        track.end_s = group.end_s
        before: ClockReading | None = None
        readings = list(self._kept)
        if self._last is not None and (not readings or readings[-1].t_s < self._last.t_s):
            readings.append(self._last)
        for reading in readings:
            track.read(reading, before, self._holds)
            before = reading
        return track

    @property
    def charges(self) -> tuple[Charge, ...]:
        """The charges as the marks so far tell them."""
        return self._charges

    def state(self) -> ClockState | None:
        """How the soak stands at the last reading; None before the first."""
        last = self._last
        if last is None:
            return None
        aim = self._tracker.aim
        hold = self._holds[aim] if aim is not None else None
        phase = self._tracker.phase if aim == self._tracker.index else "before"
        take_out = aim is not None and self._comes_out_after(aim)
        return ClockState(
            t_s=last.t_s,
            chamber_c=last.chamber_c,
            hold=None if aim is None else aim + 1,
            holds=len(self._holds),
            step=hold.number if hold else None,
            target_c=hold.target_c if hold else None,
            band_c=(hold.lower_c, hold.upper_c) if hold else None,
            required_s=hold.required_s if hold else None,
            phase=phase,
            chamber_soak_s=self._tracker.soak_s if aim == self._tracker.index else 0.0,
            take_out=take_out,
            loaded=bool(self._charges),
            all_out=bool(self._charges) and all(charge.empty_s is not None for charge in self._charges),
            pieces=tuple(self._pieces(aim, take_out)) if aim is not None else (),
        )

    def soaks_s(self) -> dict[int, tuple[float, ...]]:
        """Longest soak so far [s] of each group of pieces in each hold, holds from 1."""
        tracks = self._tracks.values()
        return {n + 1: tuple(track.soak_s(n) for track in tracks) for n in range(len(self._holds))}

    def _pieces(self, aim: int, take_out: bool) -> Iterable[PieceState]:
        for charge in self._charges:
            for group in self._groups(charge):
                inside = tuple(name for name in group.pieces if name in charge.inside)
                track = self._tracks.get(group.key)
                if track is None or self._last is None or group.end_s is not None:
                    continue
                yield track.state(charge.number, inside, aim, self._holds, self._last.chamber_c, take_out=take_out)

    def _comes_out_after(self, number: int) -> bool:
        """Whether the pieces leave the furnace after this hold: the last one, or each cycle of a repeated recipe."""
        if number + 1 >= len(self._holds):
            return True
        return self._holds[number + 1].cycle != self._holds[number].cycle
