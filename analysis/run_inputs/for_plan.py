"""What a plan rests on, gathered once: furnace, sensor, packet, pieces, and what the last runs taught."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from soakwitness.analysis.condition.arrivals import arrivals
from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.evidence.arrival import Arrival
from soakwitness.analysis.logbook.furnace_work import upkeep_of
from soakwitness.analysis.logbook.kept import kept_answer, kept_condition, kept_figures
from soakwitness.analysis.logbook.packets import measured_packet_on
from soakwitness.analysis.logbook.plans import GENERIC_PACKET, plan_of_run, plans_to_learn_from
from soakwitness.analysis.logbook.runs import list_runs, runs_listed
from soakwitness.analysis.packet.packet_file import PacketFile, named_packet
from soakwitness.analysis.packet.piece import packet_of
from soakwitness.analysis.planning.furnace_known import (
    Climb,
    FurnaceKnown,
    Recovery,
    by_hand,
    from_runs,
    generic_furnace,
)
from soakwitness.analysis.planning.learning import LagPair, Learned, learn
from soakwitness.analysis.planning.plan import PieceToPlan, PlanInputs
from soakwitness.analysis.planning.plan_and_run import lag_pair
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.record.moments import local_day
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.run_inputs.controller_settings import Settings, settings_for
from soakwitness.analysis.run_inputs.measured_packets import UsedPacket, used
from soakwitness.analysis.verification.inputs.stays import piece_spec
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.errors import BridgeError
from soakwitness.firmware_bridge.furnace.rack import Rack, rack_in
from soakwitness.firmware_bridge.runfolder.reader import read_header

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook

NEWEST = 12  # runs that tell of the furnace as it is
MEASURED = 6  # of them, those whose arrivals are measured


@dataclass(frozen=True)
class Asked:
    """What a person asked to plan. ``climb`` is what they saw of the furnace at full power, in ``unit``.

    ``at_utc`` in ``zone`` is when the furnace is to be started; ``furnace`` None: no particular one.
    """

    recipe: Recipe
    pieces: tuple[PieceInfo, ...]
    at_utc: str
    zone: str | None
    furnace: str | None = None
    rack: Rack | None = None
    packet: UsedPacket | None = None
    climb: str | None = None
    unit: Unit = "C"
    temper: Recipe | None = None


def plan_inputs(book: LogBook | None, asked: Asked) -> tuple[PlanInputs, str]:
    """Gather what is known; the log book's runs of the furnace are to be measured already (``newest_runs`` names them).

    Returns the inputs, and what names the packet in a kept plan: the digest of its file, or that it is generic.

    Raises FiguresError for a climb that cannot be, PacketFileError for a packet file of the recipe that cannot be used.
    """
    recipe = asked.recipe
    known, settings = generic_furnace(asked.furnace or ""), None
    rack, says = asked.rack, list[Says]()
    if book is not None and asked.furnace is not None:
        known = furnace_known(book, asked.furnace)
        rack = rack or rack_of(book, asked.furnace)
        settings = _settings(book, asked, says)
    if asked.climb is not None:
        known = by_hand(asked.climb, unit=asked.unit, name=known.name, among=known)
    pieces, packets = _pieces(book, asked)
    packet_name = next((one.file.digest for one in packets), GENERIC_PACKET)
    inputs = PlanInputs(
        recipe=recipe,
        pieces=pieces,
        furnace=known,
        rack=rack,
        set_to_c={} if settings is None else settings.set_to_c,
        error_c={} if settings is None else settings.expanded_c,
        sensor_says=() if settings is None else settings.says,
        packet_from="; ".join(dict.fromkeys(one.says for one in packets)),
        refused=tuple(says),
        temper=asked.temper,
    )
    if book is not None and asked.furnace is not None:
        inputs = replace(inputs, learned=learned_of(book, asked.furnace, packet_name))
    return inputs, packet_name


def newest_runs(book: LogBook, furnace: str) -> tuple[str, ...]:
    """The runs that tell of a furnace as it is: the newest since it was last worked on, else the newest of all."""
    entries = [one for one in list_runs(book, furnace=furnace, newest=NEWEST) if not one.missing]
    mended = max((one.done_utc for one in upkeep_of(book, furnace)), default="")
    since = [one.run for one in entries if one.started_utc >= mended]
    return tuple(since or [one.run for one in entries])


def furnace_known(book: LogBook, furnace: str) -> FurnaceKnown:
    """What the newest runs of a furnace tell; loaded ones where there are any, as an empty furnace climbs faster."""
    runs = newest_runs(book, furnace)
    conditions, figures = kept_condition(book, runs), kept_figures(book, runs)
    loaded = [one for one in conditions.values() if one.charged is not False] or list(conditions.values())
    came: list[Arrival] = []
    for entry in runs_listed(book, [run for run in runs if run in figures][-MEASURED:]):
        try:
            came += arrivals(open_run(entry.folder), figures[entry.run])
        except BridgeError:
            continue  # ``logbook check`` says what is wrong with it
    steel = {run: one.charge_mm for run, one in conditions.items()}
    loads = [Recovery(one.recovery_s, steel.get(run)) for run, one in figures.items() if one.recovery_s]
    seen = {run: one.climb or {} for run, one in figures.items()}
    climbs = [Climb(one.full_power or {}, seen.get(one.run, {})) for one in loaded]
    return from_runs(furnace, climbs, came, loads)


def rack_of(book: LogBook, furnace: str) -> Rack | None:
    """The rack that the furnace's newest run had."""
    newest = [one for one in list_runs(book, furnace=furnace, newest=1) if not one.missing]
    try:
        return rack_in(read_header(newest[0].folder).furnace_file) if newest else None
    except BridgeError:
        return None


