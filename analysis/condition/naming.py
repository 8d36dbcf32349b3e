"""Which part of a furnace its figures speak for, and the measurement that would settle it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.condition.combined_figures import Kind
from soakwitness.analysis.condition.explaining import ExplainedShift, explained
from soakwitness.analysis.condition.known_conditions import conditions_of
from soakwitness.analysis.condition.trends import Trend
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, counted, joined, often, percent

NAMED_GAIN = 22.0  # a part is named where its leading figure is this sure: nearly five standard errors
ELEMENT_FROM = 0.127  # between one of six elements, a sixth of the power, and mains 5 % low, a tenth
SWINGS_FROM = 0.02
MISFIT, AHEAD = 6.0, 4.0  # chi-square: how badly the best cause may fit, and how far ahead of another it must be
SENSOR_C = 2.5
RELAY_C: dict[Kind, float] = {"overshoot": 2.5, "swing": 1.5, "afterheat": 4.0}


@dataclass(frozen=True)
class Part:
    """One thing that may have changed: in a clause, in full, and by which measurement it would be settled."""

    part: str
    gist: Says
    says: Says
    measure: str


@dataclass(frozen=True)
class Accuracy:
    """One accuracy test: what the control sensor's chain read more than the reference [K]."""

    day: str
    difference_c: float


class TrendsByKind:
    """Trends by their kind, and the questions that the parts ask of them."""

    def __init__(self, trends: Sequence[Trend]) -> None:
        self._by_kind = {t.kind: t for t in trends}

    def get(self, kind: Kind) -> Trend | None:
        """The trend, moved or not."""
        return self._by_kind.get(kind)

    def moved(self, kind: Kind, *, gain: float = NAMED_GAIN) -> Trend | None:
        """The trend, where it moved and that is sure."""
        t = self._by_kind.get(kind)
        return t if t is not None and t.moved and t.shift.gain >= gain else None

    def change(self, kind: Kind) -> float | None:
        """How much it changed; None where there is no such figure."""
        t = self._by_kind.get(kind)
        return None if t is None else t.change if t.shift.gain >= 6.0 else 0.0


def before(trend: Trend) -> str:
    """What a figure now is compared with: a month, or the work that began its baseline."""
    day = trend.days[trend.fresh]
    month = f"{_MONTHS[int(day[5:7]) - 1]} {day[:4]}"
    return f"in {month}" if trend.begun_by is None else f"after the work of {day} ({trend.begun_by})"


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def named_parts(
    trends: Sequence[Trend], runs: Sequence[ConditionFigures], accuracy: Sequence[Accuracy]
) -> tuple[Part, ...]:
    """Parts that the figures speak for.

    Less power (mains or element) slows the climb in every window and takes as much more output to hold; poorer
    insulation leaves the lowest windows alone, takes more output and cools faster. A thermocouple that drifts changes
    the difference to another sensor. One sensor alone proves nothing about itself.
    """
    figures = TrendsByKind(trends)
    sensor = _thermocouple(figures, accuracy)
    relay = [] if sensor else _relay(figures)  # what reads otherwise swings and overshoots otherwise by itself
    heating = [] if sensor or relay else _heating(trends, figures, runs)
    return (*sensor, *relay, *heating, *_another_room(figures), *_link(figures, runs))


def _heating(trends: Sequence[Trend], figures: TrendsByKind, runs: Sequence[ConditionFigures]) -> list[Part]:
    """Power, losses, or what one sensor alone cannot tell from them."""
    swinging = _swinging(figures)
    charge_known = conditions_of(runs).charge_known
    found = explained(trends, gain=NAMED_GAIN, charge_known=charge_known)
    if swinging or found is None or found.misfit > MISFIT:
        return swinging
    if found.cause == "charge":
        return []
    near = {c for c, ahead in found.ahead_of.items() if ahead < AHEAD} | {found.cause}
    if figures.get("difference") is not None:
        near.discard("sensor")
    if near == {"power"}:
        return [_power(found, sure_of_charge=charge_known or figures.get("output") is not None)]
    if near == {"losses"}:
        return [_lost(found)]
    if "charge" in near or not near:
        return []
    output = figures.get("output")
    if output is None or not output.moved:
        return []
    if "power" not in near:
        words = f"Since {output.since} it takes {percent(output.change)} more output to hold {{where}}, all else"
        says = Says.of(f"{words} being as ever.", where=Temp(output.figure.at_c or 0.0))
        gist = Says.plain(f"takes {percent(output.change)} more output to hold; insulation, or the thermocouple")
        return [Part("insulation or thermocouple, which one sensor alone cannot tell", gist, says, _TEST)]
    words = f"Since {output.since} it takes {percent(output.change)} more output to hold {{where}}; what it climbed and"
    says = Says.of(f"{words} cooled by does not tell why.", where=Temp(output.figure.at_c or 0.0))
    gist = Says.plain(f"takes {percent(output.change)} more output than {before(output)}; power or insulation")
    return [Part("less power, or insulation or door seal", gist, says, _BOTH)]


