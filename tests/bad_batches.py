"""Batches with a known cause, put into a log book the way a maker would: run folders, pieces, hardness, treatments.

Hardness follows from what each blade truly went through (its temperature in the simulated furnace), by rules of thumb
that only this file knows: less for a short or cold soak, for retained austenite after a hot one, for a slow quench.
Sizes of air-hardening stainless (engineering guesses): a soak of half the time costs half a point, 20 K too cold one,
a minute late to the plates half of one. What goes wrong here goes wrong by as much as pieces outside the limits take.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.record.moments import Stamp, utc_text
from tests.furnace_days import EVERY_S, HARDEN, HARDEN_HOT, TEMPER, Blade, Day, Fitting, Lived, live, record

HARDEN_NAME, TEMPER_NAME = "Chef's blades, harden", "Chef's blades, temper"
PLACES = ("front left", "front right", "middle left", "middle right", "back left", "back right")
COLD_PROGRAM = ((None, 780.0, 600.0), (400.0, 1040.0, 1500.0))
HOT_PROGRAM = ((None, 1040.0, 1500.0),)
OVEN = Fitting(name="tempering oven", signals=False, serial="T-9")


@dataclass
class Story:
    """One batch: the furnace's day, what was done afterwards, and how it was measured."""

    cause: str
    seed: int
    day: Day
    fitting: Fitting = Fitting()
    hot: bool = False
    quench_loss: dict[str, float] = field(default_factory=dict)  # points lost in the quench, by blade
    skin_loss: float = 0.0
    edge_loss: float = 0.0
    ground_check: bool = False
    measured_as_quenched: bool = True
    cold_after_h: float = 0.5
    cold_c: float = -78.0
    cold_done: bool = True
    temper_c: float | None = 200.0
    oven_off_c: float = 0.0  # what the tempering oven is hotter than it shows
    temper_after_h: float = 14.0
    tempers: int = 2
    temper_logged: bool = True
    block_error: float = 0.0
    section_mm: float | None = None
    load_n: float | None = None
    uneven: dict[str, float] = field(default_factory=dict)
    plates_c: float | None = None
    calibration_due: str | None = None

    @property
    def recipe(self) -> str:
        """Text of the recipe of its hardening, with narrower limits of hardness."""
        return (HARDEN_HOT if self.hot else HARDEN).replace("final = [58, 61]", "final = [58.7, 60.7]")


def blades(rng: np.random.Generator, count: int = 8, **every: object) -> tuple[Blade, ...]:
    """Blades of an ordinary charge: names are set when they are entered."""
    gap = float(rng.uniform(55, 80))
    thick = float(rng.choice([2.8, 3.0, 3.0, 3.2]))
    return tuple(
        Blade(
            f"blade {i}",
            thickness_mm=thick,
            pull_after_s=gap * i,
            plates_s=float(rng.uniform(6, 12)),
            place=PLACES[i % len(PLACES)],
            **every,  # type: ignore[arg-type]
        )
        for i in range(count)
    )


def ordinary(seed: int, *, hot: bool = False, count: int = 8) -> Story:
    """A day on which nothing goes wrong."""
    rng = np.random.default_rng(seed)
    room = float(rng.normal(20.0, 2.0))
    mains = float(rng.normal(1.0, 0.012))
    day = Day(
        seed=seed,
        program=HOT_PROGRAM if hot else COLD_PROGRAM,
        blades=blades(rng, count),
        room_c=room,
        mains=mains,
        hot_load=hot,
        extra_hold_s=float(rng.uniform(120, 300)) + (420.0 if hot else 0.0),
        sensor_error={"offset": float(rng.normal(0.0, 0.3))},
    )
    return Story("good", seed, day, hot=hot, cold_after_h=float(rng.uniform(0.3, 0.8)))


# hardness, by rules of thumb


