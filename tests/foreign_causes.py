"""What may go wrong with a batch, and what only looks like it: each with the strength drawn until it costs enough."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from tests.foreign_furnace import Upset, fire
from tests.foreign_workshop import (
    BAD_HRC,
    DAY_S,
    Batch,
    Case,
    House,
    Plan,
    Truth,
    a_house,
    batch,
    changed,
    firing,
    usual,
)

Apply = Callable[[random.Random, Plan, House, float], Plan]
Needs = Callable[[House], "frozenset[str] | None"]
SEEN: frozenset[str] = frozenset()  # nothing more is needed: it is in the trace, or always entered
STRENGTHS = (1.0, 1.3, 1.7, 2.2, 3.0, 4.0)


@dataclass(frozen=True)
class Cause:
    """``part``: what of the work it is in: two causes at once, or a coincidence beside one, are of different parts."""

    name: str
    part: str
    apply: Apply
    needs: Needs = lambda house: SEEN
    fits: Callable[[House], bool] = lambda house: True
    back_only: bool = False
    last_only: bool = False


def _level_s(plan: Plan, house: House) -> float:
    return fire(firing(plan, house, "when")).level_s


def _in_hold(plan: Plan, house: House, kind: str, for_s: float, left: float = 0.0) -> Plan:
    """Early in the last hold, or soon after the load."""
    fired = fire(firing(plan, house, "when"))
    at_s = max(fired.level_s, fired.load_s) + 0.15 * plan.hold_s
    return changed(plan, waits=False, upsets=[*plan.upsets, Upset(kind, at_s, for_s, left)])


def _late(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    thick = min(16.0, house.thickness_mm * rng.uniform(2.5, 3.2) * w**0.5)
    return changed(
        plan, thickness_mm=round(thick, 1), mass_kg=plan.mass_kg * 2.4 * w**0.5, view=max(0.1, 0.38 / w), waits=True
    )


def _too_hot_or_cold(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    return changed(plan, set_c=plan.set_c - 5.0 * round(rng.uniform(6, 8) * w))


def _softer(plan: Plan, hrc: float) -> Plan:
    return changed(plan, steel=replace(plan.steel, peak=plan.steel.peak - hrc))


def _lot(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    return changed(_softer(plan, 1.8 * w), lot="8120")


def _operator(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    return changed(plan, operator="Ben", careless=1.8 * w)


def _typed_time(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    return changed(plan, hold_s=60.0 * max(1, round(rng.uniform(2, 3) / w)))


def _cold(house: House) -> frozenset[str] | None:
    return None if house.shop.kind == "sloppy" else SEEN


def _sensor(rng: random.Random, plan: Plan, house: House, w: float) -> Plan:
    off_c = rng.uniform(25.0, 32.0) * w
    found = off_c + rng.gauss(0, 1.5) if house.shop.kind == "careful bench" else None
    return changed(plan, reads_off_c=off_c, sensor_test_c=found)


CAUSES: tuple[Cause, ...] = (
    Cause("short soak", "soak", lambda r, p, h, w: changed(p, hold_s=max(60.0, h.asked_s * r.uniform(0.25, 0.35) / w)),
          fits=lambda h: not h.hot or h.shop.marks == "each"),
    Cause("program time", "soak", _typed_time, fits=lambda h: not h.hot),
    Cause("program temperature", "heat", _too_hot_or_cold),
    Cause("sensor reads wrong", "heat", _sensor,
          lambda h: frozenset({"sensor test"}) if h.shop.kind == "careful bench" else SEEN if h.shop.load_sensor
          else None),
    Cause("load late", "soak", _late),
    Cause("power cut", "soak", lambda r, p, h, w: _in_hold(p, h, "power", r.uniform(900, 1500) * w)),
    Cause("door open", "soak", lambda r, p, h, w: _in_hold(p, h, "door", r.uniform(900, 1200) * w**0.5)),
    Cause("circuit trips", "heat", lambda r, p, h, w: _in_hold(p, h, "heater", 9e9, r.uniform(0.3, 0.4) / w)),
    Cause("element dies", "heat", lambda r, p, h, w: changed(p, heater=r.uniform(0.36, 0.45) / w**0.5, waits=False)),
    Cause("quench late", "quench", lambda r, p, h, w: changed(p, delay_s=r.uniform(80, 130) * w),
          lambda h: SEEN if h.shop.marks == "each" else None),
    Cause("warm plates", "quench", lambda r, p, h, w: changed(p, warm_by_order=r.uniform(0.7, 0.9) * w),
          lambda h: SEEN if h.shop.marks == "each" else None, last_only=True),
    Cause("foil leaked", "skin", lambda r, p, h, w: changed(p, leaked=True),
          lambda h: SEEN if h.shop.ground_test else None),
    Cause("cold late", "cold", lambda r, p, h, w: changed(p, cold_hours=r.uniform(24, 40) * w), _cold,
          lambda h: h.cold),
    Cause("cold not done", "cold", lambda r, p, h, w: changed(p, cold_hours=None),
          lambda h: None if h.shop.kind == "sloppy" else frozenset({"not done"}), lambda h: h.cold),
    Cause("oven reads wrong", "temper",
          lambda r, p, h, w: changed(p, temper_true_c=p.temper_true_c + r.uniform(55, 70) * w,
                                     oven_test_c=p.temper_true_c + 60.0 * w if h.shop.ground_test else None),
          lambda h: SEEN if h.shop.as_quenched else frozenset({"oven thermometer"}) if h.shop.ground_test else None),
    Cause("temper not done", "temper", lambda r, p, h, w: changed(p, tempers=0),
          lambda h: SEEN if h.shop.as_quenched else _cold(h) and frozenset({"not done"})),
    Cause("wrong steel", "steel",
          lambda r, p, h, w: changed(_softer(p, r.uniform(2, 3) * w), steel_name="S42000"),
          lambda h: SEEN if h.shop.names_who else None),
    Cause("new lot", "steel", _lot, _cold),
    Cause("tester off", "tester",
          lambda r, p, h, w: changed(p, tester_off=p.tester_off - r.uniform(1.8, 2.5) * w,
                                     tester_name="borrowed tester" if h.shop.names_who else p.tester_name),
          lambda h: SEEN if h.shop.block or h.shop.names_who else None),
    Cause("another operator", "hand", _operator, lambda h: SEEN if h.shop.names_who else None),
    Cause("part of the rack", "rack", lambda r, p, h, w: changed(p, back_c=r.uniform(35, 45) * w),
          lambda h: SEEN if h.shop.places else None, back_only=True),
    Cause("hold far too long", "soak", lambda r, p, h, w: changed(p, hold_s=r.uniform(5, 6) * 3600 * w**0.5),
          fits=lambda h: not h.hot),
)  # fmt: skip
NOWHERE = Cause("nowhere on record", "steel", lambda r, p, h, w: _softer(p, r.uniform(2, 3) * w), lambda h: None)


def _dip(rng: random.Random, plan: Plan, house: House) -> Plan:
    moments = fire(firing(plan, house, "when")).moments
    at_s = next((m.t_s for m in moments if m.reads_c > (770.0 if plan.set_c > 900 else 600.0)), 3000.0) + 150.0
    return changed(plan, upsets=[*plan.upsets, Upset("door", at_s, rng.uniform(30, 70))])


def _gap(rng: random.Random, plan: Plan, house: House) -> Plan:
    fired = fire(firing(plan, house, "when"))
    at_s = max(fired.level_s, fired.load_s + 300.0) + 120.0
    return changed(plan, hold_s=plan.hold_s + 240.0, gap_s=(at_s, at_s + 180.0))


@dataclass(frozen=True)
class Coincidence:
    """Something that is on record and costs at most 0.4 HRC."""

    name: str
    part: str
    apply: Callable[[random.Random, Plan, House], Plan]
    fits: Callable[[House], bool] = lambda house: True


COINCIDENCES: tuple[Coincidence, ...] = (
    Coincidence("setpoint 3 lower", "heat", lambda r, p, h: changed(p, set_c=p.set_c - 3.0)),
    Coincidence("20 s more to the plates", "quench", lambda r, p, h: changed(p, delay_s=p.delay_s + 20.0),
                lambda h: h.shop.marks == "each"),
    Coincidence("door dip while equalising", "soak", _dip),
    Coincidence("gap with enough soak", "soak", _gap, lambda h: not h.shop.imported),
    Coincidence("mains 4 % low", "heat", lambda r, p, h: changed(p, mains=0.96)),
    Coincidence("tester 0.9 off", "tester", lambda r, p, h: changed(p, tester_off=p.tester_off - 0.9),
                lambda h: h.shop.block),
    Coincidence("temper 12 hotter", "temper",
                lambda r, p, h: changed(p, temper_shown_c=p.temper_shown_c + 12, temper_true_c=p.temper_true_c + 12),
                lambda h: h.shop.kind != "sloppy"),
    Coincidence("cold at 5 h", "cold", lambda r, p, h: changed(p, cold_hours=5.0),
                lambda h: h.cold and h.shop.kind != "sloppy"),
    Coincidence("another name on the sheet", "hand", lambda r, p, h: changed(p, operator="Ben"),
                lambda h: h.shop.names_who),
    Coincidence("half a millimetre thicker", "soak", lambda r, p, h: changed(p, thickness_mm=p.thickness_mm + 0.5)),
)  # fmt: skip


def a_case(seed: int) -> Case:
    """Draw what is to go wrong, then a workshop in which it can, its good batches, and the one in question."""
    rng = random.Random(f"foreign batch {seed}")
    while True:
        sort = rng.choices(("known", "two", "hidden", "good"), (50, 15, 15, 20))[0]
        causes = _causes(rng, sort)
        for _ in range(40):
            house = a_house(rng)
            if not all(_possible(cause, sort, house) for cause in causes):
                continue
            good = tuple(
                batch(rng, usual(rng, house), house, day=3 * number, prefix=f"G{number:02d}")
                for number in range(house.shop.good)
            )
            case = _question(rng, seed, sort, causes, house, good)
            if case is not None:
                return case


def _causes(rng: random.Random, sort: str) -> tuple[Cause, ...]:
    if sort == "good":
        return ()
    if sort == "hidden":
        return (NOWHERE,) if rng.random() < 0.4 else (rng.choice(CAUSES),)
    if sort == "known":
        return (rng.choice(CAUSES),)
    while True:
        first, second = rng.sample([c for c in CAUSES if not c.back_only and not c.last_only], 2)
        hardens = "temper not done" in (first.name, second.name)  # it makes hard, what the others cost
        if first.part != second.part and not hardens:
            return first, second


def _possible(cause: Cause, sort: str, house: House) -> bool:
    return cause.fits(house) and (cause.needs(house) is None) == (sort == "hidden")


def _question(
    rng: random.Random, seed: int, sort: str, causes: tuple[Cause, ...], house: House, good: tuple[Batch, ...]
) -> Case | None:
    plan, parts = usual(rng, house), {cause.part for cause in causes}
    plan, strengths = _strong_enough(rng, plan, house, causes)
    if strengths is None:
        return None
    beside = [c for c in COINCIDENCES if c.part not in parts and c.fits(house) and not plan.upsets]
    chosen = rng.sample(beside, min(len(beside), rng.choice((0, 1, 1, 2))))
    for coincidence in chosen:
        plan = coincidence.apply(rng, plan, house)
    asked = batch(rng, plan, house, day=3 * len(good) + 1, prefix="Q")
    usual_hrc = sum(b.mean_final() for b in good) / len(good)
    only = _only(causes, asked)
    lost = usual_hrc - asked.mean_final(only)
    if sort != "good" and abs(lost) < BAD_HRC or sort == "good" and abs(lost) > 1.0 + 0.4 * len(chosen):
        return None
    return Case(
        seed=seed,
        sort=sort,
        house=house,
        good=good,
        question=asked,
        truth=Truth(
            bad=sort != "good",
            causes=tuple(c.name for c in causes),
            needs=tuple(c.needs(house) for c in causes),
            coincidences=tuple(c.name for c in chosen),
        ),
        limits=(round(usual_hrc - 1.4, 1), round(usual_hrc + 1.4, 1)),
        only=only,
        names_good=rng.random() < 0.5,
    )


def _strong_enough(
    rng: random.Random, plan: Plan, house: House, causes: tuple[Cause, ...]
) -> tuple[Plan, tuple[float, ...] | None]:
    """Each cause as strong as it must be to be felt."""
    wanted = BAD_HRC + 0.5 if len(causes) == 1 else 1.1
    plain, strengths = plan, []
    draw = rng.random()
    for cause in causes:
        for w in STRENGTHS:
            alone = cause.apply(random.Random(draw), plain, house, w)
            if abs(_costs(alone, plain, house, cause)) >= wanted:
                break
        else:
            return plan, None
        strengths.append(w)
        plan = cause.apply(random.Random(draw), plan, house, w)
    return plan, tuple(strengths)


def _costs(plan: Plan, plain: Plan, house: House, cause: Cause) -> float:
    """HRC that a change of plan takes from the blades it touches."""

    def felt(of: Plan) -> float:
        made = batch(random.Random(1), of, house, day=0, prefix="T")
        blades = [b for b in made.blades if not _only((cause,), made) or b.name in _only((cause,), made)]
        return sum(sum(b.final) / len(b.final) for b in blades) / len(blades)

    return felt(plain) - felt(plan)


def _only(causes: tuple[Cause, ...], made: Batch) -> tuple[str, ...]:
    """The blades a cause touches, where it leaves others alone."""
    if any(c.back_only for c in causes):
        return tuple(b.name for b in made.blades if b.place == "back")
    if any(c.last_only for c in causes):
        return tuple(b.name for b in made.blades[-max(1, len(made.blades) // 2) :])
    return ()


__all__ = ["CAUSES", "COINCIDENCES", "DAY_S", "NOWHERE", "a_case"]
