"""Batches of small workshops, drawn by a foreign hand: good ones, then one in question whose truth is known.

Nothing here knows how the program judges, or how a case gets into a log book (foreign_batch_entry.py).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import Any

from tests.foreign_furnace import Chamber, Charge, Fired, Firing, Leg, Upset, a_chamber, fire
from tests.foreign_metallurgy import Came, Stay, Steel, a_steel, hardness, readings

DAY_S = 86400.0
EACH_PULL_S = 20.0
BAD_HRC = 1.6  # such a loss is a bad batch; the testers scatter by a third of it


@dataclass(frozen=True)
class Shop:
    """How a workshop keeps its record."""

    kind: str
    marks: str  # "each", "together", "load only", "none"
    load_sensor: bool
    output: bool
    imported: bool  # a memory logger's table, taken in afterwards
    places: bool
    as_quenched: bool
    block: bool
    names_who: bool  # operator, tester and oven
    ground_test: bool
    good: int
    every_s: float


def a_shop(rng: random.Random) -> Shop:
    """One of five kinds."""
    many, few = rng.randint(5, 8), rng.randint(3, 4)
    return rng.choice(
        (
            Shop("careful bench", "each", False, True, False, True, True, True, True, True, many, 30.0),
            Shop("load sensor", "each", True, True, False, True, True, True, True, True, few, 30.0),
            Shop("sloppy", rng.choice(("none", "load only")), False, True, False, False, False, False, False,
                 False, few, 30.0),
            Shop("memory logger", "none", False, False, True, True, rng.random() < 0.5, False, True, False, few, 60.0),
            Shop("half kept", "together", rng.random() < 0.5, False, False, rng.random() < 0.5, rng.random() < 0.5,
                 rng.random() < 0.5, False, rng.random() < 0.5, many, 30.0),
        )
    )  # fmt: skip


@dataclass(frozen=True)
class House:
    """What stays the same in one workshop."""

    shop: Shop
    chamber: Chamber
    steel: Steel
    set_c: float
    asked_s: float
    more_s: float  # the program's hold beyond what is asked: blades come late
    hot: bool
    thickness_mm: float
    mass_kg: float
    count: int
    cold: bool
    temper_c: float
    tester: float  # scatter of one reading [HRC]
    tester_off: float
    start_s: float


@dataclass
class Plan:
    """What is going to happen to one batch; causes and coincidences change it."""

    set_c: float
    hold_s: float
    thickness_mm: float
    mass_kg: float
    steel: Steel
    delay_s: float
    mains: float
    ambient_c: float
    temper_true_c: float
    temper_shown_c: float
    cold_hours: float | None
    view: float = 1.0
    reads_off_c: float = 0.0
    heater: float = 1.0
    waits: bool = True
    upsets: list[Upset] = field(default_factory=list)
    warm_by_order: float = 0.0
    leaked: bool = False
    tempers: int = 2
    steel_name: str = "S44004"
    lot: str = "7733"
    tester_name: str = "bench tester"
    tester_off: float = 0.0
    operator: str = "Ana"
    back_c: float = 0.0  # how much colder the back of the rack is
    sensor_test_c: float | None = None  # found by a test of the control sensor afterwards
    oven_test_c: float | None = None  # what a second thermometer in the oven said
    gap_s: tuple[float, float] | None = None  # of the record, nothing else
    careless: float = 0.0  # HRC that a hand costs by what nobody writes down


@dataclass(frozen=True)
class Blade:
    """One piece, what was done to it, what was measured of it."""

    name: str
    steel: str
    lot: str
    thickness_mm: float
    place: str
    crowd: int  # blades in its packet
    pull_s: float
    plates_s: float
    cold_hours: float | None
    temper_shown_c: float | None
    oven_test_c: float | None
    tempers: int
    quenched: tuple[float, ...]
    final: tuple[float, ...]
    ground: tuple[float, ...]  # again, 0.2 mm deeper
    true: Came


@dataclass(frozen=True)
class Batch:
    """One run with its blades."""

    day: int
    fired: Fired
    gap_s: tuple[float, float] | None
    dark_is_gap: bool
    operator: str
    mass_kg: float
    tester: str
    block: tuple[float, ...]
    block_value: float
    sensor_test_c: float | None
    reading_seed: str
    blades: tuple[Blade, ...]

    def mean_final(self, only: tuple[str, ...] = ()) -> float:
        """As the tester has it; ``only`` these blades."""
        every = [sum(b.final) / len(b.final) for b in self.blades if not only or b.name in only]
        return sum(every) / len(every)


@dataclass(frozen=True)
class Truth:
    """``needs``: what has to be enterable for a cause to be on record at all, one set a cause; None: it never is."""

    bad: bool
    causes: tuple[str, ...] = ()
    needs: tuple[frozenset[str] | None, ...] = ()
    coincidences: tuple[str, ...] = ()

    def on_record(self, can_enter: frozenset[str]) -> tuple[str, ...]:
        """Causes that the log book can hold evidence of."""
        return tuple(c for c, n in zip(self.causes, self.needs, strict=True) if n is not None and n <= can_enter)


@dataclass(frozen=True)
class Case:
    """Good batches, and the one in question."""

    seed: int
    sort: str
    house: House
    good: tuple[Batch, ...]
    question: Batch
    truth: Truth
    limits: tuple[float, float]
    only: tuple[str, ...] = ()  # names of the bad blades, where the others came out right
    names_good: bool = False  # the user says which were good

    def __str__(self) -> str:
        shop = self.house.shop
        lost = sum(b.mean_final() for b in self.good) / len(self.good) - self.question.mean_final(self.only)
        return (
            f"{self.sort}; {shop.kind}, {len(self.good)} good; truth {' + '.join(self.truth.causes) or 'nothing'}"
            f"{'; beside it ' + ', '.join(self.truth.coincidences) if self.truth.coincidences else ''}; "
            f"{lost:+.1f} HRC lost"
        )


def a_house(rng: random.Random) -> House:
    """Draw a workshop."""
    shop, best_c = a_shop(rng), float(rng.choice((1030, 1040, 1050, 1065)))
    return House(
        shop=shop,
        chamber=a_chamber(rng),
        steel=a_steel(rng, best_c),
        set_c=best_c,
        asked_s=60.0 * rng.choice((15, 18, 20, 25)),
        more_s=60.0 * rng.choice((4, 5, 6)),
        hot=shop.marks != "none" and rng.random() < 0.4,
        thickness_mm=rng.choice((2.5, 3.0, 3.0, 4.0)),
        mass_kg=rng.uniform(0.35, 0.9),
        count=rng.randint(3, 6),
        cold=rng.random() < 0.6,
        temper_c=float(rng.choice((170, 180, 200, 200, 220))),
        tester=rng.uniform(0.25, 0.5),
        tester_off=rng.gauss(0.0, 0.3),
        start_s=rng.uniform(0, 300) * DAY_S,
    )


def usual(rng: random.Random, house: House) -> Plan:
    """A batch as it goes when nothing happens."""
    return Plan(
        set_c=house.set_c,
        hold_s=house.asked_s + house.more_s,
        thickness_mm=house.thickness_mm,
        mass_kg=house.mass_kg * rng.uniform(0.85, 1.15),
        steel=house.steel,
        delay_s=rng.uniform(8.0, 16.0),
        mains=1.0 + rng.uniform(-0.012, 0.012),
        ambient_c=rng.uniform(12.0, 27.0),
        temper_true_c=house.temper_c + rng.gauss(0.0, 2.0),
        temper_shown_c=house.temper_c,
        cold_hours=rng.uniform(0.5, 1.5) if house.cold else None,
        tester_off=house.tester_off,
    )


def firing(plan: Plan, house: House, seed: str) -> Firing:
    """The furnace's part of a plan."""
    hold_s = plan.hold_s
    return Firing(
        chamber=house.chamber,
        legs=(
            Leg(780.0 if plan.set_c > 900 else plan.set_c - 150.0, None, 600.0),
            Leg(plan.set_c, 900.0, 8 * 3600.0 if house.hot else hold_s),
        ),
        charge=Charge(plan.mass_kg, plan.thickness_mm, 0.3, plan.view),
        ambient_c=plan.ambient_c,
        mains=plan.mains,
        heater=plan.heater,
        reads_off_c=plan.reads_off_c,
        hot_load=house.hot,
        stay_s=hold_s + 420.0 if house.hot else None,
        waits=plan.waits,
        upsets=tuple(plan.upsets),
        clears_s=EACH_PULL_S * house.count,
        cools_s=1500.0,
        noise_seed=seed,
    )