def as_quenched_hrc(story: Story, lived: Lived, blade: Blade, rng: np.random.Generator) -> tuple[float, float]:
    """Hardness after the quench and what a cold treatment can bring back [HRC]."""
    temps = lived.blades_c[blade.name]
    t = np.arange(temps.size) * EVERY_S
    pull = next((at for at, act, names in lived.marks if act == "pull" and blade.name in names), lived.end_s)
    before = temps[t <= pull]
    peak = float(np.quantile(before[-40:], 0.7)) if before.size > 40 else float(before.max())
    soak_s = float(np.count_nonzero(before > min(1030.0, peak - 10.0))) * EVERY_S
    loss = float(np.interp(soak_s / 1400.0, (0.0, 0.2, 0.5, 0.7, 0.9), (6.0, 2.6, 0.7, 0.25, 0.0)))
    cold = float(np.interp(1034.0 - peak, (0.0, 10.0, 20.0, 40.0, 80.0, 300.0), (0.0, 0.35, 0.9, 2.1, 7.0, 30.0)))
    austenite = float(np.interp(peak - 1044.0, (0.0, 30.0, 60.0, 90.0), (0.0, 0.8, 2.6, 5.0)))
    slow = float(np.interp(blade.plates_s - 10.0, (0.0, 20.0, 60.0, 120.0, 300.0), (0.0, 0.15, 0.5, 1.3, 3.2)))
    lost = max(loss, cold) + austenite + slow + story.quench_loss.get(blade.name, 0.0)
    return max(62.0 - lost + rng.normal(0, 0.25), 35.0), austenite


def final_hrc(story: Story, quenched: float, kept: float) -> float:
    """Hardness after cold treatment and tempers [HRC]."""
    late = float(np.interp(story.cold_after_h, (2.0, 5.0, 24.0, 100.0), (1.0, 0.93, 0.8, 0.7)))
    deep = min(1.0, max(0.0, (20.0 - story.cold_c) / 98.0)) if story.cold_done else 0.0
    cold = (2.0 + 0.5 * kept) * late * deep
    if story.temper_c is None or story.tempers == 0:
        return quenched + cold + 0.5
    return (
        quenched
        + cold
        - 4.3
        - 0.027 * (story.temper_c + story.oven_off_c - 200.0)
        + (0.4 if story.tempers < 2 else 0.0)
    )


# entering a story