_BOTH = "An empty run left to cool by itself; the mains voltage and the current under load, by an electrician."


def _power(found: ExplainedShift, *, sure_of_charge: bool) -> Part:
    lead, since = found.lead, found.lead.since
    climb, output = (found.sizes.get(kind, (0.0, 1.0)) for kind in ("climb", "output"))
    lost = 1.0 - math.exp(-found.size)
    slower = percent(-math.expm1(min(climb[0], 0.0)))
    signs = [f"at full power it climbs {slower} slower"] if "climb" in found.sizes else []
    signs += [f"it takes {percent(math.expm1(output[0]))} more output to hold"] if "output" in found.sizes else []
    gist = f"heats {slower} slower than {before(lead)}" if "climb" in found.sizes else signs[0]
    if lead.way_doubtful:
        part, clause = "less power: mains or elements", "mains or elements"
        more = "Slowly or at once is not to be seen yet."
        measure = "The mains voltage and the current under load, by an electrician: one tells mains, both the element."
    elif lead.way == "slowly":
        part, clause, more = "ageing elements", "elements age like this", "It came slowly and steadily."
        measure = "The elements' cold resistance (supply isolated, by an electrician) beside that of new ones."
    elif lost >= ELEMENT_FROM:
        part, clause = "an element or a phase gone", "an element or a phase seems gone"
        more = "It came at once, by about as much as one element of several gives."
        measure = "Look whether all elements glow. Then the current of each, by an electrician."
    else:
        part, clause = "low mains", "the mains may be low"
        more = "It came at once, by less than a lost element would."
        measure = "The mains voltage at the furnace under load, by an electrician; a loose terminal does the same."
    unless = "" if sure_of_charge else ", if what is in it is as ever"
    says = f"Since {since} {', and '.join(signs)}{unless}. {more}"
    return Part(part, Says.plain(f"{gist}; {clause}"), Says.plain(says), measure)


def _lost(found: ExplainedShift) -> Part:
    words: dict[Kind, str] = {
        "output": "it takes {} more output to hold",
        "cooling": "it cools {} faster",
    }
    signs = [words[k].format(percent(math.expm1(found.sizes[k][0]))) for k in words if k in found.sizes]
    return Part(
        "insulation or door seal",
        Says.plain(f"loses more heat than {before(found.lead)}; a door seal or insulation"),
        Says.plain(f"Since {found.lead.since} {', '.join(signs)}; the climb from cold does not tell of less power."),
        "The door's seal by a strip of paper; the shell's temperature beside the door and at the back.",
    )


def _another_room(figures: TrendsByKind) -> list[Part]:
    """A room that is another one at once, beyond the season: no fault, but a reason for other figures."""
    room = figures.moved("room")
    if room is None or room.way != "at once" or room.way_doubtful:
        return []
    how = "colder" if room.change < 0 else "warmer"
    by = {"by": Diff(abs(room.change))}
    return [
        Part(
            f"a {how} room, not the furnace",
            Says.of(f"the room is {{by}} {how} at once", **by),
            Says.of(f"Since {room.since} it begins {{by}} {how} than the season explains.", **by),
            "Nothing on the furnace. If it moved house, enter it: soakwitness upkeep.",
        )
    ]


_SWINGS: dict[Kind, str] = {"climb": "the climb at full power", "output": "the output to hold"}


def _swinging(figures: TrendsByKind) -> list[Part]:
    """By the output where it is logged: what is in the furnace moves the climb as well."""
    climb = figures.get("output") or figures.get("climb")
    if climb is None or climb.restless_since is None or climb.shift.scatter < SWINGS_FROM:
        return []
    if any((t := figures.get(kind)) is not None and t.change > 0.8 * most for kind, most in RELAY_C.items()):
        return []  # rather the relay, once it is sure
    times = f"{climb.shift.restless:.1f} times as much as before"
    says = (
        f"Since {climb.restless_since} {_SWINGS[climb.kind]} goes up and down by {percent(climb.shift.scatter)} from "
        f"run to run, {times}."
    )
    return [
        Part(
            "mains that go up and down",
            Says.plain(f"heats faster and slower by turns since {climb.restless_since}; the mains may swing"),
            Says.plain(says),
            "The mains voltage at the furnace under load, at different hours, by an electrician.",
        )
    ]


