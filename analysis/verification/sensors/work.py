"""Which work temperature tells of a piece in a hold: its load sensors, else the packet estimate, else the chamber."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor, PlacedRun
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.stays import Stay, speaks_for
from soakwitness.analysis.verification.results.verification import Source, WorkTemperature
from soakwitness.analysis.verification.rules.extents import as_slow, begins_s

MARKED_LATE_S = 120.0  # people mark a load or a pull when their hands are free


@dataclass(frozen=True)
class Work:
    """Work temperature of one piece as one sensor tells it: a measured one is its own low, best and high.

    All as ``sensor`` reads: what its calibration says is added later. ``lag(level, from, until)`` gives low, best, high
    and the share of draws that never reach the level, where a packet was estimated. ``gone``: the load sensor that
    should have told it was lost before; ``limits_only``: it tells the soak, and this one only what was too hot.
    """

    source: Source
    sensor: DecidingSensor
    low: Readings
    best: Readings
    high: Readings
    shown: WorkTemperature | None = None
    lag: Callable[[float, float, float], tuple[float | None, float | None, float | None, float]] | None = None
    fitted: bool = True
    gone: bool = False
    limits_only: bool = False

    @property
    def measured(self) -> bool:
        """Whether it was measured, not estimated."""
        return self.source != "packet estimate"


def works_of(placed: PlacedRun, number: int, stay: Stay, estimate: Callable[[], Work | None]) -> list[Work]:
    """Work temperatures of one stay in one hold, by its index; the ``estimate`` is made where it is needed."""
    chamber = placed.chamber
    if placed.recipe.holds[number].soak_from == "control":
        return [_control(chamber)]
    begin_s = begins_s(chamber.placed[number] or chamber.placed_true[number], chamber.first_s)
    fit = _with(placed, stay)
    there = [load for load in fit if load.last_s > begin_s]
    works = [Work("load", load, load.readings, load.readings, load.readings) for load in there]
    lost = [load for load in fit if load.last_s <= begin_s or load.key[2]]
    whole = [load for load in there if load not in lost]
    if there and all(any(as_slow(load.readings, other.readings) for load in whole) for other in lost):
        return works
    # Of a load sensor that was lost before, the next in the order speaks for its place; of one that came out before
    # its pieces did, for what was too hot after that.
    out_early = all(load.last_s > begin_s for load in lost) and bool(lost)
    estimated = estimate()
    other = estimated if estimated is not None else _control(chamber, gone=bool(fit) and not out_early)
    return [*works, replace(other, limits_only=out_early)]


def _control(chamber: DecidingSensor, *, gone: bool = False) -> Work:
    """The chamber's own reading as work temperature."""
    return Work(chamber.source, chamber, chamber.readings, chamber.readings, chamber.readings, gone=gone)


def _with(placed: PlacedRun, stay: Stay) -> list[DecidingSensor]:
    """Load sensors that speak for a stay: no thinner than it, and in the furnace with it, as long as they were."""
    load_s = stay.load_s if stay.load_s is not None else placed.chamber.first_s
    pull_s = stay.pull_s if stay.pull_s is not None else np.inf
    thickness_mm = stay.info.thickness_mm if stay.info is not None else None
    found: dict[str, tuple[float, DecidingSensor]] = {}
    for load in placed.loads:
        out_s = load.out_s if load.out_s is not None else np.inf
        together = min(out_s, pull_s, placed.chamber.last_s) - max(load.in_s, load_s)
        if (
            not speaks_for(load.thickness_mm, thickness_mm)
            or load.in_s > load_s + MARKED_LATE_S
            or together <= MARKED_LATE_S
        ):
            continue
        if load.until_out is not None and stay.pull_s is not None and stay.pull_s > out_s + MARKED_LATE_S:
            load = load.until_out()
        if load.name not in found or together > found[load.name][0]:
            found[load.name] = together, load
    return [load for _, load in found.values()]