@dataclass
class Shop:
    """A log book with its furnaces; stories are entered one after the other, days apart."""

    book: LogBook
    folder: Path
    day: datetime
    entered: int = 0
    known: set[str] = field(default_factory=set)
    logged_tempers: bool = True

    @classmethod
    def opened(cls, folder: Path, first_day: datetime) -> Shop:
        """A shop with a new log book."""
        return cls(open_logbook(folder, create=True), folder, first_day)

    def furnish(self, story: Story, *, good: int = 6) -> Story:
        """Put a story on a furnace that has good runs before it; those are shared by stories of the same kind."""
        kind = f"{'hot' if story.hot else 'cold'} {story.fitting.recording:d}{story.fitting.signals:d}"
        own = story.cause == "thermocouple drift" or story.calibration_due is not None
        name = f"furnace {kind}" + (f" {story.seed}" if own else "")
        fitting = replace(story.fitting, name=name)
        base = replace(fitting, input_offset=0.0)
        if name not in self.known:
            self.known.add(name)
            self._first_days(story, base, good)
        return replace(story, fitting=fitting)

    def _first_days(self, story: Story, base: Fitting, good: int) -> None:
        stamp = Stamp(utc_text(self.now), "Ana")
        life = fit_sensor(
            self.book, base.name, "control", fitted_utc=utc_text(self.now), serial=base.serial, stamp=stamp
        )
        days = [ordinary(50_000 + 1000 * len(self.known) + n, hot=story.hot) for n in range(good)]
        if story.cause == "thermocouple drift":
            days += [ordinary(70_000 + 100 * story.seed + n, hot=story.hot) for n in range(6)]
            for number, aging in enumerate(days[good:], start=1):
                aging.day.sensor_error = {"share": story.day.sensor_error["share"] * number / 7}
        if story.calibration_due:
            due = (self.now + timedelta(days=2 * len(days) + 1)).date().isoformat()
            add_calibration(
                self.book, life=life, done_on=self.now.date().isoformat(), due_on=due, done_by="Ana",
                correction=FLAT, stamp=stamp,
            )  # fmt: skip
        for aging in days:
            self.enter(replace(aging, fitting=base, temper_logged=self.logged_tempers))

    @property
    def now(self) -> datetime:
        """Day of the next story."""
        return self.day + timedelta(days=2 * self.entered)

    def enter(self, story: Story, *, rename: str | None = None) -> list[str]:
        """Live the story, record and enter everything; return the names of its pieces."""
        self.entered += 1
        start = self.now
        prefix = rename or f"P{self.entered:04d}"
        names = {b.name: f"{prefix}-{i:02d}" for i, b in enumerate(story.day.blades)}
        day = replace(story.day, start=start, blades=tuple(replace(b, name=names[b.name]) for b in story.day.blades))
        story = replace(
            story,
            day=day,
            quench_loss={names[k]: v for k, v in story.quench_loss.items()},
            uneven={names[k]: v for k, v in story.uneven.items()},
        )
        lived = live(day)
        stamp = Stamp(utc_text(start), "Ana")
        run = record(lived, story.fitting, self.folder, (HARDEN_NAME, story.recipe)).name
        with self.book.writing(stamp):
            take_in(self.book, stamp=stamp)
            self._pieces(story, run, stamp)
            quenched = start + timedelta(seconds=lived.end_s)
            self._after(story, lived, quenched, stamp)
        return list(names.values())

    def _pieces(self, story: Story, run: str, stamp: Stamp) -> None:
        for b in story.day.blades:
            add_pieces(self.book, [Piece(b.name, steel=b.steel, lot=b.lot, thickness_mm=b.thickness_mm)], stamp=stamp)
            charge_pieces(
                self.book, [b.name], stamp=stamp, run=run, number=1, place=b.place, foil=b.foil, blades=b.blades
            )

    def _after(self, story: Story, lived: Lived, quenched: datetime, stamp: Stamp) -> None:
        rng = np.random.default_rng(story.seed + 7)
        names = [b.name for b in story.day.blades]
        tempers = self._tempers(story, quenched, names, stamp) if story.temper_c is not None else 0
        story = replace(story, tempers=tempers)
        cold = quenched + timedelta(hours=story.cold_after_h)
        if story.cold_done:
            add_treatment(
            self.book, names, "cold treatment", start_utc=utc_text(cold), end_utc=utc_text(cold + timedelta(hours=2)),
            lowest_c=story.cold_c, stamp=stamp,
        )  # fmt: skip
        if story.plates_c is not None:
            add_treatment(
                self.book, names, "plate quench", start_utc=utc_text(quenched), shown_c=story.plates_c, stamp=stamp
            )
        for b in story.day.blades:
            hard, kept = as_quenched_hrc(story, lived, b, rng)
            if story.measured_as_quenched:
                self._measure(story, b, hard, "quench", quenched + timedelta(minutes=15), stamp, rng)
            last = quenched + timedelta(days=1, hours=20)
            end = final_hrc(story, hard, kept)
            self._measure(story, b, end - story.skin_loss, "second temper", last, stamp, rng)
            if story.ground_check:
                self._measure(story, b, end, "grinding", last, stamp, rng, ground_off_mm=0.15)
            if story.edge_loss:
                self._measure(story, b, end - story.edge_loss, "finish", last, stamp, rng, spot="edge")
                self._measure(story, b, end, "finish", last, stamp, rng, spot="spine")
        if story.edge_loss:
            add_treatment(self.book, names, "finish grinding", start_utc=utc_text(last), stamp=stamp)

    def _tempers(self, story: Story, quenched: datetime, names: list[str], stamp: Stamp) -> int:
        """Temper in the logged oven, or enter what the oven showed."""
        assert story.temper_c is not None
        for number in range(story.tempers):
            start = quenched + timedelta(hours=story.temper_after_h + 6.0 * number)
            if story.temper_logged:
                oven = Day(
                    seed=story.seed + number, start=start, program=((None, story.temper_c, 7200.0),), cooling=False,
                    extra_hold_s=300.0,
                )  # fmt: skip
                run = record(live(oven), OVEN, self.folder, (TEMPER_NAME, TEMPER)).name
                take_in(self.book, stamp=stamp)
                charge_pieces(self.book, names, stamp=stamp, run=run, foil=False)
            else:
                add_treatment(
                    self.book, names, "temper", start_utc=utc_text(start), end_utc=utc_text(start + timedelta(hours=2)),
                    shown_c=story.temper_c, stamp=stamp,
                )  # fmt: skip
        return story.tempers

    def _measure(
        self,
        story: Story,
        blade: Blade,
        hardness: float,
        step: str,
        at: datetime,
        stamp: Stamp,
        rng: np.random.Generator,
        **where: object,
    ) -> None:
        spread = story.uneven.get(blade.name, 0.2)
        low = -3.0 if story.section_mm is not None else 0.0
        values = tuple(round(float(hardness + low + story.block_error + rng.normal(0, spread)), 1) for _ in range(4))
        if spread > 1.0:
            values = tuple(round(v - spread * k, 1) for v, k in zip(values, (0.0, 1.4, 0.3, 1.0), strict=True))
        block = 60.3 + story.block_error
        test = HardnessReading(
            values, block_value=60.3, block_readings=(round(block + 0.1, 1), round(block - 0.1, 1)),
            thickness_mm=story.section_mm, load_n=story.load_n,
        )  # fmt: skip
        add_hardness(
            self.book, blade.name, test, measured_utc=utc_text(at), side="after", step=step, stamp=stamp, **where  # type: ignore[arg-type]
        )  # fmt: skip