def batch(rng: random.Random, plan: Plan, house: House, *, day: int, prefix: str) -> Batch:
    """Let it happen and measure it."""
    fired = fire(firing(plan, house, f"{prefix} {day}"))
    shop, block_value = house.shop, 60.3
    blades = []
    for number in range(house.count):
        at_back = number >= house.count - house.count // 2
        pull_s = fired.end_s + EACH_PULL_S * number
        plates_s = plan.delay_s * rng.uniform(0.85, 1.15)
        stay = Stay(
            trace=_work(fired, plan, plan.back_c if at_back else 0.0),
            plates_s=plates_s,
            plates_warm=plan.careless + plan.warm_by_order * number,
            cold_hours=plan.cold_hours,
            temper_c=plan.temper_true_c if plan.tempers else None,
            tempers=max(1, plan.tempers),
        )
        came = hardness(replace(plan.steel, peak=plan.steel.peak + rng.gauss(0.0, 0.12)), stay)
        skin = rng.uniform(3.0, 9.0) if plan.leaked else 0.0

        def read(true: float, soft: float = skin) -> tuple[float, ...]:
            return readings(rng, true - soft, plan.tester_off, house.tester)

        blades.append(
            Blade(
                name=f"{prefix}-{number + 1:02d}",
                steel=plan.steel_name,
                lot=plan.lot,
                thickness_mm=plan.thickness_mm,
                place="back" if at_back else "front",
                crowd=1 if plan.view > 0.6 else 3,
                pull_s=pull_s,
                plates_s=plates_s,
                cold_hours=plan.cold_hours,
                temper_shown_c=plan.temper_shown_c if plan.tempers else None,
                oven_test_c=plan.oven_test_c,
                tempers=plan.tempers,
                quenched=read(came.quenched) if shop.as_quenched else (),
                final=read(came.final),
                ground=read(came.final, 0.0) if plan.leaked and shop.ground_test else (),
                true=came,
            )
        )
    block = tuple(round(block_value + plan.tester_off + rng.gauss(0, 0.2), 1) for _ in range(2)) if shop.block else ()
    return Batch(
        day, fired, plan.gap_s, rng.random() < 0.5, plan.operator, plan.mass_kg, plan.tester_name, block,
        block_value, plan.sensor_test_c, f"{prefix} {day} readings", tuple(blades),
    )  # fmt: skip


def _work(fired: Fired, plan: Plan, colder_c: float) -> tuple[tuple[float, float], ...]:
    """A blade's own trace from load to pull, in half minutes."""
    charge = Charge(plan.mass_kg, plan.thickness_mm, 0.3, plan.view)
    out, at_c = [], plan.ambient_c
    for before, moment in zip(fired.moments[::3], fired.moments[3::3], strict=False):
        if not fired.load_s <= before.t_s < fired.end_s:
            continue
        for_s, around_c = moment.t_s - before.t_s, before.chamber_c * (1.0 - colder_c / 1000.0)
        at_c += (around_c - at_c) * min(1.0, for_s / (charge.lag_s(around_c, at_c) + for_s / 2.0))
        out.append((for_s, at_c))
    return tuple(out)


def changed(plan: Plan, **facts: Any) -> Plan:
    """The plan with these facts, its list of upsets its own."""
    return replace(plan, **{"upsets": list(plan.upsets), **facts})
