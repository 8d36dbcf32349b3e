"""Days of small workshops under watch, by a hand that had not read the rules: each heating is one run, nothing else is.

A run that the watch itself calls doubtful is counted apart, for nobody is told of it and nobody loses it: a heating
that has only such a run is "in doubt", not missed, and such a run without a heating is "doubtful, none", not invented.
Days with equal readings and unequal truths stand among these, so that missed and invented cannot both be 0 without it;
both columns are printed, because many of either would tell on the maker all the same.

Long form: python -m tests.campaigns.foreign_days [DAYS [FIRST]]
"""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, LineSource, LinkSettings, Sensor, Signal
from soakwitness.firmware_bridge.recording.now import shows_heat
from soakwitness.firmware_bridge.recording.watching import OLDER_S
from soakwitness.firmware_bridge.recording.when_heating_begins import Heating
from tests.foreign_shop import STEP_S, Day, Instrument, Moment, Program, Shop, a_day

COLD_C = 50.0  # a run is over below this: help of `watch`
LATE_S = 900.0
TOUCH_S = 300.0  # a run that shares less with a heating is not its run
EARLY_S = 1800.0  # five minutes are kept from before; a start is not told to the minute
HARDLY_S = 1200.0  # of work: hot bricks hold such a temper by themselves
IDLE_S = 7200.0  # not heated for so long: the run is sealed
HOT_IDLE_S = IDLE_S + 48 * 60  # over 100 degC and no output read: page service
ASKED_IDLE_S = 4.5 * 3600  # while the setpoint asks for heat: page service
SLACK_S = 15 * 60.0  # a fall is not told from a hold to the minute
SOURCE = LineSource(field=1)
COUNTED_APART = ("in doubt", "doubtful, none")
FAULTS = ("missed", "invented", "split", "merged", "begun late", "begun early", "sealed early", "sealed late")


@dataclass(frozen=True)
class Run:
    """What the watch made: recorded from, decided at, sealed at; why, both; whether it stayed doubtful."""

    from_s: float
    begun_s: float
    end_s: float
    why: str
    doubtful: bool = False


def watched(day: Day, moments: Sequence[Moment]) -> list[Run]:
    """Feed the readings as the watch does; it keeps what was before for so long, and forgets it with a sure run."""
    roles = {"control": "control", "load": "load", "limiter": "over-temperature"}
    furnace = Furnace(
        name="foreign",
        unit=day.unit,  # type: ignore[arg-type]
        link=LinkSettings("lines", "/dev/none"),
        every_s=day.every_s,
        sensors=tuple(Sensor(name, roles[name], SOURCE) for name in day.sensors),  # type: ignore[arg-type]
        signals=tuple(Signal(name, SOURCE) for name in day.signals),  # type: ignore[arg-type]
        text="# drawn",
    )
    heating, instrument = Heating(None), Instrument(day, len(moments) * STEP_S / 3600.0)
    runs: list[Run] = []
    open_from: tuple[float, float, str] | None = None
    doubtful = False
    now_s = 0.0
    while (at := int(now_s / STEP_S)) < len(moments):
        decision = heating.look(now_s, *shows_heat(furnace, instrument.values(now_s, moments[at])))
        if decision is not None and decision.act == "begin" and open_from is None:
            sealed_s = max((run.end_s for run in runs if not run.doubtful), default=0.0)
            kept_s = max(decision.from_s, now_s - OLDER_S, sealed_s)
            open_from, doubtful = (kept_s, now_s, decision.why.text("C")), decision.doubtful
        elif decision is not None and decision.act == "settle" and open_from is not None:
            open_from, doubtful = (open_from[0], now_s, decision.why.text("C")), False  # now it says so
        elif decision is not None and decision.act == "end" and open_from is not None:
            runs.append(Run(*open_from[:2], now_s, f"{open_from[2]} .. {decision.why.text('C')}", doubtful))
            open_from = None
        now_s += day.every_s
    if open_from is not None:
        runs.append(Run(*open_from[:2], math.inf, f"{open_from[2]} .. (open)", doubtful))
    return runs


def untellable(day: Day, program: Program) -> str | None:
    """Why the guide's own words say that this heating cannot be told to be one."""
    if program.worked_s < HARDLY_S:
        return f"the heater worked for {program.worked_s / 60:.0f} min"
    if program.cut_s and program.coldest_in_cut_c < 60.0:
        return "cold in the cut"
    asks = program.cut == "heater" and bool(day.signals)
    told_s = program.cut_s if program.cut == "dark" or asks else 0.0
    hot = program.coldest_in_cut_c > 110.0 and "output" not in day.signals
    if program.longest_rest_s - told_s > (HOT_IDLE_S if hot and program.cut_s else IDLE_S) - SLACK_S:
        cut = f", of it {program.cut_s / 60:.0f} min {program.cut} cut" if program.cut_s else ""
        return f"falls by itself for {program.longest_rest_s / 60:.0f} min in mid-program{cut}"
    return None