# stories with a cause


def _changed(story: Story, cause: str, **changes: object) -> Story:
    """A story with its day (or itself) changed."""
    own = {k: v for k, v in changes.items() if k in Story.__dataclass_fields__}
    of_day = {k: v for k, v in changes.items() if k not in own}
    return replace(story, cause=cause, day=replace(story.day, **of_day), **own)  # type: ignore[arg-type]


def _lost(story: Story, rng: np.random.Generator) -> dict[str, float]:
    """Points that every blade lost, where no rule of thumb of this file says how."""
    return {b.name: float(rng.uniform(2.2, 3.2)) for b in story.day.blades}


def _of_some(story: Story, which: Sequence[int], **changes: object) -> tuple[Blade, ...]:
    return tuple(
        replace(b, **changes) if i in which else b  # type: ignore[arg-type]
        for i, b in enumerate(story.day.blades)
    )


def short_soak(s: Story, rng: np.random.Generator) -> Story:
    held = float(rng.uniform(0.06, 0.2)) * 1500.0
    if rng.random() < 0.5:  # pulled early, with the program as it should be
        early = held - 1500.0 - s.day.extra_hold_s
        return _changed(
            s, "short soak", blades=tuple(replace(b, pull_after_s=early + b.pull_after_s) for b in s.day.blades)
        )
    program = (*s.day.program[:-1], (*s.day.program[-1][:2], held))
    plain = replace(s.fitting, signals=False)
    return _changed(s, "short soak", program=program, extra_hold_s=0.0, fitting=plain)


def packet_lag(s: Story, rng: np.random.Generator) -> Story:
    s = ordinary(s.seed, hot=True)
    thick = _of_some(s, (1, 4, 6), thickness_mm=float(rng.uniform(5.5, 7.0)))
    return _changed(s, "packet lag ate the soak", blades=thick, extra_hold_s=-400.0)


def loaded_early(s: Story, rng: np.random.Generator) -> Story:
    s = ordinary(s.seed, hot=True)
    at = float(rng.uniform(2300, 2900))
    return _changed(s, "loaded before the furnace had recovered", load_at_s=at, extra_hold_s=-1100.0)


def too_cold(s: Story, rng: np.random.Generator) -> Story:
    # no logged setpoint: nothing tells why
    low = float(rng.uniform(35, 60))
    program = (*s.day.program[:-1], (s.day.program[-1][0], 1040.0 - low, 1500.0))
    return _changed(s, "too cold", program=program, fitting=replace(s.fitting, signals=False))


def too_hot(s: Story, rng: np.random.Generator) -> Story:
    high = float(rng.uniform(65, 95))
    program = (*s.day.program[:-1], (s.day.program[-1][0], 1040.0 + high, 1500.0))
    return _changed(s, "too hot", program=program, fitting=replace(s.fitting, signals=False))


