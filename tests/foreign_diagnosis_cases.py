"""Thermocouple circuits with one known fault, read against a reference; by a hand that had not read the rules.

Every circuit is a sum of emfs along its wires: tip to head, head to terminals, each stretch hot end less cold end; the
instrument adds the emf of what it takes its terminals for and inverts the curve it is set to. ``diagnosis_case(seed)``
is the same case for the same seed, always.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.thermocouples.reference_functions import emf_mv, seebeck_uv_per_c, temperature_c

Random = np.random.Generator
KINDS = {  # kind: weight in the draw
    "healthy, scatter": 4,
    "drift by heat": 3,
    "wrong type set": 2,
    "sensor reversed": 1,
    "extension reversed": 2,
    "wrong extension": 2,
    "copper lead": 2,
    "cold junction": 3,
    "offset typed": 2,
    "loop resistance or filter": 2,
    "shunt in hot insulation": 2,
    "short at the head": 1,
    "open at times": 2,
    "tip moved": 2,
    "aged wire, inhomogeneous": 2,
    "coarse display": 1,
    "place difference": 2,
}
HEALTHY = frozenset({"healthy, scatter", "coarse display", "place difference"})
RANGES_C = {"K": (-200.0, 1372.0), "N": (-200.0, 1300.0), "S": (-50.0, 1768.0), "R": (-50.0, 1768.0)}
RANGES_C |= {"J": (-200.0, 1200.0), "E": (-200.0, 1000.0)}
WRONG_TYPES = ("K N", "N K", "K J", "J K", "S R", "R S", "S K", "E K", "K S")  # wired, set
WRONG_LEADS = {"K": ("J", "N", "E", "S"), "N": ("K", "J", "S"), "S": ("K", "N", "J"), "J": ("K",), "E": ("K",)}


@dataclass(frozen=True)
class Circuit:
    """One state of the whole loop; the fields' defaults are a sound one of type K."""

    type: str = "K"
    set_to: str = "K"
    tip_c: float = 20.0
    head_c: float = 20.0
    terminals_c: float = 20.0
    taken_c: float = 20.0  # what the instrument takes its terminals for
    lead: str = "K"  # "" is copper
    sensor_sign: float = 1.0
    lead_sign: float = 1.0
    wire_error_c: float = 0.0  # of the sensor's own wires, as a temperature at the tip
    added_mv: float = 0.0
    gain: float = 1.0
    offset_c: float = 0.0

    def terminals_mv(self) -> float:
        """Emf at the terminals."""
        slope_mv = float(seebeck_uv_per_c(self.tip_c, self.type)) * 1e-3
        sensor_mv = _emf(self.tip_c, self.type) - _emf(self.head_c, self.type) + self.wire_error_c * slope_mv
        lead_mv = _emf(self.head_c, self.lead) - _emf(self.terminals_c, self.lead) if self.lead else 0.0
        return (self.sensor_sign * sensor_mv + self.lead_sign * lead_mv) * self.gain + self.added_mv

    def shown_c(self) -> float | None:
        """What the instrument shows; None where it is out of its range."""
        low_c, high_c = RANGES_C[self.set_to]
        whole_mv = self.terminals_mv() + _emf(self.taken_c, self.set_to)
        if not _emf(low_c, self.set_to) < whole_mv < _emf(high_c, self.set_to):
            return None
        return float(temperature_c(whole_mv, self.set_to)) + self.offset_c


def _emf(temp_c: float, type_: str) -> float:
    return float(emf_mv(temp_c, type_))


@dataclass(frozen=True)
class Reading:
    """One pair; ``shown_c`` is None where the display showed no number, ``showed`` says what then."""

    reference_c: float
    shown_c: float | None
    head_c: float | None
    room_c: float | None
    note: str = ""


@dataclass(frozen=True)
class DiagnosisTruth:
    """Which fault, which form of it, and the most that it changes among the readings that had a number."""

    kind: str
    form: str
    effect_c: float


@dataclass(frozen=True)
class DiagnosisCase:
    """What the workshop has: pairs, the type set if it looked, u of a reading, and what else it tried.

    ``spare_tried``: None if none was at hand, else whether the error went away with a spare thermocouple in the same
    place. ``shift_when_moved_c``: None if not tried, else by how much the reading went off when the sensor was drawn
    out by some centimetres and the reference with it.
    """

    seed: int
    readings: tuple[Reading, ...]
    set_to: str | None
    u_c: float
    resolution_c: float
    spare_tried: bool | None
    shift_when_moved_c: float | None
    truth: DiagnosisTruth


Faulty = Callable[[Circuit, float], Circuit]  # of a sound circuit at a temperature of the reference: the faulty one


@dataclass(frozen=True)
class Fault:
    """How a circuit is changed, its form in a word, and what it does beside."""

    form: str
    change: Faulty
    lost: float = 0.0  # share of the readings at which it is open
    lag_s: float = 0.0  # of a filter: some readings were taken on the climb


