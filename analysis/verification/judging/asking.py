"""What one piece is asked for in one hold, of the figures that were measured: soak, level, overshoot, too hot."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.figures.figures_in_hold import FiguresInHold, Hot
from soakwitness.analysis.verification.figures.measured_run import MissingFigures
from soakwitness.analysis.verification.figures.soak_by_error import Figure
from soakwitness.analysis.verification.judging import requirements as req


def asked_of(figures: FiguresInHold) -> tuple[req.Requirement, ...]:
    """Everything that is asked of one piece."""
    noise_c = figures.on.allowed.noise_c
    asked = [*_peak_asked(figures), *_hot_asked(noise_c, figures.hot, known_load=figures.known_load)]
    if not figures.work.limits_only:
        asked = [*_soak_asked(figures), *_level_asked(figures), *asked]
    if figures.work.gone:  # the chamber alone shows no pass where a load sensor should have told
        asked.append(req.Requirement("load sensor", lambda _: False, lambda _: True))
    return tuple(asked)


def asked_of_missing(figures: MissingFigures) -> tuple[req.Requirement, ...]:
    """What a hold that was not found still asks: a level nearer to it than to its neighbours is not over its limit."""
    return tuple(_hot_asked(figures.noise_c, figures.hot, known_load=figures.known_load))


def _soak_asked(figures: FiguresInHold) -> list[req.Requirement]:
    """Least and greatest soak. What came before or after the record is not on record: it can show no shortage."""
    hold, soak, hidden_s = figures.on.hold, figures.soak, figures.hidden_s
    best = soak.at("high")
    seen = figures.ends and figures.begins
    high: Figure = (lambda e: best(e) + hidden_s) if seen else _unbounded
    asked = [req.at_least("soak", soak.at("low"), high, hold.required_s)]
    if hold.at_most_s is not None:
        least, above = soak.above("low"), soak.above("high")
        most: Figure = (lambda e: above(e) + hidden_s) if figures.ends else _unbounded
        asked.append(req.at_most("longest soak", most, least, hold.at_most_s))
    return asked


def _unbounded(_: float) -> float:
    return float("inf")


def _level_asked(figures: FiguresInHold) -> list[req.Requirement]:
    """The level itself must not lie above the band: an overshoot excuses a peak, not a level.

    A record that ends inside the hold shows no fault of it.
    """
    if figures.levels_c is None:
        return []
    hold, noise = figures.on.hold, figures.on.allowed.noise_c if figures.work.measured else 0.0
    (low, high), ends = figures.levels_c, figures.ends
    asked = [
        req.Requirement(
            "level", lambda e: high + noise - e <= hold.upper_c, lambda e: not ends or low - noise - e <= hold.upper_c
        )
    ]
    if hold.judge_by == "mean":
        asked.append(req.at_least("mean", lambda e: low - e, lambda e: high - e if ends else np.inf, hold.lower_c))
    return asked


def _peak_asked(figures: FiguresInHold) -> list[req.Requirement]:
    on, peak = figures.on, figures.peak
    limit = on.hold.max_overshoot_c
    if limit is None or peak is None or peak[0] is None or peak[1] is None:
        return []
    low, high = peak[0], peak[1]
    noise = on.allowed.noise_c
    most_c = float("inf") if on.chamber.lost else high.most_c + (0.0 if high.most_c > high.overshoot_c else noise)
    least: Figure = (lambda e: low.overshoot_c - noise - e) if figures.known_load else (lambda _: -np.inf)
    return [req.at_most("overshoot", lambda e: most_c - e, least, limit, always=True)]


def _hot_asked(noise: float, hot: Hot | None, *, known_load: bool) -> list[req.Requirement]:
    """Too hot is no pass; where nobody marked the loading, nobody knows whether a charge was inside then."""
    if hot is None or hot[0] is None or hot[1] is None:
        return []
    low, high = hot[0], hot[1]
    least: Figure = (lambda e: low.by_c - noise - e) if known_load else (lambda _: -np.inf)
    return [req.at_most("too hot", lambda e: high.most_c + noise - e, least, 0.0, always=True)]
