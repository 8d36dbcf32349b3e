"""Questions for `plan` by a hand that has not read how plans are made: a kiln, its past heatings, blades, a recipe.

``a_case`` draws all of it from a seed; ``lived`` does in the kiln what the answer says and tells what each blade had.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

import numpy as np

from tests.foreign_kiln import Charge, Controller, Day, Duty, Heated, Kiln, Leg, Packet, heat
from tests.plan_entry import PastHeating, PlanAnswer, PlanQuestion, Shelf

SORTS = ("measured", "history", "by hand", "nothing")
THICKNESSES_MM = (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0)


@dataclass(frozen=True)
class Wish:
    """What the recipe asks; ``first_c`` is the equalising hold (None: there is none), ``load_at`` None: cold."""

    first_c: float | None
    first_min: float
    target_c: float
    rate: float | None
    below_c: float
    above_c: float
    hold_min: float
    at_most_min: float | None
    load_at: float | None

    @property
    def edge_c(self) -> float:
        return self.target_c - self.below_c

    def text(self) -> str:
        """The recipe file."""
        rows = ['name = "blades of a steel of no name"', 'unit = "C"']
        rows += ['load = "cold"'] if self.load_at is None else ['load = "hot"', f"load_at = {self.load_at:g}"]
        if self.first_c is not None:
            rows += ["[[step]]", 'ramp = "full power"', f"to = {self.first_c:g}"]
            rows += ["[[step]]", f"hold_minutes = {self.first_min:g}", "tolerance = 10", 'soak_from = "control"']
            rows += ["judged = false"]
        rate = '"full power"' if self.rate is None else f"{self.rate:g}"
        rows += ["[[step]]", f"ramp = {rate}", f"to = {self.target_c:g}"]
        rows += ["[[step]]", f"hold_minutes = {self.hold_min:g}"]
        rows += [] if self.at_most_min is None else [f"at_most_minutes = {self.at_most_min:g}"]
        rows += [f"tolerance_below = {self.below_c:g}", f"tolerance_above = {self.above_c:g}"]
        return "\n".join([*rows, "[packet]", "thickness_mm = 3.0"]) + "\n"

    def legs(self, reads_high_c: float, first_s: float, last_s: float) -> tuple[Leg, ...]:
        """As a person types it who knows what the display shows too much."""
        first = () if self.first_c is None else (Leg(self.first_c + reads_high_c, None, first_s),)
        return (*first, Leg(self.target_c + reads_high_c, self.rate, last_s))


@dataclass(frozen=True)
class Case:
    """All that is drawn; ``days`` and ``charges``: of the past, then of the planned day."""

    seed: int
    sort: str
    kiln: Kiln
    wish: Wish
    foil: bool
    blades_mm: tuple[float, ...]
    shelf: Shelf | None
    known_high_c: float | None
    days: tuple[Day, ...]
    question: PlanQuestion

    def __str__(self) -> str:
        w, control = self.wish, "on-off" if self.kiln.controller.gain is None else "PID"
        load = "cold" if w.load_at is None else f"at {w.load_at:g}"
        most = "" if w.at_most_min is None else f" (most {w.at_most_min:g})"
        rack = f"rack {self.shelf.slots}x{self.shelf.spacing_mm:g}" if self.shelf else "no rack"
        known = "no calibration" if self.known_high_c is None else "calibrated"
        return (
            f"{self.sort}, {w.hold_min:g}{most} min at {w.target_c:g} -{w.below_c:g}+{w.above_c:g}, {load}, "
            f"{'foil' if self.foil else 'bare'} {'/'.join(f'{b:g}' for b in self.blades_mm)} mm, {rack}, {control}, "
            f"{known}, {len(self.question.past)} past ({len(self.question.instrumented)} instrumented)"
        )


@dataclass(frozen=True)
class Lived:
    """What one blade truly had: soak [s] (longest, dips up to two minutes pause it), all time above the edge [s], lag.

    ``lag_s`` is from the chamber's entry (or the load, if later) to the blade's, ``shown_lag_s`` from what the display
    shows as its entry (or the load); None: it never came.
    """

    mm: float
    soak_s: float
    above_s: float
    lag_s: float | None
    shown_lag_s: float | None
    hottest_c: float
    at_out_c: float


def a_kiln(rng: random.Random) -> Kiln:
    """Of a fifth of a square metre, 20 to 80 min to 1050 degC."""
    inside, k = rng.uniform(0.12, 0.3), rng.uniform(0.14, 0.28)
    layers = (0.006, 0.014, rng.uniform(0.02, 0.04), rng.uniform(0.04, 0.07))
    leak = rng.uniform(0.0002, 0.0009)
    loss = inside * k * 1050.0 / sum(layers) * 0.9 + leak * 2.0e5
    if rng.random() < 0.75:
        gain, reset, rate = 1.0 / rng.uniform(22.0, 55.0), rng.uniform(220.0, 600.0), rng.choice((0.0, 15.0, 30.0))
        made = Controller(gain, reset, rate, 0.0, rng.uniform(1.0, 4.0), rng.uniform(8.0, 25.0), rng.random() < 0.3)
    else:
        made = Controller(None, 1.0, 0.0, rng.uniform(0.3, 1.5), 1.0, rng.uniform(8.0, 25.0), rng.random() < 0.3)
    return Kiln(
        power_w=loss * rng.uniform(1.9, 3.6), wire_j_k=rng.uniform(450.0, 900.0), wire_m2=rng.uniform(0.06, 0.12),
        inside_m2=inside, k_w_mk=k, brick_j_m3k=rng.uniform(0.5e6, 0.9e6), layers_m=layers, leak_m2=leak,
        door_m2=rng.uniform(0.008, 0.02), works=rng.uniform(0.02, 0.06), shows=rng.uniform(0.02, 0.06),
        air=rng.uniform(0.15, 0.5), couple_s=rng.uniform(8.0, 40.0), reads_high_c=0.0, noise_c=rng.uniform(0.05, 0.3),
        places_c=tuple(rng.gauss(0.0, 0.5) for _ in range(8)), controller=made,
    )  # fmt: skip


def a_packet(rng: random.Random, foil: bool) -> Packet:
    """Foil as it comes off the roll or after some use; a blade from the belt or with its skin."""
    outer = rng.uniform(0.22, 0.5) if foil else rng.uniform(0.35, 0.8)
    return Packet(
        foil, outer, rng.uniform(0.14, 0.35), rng.uniform(70.0, 300.0), 0.05, rng.uniform(740.0, 830.0),
        rng.uniform(45e3, 85e3),
    )  # fmt: skip


def scattered(rng: random.Random, packet: Packet, share: float) -> Packet:
    """The next one folded by the same hand."""
    return replace(
        packet,
        outer=min(0.95, packet.outer * math.exp(rng.gauss(0.0, 0.08 * share))),
        inner=packet.inner * math.exp(rng.gauss(0.0, 0.08 * share)),
        gap_w_m2k=packet.gap_w_m2k * math.exp(rng.gauss(0.0, 0.22 * share)),
    )


def a_wish(rng: random.Random) -> Wish:
    """A stainless steel with an equalising hold, or a carbon steel without."""
    hold = float(rng.choice((10, 12, 15, 20, 25, 30, 40)))
    most = float(round(hold * rng.uniform(1.25, 2.5))) if rng.random() < 0.45 else None
    below, above = float(rng.randint(6, 12)), float(rng.randint(6, 12))
    if rng.random() < 0.2:
        target = float(rng.choice((800, 815, 830, 850)))
        return Wish(None, 0.0, target, None, below, above, hold, most, target if rng.random() < 0.6 else None)
    target, first = float(rng.randrange(1020, 1085, 5)), float(rng.choice((750, 780, 820, 850)))
    load = rng.choices((None, first, target), (0.5, 0.25, 0.25))[0]
    rate = rng.choice((None, 250.0, 300.0, 400.0, 500.0, 600.0))
    return Wish(first, float(rng.choice((5, 10, 15))), target, rate, below, above, hold, most, load)


def _day(rng: random.Random, seed: int, number: int) -> Day:
    mains = min(1.03, max(0.97, rng.gauss(1.0, 0.015)))
    room = rng.uniform(12.0, 30.0)
    warm = rng.uniform(0.0, 40.0) if rng.random() < 0.2 else 0.0
    return Day(mains, room, room + warm, rng.gauss(0.0, 0.4), f"{seed} day {number}")


def _packets(case_seed: int, number: int, packet: Packet, count: int) -> tuple[Packet, ...]:
    rng = random.Random(f"{case_seed} packets {number}")
    together = scattered(rng, packet, 0.7)
    return tuple(scattered(rng, together, 0.7) for _ in range(count))


def _duty(wish: Wish, high_c: float, wait_s: float, out_s: tuple[float, ...]) -> Duty:
    edge_c = wish.edge_c + high_c
    if wish.load_at is None:
        return Duty(None, 0.0, 0.0, edge_c, out_s)
    last = wish.load_at == wish.target_c
    leg = 1 if last and wish.first_c is not None else 0
    return Duty(leg, edge_c if last else wish.load_at - 10.0 + high_c, wait_s, edge_c, out_s)


def a_past(rng: random.Random, case: Case, packet: Packet, day: Day, number: int, probe: Charge | None) -> PastHeating:
    """One heating by the recipe, typed and pulled as by a smith who guesses; ``probe``: with a wire in the first."""
    wish, known = case.wish, case.known_high_c or 0.0
    hold_s = (wish.hold_min + rng.uniform(3.0, 15.0)) * 60.0
    count = rng.randint(1, 6)
    charge = probe or Charge(
        tuple(rng.choice(THICKNESSES_MM) for _ in range(count)), _packets(case.seed, number, packet, count),
        tuple(range(1, count + 1)), case.shelf.spacing_mm if case.shelf else None,
    )  # fmt: skip
    count = len(charge.blades_mm)
    outs = tuple(hold_s + 20.0 * k for k in reversed(range(count)))
    duty = _duty(wish, known, rng.uniform(3.0, 12.0) * 60.0, outs)
    h = heat(case.kiln, wish.legs(known, (wish.first_min + rng.choice((0, 2, 10))) * 60.0, hold_s), charge, day, duty)
    every = rng.choice((1, 2))
    logs = rng.random() < 0.7
    error, couple = rng.gauss(0.0, 0.7), rng.gauss
    first = h.blades_c
    at = probe.slots.index(_place(probe)) if probe else 0
    return PastHeating(
        t_s=h.t_s[::every], display_c=h.display_c[::every], pull_s=max(h.outs_s),
        load_s=None if wish.load_at is None else h.load_s, setpoint_c=h.setpoint_c[::every] if logs else None,
        output_pct=h.output[::every] if logs else None,
        load_c=None if probe is None else [float(b[at]) + error + couple(0.0, 0.15) for b in first[::every]],
        load_mm=charge.blades_mm[at], slot=_place(probe) if probe and count > 1 else None,
        filled=count if probe and count > 1 else None,
    )  # fmt: skip


def _place(probe: Charge) -> int:
    """The slot that has the wire: the middle one."""
    return probe.slots[len(probe.slots) // 2]


def a_case(seed: int) -> Case:
    """Draw one."""
    rng = random.Random(f"foreign plan {seed}")
    sort = rng.choices(SORTS, (0.5, 0.2, 0.15, 0.15))[0]
    kiln, wish, foil = a_kiln(rng), a_wish(rng), rng.random() < 0.75
    count = rng.choice((1, 1, 2, 3, 4, 5, 6, 7))
    alike = rng.random() < 0.6
    one = rng.choice(THICKNESSES_MM)
    blades = (one,) * count if alike else tuple(rng.choice(THICKNESSES_MM) for _ in range(count))
    shelf = Shelf(rng.randint(max(count, 4), 8), float(rng.choice((15, 20, 25, 30)))) if rng.random() < 0.7 else None
    shelf = shelf if sort in ("measured", "history") else None  # it stands in the furnace's own file
    if rng.random() < 0.55:  # compared with a reference whose U is 2; else as the wire came
        high = rng.uniform(-6.0, 6.0)
        known = round(high + rng.gauss(0.0, 0.8), 1) if sort in ("measured", "history") else None
        high = high if known is not None else rng.gauss(0.0, 1.2)
    else:
        high, known = rng.gauss(0.0, 1.2), None
    kiln = replace(kiln, reads_high_c=high)
    past = rng.randint(5, 12) if sort in ("measured", "history") else 0
    days = tuple(_day(rng, seed, n) for n in range(past + 1))
    bare = Case(seed, sort, kiln, wish, foil, blades, shelf, known, days, PlanQuestion(wish.text()))
    return replace(bare, question=_question(rng, bare, past))


def packet_of(seed: int, foil: bool) -> Packet:
    """Of the case: drawn apart, so that it can be had again."""
    return a_packet(random.Random(f"foreign packet {seed}"), foil)


def _question(rng: random.Random, case: Case, past: int) -> PlanQuestion:
    packet, wired, probe_of = packet_of(case.seed, case.foil), rng.choice((1, 2, 3)), None
    if case.sort == "measured":
        count = rng.randint(1, min(4, case.shelf.slots)) if case.shelf else 1
        mm = rng.choice((case.blades_mm[0], 2.0, 3.0, 4.0))
        probe_of = (count, mm)
    heatings = []
    for n in range(past):
        probe = None
        if probe_of and n >= past - wired:
            count, mm = probe_of
            spacing = case.shelf.spacing_mm if case.shelf else None
            packets = _packets(case.seed, n, packet, count)
            probe = Charge((mm,) * count, packets, tuple(range(1, count + 1)), spacing)
        heatings.append(a_past(rng, case, packet, case.days[n], n, probe))
    named = tuple(range(past - wired, past)) if probe_of else ()
    return PlanQuestion(
        case.wish.text(), tuple(heatings), case.blades_mm, case.foil, case.shelf, named,
        _climb(rng, case) if case.sort == "by hand" else None, case.known_high_c,
    )  # fmt: skip


def _climb(rng: random.Random, case: Case) -> str:
    """What the smith's watch said of an empty furnace at full power, to the minute."""
    top = case.wish.target_c - 15.0
    day = Day(1.0 + rng.uniform(-0.015, 0.015), 20.0, 20.0, 0.0, f"{case.seed} climb")
    none = Charge((1.5,), (packet_of(case.seed, False),), (1,), None, width_mm=1.0, length_mm=1.0)
    h = heat(case.kiln, (Leg(case.wish.target_c, None, 0.0),), none, day, Duty(None, 0.0, 0.0, top, (0.0,)))
    marks = [round(top * 0.55 / 50.0) * 50.0, round(top * 0.8 / 50.0) * 50.0, round(top / 10.0) * 10.0 - 10.0]
    minutes = (next(t for t, c in zip(h.t_s, h.display_c, strict=True) if c >= mark) / 60.0 for mark in marks)
    return ",".join(f"{mark:g}:{max(1, round(m))}" for mark, m in zip(marks, minutes, strict=True))


