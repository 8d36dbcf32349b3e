"""The three runs by which a new furnace is got to know: what each gave, what it is good for, what would make it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.errors import PacketFileError
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.logbook.first_runs import (
    FirstRunsOnRecord,
    PacketOnRecord,
    PlaceOnRecord,
    first_runs_on_record,
)
from soakwitness.analysis.logbook.kept import kept_condition
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.packet.packet_file import parse_packet
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.waiting.waiting_acts import command
from soakwitness.firmware_bridge.common.wording import Diff, Rate, Says, Temp, joined, number

Named = Literal["empty", "second sensor", "packet"]
SPAN_C = 100.0  # of a window in which a climb is measured
GOOD_FOR: Mapping[Named, str] = {
    "empty": "it shows how fast the furnace climbs, overshoots and holds by itself, and later runs are put beside it",
    "second sensor": "it shows what the work's place has more or less than the furnace's sensor, and verdicts count "
    "with it",
    "packet": "it shows how far a blade is behind the chamber, and every verdict without a load sensor counts with it",
}


@dataclass(frozen=True)
class FirstRun:
    """One of the three. ``gave``: what is on record of it; ``missing``: what is not, None where nothing is.

    ``done``: it need not be made any more. ``settle``: the command that makes what is missing.
    """

    name: Named
    done: bool
    gave: tuple[Says, ...]
    missing: Says | None = None
    settle: str | None = None

    @property
    def good_for(self) -> str:
        """What it is good for."""
        return GOOD_FOR[self.name]


def first_runs(book: LogBook, furnace: str) -> tuple[FirstRun, FirstRun, FirstRun]:
    """The empty run, the one with a second sensor and the one with a packet, by what the log book has of them."""
    found = first_runs_on_record(book, furnace)
    return _empty(found, kept_condition(book, found.empty), furnace), _second_sensor(found), _packet(found)


def _empty(found: FirstRunsOnRecord, measured: Mapping[str, ConditionFigures], furnace: str) -> FirstRun:
    settle = command("piece", "charge", "next", "--empty", "--furnace", furnace)
    if not found.empty:
        return FirstRun("empty", False, (), Says.plain("no run without a charge is on record"), settle)
    told = [(run, tuple(_told(measured[run]))) for run in found.empty if run in measured]
    newest, says = next(((run, says) for run, says in reversed(told) if says), (found.empty[-1], ()))
    if says:
        held = measured[newest].overshoot or measured[newest].swing
        gave = Says.of("{run}: {says}", run=newest, says=joined(says, "; "))
        if held:
            return FirstRun("empty", True, (gave,))
        missing = "it went through no hold of a recipe, so that overshoot and hold are not known"
        return FirstRun("empty", True, (gave,), Says.plain(missing), settle)
    if len(told) < len(found.empty):
        waits = next(run for run in reversed(found.empty) if run not in measured)
        missing = f"the figures of {waits} are not measured yet"
        return FirstRun("empty", True, (), Says.plain(missing), command("condition", furnace))
    missing = f"{newest} is said to be empty, but it shows neither climb nor hold"
    return FirstRun("empty", False, (), Says.plain(missing), settle)


def _told(figures: ConditionFigures) -> Iterator[Says]:
    """Climb, overshoot and hold of a run, as far as they were measured."""
    climbed = sorted((float(low), pace) for low, pace in (figures.full_power or {}).items())
    windows = dict.fromkeys((climbed[0], climbed[-1])) if climbed else {}
    paces = [
        Says.of("{pace} from {low} to {high}", pace=Rate(round(pace, -1)), low=Temp(low), high=Temp(low + SPAN_C))
        for low, pace in windows
    ]
    if paces:
        yield Says.of("climbed at full power at {paces}", paces=joined(paces, " and "))
    for at, over_c in _by_target(figures.overshoot):
        says = (
            "overshot {at} by {over}" if over_c > 0 else "came up to {over} under {at}" if over_c else "came up to {at}"
        )
        yield Says.of(says, at=Temp(at), over=Diff(abs(over_c)))
    outputs = dict(_by_target(figures.output))
    for at, range_c in _by_target(figures.swing):
        power = "" if at not in outputs else f" at {number(outputs[at], 0)} % output"
        yield Says.of(f"held {{at}} within {{range}}{power}", at=Temp(at), range=Diff(range_c))


def _by_target(figures: Mapping[str, float] | None) -> list[tuple[float, float]]:
    return sorted((float(at), value) for at, value in (figures or {}).items())


def _second_sensor(found: FirstRunsOnRecord) -> FirstRun:
    gave = tuple(_newest_places(found.places))
    if found.surveys:
        gave = (*gave, Says.plain(f"surveyed on {found.surveys[-1]}"))
    if gave:
        return FirstRun("second sensor", True, gave)
    if found.second:
        run = found.second[-1].run
        work = ",".join(one.sensor for one in found.second if one.run == run)
        says = f"{run} has a second sensor ({work}), and no place difference was made of it"
        return FirstRun("second sensor", False, (), Says.plain(says), command("place", "measure", run, "--work", work))
    if found.places:
        says = "the work stands elsewhere since the place difference ended"
    else:
        says = "no run with a second sensor in the work's place is on record"
    return FirstRun("second sensor", False, (), Says.plain(says), command("place", "--help"))


def _newest_places(places: Sequence[PlaceOnRecord]) -> Iterator[Says]:
    """What stands of place differences, the newest of each sensor and temperature."""
    newest = {(one.sensor, one.at_c): one for one in places if not one.ended}
    for one in newest.values():
        yield Says.of(
            "the work's place at {at} has {difference} ± {u} beside {sensor}, on {day}",
            at=Temp(one.at_c),
            difference=Diff(one.difference_c, signed=True),
            u=Diff(one.expanded_c),
            sensor=one.sensor,
            day=one.done_on,
        )


def _packet(found: FirstRunsOnRecord) -> FirstRun:
    measured = [one for one in map(_measured, found.packets) if one is not None]
    here = [one for one in measured if any(run in found.runs for run in _learned_from(one[1]))]
    if measured:
        name, packet = (here or measured)[-1]
        kind = "a packet of foil" if packet.foil else "a bare blade"
        thick = number(packet.fitted_thickness_mm or packet.thickness_mm)
        where = "" if here else ", in another furnace"
        says = f"{name}: {kind} of {thick} mm, learned from {', '.join(_learned_from(packet))}{where}"
        return FirstRun("packet", True, (Says.plain(says),))
    if found.loaded:
        run, sensor = found.loaded[-1].run, found.loaded[-1].sensor
        says = f"{run} has a sensor in the load ({sensor}), and no packet was learned from it"
        learn = ("packet", "fit", run, "--load", sensor, "--thickness-mm", "MM", "--out", "packet.toml", "--keep")
        return FirstRun("packet", False, (), Says.plain(says), command(*learn))
    says = "no run with a sensor in a packet is on record"
    return FirstRun("packet", False, (), Says.plain(says), command("packet", "fit", "--help"))


def _measured(kept: PacketOnRecord) -> tuple[str, PacketModel] | None:
    """A packet with its name, None where nothing was measured for it or its file cannot be read."""
    try:
        packet = parse_packet(kept.text, kept.name)
    except PacketFileError:
        return None
    return (kept.name, packet) if packet.fitted else None


def _learned_from(packet: PacketModel) -> list[str]:
    return [run.strip() for run in packet.fitted_from.split(",") if run.strip()]