def learned_of(book: LogBook, furnace: str, packet: str) -> Learned | None:
    """What the runs after kept plans of this furnace and packet measured."""
    plans = {one.entry: one for one in plans_to_learn_from(book, furnace, packet)}
    if not plans:
        return None
    since = min(one.entered_utc for one in plans.values())
    pairs: list[LagPair] = []
    for entry in list_runs(book, furnace=furnace, since_utc=since):
        answer = kept_answer(book, entry.run)
        plan = plan_of_run(book, furnace, entry.recipe_digest or "", entry.started_utc)
        if answer is None or plan is None or plan.entry not in plans:
            continue
        pair = lag_pair(entry.run, plan.plan, answer)
        pairs += [] if pair is None else [pair]
    return learn(pairs)


def _settings(book: LogBook, asked: Asked, says: list[Says]) -> Settings | None:
    try:
        return settings_for(book, asked.furnace or "", asked.recipe, at_utc=asked.at_utc, zone=asked.zone)
    except LogBookError as error:  # a furnace that never ran here
        says.append(error.says)
        return None


def _pieces(book: LogBook | None, asked: Asked) -> tuple[tuple[PieceToPlan, ...], list[UsedPacket]]:
    """Each piece in its packet: the measured one turned to it, else one with generic figures."""
    found: dict[bool, UsedPacket | None] = {}
    made = []
    for info in asked.pieces:
        spec = piece_spec(asked.recipe, info) or PacketSpec()
        if spec.foil not in found:
            found[spec.foil] = measured_for(book, asked, foil=spec.foil)
        measured = found[spec.foil]
        packet = packet_of(None if measured is None else measured.model, spec, asked.recipe.steel)
        assert packet is not None
        made.append(PieceToPlan(info.id, packet, place=info.place))
    return tuple(made), [one for one in found.values() if one is not None]


def measured_for(book: LogBook | None, asked: Asked, *, foil: bool) -> UsedPacket | None:
    """The measured packet for pieces in foil, or bare ones: given, named by the recipe, the log book's newest."""
    named = named_packet(asked.recipe)
    given = asked.packet or (None if named is None else used(named, "recipe", f"{asked.recipe.source}, [packet]"))
    if given is not None and given.model.foil == foil:
        return given
    kept = None if book is None else measured_packet_on(book, local_day(asked.at_utc, asked.zone), foil=foil)
    return None if kept is None else used(PacketFile(kept.name, kept.text), "log book", since=kept.since)
