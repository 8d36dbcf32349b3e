"""Odd furnaces watched for many days: heatings missed, recorded late, split, merged, invented.

python -m tests.campaigns.heatings [DAYS]   (200 by default, of each furnace and each way of reading it)
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from soakwitness.firmware_bridge.recording.when_heating_begins import Heating as Decides
from tests.odd_furnaces import HEAVY, KILN, OVEN, SMALL, Days, Heating, live, plan
from tests.sure_runs import sure_runs

LATE_S = 900.0
WARM_C = 62.0  # a furnace that a power cut left colder begins anew
APART_S = 4 * 3600.0
HOURS_4 = 4 * 3600.0

READ: tuple[dict[str, object], ...] = (
    {},
    {"every_s": 15.0, "resolution": 1.0},
    {"every_s": 300.0, "resolution": 1.0},
    {"signals": ("setpoint", "output")},
    {"signals": ("output",), "every_s": 300.0},
    {"longest_cut_s": HOURS_4},
    {"longest_cut_s": HOURS_4, "signals": ("setpoint",), "every_s": 300.0},
    {"control_is": "shorted", "every_s": 30.0},
    {"control_is": "shorted", "every_s": 300.0, "signals": ("output",)},
)


@dataclass(frozen=True)
class Span:
    """A run as it would have been recorded."""

    from_s: float
    end_s: float = math.inf


@dataclass
class Counts:
    """What came of it; ``told`` has a line for each fault."""

    heatings: int = 0
    missed: int = 0
    late: int = 0
    split: int = 0
    merged: int = 0
    invented: int = 0
    told: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        names = ("missed", "late", "split", "merged", "invented")
        return f"{self.heatings} heatings: " + ", ".join(f"{name} {getattr(self, name)}" for name in names)


def spans_of(days: Days) -> list[Span]:
    """Live through the days with the rules that run for real."""
    decides, spans, decisions = Decides(), [], []
    for seen in live(days):
        temps_c = {"control": seen.control_c, "load": seen.load_c if days.control_is == "shorted" else None}
        decision = decides.look(seen.t_s, temps_c, seen.setpoint_c, seen.output)
        decisions += [(decision, seen.t_s)] if decision is not None else []
    for decision, at_s in sure_runs(decisions):
        if decision.act == "begin":
            spans.append(Span(decision.from_s))
        else:
            spans[-1] = replace(spans[-1], end_s=at_s)
    return spans


def judge(days: Days) -> Counts:
    """Live through the days and count. Heatings that nobody finished, and their runs, are left out."""
    plan(days)
    spans = spans_of(days)
    done = [heating for heating in days.heatings if heating.end_s < math.inf]
    counts = Counts(len(done))
    for heating in done:
        _judge_heating(heating, spans, counts)
    for span in spans:
        _judge_span(span, days.heatings, counts)
    return counts


def _touches(span: Span, heating: Heating) -> bool:
    return span.from_s < heating.end_s and span.end_s > heating.start_s + 600.0


def _judge_heating(heating: Heating, spans: list[Span], counts: Counts) -> None:
    mine = [span for span in spans if _touches(span, heating)]
    what = f"{heating.program} from {heating.start_s / 60:.0f} to {heating.end_s / 60:.0f} min"
    if not any(span.from_s <= heating.end_s <= span.end_s for span in mine):
        counts.missed += 1
        counts.told.append(f"missed: {what}")
    elif len(mine) > 1 and heating.coldest_in_cut_c >= WARM_C:
        counts.split += 1
        counts.told.append(f"split: {what}")
    elif mine[0].from_s > heating.start_s + LATE_S:
        counts.late += 1
        counts.told.append(f"late: {what}, recorded from {mine[0].from_s / 60:.0f} min")


def _judge_span(span: Span, heatings: list[Heating], counts: Counts) -> None:
    mine = sorted((h for h in heatings if _touches(span, h)), key=lambda heating: heating.start_s)
    if not mine:
        counts.invented += 1
        counts.told.append(f"invented: from {span.from_s / 60:.0f} to {span.end_s / 60:.0f} min")
    for one, other in zip(mine, mine[1:], strict=False):
        if other.start_s - one.end_s > APART_S:
            counts.merged += 1
            counts.told.append(
                f"merged: those that ended at {one.end_s / 60:.0f} and began at {other.start_s / 60:.0f}"
            )


def ways(days: int, seed: int) -> Iterator[Days]:
    """Each furnace, each way of reading it."""
    for build in (SMALL, KILN, OVEN, HEAVY):
        for read in READ:
            seed += 1
            yield Days(build, days, seed, **read)  # type: ignore[arg-type]


def main() -> None:
    """Print the counts of every way, and each fault."""
    for way in ways(int(sys.argv[1]) if len(sys.argv) > 1 else 200, 100):
        signals = "+".join(way.signals) or "temperature alone"
        name = f"{way.build.name}, every {way.every_s:g} s to {way.resolution:g}, {signals}, control {way.control_is}"
        print(f"{name}, cuts to {way.longest_cut_s / 3600:g} h: {judge_and_tell(way)}", flush=True)


def judge_and_tell(days: Days) -> str:
    """Counts with the faults below."""
    counts = judge(days)
    return "\n    ".join([str(counts), *counts.told])


if __name__ == "__main__":
    main()
