"""One record, several heats by the same recipe: each charge is judged by the heat that it was in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.holds.placing import place_holds
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.rules.cold_times import Cold, ColdTimes, comes_back, parts
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.firmware_bridge.runfolder.contents import Act

FEWEST_READINGS = 20
MOST_POINTS = 5000


@dataclass(frozen=True)
class Heat:
    """A part of a record in which the recipe was begun once, between two times in which the furnace was cold."""

    before: Cold | None = None
    after: Cold | None = None

    @property
    def start_s(self) -> float:
        """Where it begins [s]: the coldest moment before it."""
        return self.before.coldest_s if self.before is not None else -np.inf

    @property
    def end_s(self) -> float:
        """Where it ends [s]."""
        return self.after.coldest_s if self.after is not None else np.inf

    def has(self, at_s: float, act: Act | None = None) -> bool:
        """Whether a moment [s] is in it; a load into a cold furnace is for the next one, a pull from the one before."""
        begin = -np.inf if self.before is None else self.before.parted_s(act)
        end = np.inf if self.after is None else self.after.parted_s(act)
        return bool(begin <= at_s < end)

    def holds(self, stay: Stay) -> bool:
        """Whether a stay, as far as it was marked, lies in it."""
        if stay.load_s is not None:
            return self.has(stay.load_s, "load")
        return stay.pull_s is not None and self.has(stay.pull_s, "pull")


def heats_of(chamber: Readings, recipe: Recipe) -> tuple[Heat, ...]:
    """Part a record where the furnace was cold again and the recipe's first hold stood once more; else one heat.

    A recipe that comes back to its first temperature, in rounds or written out, may be cold between by itself: it is
    never parted.
    """
    if not recipe.holds or comes_back(recipe):
        return (Heat(),)
    first = replace(recipe, steps=tuple(s for s in recipe.steps if s.number <= recipe.holds[0].number))
    parting: list[Cold] = []
    for cold in _cold_times(chamber):
        before = chamber.part(parting[-1].coldest_s if parting else -np.inf, cold.coldest_s)
        after = chamber.part(cold.coldest_s, np.inf)
        if parts(_stand(before, first), _stand(after, first)):
            parting.append(cold)
    return tuple(Heat(a, b) for a, b in zip([None, *parting], [*parting, None], strict=True))


def _stand(chamber: Readings, first: Recipe) -> Edges | None:
    """Where the recipe's first hold stood in a part of the record; None where it did not."""
    placed = place_holds(chamber, first)[0] if chamber.t_s.size >= FEWEST_READINGS else None
    return placed.edges if placed is not None else None


def _cold_times(chamber: Readings) -> list[Cold]:
    """Times in which the furnace was cold, between two in which it was hot."""
    every, times = max(1, chamber.t_s.size // MOST_POINTS), ColdTimes()
    rows = zip(chamber.t_s[::every].tolist(), chamber.temp_c[::every].tolist(), strict=True)
    return [cold for t_s, temp_c in rows if (cold := times.follow(t_s, temp_c)) is not None]


def part_of(run: Run, heat: Heat) -> Run:
    """The run as it was during one heat, on the same clock."""
    keep = (run.t_s >= heat.start_s) & (run.t_s < heat.end_s)
    traces = []
    for trace in run.traces:
        mine = (trace.t_s >= heat.start_s) & (trace.t_s < heat.end_s)
        traces.append(replace(trace, t_s=trace.t_s[mine], temp_c=trace.temp_c[mine]))
    return replace(
        run,
        t_s=run.t_s[keep],
        values={name: value[keep] for name, value in run.values.items()},
        events=tuple(e for e in run.events if heat.has(e.t_s)),
        marks=tuple(m for m in run.marks if heat.has(m.t_s, m.act)),
        traces=tuple(traces),
    )


def charged(heats: Sequence[Heat], stays: Sequence[Stay]) -> tuple[Heat, ...]:
    """The heats in which a marked charge was; none where nothing was marked."""
    return tuple(heat for heat in heats if any(heat.holds(stay) for stay in stays))
