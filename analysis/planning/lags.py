"""How long after a hold has begun its pieces are in the band, over all that is not known: draws side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.planning.expected_chamber import STEP_S, ChamberCourse
from soakwitness.analysis.planning.learning import Learned
from soakwitness.analysis.planning.out_of_band import share_below
from soakwitness.analysis.recipes.recipe import Hold

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Lags:
    """Lags in one hold [s], inf for never: draws, shape (pieces, n), and by the best figures, shape (pieces,).

    ``draws_s`` and ``best_s`` from when the chamber is in the band, ``shown_s`` and ``shown_best_s`` from when the
    display shows it, which people go by; from the load where that is later. ``below`` and ``below_best`` are the shares
    of what follows that are below the band.
    """

    draws_s: FloatArray
    best_s: FloatArray
    shown_s: FloatArray
    shown_best_s: FloatArray
    below: FloatArray
    below_best: FloatArray

    def until_s(self, soak_s: float) -> FloatArray:
        """From when the display shows the band until so much was had in it [s], shape (pieces, n)."""
        until: FloatArray = self.shown_s + soak_s / (1.0 - self.below)
        return until

    def soaks_s(self, out_s: float, n: int) -> tuple[FloatArray, float]:
        """What a piece has in the band if it comes out then [s]: draws, shape (n,), and by the best figures."""
        draws, best = (
            np.maximum(out_s - lag, 0.0) * (1.0 - below)
            for lag, below in ((self.shown_s[n], self.below[n]), (self.shown_best_s[n], self.below_best[n]))
        )
        return draws, float(best)


def since_s(chamber: ChamberCourse, step: int) -> float:
    """From when the soak in a hold may count: the chamber's entering, or the load where that is later."""
    return max(chamber.enters[step], chamber.load_s or 0.0)


def chamber_lags(hold: Hold, courses: Sequence[ChamberCourse], pieces: int) -> Lags:
    """Where the chamber's own minutes count: none, or until it is back from the load."""
    lags, below = [], []
    for each in courses:
        at_s = since_s(each, hold.number)
        back_s = _back_s(each, hold.lower_c) if each.load_s == at_s else at_s
        lags.append(back_s - at_s)
        true_c = each.temp_c[None] + each.reads_low_c
        own = share_below(each.t_s, true_c, hold.lower_c, np.array([back_s])) if each.swings else [0.0]
        below.append(float(own[0]))
    draws, best = np.tile(np.array(lags), (pieces, 1)), np.full(pieces, lags[0])
    return Lags(draws, best, draws, best, np.tile(np.array(below), (pieces, 1)), np.full(pieces, below[0]))


def _back_s(chamber: ChamberCourse, level_c: float) -> float:
    """When the chamber is first back at a level after the load has pulled it below [s]."""
    since = chamber.t_s >= (chamber.load_s or 0.0)
    below = np.flatnonzero(since & (chamber.temp_c < level_c))
    if not below.size:
        return chamber.load_s or 0.0
    back = np.flatnonzero((chamber.t_s > chamber.t_s[below[0]]) & (chamber.temp_c >= level_c))
    return float(chamber.t_s[back[0]] if back.size else chamber.t_s[-1] + STEP_S)


def taught(learned: Learned | None, lags: Lags) -> Lags:
    """The lags by what the last runs showed: their middle moved, and drawn together where runs agree better."""
    if learned is None or not learned.used:
        return lags
    best = np.maximum(lags.shown_best_s, 1.0) * learned.factor
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.maximum(lags.shown_s, 1.0) / np.maximum(lags.shown_best_s, 1.0)[:, None])
    spread = np.array([float(np.std(row[np.isfinite(row)])) if np.isfinite(row).any() else 1.0 for row in logs])
    narrower = np.minimum(1.0, learned.spread / np.maximum(spread, 1e-6))
    shown = best[:, None] * np.exp(logs * narrower[:, None])
    with np.errstate(invalid="ignore"):
        draws = np.where(np.isfinite(shown), np.maximum(lags.draws_s + shown - lags.shown_s, 0.0), np.inf)
        own = np.where(np.isfinite(best), np.maximum(lags.best_s + best - lags.shown_best_s, 0.0), np.inf)
    return replace(lags, draws_s=draws, best_s=own, shown_s=shown, shown_best_s=best)