def legs_of(answer: PlanAnswer) -> tuple[tuple[Leg, ...], dict[int, int]]:
    """The program as typed (the last setpoint stays), and the leg of each step's number."""
    legs: list[Leg] = []
    of: dict[int, int] = {}
    for number, step in enumerate(answer.program, 1):
        if step.hold_s is None:
            legs.append(Leg(step.setpoint_c, step.rate_c_per_h, 0.0))
        else:
            legs[-1] = replace(legs[-1], to_c=step.setpoint_c, hold_s=step.hold_s)
        of[number] = len(legs) - 1
    legs[-1] = replace(legs[-1], hold_s=math.inf)
    return tuple(legs), of


def done(case: Case, answer: PlanAnswer) -> Heated:
    """Do in the kiln what the answer says."""
    legs, of = legs_of(answer)
    n = len(case.blades_mm)
    slots = tuple(s if s is not None else k for k, s in enumerate(answer.slots, 1))
    charge = Charge(
        case.blades_mm, _packets(case.seed, len(case.days), packet_of(case.seed, case.foil), n), slots,
        case.shelf.spacing_mm if case.shelf else None,
    )  # fmt: skip
    leg = None if answer.load_step is None else of[answer.load_step]
    duty = Duty(leg, answer.load_shown_c, answer.load_wait_s, answer.out_shown_c, answer.out_s)
    return heat(case.kiln, legs, charge, case.days[-1], duty)