def diagnosis_case(seed: int, kind: str | None = None) -> DiagnosisCase:
    """Draw the case of a seed; with ``kind`` of that kind. A fault that the readings cannot show is drawn again."""
    rng = np.random.default_rng([1717, seed])
    weights = np.array(list(KINDS.values()), dtype=float)
    drawn = str(rng.choice(list(KINDS), p=weights / weights.sum()))
    while True:
        case = _drawn(seed, kind or drawn, rng)
        shows = case.truth.kind in ("healthy, scatter", "coarse display") or case.truth.kind == "open at times"
        if shows or case.truth.effect_c >= max(4.0, 3.0 * case.u_c):
            return case


def _drawn(seed: int, kind: str, rng: Random) -> DiagnosisCase:
    type_ = str(rng.choice(["K", "N", "S"], p=[0.65, 0.2, 0.15]))
    fault = FAULTS[kind](rng, type_)
    if kind == "wrong type set":
        type_, set_to = fault.form.split(" as ")
    else:
        set_to = type_
    scatter_c = float(rng.uniform(0.3, 3.0 if kind == "healthy, scatter" else 1.2))
    step_c = float(rng.choice([0.1, 0.1, 1.0]))
    if kind == "coarse display":
        step_c = float(fault.form.split()[0])
    reference_u_c = float(rng.uniform(0.3, 1.0))
    reference_off_c, head_share = reference_u_c * rng.normal(), rng.uniform(0.01, 0.08)
    room_c, climb_c = rng.uniform(12.0, 30.0), rng.uniform(0.0, 6.0)
    new_c = _new_wire(rng, type_)
    knows_head, knows_room = rng.random() < 0.5, rng.random() < 0.7
    rows, effect_c = [], 0.0
    for number, true_c in enumerate(_temperatures(rng, kind, type_)):
        here_c = room_c + climb_c * number / 6.0 + rng.normal(0.0, 0.3)
        sound = Circuit(
            type_,
            set_to,
            true_c,
            here_c + head_share * (true_c - here_c),
            here_c + 1.0,
            here_c + 1.0 + rng.uniform(-0.4, 0.4),
            type_,
            wire_error_c=new_c * true_c / 1000.0,
        )
        faulty = fault.change(sound, true_c)
        climbs = fault.lag_s > 0.0 and (number % 2 == 0 or rng.random() < 0.3)
        rate_c_per_h = float(rng.uniform(200.0, 600.0)) if climbs else 0.0
        shown, note = faulty.shown_c(), f"climbing {rate_c_per_h:.0f}/h" if climbs else ""
        if shown is not None:
            behind_c, would_c = rate_c_per_h / 3600.0 * fault.lag_s, replace(sound, set_to=type_).shown_c()
            effect_c = max(effect_c, abs(shown - behind_c - (true_c if would_c is None else would_c)))
            shown += rng.normal(0.0, scatter_c) - behind_c
        elif rng.random() < 0.4:  # some displays stand at the end of their range instead
            shown = RANGES_C[set_to][0 if faulty.terminals_mv() < 0.0 else 1]
        else:
            note = "below its range" if faulty.terminals_mv() < 0.0 else "above its range"
        if rng.random() < fault.lost or (fault.lost and number == 1):
            shown, note = _open(rng, shown, set_to, true_c)
        rows.append(
            Reading(
                round(true_c + reference_off_c * true_c / 1000.0, 1),
                None if shown is None else round(round(shown / step_c) * step_c, 1),
                round(sound.head_c + rng.normal(0.0, 1.0), 1) if knows_head else None,
                round(here_c + rng.normal(0.0, 0.5), 1) if knows_room else None,
                note,
            )
        )
    u_c = float(np.sqrt(scatter_c**2 + reference_u_c**2 + step_c**2 / 12.0))
    spare = kind in {"drift by heat", "aged wire, inhomogeneous", "shunt in hot insulation", "short at the head"}
    spare = spare or (kind == "open at times" and "sensor" in fault.form)
    moves_c = float(rng.choice([-1.0, 1.0]) * rng.uniform(4.0, 12.0)) if kind == "aged wire, inhomogeneous" else 0.0
    return DiagnosisCase(
        seed,
        tuple(rows),
        set_to if rng.random() < 0.85 else None,
        round(u_c, 1),
        step_c,
        spare if rng.random() < 0.2 else None,
        round(moves_c + rng.normal(0.0, 1.0), 1) if rng.random() < 0.15 else None,
        DiagnosisTruth(kind, fault.form, round(effect_c, 1)),
    )


def _new_wire(rng: Random, type_: str) -> float:
    """Error of a sound thermocouple at 1000 degC: inside class 2 of new wire."""
    return float(rng.uniform(-1.0, 1.0)) * (2.0 if type_ in "SR" else 5.5)