def program_edited(s: Story, rng: np.random.Generator) -> Story:
    off = float(rng.choice([-55.0, -45.0, -35.0, 65.0, 75.0, 85.0]))
    program = (*s.day.program[:-1], (s.day.program[-1][0], 1040.0 + off, 1500.0))
    return _changed(s, "program edited", program=program)


def offset_changed(s: Story, rng: np.random.Generator) -> Story:
    off = float(rng.uniform(35, 50)) if rng.random() < 0.6 else -float(rng.uniform(65, 85))
    fitting = replace(s.fitting, recording=True)
    if rng.random() < 0.4:
        fitting = replace(fitting, input_offset=off, recording=False)
    return _changed(s, "controller offset changed", sensor_error={"offset": off}, fitting=fitting)


def wrong_type(s: Story, rng: np.random.Generator) -> Story:
    way = {"type": float(rng.choice([-1.0, 1.0]))}
    return _changed(s, "wrong thermocouple type", sensor_error=way, fitting=replace(s.fitting, recording=True))


def wrong_lead(s: Story, rng: np.random.Generator) -> Story:
    size = 1.3 if rng.random() < 0.6 else 1.0
    return _changed(
        s, "reversed or wrong extension lead", sensor_error={"lead": size * float(rng.uniform(1.6, 2.2))},
        fitting=replace(s.fitting, recording=True),
    )  # fmt: skip


def drift(s: Story, rng: np.random.Generator) -> Story:
    share = -float(rng.uniform(0.065, 0.08)) if rng.random() < 0.5 else float(rng.uniform(0.034, 0.045))
    return _changed(s, "thermocouple drift", sensor_error={"share": share}, fitting=replace(s.fitting, recording=True))


def open_circuit(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "open circuit", fault=(float(rng.uniform(60, 200)), float(rng.uniform(900, 1200))))


def unit_mixed_up(s: Story, rng: np.random.Generator) -> Story:
    program = ((None, (780.0 - 32) / 1.8, 600.0), (400.0, (1040.0 - 32) / 1.8, 1500.0))
    return _changed(s, "°C/°F mix-up", program=program)


def by_the_clock(s: Story, seconds: float) -> tuple[Blade, ...]:
    """Pieces pulled so much too early: when they always are, by the clock, from a furnace that was late."""
    early = -seconds - s.day.extra_hold_s
    return tuple(replace(b, pull_after_s=early + b.pull_after_s) for b in s.day.blades)


def power_low(s: Story, rng: np.random.Generator) -> Story:
    power = float(rng.uniform(0.62, 0.76))
    return _changed(s, "low mains voltage or aged element", mains=power, blades=by_the_clock(s, 1300.0))


def overloaded(s: Story, rng: np.random.Generator) -> Story:
    s = ordinary(s.seed, hot=True, count=int(rng.integers(14, 19)))
    many = tuple(replace(b, pull_after_s=12.0 * i, blades=1) for i, b in enumerate(s.day.blades))
    return _changed(s, "overloaded charge", blades=many, extra_hold_s=-400.0)


def door_opened(s: Story, rng: np.random.Generator) -> Story:
    doors = ((float(rng.uniform(60, 200)), float(rng.uniform(900, 1200))),)
    return _changed(s, "door opened", doors=doors)


def power_cut(s: Story, rng: np.random.Generator) -> Story:
    cut = (float(rng.uniform(60, 200)), float(rng.uniform(900, 1200)))
    gap = cut if rng.random() < 0.4 else None
    return _changed(s, "power cut", cut=cut, record_gap=gap)


def tripped(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "heating circuit tripped", cut=(float(rng.uniform(60, 200)), 50_000.0))


def held_too_long(s: Story, rng: np.random.Generator) -> Story:
    long = float(rng.uniform(4.5, 7.0)) * 1500.0
    coarse = {b.name: float(rng.uniform(1.4, 2.2)) for b in s.day.blades}
    return _changed(s, "held too long", extra_hold_s=long, quench_loss=coarse)


