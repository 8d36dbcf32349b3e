"""What has changed in a furnace, in words: mains from element from insulation from thermocouple, as far as it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.condition.naming import Accuracy, Part, before, named_parts
from soakwitness.analysis.condition.trends import FEWEST, Trend, trends_of
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.evidence.upkeep import Upkeep
from soakwitness.firmware_bridge.common.wording import Says, counted, joined, percent


@dataclass(frozen=True)
class Condition:
    """How a furnace is doing. ``groups`` counts its runs by charge; ``parts`` is empty where nothing has moved."""

    furnace: str
    runs: int
    first_day: str | None
    last_day: str | None
    groups: tuple[tuple[str, int], ...]
    trends: tuple[Trend, ...]
    parts: tuple[Part, ...]
    accuracy: tuple[Accuracy, ...]
    upkeep: tuple[Upkeep, ...]
    says: Says

    @property
    def moved(self) -> tuple[Trend, ...]:
        """Trends that have moved."""
        return tuple(t for t in self.trends if t.moved and t.kind != "room")


def judge(
    furnace: str,
    runs: Sequence[ConditionFigures],
    *,
    accuracy: Sequence[Accuracy] = (),
    upkeep: Sequence[Upkeep] = (),
) -> Condition:
    """Say how a furnace is doing over its runs.

    ``accuracy``: accuracy tests of its control sensor in order of time. ``upkeep``: what was renewed or done to it,
    from which on another baseline counts. Returns every figure's course, what has moved since when, and which part it
    speaks for.
    """
    trends = trends_of(runs, upkeep)
    parts = named_parts(trends, runs, accuracy)
    return Condition(
        furnace=furnace,
        runs=len(runs),
        first_day=runs[0].started_utc[:10] if runs else None,
        last_day=runs[-1].started_utc[:10] if runs else None,
        groups=_groups(runs),
        trends=trends,
        parts=parts,
        accuracy=tuple(accuracy),
        upkeep=tuple(upkeep),
        says=_says(furnace, runs, trends, parts),
    )


def _groups(runs: Sequence[ConditionFigures]) -> tuple[tuple[str, int], ...]:
    counts: dict[str, int] = {}
    for run in runs:
        group = {True: "charged", False: "empty", None: "charge not known"}[run.charged]
        counts[group] = counts.get(group, 0) + 1
    return tuple(sorted(counts.items(), key=lambda item: -item[1]))


def _says(furnace: str, runs: Sequence[ConditionFigures], trends: Sequence[Trend], parts: Sequence[Part]) -> Says:
    if not trends:
        return Says.plain(
            f"{furnace}: {counted(len(runs), 'run')} on record, too few to see a trend; {FEWEST} with the same figure "
            "are needed."
        )
    if parts:
        return Says.of("{furnace}: {gists}.", furnace=furnace, gists=joined([p.gist for p in parts], "; "))
    moved = [t for t in trends if t.moved and t.kind != "room"]
    faster = next((t for t in moved if t.kind == "climb" and t.change > 0), None)
    if faster is not None:
        return Says.plain(
            f"{furnace}: heats {percent(faster.change)} faster than {before(faster)}, since {faster.since}; if "
            "something was renewed then, enter it: soakwitness upkeep."
        )
    if moved:
        since = min(t.since for t in moved if t.since)
        return Says.plain(f"{furnace}: {counted(len(moved), 'figure')} moved since {since}, which fits no single part.")
    renewed = max(trends, key=lambda t: (t.begun_by is not None, t.fresh))
    if renewed.begun_by is not None:
        since, count = renewed.days[renewed.fresh], len(renewed.days) - renewed.fresh
        after = f"{counted(count, 'run')} after the work of {since} ({renewed.begun_by})"
        return Says.plain(f"{furnace}: nothing has moved over the {after}.")
    return Says.plain(f"{furnace}: nothing has moved over {counted(len(runs), 'run')}.")