def _temperatures(rng: Random, kind: str, type_: str) -> tuple[float, ...]:
    """Two to six temperatures, spread as a workshop gets them; a reversed sensor is noticed while it is warming up."""
    count = int(rng.choice([2, 3, 4, 5, 6], p=[0.1, 0.25, 0.3, 0.2, 0.15]))
    if kind == "sensor reversed":
        warm = np.sort(rng.uniform(45.0, 180.0, count - 1))
        return (*(float(t) for t in warm), float(rng.uniform(300.0, 900.0)))
    lowest, top = rng.uniform(150.0, 650.0), 980.0 if type_ == "E" else 1065.0
    if kind == "shunt in hot insulation":
        lowest = rng.uniform(400.0, 800.0)
    spread = np.linspace(lowest, rng.uniform(960.0, top) if count > 2 else rng.uniform(880.0, top), count)
    return tuple(float(t) for t in np.sort(spread + rng.uniform(-25.0, 25.0, count)))


def _open(rng: Random, shown: float | None, set_to: str, true_c: float) -> tuple[float | None, str]:
    """A contact that comes and goes: no number, the end of the range, or anywhere on the way there."""
    form = int(rng.integers(3))
    if form == 0 or shown is None:
        return None, "open"
    if form == 1:
        return RANGES_C[set_to][1], ""
    return max(shown - float(rng.uniform(15.0, 0.6 * true_c)), 20.0), "jumps about"


def _sound(rng: Random, type_: str) -> Fault:
    return Fault("none", lambda sound, _: sound)


def _coarse(rng: Random, type_: str) -> Fault:
    return Fault(f"{rng.choice([2.0, 5.0, 10.0])} degC a step", lambda sound, _: sound)


def _place(rng: Random, type_: str) -> Fault:
    """The sensor's place is some degrees hotter or colder than the reference's; both are sound."""
    amount_c = float(rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 15.0))
    power = float(rng.uniform(0.7, 1.6))
    return Fault(
        f"{amount_c:+.0f} degC at 1000",
        lambda sound, true_c: replace(sound, tip_c=true_c + amount_c * (true_c / 1000.0) ** power),
    )


def _drift(rng: Random, type_: str) -> Fault:
    """Alloy changed in the hot part all along: nothing below some temperature, more and more above."""
    amount_c = float(rng.uniform(9.0, 35.0)) * float(rng.choice([-1.0, 1.0], p=[0.65, 0.35]))
    amount_c *= 0.5 if type_ == "S" else 1.0
    from_c, power = float(rng.uniform(150.0, 500.0)), float(rng.uniform(1.0, 2.2))

    def change(sound: Circuit, true_c: float) -> Circuit:
        share = max(true_c - from_c, 0.0) / (1000.0 - from_c)
        return replace(sound, wire_error_c=sound.wire_error_c + amount_c * share**power)

    return Fault(f"{amount_c:+.0f} degC at 1000", change)


def _wrong_type(rng: Random, type_: str) -> Fault:
    drawn = rng.choice(WRONG_TYPES, p=[0.24, 0.2, 0.14, 0.1, 0.1, 0.08, 0.06, 0.04, 0.04])
    wire, set_to = str(drawn).split()
    return Fault(f"{wire} as {set_to}", lambda sound, _: sound)


def _sensor_reversed(rng: Random, type_: str) -> Fault:
    if rng.random() < 0.6:  # at the head: the lead is right
        return Fault("at the head", lambda sound, _: replace(sound, sensor_sign=-1.0))
    return Fault("at the terminals", lambda sound, _: replace(sound, sensor_sign=-1.0, lead_sign=-1.0))


def _lead_reversed(rng: Random, type_: str) -> Fault:
    """Reversed at both of its ends: the furnace still reads upward."""
    return Fault("twice", lambda sound, _: replace(sound, lead_sign=-1.0))


def _lead_wrong(rng: Random, type_: str) -> Fault:
    lead = str(rng.choice(WRONG_LEADS[type_]))
    return Fault(f"{lead} on {type_}", lambda sound, _: replace(sound, lead=lead))


def _copper(rng: Random, type_: str) -> Fault:
    return Fault("plain copper", lambda sound, _: replace(sound, lead=""))


def _cold_junction(rng: Random, type_: str) -> Fault:
    form = str(rng.choice(["off", "wrong", "terminals warmed"], p=[0.4, 0.3, 0.3]))
    if form == "off":
        return Fault(form, lambda sound, _: replace(sound, taken_c=0.0))
    if form == "wrong":
        by_c = float(rng.choice([-1.0, 1.0]) * rng.uniform(7.0, 16.0))
        return Fault(form, lambda sound, _: replace(sound, taken_c=sound.terminals_c + by_c))
    share = float(rng.uniform(0.010, 0.025))

    def warmed(sound: Circuit, true_c: float) -> Circuit:
        return replace(sound, terminals_c=sound.terminals_c + share * (true_c - 20.0))

    return Fault(form, warmed)