def must_part(day: Day, moments: Sequence[Moment], first: Program, second: Program) -> bool:
    """Whether the pause between two heatings tells that they are two."""
    assert second.on_s is not None
    waits_s = ASKED_IDLE_S if "setpoint" in day.signals and day.resting_setpoint == "last" else HOT_IDLE_S
    rests_s = first.over_s if "output" in day.signals else first.shut_s  # bricks warm the chamber when it is shut
    if second.on_s - min(rests_s, second.on_s) > waits_s + SLACK_S:
        return True
    between = moments[int(first.off_s / STEP_S) : int(second.on_s / STEP_S)]
    return sum(max(m.chamber_c, m.load_c) < COLD_C - 3.0 for m in between) * STEP_S > 1800.0


def judged(day: Day) -> list[tuple[str, str]]:
    """What went wrong on this day, and what cannot be told, as (kind, words)."""
    moments = list(Shop(day).live())
    runs = watched(day, moments)
    heated = [program for program in day.programs if program.on_s is not None]
    found: list[tuple[str, str]] = []

    def say(kind: str, program: Program | None, words: str) -> None:
        why = untellable(day, program) if program is not None else None
        found.append((f"cannot be told: {kind}", f"{why}; {words}") if why else (kind, words))

    def holds(run: Run, program: Program) -> bool:
        assert program.on_s is not None
        return min(run.end_s, program.off_s) - max(run.from_s, program.on_s) > min(
            TOUCH_S, program.off_s - program.on_s
        )

    sure = [run for run in runs if not run.doubtful]
    for run in runs:
        if run.doubtful and not any(holds(run, program) for program in heated):
            say("doubtful, none", None, told(run))
    for run in sure:
        inside = [program for program in heated if holds(run, program)]
        if inside and run.begun_s < (inside[0].on_s or 0.0) - TOUCH_S:
            say("invented", None, f"{told(run)}, before {inside[0].name} at {hm(inside[0].on_s)}")
        elif not inside:
            after = [p for p in heated if p.off_s <= run.from_s]
            tail = after[-1] if after and untellable(day, after[-1]) else None
            say("invented", tail, told(run))
        for first, second in zip(inside, inside[1:], strict=False):
            if must_part(day, moments, first, second):
                say("merged", None, f"{first.name} until {hm(first.off_s)}, {second.name} from {hm(second.on_s)}")
    for number, program in enumerate(heated):
        assert program.on_s is not None
        its = [run for run in sure if holds(run, program)]
        if not its and (doubtful := [run for run in runs if holds(run, program)]):
            say("in doubt", program, f"{program.name} {hm(program.on_s)} to {hm(program.off_s)}: {told(doubtful[0])}")
            continue
        if not its:
            say("missed", program, f"{program.name} {hm(program.on_s)} to {hm(program.off_s)}")
            continue
        if len(its) > 1:
            say("split", program, f"{program.name} from {hm(program.on_s)}: " + " | ".join(map(told, its)))
        if its[0].from_s - program.on_s > LATE_S:
            say("begun late", program, f"{program.name} on at {hm(program.on_s)}: {told(its[0])}")
        if program.on_s - its[0].from_s > EARLY_S and (number == 0 or its[0].from_s > heated[number - 1].off_s):
            say("begun early", program, f"{program.name} on at {hm(program.on_s)}: {told(its[0])}")
        if program.off_s - its[-1].end_s > LATE_S:
            say("sealed early", program, f"{program.name} off at {hm(program.off_s)}: {told(its[-1])}")
        follows_s = heated[number + 1].on_s if number + 1 < len(heated) else len(moments) * STEP_S
        if (
            follows_s is not None
            and min(follows_s, its[-1].end_s) - min(program.shut_s, follows_s) > ASKED_IDLE_S + 2 * SLACK_S
        ):
            say("sealed late", program, f"{program.name} off at {hm(program.off_s)}: {told(its[-1])}")
    found += [("heatings", "")] * len(heated) + [("runs", "")] * len(runs)
    return found


def hm(t_s: float | None) -> str:
    """Hours and minutes of the day."""
    return "never" if t_s is None or t_s == math.inf else f"{int(t_s // 3600)}:{int(t_s % 3600 // 60):02d}"


def told(run: Run) -> str:
    """A run in a line."""
    return f"run {hm(run.from_s)} (decided {hm(run.begun_s)}) to {hm(run.end_s)}: {run.why}"


def tally(seeds: Sequence[int]) -> tuple[Counter[str], list[str]]:
    """Counts by kind, and a line for each fault."""
    counts: Counter[str] = Counter()
    lines = []
    for seed in seeds:
        day = a_day(seed)
        for kind, words in judged(day):
            counts[kind] += 1
            if words:
                lines.append(f"{seed} {kind}: {words}  [{day}]")
    return counts, lines


def main(days: int = 200, first: int = 0) -> int:
    """Print counts and faults; 1 where there is a fault."""
    counts, lines = tally(range(first, first + days))
    print("\n".join(lines))
    print(f"{days} days, {counts['heatings']} heatings, {counts['runs']} runs")
    for kind in (*FAULTS, *COUNTED_APART, *sorted(kind for kind in counts if kind.startswith("cannot"))):
        print(f"  {kind}: {counts[kind]}")
    return int(any(counts[kind] for kind in FAULTS))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
