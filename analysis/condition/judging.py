"""What has changed in a furnace, in words: mains from element from insulation from thermocouple, as far as it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from soakwitness.analysis.condition.trends import Trend, all_series, middle_change, trend
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, counted, joined, often, percent

LOW_BELOW_C = 500.0
RATE_DOWN = -0.04
RATE_KEPT = -0.025
UP = 0.05
STEADY = 0.6
MAINS_SCATTER = 2.5


@dataclass(frozen=True)
class Part:
    """One thing that may have changed: what the figures say of it, and the measurement that would settle it."""

    part: str
    says: Says
    measure: str


@dataclass(frozen=True)
class Accuracy:
    """One accuracy test: what the control sensor's chain read more than the reference [K]."""

    day: str
    difference_c: float


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
    says: str

    @property
    def moved(self) -> tuple[Trend, ...]:
        """Trends that have moved."""
        return tuple(t for t in self.trends if t.moved)


def judge(furnace: str, runs: Sequence[ConditionFigures], *, accuracy: Sequence[Accuracy] = ()) -> Condition:
    """Say how a furnace is doing over its runs.

    Less power (mains or element) slows the climb in every window by about the same share; poorer insulation leaves the
    lowest windows alone, slows the upper ones and speeds the cooling; both take more output to hold. A thermocouple
    that drifts changes the difference to another sensor. One sensor alone proves nothing about itself.

    ``accuracy``: accuracy tests of its control sensor in order of time. Returns charts of every figure, what has moved
    since when, and which part it speaks for.
    """
    series = all_series(runs)
    trends = tuple(t for t in map(trend, series) if t is not None)
    counts: dict[str, int] = {}
    for s in series:
        if s.kind in ("rate", "output", "overshoot"):
            counts[s.group] = max(counts.get(s.group, 0), s.values.size)
    main = max(counts, key=lambda g: counts[g], default="")
    mine = [t for t in trends if t.series.group == main]
    parts = (*_power(mine), *_insulation(mine), *_thermocouple(mine, accuracy), *_link(trends, runs))
    return Condition(
        furnace=furnace,
        runs=len(runs),
        first_day=runs[0].started_utc[:10] if runs else None,
        last_day=runs[-1].started_utc[:10] if runs else None,
        groups=tuple(sorted(counts.items(), key=lambda item: -item[1])),
        trends=trends,
        parts=tuple(parts),
        accuracy=tuple(accuracy),
        says=_says(furnace, runs, trends, parts),
    )


def _says(furnace: str, runs: Sequence[ConditionFigures], trends: Sequence[Trend], parts: Sequence[Part]) -> str:
    if not trends:
        return (
            f"{furnace}: {counted(len(runs), 'run')} on record, too few to see a trend; eight of one kind are needed."
        )
    if parts:
        return f"{furnace}: {'; '.join(p.part for p in parts)}."
    moved = [t for t in trends if t.moved]
    if moved:
        since = min(t.since for t in moved if t.since)
        return f"{furnace}: {counted(len(moved), 'figure')} moved since {since}, which fits no single part."
    return f"{furnace}: nothing has moved over {counted(len(runs), 'run')}."


def _moved_since(trends: Sequence[Trend], kinds: Sequence[str]) -> str | None:
    days = [t.since for t in trends if t.moved and t.since and t.series.kind in kinds]
    return median_day(days) if days else None