def _offset(rng: Random, type_: str) -> Fault:
    by_c = float(rng.choice([-1.0, 1.0]) * rng.integers(6, 26))
    return Fault(f"{by_c:+.0f} degC", lambda sound, _: replace(sound, offset_c=by_c))


def _loop(rng: Random, type_: str) -> Fault:
    """Current of the open-circuit watch through a high loop, an input that loads it, or a slow filter."""
    form = str(rng.choice(["current", "loaded", "filter"], p=[0.4, 0.25, 0.35]))
    if form == "filter":
        return Fault(form, lambda sound, _: sound, lag_s=float(rng.uniform(60.0, 240.0)))
    if form == "loaded":
        gain = 1.0 - float(rng.uniform(0.008, 0.03))
        return Fault(form, lambda sound, _: replace(sound, gain=gain))
    micro_a, cold_ohm = float(rng.uniform(0.1, 0.5)), float(rng.uniform(800.0, 2000.0))
    cold_ohm *= 0.3 if type_ == "S" else 1.0  # noble wire conducts well

    def current(sound: Circuit, true_c: float) -> Circuit:
        return replace(sound, added_mv=micro_a * cold_ohm * (1.0 + 0.2 * true_c / 1000.0) * 1e-3)

    return Fault(form, current)


def _shunt(rng: Random, type_: str) -> Fault:
    """Hot insulation conducts between the wires some way up, where it is somewhat colder: a second junction.

    The loop shows E(there) + (E(tip) - E(there)) R/(R + r), r of the wires beyond it, R falling to 1/e every 55 degC.
    """
    colder, from_c = float(rng.uniform(0.75, 0.93)), float(rng.uniform(880.0, 1000.0))

    def change(sound: Circuit, true_c: float) -> Circuit:
        leaks = np.exp((true_c - from_c) / 55.0) * 0.08
        there_mv = _emf(colder * true_c, sound.type) - _emf(true_c, sound.type)
        return replace(sound, added_mv=there_mv * float(leaks / (1.0 + leaks)))

    return Fault(f"from {from_c:.0f} degC", change)


def _short(rng: Random, type_: str) -> Fault:
    """The wires touch where the sheath ends: that is the junction now."""
    return Fault("at the head", lambda sound, _: replace(sound, tip_c=sound.head_c, wire_error_c=0.0))


def _open_at_times(rng: Random, type_: str) -> Fault:
    return Fault(str(rng.choice(["in the sensor", "at a terminal"])), lambda sound, _: sound, lost=0.35)


def _tip_moved(rng: Random, type_: str) -> Fault:
    """Drawn out of the hot zone: a share of the way to the room is lost, somewhat less the hotter (radiation)."""
    share = float(rng.uniform(0.015, 0.2))
    bent = float(rng.uniform(0.0, 0.3))

    def change(sound: Circuit, true_c: float) -> Circuit:
        lost = share * (1.0 + bent * (500.0 - true_c) / 1000.0)
        return replace(sound, tip_c=true_c - lost * (true_c - 20.0))

    return Fault(f"{100 * share:.0f} % out", change)


def _aged(rng: Random, type_: str) -> Fault:
    """A piece of the wire that has aged hotter lies in the gradient now: it makes emf of its own with its two ends."""
    colder = float(rng.uniform(0.1, 0.45))
    hotter = colder + float(rng.uniform(0.25, 0.5))
    share = float(rng.choice([-1.0, 1.0], p=[0.7, 0.3]) * rng.uniform(0.02, 0.06))

    def change(sound: Circuit, true_c: float) -> Circuit:
        piece_mv = _emf(min(hotter, 0.97) * true_c, sound.type) - _emf(colder * true_c, sound.type)
        return replace(sound, added_mv=share * piece_mv)

    return Fault(f"{100 * share:+.1f} % between {colder:.2f} and {hotter:.2f} of the way", change)


FAULTS: dict[str, Callable[[Random, str], Fault]] = {
    "healthy, scatter": _sound,
    "drift by heat": _drift,
    "wrong type set": _wrong_type,
    "sensor reversed": _sensor_reversed,
    "extension reversed": _lead_reversed,
    "wrong extension": _lead_wrong,
    "copper lead": _copper,
    "cold junction": _cold_junction,
    "offset typed": _offset,
    "loop resistance or filter": _loop,
    "shunt in hot insulation": _shunt,
    "short at the head": _short,
    "open at times": _open_at_times,
    "tip moved": _tip_moved,
    "aged wire, inhomogeneous": _aged,
    "coarse display": _coarse,
    "place difference": _place,
}