_RELAY_WORDS = {
    "overshoot": ("overshoots", "it overshoots by {overshoot_now}, {overshoot_usual} before"),
    "swing": ("swings", "it swings by {swing_now} in the hold, {swing_usual} before"),
    "afterheat": ("climbs with nothing on", "it climbs by {afterheat_now} with nothing on, {afterheat_usual} before"),
}


def _relay(figures: TrendsByKind) -> list[Part]:
    leading = [t for kind in RELAY_C if (t := figures.moved(kind)) is not None and t.change >= RELAY_C[kind]]
    if not leading:
        return []
    worst = max(leading, key=lambda t: t.change / RELAY_C[t.kind])
    text = "; ".join(_RELAY_WORDS[t.kind][1] for t in leading)
    values = {f"{t.kind}_now": Diff(t.now) for t in leading} | {f"{t.kind}_usual": Diff(t.usual) for t in leading}
    does = _RELAY_WORDS[worst.kind][0]
    return [
        Part(
            "relay or controller",
            Says.plain(f"{does} more than {before(worst)}; the relay sticks or the controller was set otherwise"),
            Says.of(f"Since {worst.since} {text}.", **values),
            "Listen to the relay; its contacts (supply isolated, by an electrician); the controller's settings beside "
            "those noted.",
        )
    ]


def _thermocouple(figures: TrendsByKind, accuracy: Sequence[Accuracy]) -> list[Part]:
    found = figures.moved("difference")
    tested = accuracy[-1].difference_c - accuracy[0].difference_c if len(accuracy) >= 2 else None
    if found is not None and abs(found.change) >= SENSOR_C:
        way = "up" if found.change > 0 else "down"
        says = Says.of(
            f"Control minus the other sensor at {{where}} went {way} by {{change}} since {found.since}.",
            where=Temp(found.figure.at_c or 0.0),
            change=Diff(abs(found.change)),
        )
        parted, by = f"two sensors have parted by {{by}} since {found.since}", {"by": Diff(abs(found.change))}
        if tested is not None and abs(tested) > 0.5 * abs(found.change) and tested * found.change > 0:
            same = joined([says, "The accuracy tests say the same of the control sensor."])
            return [Part("control thermocouple", Says.of(f"{parted}; the control sensor", **by), same, _SWAP)]
        if tested is not None and abs(tested) < 0.3 * abs(found.change):
            cleared = joined([says, "The accuracy tests clear the control sensor."])
            return [Part("the other thermocouple", Says.of(f"{parted}; the other one", **by), cleared, _SWAP)]
        told = joined([says, "Two sensors alone do not tell which."])
        return [Part("one of two thermocouples", Says.of(f"{parted}; one of them drifts", **by), told, _TEST)]
    if tested is not None and abs(tested) > 3.0:
        words = f"The accuracy tests have moved by {{moved}} from {accuracy[0].day} to {accuracy[-1].day}."
        gist = Says.of("the control sensor drifts by its accuracy tests: {by}", by=Diff(abs(tested)))
        return [Part("control thermocouple", gist, Says.of(words, moved=Diff(abs(tested))), _SWAP)]
    return []


_TEST = "An accuracy test of the control sensor against a reference in the same hole: soakwitness accuracy."
_SWAP = "A new thermocouple beside the old one for one run, then: soakwitness sensor fitted."


def _link(figures: TrendsByKind, runs: Sequence[ConditionFigures]) -> list[Part]:
    missed, noisy = figures.moved("missed"), figures.moved("noise")
    found = []
    if missed is not None and missed.change > 0:
        lost = sum(r.lost for r in runs[-20:])
        times = f"link lost {often(lost)} in the last {counted(min(20, len(runs)), 'run')}"
        says = Says.plain(f"Since {missed.since} {100 * missed.now:.1f} % of the readings are missing ({times}).")
        gist = Says.plain(f"readings are missing since {missed.since}")
        cable = "The cable, its screen and its plugs; the instrument's baud rate."
        found.append(Part("link to the instrument", gist, says, cable))
    if noisy is not None and noisy.change > 0:
        words = f"Since {noisy.since} the readings scatter by {{now}}, {{usual}} before."
        says = Says.of(words, now=Diff(noisy.now), usual=Diff(noisy.usual))
        gist = Says.plain(f"readings scatter more since {noisy.since}; the sensor's lead")
        lead = "The lead's way beside power cables, its screen, its terminals."
        found.append(Part("noise on the sensor's lead", gist, says, lead))
    return found