def median_day(days: Sequence[str]) -> str:
    """Middle one of some days."""
    return sorted(days)[len(days) // 2]


def _power(trends: Sequence[Trend]) -> list[Part]:
    low = middle_change(trends, kind="rate", high_c=LOW_BELOW_C)
    high = middle_change(trends, kind="rate", low_c=LOW_BELOW_C)
    rates = [t for t in trends if t.series.kind == "rate"]
    since = _moved_since(trends, ("rate",))
    if since is None or low is None or low > RATE_DOWN or (high is not None and high > RATE_DOWN):
        return []
    output = middle_change(trends, kind="output")
    more = f", and it takes {percent(output, signed=True)} output to hold" if output is not None and output > UP else ""
    says = f"At full power it climbs {percent(-low)} slower in every window since {since}{more}."
    steady = median([abs(t.steady_rise) for t in rates])
    restless = median([_scatter(t) for t in rates])
    if steady > STEADY and restless < MAINS_SCATTER:
        return [
            Part(
                "aged element rather than mains",
                Says.plain(f"{says} It came slowly and steadily, which speaks for the element."),
                "The element's cold resistance (supply isolated, by an electrician) beside that of a new one.",
            )
        ]
    if restless >= MAINS_SCATTER:
        return [
            Part(
                "low mains rather than element",
                Says.plain(f"{says} It goes up and down from run to run, which speaks for the mains."),
                "The mains voltage under load, at the hours of the slow runs, by an electrician.",
            )
        ]
    return [
        Part(
            "less power: mains or element",
            Says.plain(
                f"{says} It came at once and stayed: a tap of the mains, a lost phase or a broken element alike."
            ),
            "Mains voltage and current under load, by an electrician: one tells mains, both together the element.",
        )
    ]


def _scatter(t: Trend) -> float:
    """Scatter of neighbours after the first runs over that among the first: the mains changes by the hour."""
    base = t.smoothed.values[: max(5, min(20, t.series.values.size // 3))]
    rest = t.series.values[base.size :]
    if rest.size < 4 or base.size < 3:
        return 1.0
    before = sum(abs(b - a) for a, b in zip(base, base[1:], strict=False)) / (base.size - 1)
    after = sum(abs(b - a) for a, b in zip(rest, rest[1:], strict=False)) / (rest.size - 1)
    return float(after / max(before, 0.003 * abs(t.usual)))


def _insulation(trends: Sequence[Trend]) -> list[Part]:
    low = middle_change(trends, kind="rate", high_c=300.0)
    if low is None:
        low = middle_change(trends, kind="rate", high_c=LOW_BELOW_C)
    high = middle_change(trends, kind="rate", low_c=600.0)
    output = middle_change(trends, kind="output")
    cooling = middle_change(trends, kind="cooling")
    lost = (output is not None and output > UP) and (low is None or low > RATE_KEPT)
    faster = cooling is not None and cooling > UP
    slower = high is not None and low is not None and high < low - 0.025
    since = _moved_since(trends, ("output", "cooling"))
    if not lost or since is None or not (faster or slower):
        return []
    signs = [f"it takes {percent(output or 0.0, signed=True)} output to hold"]
    signs += [f"it cools {percent(cooling, signed=True)} faster"] if faster and cooling is not None else []
    signs += ["it climbs slower only near the top"] if slower else []
    return [
        Part(
            "insulation or door seal",
            Says.plain(f"Since {since} {', '.join(signs)}, while it climbs as ever from cold."),
            "A look at the door's seal by a paper strip, and at the shell's temperature beside the door and the back.",
        )
    ]


def _thermocouple(trends: Sequence[Trend], accuracy: Sequence[Accuracy]) -> list[Part]:
    found = [t for t in trends if t.series.kind == "difference" and t.moved]
    tested = accuracy[-1].difference_c - accuracy[0].difference_c if len(accuracy) >= 2 else None
    if found:
        worst = max(found, key=lambda t: abs(t.change))
        way = "up" if worst.change > 0 else "down"
        says = Says.of(
            f"Control minus the other sensor at {{where}} went {way} by {{change}} since {worst.since}.",
            where=Temp(float(worst.series.where)),
            change=Diff(abs(worst.change)),
        )
        if tested is not None and abs(tested) > 0.5 * abs(worst.change) and tested * worst.change > 0:
            same = joined([says, "The accuracy tests say the same of the control sensor."])
            return [Part("control thermocouple", same, _SWAP)]
        if tested is not None and abs(tested) < 0.3 * abs(worst.change):
            cleared = joined([says, "The accuracy tests clear the control sensor."])
            return [Part("the other thermocouple", cleared, _SWAP)]
        return [Part("one of two thermocouples", joined([says, "Two sensors alone do not tell which."]), _TEST)]
    if tested is not None and abs(tested) > 3.0:
        words = f"The accuracy tests have moved by {{moved}} from {accuracy[0].day} to {accuracy[-1].day}."
        return [Part("control thermocouple", Says.of(words, moved=Diff(abs(tested))), _SWAP)]
    output = [t for t in trends if t.series.kind == "output" and t.moved]
    kept = middle_change(trends, kind="rate", high_c=LOW_BELOW_C)
    differences = [t for t in trends if t.series.kind == "difference"]
    if output and not differences and (kept is None or abs(kept) < 0.025):
        cooling = middle_change(trends, kind="cooling")
        if cooling is None or abs(cooling) < UP:
            worst = max(output, key=lambda t: abs(t.change))
            more = percent(worst.change, signed=True)
            words = f"Since {worst.since} it takes {more} output to hold {{where}}, all else being as ever."
            says = Says.of(words, where=Temp(float(worst.series.where)))
            return [Part("insulation or thermocouple, which one sensor alone cannot tell", says, _TEST)]
    return []


_TEST = "An accuracy test of the control sensor against a reference in the same hole: soakwitness accuracy."
_SWAP = "A new thermocouple beside the old one for one run, then: soakwitness sensor fitted."


def _link(trends: Sequence[Trend], runs: Sequence[ConditionFigures]) -> list[Part]:
    missed = [t for t in trends if t.series.kind == "missed" and t.moved and t.change > 0]
    noisy = [t for t in trends if t.series.kind == "noise" and t.moved and t.change > 0]
    found = []
    if missed:
        lost = sum(r.lost for r in runs[-20:])
        times = f"link lost {often(lost)} in the last {counted(min(20, len(runs)), 'run')}"
        says = Says.plain(f"Since {missed[0].since} {100 * missed[0].now:.1f} % of the readings are missing ({times}).")
        found.append(
            Part("link to the instrument", says, "The cable, its screen and its plugs; the instrument's baud rate.")
        )
    if noisy:
        words = f"Since {noisy[0].since} the readings scatter by {{now}}, {{usual}} before."
        says = Says.of(words, now=Diff(noisy[0].now), usual=Diff(noisy[0].usual))
        found.append(
            Part("noise on the sensor's lead", says, "The lead's way beside power cables, its screen, its terminals.")
        )
    return found