def late_quench(s: Story, rng: np.random.Generator) -> Story:
    slow = tuple(replace(b, plates_s=float(rng.uniform(160, 290))) for b in s.day.blades)
    if rng.random() < 0.4:
        slow = tuple(
            replace(b, plates_s=float(rng.uniform(160, 290))) if i in (2, 5, 7) else b
            for i, b in enumerate(s.day.blades)
        )
    return _changed(s, "late quench", blades=slow)


def warm_plates(s: Story, rng: np.random.Generator) -> Story:
    step = float(rng.uniform(0.55, 0.9))
    quick = tuple(replace(b, pull_after_s=25.0 * i) for i, b in enumerate(s.day.blades))
    lost = {b.name: step * i for i, b in enumerate(quick)}
    return _changed(s, "plates warmed by the blades before", blades=quick, quench_loss=lost)


def poor_contact(s: Story, rng: np.random.Generator) -> Story:
    which = rng.choice(len(s.day.blades), size=int(rng.integers(1, 3)), replace=False)
    names = [s.day.blades[int(i)].name for i in which]
    uneven = {n: float(rng.uniform(2.0, 3.0)) for n in names}
    return _changed(s, "poor plate contact", quench_loss={n: 3.0 for n in names}, uneven=uneven)


def temper_missed(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "temper missed", tempers=0)


def temper_too_cold(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "temper too cold", temper_c=float(rng.uniform(140, 165)), temper_logged=bool(rng.random() < 0.6))


def temper_too_hot(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "temper too hot", temper_c=float(rng.uniform(255, 290)), temper_logged=bool(rng.random() < 0.6))


def cold_treatment(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "cold treatment late or warm", cold_c=float(rng.uniform(-25, 0)))


def oven_reads_wrong(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "tempering oven reads wrong", oven_off_c=float(rng.uniform(50, 80)), temper_logged=False)


def place(s: Story, rng: np.random.Generator) -> Story:
    where = str(rng.choice(["front left", "back right"]))
    rest = tuple(replace(b, place="middle left" if i % 2 else "middle right") for i, b in enumerate(s.day.blades))
    s = _changed(s, "place in the furnace", blades=rest)
    return _changed(s, s.cause, blades=_of_some(s, (0, 3, 5), place=where, place_off_c=-45.0))


def leaking_foil(s: Story, rng: np.random.Generator) -> Story:
    return _changed(
        s, "leaking foil", skin_loss=float(rng.uniform(2.5, 5)), ground_check=True, measured_as_quenched=False
    )


def ground_hot(s: Story, rng: np.random.Generator) -> Story:
    return _changed(s, "overheated in finish grinding", edge_loss=float(rng.uniform(2.5, 6)))


def mixed_bar(s: Story, rng: np.random.Generator) -> Story:
    odd = _of_some(s, (1, 2, 6), lot=str(rng.choice(["8110", "7734"])))
    return _changed(
        s, "mixed or wrong bar", blades=odd, quench_loss={odd[i].name: float(rng.uniform(3, 5)) for i in (1, 2, 6)}
    )


def tester(s: Story, rng: np.random.Generator) -> Story:
    if rng.random() < 0.6:
        return _changed(s, "hardness tester", block_error=-float(rng.uniform(2.0, 4.0)))
    return _changed(s, "hardness tester", section_mm=float(rng.uniform(0.4, 0.6)))


def new_lot(s: Story, rng: np.random.Generator) -> Story:
    every = tuple(replace(b, lot="9001") for b in s.day.blades)
    return _changed(s, "mixed or wrong bar", blades=every, quench_loss=_lost(s, rng))


def part_of_rack(s: Story, rng: np.random.Generator) -> Story:
    rack = tuple(replace(b, place=f"slot {i + 1}") for i, b in enumerate(s.day.blades))
    ends = _of_some(replace(s, day=replace(s.day, blades=rack)), (5, 6, 7), place_off_c=-45.0)
    return _changed(s, "place in the furnace", blades=ends)