def lived(case: Case, heated: Heated) -> tuple[Lived, ...]:
    """What each blade truly had, on the true scale."""
    t, edge = np.array(heated.t_s), case.wish.edge_c
    chamber, blades = np.array(heated.chamber_c), np.array(heated.blades_c)
    enters = _crossing(t, chamber, edge, heated.last_leg_s)
    found = []
    for k, mm in enumerate(case.blades_mm):
        out_s = heated.outs_s[k]
        there = (t >= (enters or 0.0)) & (t <= out_s)
        comes = _crossing(t, blades[:, k], edge, heated.load_s, out_s)
        start = max(enters or 0.0, heated.load_s)
        soak, above = _soak(t, blades[:, k], edge, enters, out_s)
        lag = None if comes is None or enters is None else max(0.0, comes - start)
        shown = None if comes is None else max(0.0, comes - heated.since_s)
        inside = blades[t <= out_s, k]
        hottest = float(inside.max()) if there.any() else math.nan
        found.append(Lived(mm, soak, above, lag, shown, hottest, float(inside[-1])))
    return tuple(found)


def _crossing(t: np.ndarray, c: np.ndarray, edge: float, from_s: float, to_s: float = math.inf) -> float | None:
    """First moment at or above the edge, between readings by the chord."""
    at = np.flatnonzero((c >= edge) & (t >= from_s) & (t <= to_s))
    if not at.size:
        return None
    i = int(at[0])
    if i == 0 or c[i - 1] >= edge:
        return float(t[i])
    return float(t[i - 1] + (t[i] - t[i - 1]) * (edge - c[i - 1]) / (c[i] - c[i - 1]))


def _soak(
    t: np.ndarray, c: np.ndarray, edge: float, enters: float | None, out_s: float, dip_s: float = 120.0
) -> tuple[float, float]:
    """Longest stretch at or above the edge, dips pausing it, and all of it [s]; finely between readings."""
    if enters is None or not math.isfinite(out_s) or out_s <= enters:
        return 0.0, 0.0
    fine = np.arange(enters, out_s, 0.5)
    above = np.interp(fine, t, c) >= edge
    best = stretch = dip = 0.0
    for up in above:
        dip = 0.0 if up else dip + 0.5
        stretch = stretch + 0.5 if up else 0.0 if dip > dip_s else stretch
        best = max(best, stretch)
    return best, float(above.sum()) * 0.5
