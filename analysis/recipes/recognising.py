"""Which of several recipes a run followed, by the levels its setpoint (else its temperature) stayed at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.recipes.program import program_setpoints
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, joined

FloatArray = npt.NDArray[np.float64]

GRID_S = 30.0
LEVEL_RATE_C_PER_H = 30.0  # what moves faster is on its way
SHORTEST_S = 120.0
SETPOINT_WITHIN_C = 2.5
READING_WITHIN_C = 8.0
STRANGE_ABOVE_C = 100.0
STRANGE_S = 600.0


@dataclass(frozen=True)
class SeenLevel:
    """A stay at one temperature: [degC] and how long [s]."""

    temp_c: float
    stay_s: float


@dataclass(frozen=True)
class Recognised:
    """The recipe that fits, or None; ``says`` is one sentence about why."""

    recipe: Recipe | None
    says: Says


def levels(t_s: FloatArray, temp_c: FloatArray) -> tuple[SeenLevel, ...]:
    """Find the stays in a setpoint or a temperature.

    ``temp_c``: setpoint or temperature [degC], shape (n,), NaN where nothing was read.
    """
    known = np.isfinite(temp_c)
    if known.sum() < 3 or t_s[known][-1] - t_s[known][0] < 2 * SHORTEST_S:
        return ()
    grid = np.arange(t_s[known][0], t_s[known][-1], GRID_S)
    smooth = np.interp(grid, t_s[known], temp_c[known])
    half = int(SHORTEST_S / GRID_S / 2)
    rate = np.full(grid.size, np.inf)
    if grid.size > 2 * half:
        rate[half:-half] = np.abs(smooth[2 * half :] - smooth[: -2 * half]) / (2 * half * GRID_S) * 3600
        rate[:half], rate[-half:] = rate[half], rate[-half - 1]
    flat = rate <= LEVEL_RATE_C_PER_H
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flat, [False])).astype(np.int8)))
    stays = [(start, stop) for start, stop in edges.reshape(-1, 2) if (stop - start) * GRID_S >= SHORTEST_S]
    return tuple(SeenLevel(float(np.median(smooth[a:b])), float((b - a) * GRID_S)) for a, b in stays)


def recognise(found: Sequence[SeenLevel], recipes: Sequence[Recipe], *, by_setpoint: bool) -> Recognised:
    """Say which recipe a run followed.

    ``by_setpoint``: whether the stays are the setpoint's; else the temperature's, which are looser. Returns the one
    recipe all of whose holds appear in order, each for at least half its time, with no other stay above 100 degC of ten
    minutes and longer; none where several fit equally well or none does.
    """
    within_c = SETPOINT_WITHIN_C if by_setpoint else READING_WITHIN_C
    fits = [(distance, recipe) for recipe in recipes if (distance := _distance(found, recipe, within_c)) is not None]
    if not fits:
        stays = [Says.of(f"{{at}} for {duration(level.stay_s)}", at=Temp(level.temp_c)) for level in found]
        none = Says.of("no recipe has these stays: {stays}", stays=joined(stays or ["none"], ", "))
        return Recognised(None, none)
    fits.sort(key=lambda fit: fit[0])
    if len(fits) > 1 and fits[1][0] - fits[0][0] < 0.5:
        return Recognised(None, Says.plain(f"{fits[0][1].name} and {fits[1][1].name} fit equally well"))
    return Recognised(fits[0][1], Says.plain(f"recognised {fits[0][1].name}"))


def _distance(found: Sequence[SeenLevel], recipe: Recipe, within_c: float) -> float | None:
    """Mean distance of the holds from their stays [K]; None where the recipe does not fit."""
    holds = [step for step in program_setpoints(recipe) if step.hold_s is not None]
    at, used, distances = 0, set(), []
    for hold in holds:
        hit = next(
            (
                k
                for k in range(at, len(found))
                if abs(found[k].temp_c - hold.setpoint_c) <= within_c and found[k].stay_s >= (hold.hold_s or 0.0) / 2
            ),
            None,
        )
        if hit is None:
            return None
        distances.append(abs(found[hit].temp_c - hold.setpoint_c))
        used.add(hit)
        at = hit + 1
    strange = [
        level
        for k, level in enumerate(found)
        if k not in used
        and level.temp_c > STRANGE_ABOVE_C
        and level.stay_s >= STRANGE_S
        and all(abs(level.temp_c - hold.setpoint_c) > within_c for hold in holds)
    ]
    return float(np.mean(distances)) if holds and not strange else None