def record_gap(s: Story, rng: np.random.Generator) -> Story:
    lost = _lost(s, rng)
    gap = (float(rng.uniform(60, 150)), float(rng.uniform(1250, 1400)))
    return _changed(s, "record gap", extra_hold_s=0.0, record_gap=gap, quench_loss=lost)


def nothing(s: Story, rng: np.random.Generator) -> Story:
    return _changed(
        s, "the record shows nothing", quench_loss={b.name: float(rng.uniform(2.5, 4)) for b in s.day.blades}
    )


# what happened beside a cause that is not on record, and is far too little to be one


def overdue(s: Story, rng: np.random.Generator) -> Story:
    return replace(nothing(s, rng), calibration_due="past")


def temper_late(s: Story, rng: np.random.Generator) -> Story:
    return replace(nothing(s, rng), temper_after_h=float(rng.uniform(60, 150)))


def setpoint_a_little_low(s: Story, rng: np.random.Generator) -> Story:
    program = (*s.day.program[:-1], (s.day.program[-1][0], 1037.0, 1500.0))
    return _changed(nothing(s, rng), "the record shows nothing", program=program)


def plates_a_little_late(s: Story, rng: np.random.Generator) -> Story:
    slow = tuple(replace(b, plates_s=20.0) for b in s.day.blades)
    return _changed(nothing(s, rng), "the record shows nothing", blades=slow)


def door_for_a_moment(s: Story, rng: np.random.Generator) -> Story:
    return _changed(nothing(s, rng), "the record shows nothing", doors=((float(rng.uniform(200, 900)), 30.0),))


def block_a_little_off(s: Story, rng: np.random.Generator) -> Story:
    return replace(nothing(s, rng), block_error=-0.9)


def temper_a_little_hot(s: Story, rng: np.random.Generator) -> Story:
    return replace(nothing(s, rng), temper_c=212.0)


def cold_at_five_hours(s: Story, rng: np.random.Generator) -> Story:
    return replace(nothing(s, rng), cold_after_h=5.0)


def mains_a_little_low(s: Story, rng: np.random.Generator) -> Story:
    return _changed(nothing(s, rng), "the record shows nothing", mains=0.88)


def three_minutes_missing(s: Story, rng: np.random.Generator) -> Story:
    longer = s.day.extra_hold_s + 180.0
    gap = (float(rng.uniform(200, 900)), 180.0)
    return _changed(nothing(s, rng), "the record shows nothing", record_gap=gap, extra_hold_s=longer)


CAUSES: tuple[Callable[[Story, np.random.Generator], Story], ...] = (
    short_soak, packet_lag, loaded_early, too_cold, too_hot, program_edited, offset_changed, wrong_type, wrong_lead,
    drift, open_circuit, unit_mixed_up, power_low, overloaded, door_opened, power_cut, tripped, held_too_long,
    late_quench, warm_plates, poor_contact, temper_missed, temper_too_cold, temper_too_hot, cold_treatment,
    oven_reads_wrong, place, part_of_rack, leaking_foil, ground_hot, mixed_bar, new_lot, tester, record_gap, nothing,
)  # fmt: skip
COINCIDENCES: tuple[Callable[[Story, np.random.Generator], Story], ...] = (
    overdue, temper_late, setpoint_a_little_low, plates_a_little_late, door_for_a_moment, block_a_little_off,
    temper_a_little_hot, cold_at_five_hours, mains_a_little_low, three_minutes_missing,
)  # fmt: skip


def bad_batch(number: int, *, make: Callable[[Story, np.random.Generator], Story] | None = None) -> Story:
    """A batch with the cause whose turn it is."""
    all_of_them = (*CAUSES, *COINCIDENCES)
    make = make or all_of_them[number % len(all_of_them)]
    rng = np.random.default_rng(900_000 + number)
    story = make(ordinary(10_000 + number), rng)
    return story


FLAT = {
    "format": 1, "furnace": "small furnace", "sensor": "control", "model": "constant", "why": "made up for a test",
    "points": [], "table": {"reading_c": [20.0, 1100.0], "correction_c": [0.0, 0.0], "expanded_c": [2.0, 2.0]},
    "done_on": "2026-01-01", "due_on": None, "done_by": "Ana",
}  # fmt: skip
