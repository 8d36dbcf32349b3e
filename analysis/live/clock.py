"""The soak clock: how long the blade has been in its band, reading by reading. Standard library only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from soakwitness.analysis.live.aiming import Aim, aim_of
from soakwitness.analysis.live.clock_charges import Charge, Lot, charges_of, lots_of
from soakwitness.analysis.live.followed_sensors import FollowedSensor, LiveSensor, OnSensor
from soakwitness.analysis.live.lots_told import piece_state
from soakwitness.analysis.live.parting import Parting
from soakwitness.analysis.live.standing import Remembered, Standing
from soakwitness.analysis.live.state import ClockState, PieceState
from soakwitness.analysis.live.track import Track
from soakwitness.analysis.packet.piece import PacketModel, begins_c, generic_packet
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.inputs.stays import known_of
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.analysis.verification.rules.places import Places, filled
from soakwitness.firmware_bridge.common.chamber import Candidate, chamber_of
from soakwitness.firmware_bridge.runfolder.contents import OPENS, Mark

EVERY_S = 5.0
LOOK_EVERY_S, LOOK_AGAIN, LOOK_SELDOM = 10.0, 200, 400  # at the whole run: the more it has kept, the less often
JUST_NOW_S = 60.0
CHAMBER = LiveSensor("control", "control")
TrackKey = tuple[float, bool, PacketModel]


class SoakClock:
    """Follows a run through its recipe and says how the soak stands, by the rules of the verification.

    ``recipe``: the recipe; its packet is what a piece is when nothing else is known. ``sensors``: the sensors that are
    read; by default one of the name "control". ``packet``: A fitted packet in place of the recipe's generic one.
    ``known``: pieces that the log book has in this run: who is in a charge that was loaded without names, and how thick
    they are: a load sensor speaks for none that is thicker than its dummy. ``every_s``: time from reading to reading
    [s]: over three of them without one is a gap, and no sure soak.
    """

    def __init__(
        self,
        recipe: Recipe,
        *,
        sensors: Sequence[LiveSensor] = (CHAMBER,),
        packet: PacketModel | None = None,
        packets: Mapping[str, PacketModel] | None = None,
        known: Sequence[PieceInfo] = (),
        every_s: float = EVERY_S,
    ) -> None:
        self._recipe, self._every_s, self._known = recipe, every_s, tuple(known)
        self._packet = packet or (generic_packet(recipe.packet, recipe.steel) if recipe.packet else None)
        self._packets = {name.casefold(): one for name, one in (packets or {}).items()}
        self._thickness_mm = {piece.id.casefold(): piece.thickness_mm for piece in self._known}
        self._followed = {s.name: FollowedSensor(s, recipe, every_s=every_s) for s in sensors if s.role != "ambient"}
        self._chamber: FollowedSensor | None = None
        self._first_s: float | None = None
        self._last_s = 0.0
        self._marks: tuple[Mark, ...] = ()
        self._charges: tuple[Charge, ...] = ()
        self._lots: tuple[Lot, ...] = ()
        self._began = False
        self._tracks: dict[TrackKey, Track] = {}
        self._driven: tuple[str, int] | None = None  # the chamber's sensor that the tracks follow, its past as it was
        self._parting = Parting(recipe)
        self._rounds = 0  # how often the pieces went in again while the furnace stayed hot
        self._remembered: Remembered = {}
        self._looked: tuple[float, Standing, Aim] | None = None
        self._heard = 0  # changes that the last look does not know of

    def read(
        self,
        t_s: float,
        temps_c: Mapping[str, float | None],
        *,
        signals: Mapping[str, float] | None = None,
        marks: Iterable[Mark] = (),
    ) -> None:
        """Take one reading of the sensors.

        ``t_s``: time [s]; an earlier one than the last is passed over. ``temps_c``: temperatures by the sensors' names
        [degC], as they read; None where one is missing. ``signals``: what is given of ``output`` [%] and ``setpoint``
        [degC].
        """
        new = tuple(marks)
        if self._first_s is None or t_s > self._last_s:
            self._last_s = t_s
            self._take(t_s, temps_c, dict(signals or {}))
        if self._chamber is not None and (new != self._marks or not self._began):
            self._heed(new)

    def _take(self, t_s: float, temps_c: Mapping[str, float | None], signals: dict[str, float]) -> None:
        fresh = {name for name, one in self._followed.items() if one.take(t_s, temps_c.get(name), signals)}
        if self._first_s is None and not fresh:
            return
        self._first_s = t_s if self._first_s is None else self._first_s
        chamber = self._choose()
        if chamber is None:
            return
        driven = chamber.sensor.name, chamber.turns
        if self._driven != driven:
            if self._chamber is not None and self._chamber is not chamber and self._chamber.sensor.role != "load":
                self._chamber.forget_search()
            self._chamber, self._driven, self._looked = chamber, driven, None
            chamber.searched()
            self._parting.begin_again(chamber.kept)
            for track in self._tracks.values():
                track.read_again(chamber.kept)
        elif chamber.sensor.name in fresh:
            for track in self._tracks.values():
                track.read(chamber.kept.t_s[-1], chamber.kept.temp_c[-1])
            if self._parting.follow(chamber):
                self._begin_heat(chamber)

    def _begin_heat(self, chamber: FollowedSensor) -> None:
        """Another heat in the same record: what was before it is over."""
        assert self._parting.last is not None
        self._first_s = since_s = self._parting.last.coldest_s
        for one in self._followed.values():
            one.begin_at(since_s)
        self._tracks, self._remembered, self._rounds, self._charges = {}, {}, 0, ()
        self._driven = chamber.sensor.name, chamber.turns
        self._heed(self._marks)

    def _choose(self) -> FollowedSensor | None:
        """The sensor that speaks for the chamber at this moment."""
        if len(self._followed) == 1:
            (one,) = self._followed.values()
            return one if len(one.kept) else None
        assert self._first_s is not None
        seen = {name: one.seen() for name, one in self._followed.items()}
        candidates = [
            Candidate(
                name,
                one.sensor.role,
                fit=seen[name].usable(self._first_s, self._last_s),
                reads_on=seen[name].reads_on(self._last_s, self._every_s),
            )
            for name, one in self._followed.items()
        ]
        name = chamber_of(candidates)
        if name is None:  # none has enough readings yet: the first that has any
            some = [Candidate(n, o.sensor.role, fit=seen[n].count > 0) for n, o in self._followed.items()]
            name = chamber_of(some)
        return None if name is None else self._followed[name]

    def _heed(self, marks: tuple[Mark, ...]) -> None:
        """Marks came, were entered later or struck out: read the charges anew."""
        self._began = True
        start_s = self._first_s if self._recipe.load == "cold" else None
        mine, pieces = self._parting.marks(marks), self._parting.pieces(marks, self._known)
        charges = charges_of(mine, loaded_cold_s=start_s, known=known_of(mine, pieces))
        if self._loaded_again(charges):
            self._rounds += 1
        self._marks, self._charges, self._looked = marks, charges, None
        self._lots = lots_of(charges, self._packet_of, self._thickness_of)
        doors = [mark.t_s for mark in marks if mark.act in OPENS and not mark.struck]
        for one in self._followed.values():
            one.sifter.doors_s = doors
        wanted = {self._track_key(lot): lot for lot in self._lots}
        self._tracks = {
            key: self._tracks.get(key) or self._new_track(lot) for key, lot in wanted.items() if key is not None
        }

    def _packet_of(self, name: str | None) -> PacketModel | None:
        return self._packet if name is None else self._packets.get(name.casefold(), self._packet)

    def _thickness_of(self, name: str | None) -> float | None:
        return None if name is None else self._thickness_mm.get(name.casefold())

    @staticmethod
    def _track_key(lot: Lot) -> TrackKey | None:
        return None if lot.packet is None else (lot.load_s, lot.rides, lot.packet)

    def _new_track(self, lot: Lot) -> Track:
        assert self._chamber is not None
        assert lot.packet is not None
        kept = self._chamber.kept
        start_c = begins_c(kept.temp_c[0], rides=lot.rides)
        track = Track(lot.load_s, lot.packet, start_c=start_c, every_s=self._every_s)
        track.read_again(kept)
        return track

    def _loaded_again(self, charges: Sequence[Charge]) -> bool:
        """The same pieces went in again for the next cycle while the furnace stayed hot."""
        if len(charges) <= len(self._charges) or not self._charges:
            return False
        aim = self._look()[1].number
        holds = self._recipe.holds
        if aim is None or aim + 1 >= len(holds):
            return False
        newest, before = charges[-1], charges[:-1]
        known = {name for charge in before for name in charge.pieces}
        return (
            holds[aim + 1].cycle != holds[aim].cycle
            and newest.load_s > self._last_s - JUST_NOW_S
            and all(charge.empty_s is not None for charge in before)
            and (not newest.pieces or set(newest.pieces) <= known)
        )

    # Looking at the whole run

    def _look(self) -> tuple[Standing, Aim]:
        """How the run stands, looked at anew where that is due."""
        chamber, looked = self._chamber, self._looked
        assert chamber is not None
        due_s = max(min(LOOK_EVERY_S, len(chamber.kept) / LOOK_AGAIN), len(chamber.kept) / LOOK_SELDOM)
        if looked is None or self._last_s - looked[0] >= due_s:
            standing = self._standing(chamber)
            looked = self._looked = (self._last_s, standing, aim_of(standing, chamber, self._recipe, self._rounds))
        return looked[1], looked[2]

    def _standing(self, chamber: FollowedSensor) -> Standing:
        loads = [
            one
            for one in self._followed.values()
            if one.sensor.role == "load" and one is not chamber and one.seen().usable(self._first_s or 0.0, one.last_s)
        ]
        places = chamber.places()
        for load in loads:
            places = _filled(places, load)
        stays = [stay for charge in self._charges for stay in charge.stays]
        return Standing(
            self._recipe,
            OnSensor(chamber, places),
            [OnSensor(load, load.places_in(places, chamber.last_s)) for load in loads],
            self._lots,
            stays,
            lambda lot: None if (key := self._track_key(lot)) is None else self._tracks.get(key),
            self._remembered,
        )

    @property
    def charges(self) -> tuple[Charge, ...]:
        """The charges as the marks so far tell them."""
        return self._charges

    def state(self) -> ClockState | None:
        """How the soak stands at the last reading; None before the first."""
        chamber = self._chamber
        if chamber is None:
            return None
        standing, aim = self._look()
        number, holds = aim.number, self._recipe.holds
        hold = holds[number] if number is not None else None
        take_out = number is not None and self._comes_out_after(number)
        added_c = chamber.sensor.added_at(number or 0) if holds else 0.0
        return ClockState(
            t_s=self._last_s,
            chamber_c=chamber.kept.temp_c[-1] + added_c,
            hold=None if number is None else number + 1,
            holds=len(holds),
            step=hold.number if hold else None,
            target_c=hold.target_c if hold else None,
            band_c=(hold.lower_c, hold.upper_c) if hold else None,
            required_s=hold.required_s if hold else None,
            phase=aim.phase,
            chamber_soak_s=0.0 if aim.phase == "before" or number is None else standing.chamber_count(number).soak_s,
            take_out=take_out,
            loaded=bool(self._charges),
            all_out=bool(self._charges) and all(charge.empty_s is not None for charge in self._charges),
            pieces=() if number is None else tuple(self._pieces(standing, aim, take_out=take_out)),
            place_c=chamber.sensor.place_c[number] if number is not None and chamber.sensor.place_c else 0.0,
        )

    def _pieces(self, standing: Standing, aim: Aim, *, take_out: bool) -> Iterable[PieceState]:
        assert self._chamber is not None
        for lot in self._lots:
            if lot.pull_s is None:
                yield piece_state(standing, lot, aim, self._last_s, self._chamber.kept.temp_c[-1], take_out=take_out)

    def _comes_out_after(self, number: int) -> bool:
        """Whether the pieces leave the furnace after this hold: the last one, or each cycle of a repeated recipe."""
        holds = self._recipe.holds
        return number + 1 >= len(holds) or holds[number + 1].cycle != holds[number].cycle


def _filled(places: Places, load: FollowedSensor) -> Places:
    """The chamber's holds, and those that only a load sensor shows, where their order in time stays right."""
    if all(placed is not None and placed.edges is not None for placed in places):
        return places
    return filled(places, load.places())
