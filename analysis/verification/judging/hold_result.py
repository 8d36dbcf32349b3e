"""One hold out of its judged pieces: soak of the shortest, heat of the hottest, the verdict of the worst."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from soakwitness.analysis.verification.figures.figures_in_hold import FiguresInHold
from soakwitness.analysis.verification.figures.measured_run import MeasuredHold, MeasuredWork
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.results.verification import HoldResult, PieceResult


@dataclass(frozen=True)
class JudgedWork:
    """One piece judged by one of its work temperatures, with the figures that its verdict rests on."""

    result: PieceResult
    measured: MeasuredWork
    figures: FiguresInHold

    @property
    def tells_soak(self) -> bool:
        """Whether it tells the soak, not only what was too hot."""
        return not self.measured.work.limits_only


def result_of(
    measured: MeasuredHold, bare: HoldResult, judged: Sequence[tuple[Stay, Sequence[JudgedWork]]], record_end_s: float
) -> HoldResult:
    """The hold's figures, all of one piece by one sensor: that with the shortest soak."""
    every = [one for _, many in judged for one in many]
    soaking = [one for one in every if one.tells_soak]
    soaked = _shortest(soaking)
    pieces = [_named(_of_stay(many), stay) for stay, many in judged]
    return replace(
        bare,
        found=True,
        pieces=tuple(p for p in pieces if p.piece is not None),
        sensors=tuple(dict.fromkeys((one.figures.on.sensor.name, one.measured.known) for one in soaking)),
        never_reached=max(
            (one.measured.never_reached for one in every if one.measured.never_reached is not None), default=None
        ),
        **_soak_shown(soaked),
        **_heat_shown(max(every, key=_heat), soaked),
        **_place_shown(measured, soaked),
        **_verdicts(every, soaking, soaked, record_end_s),
    )


def _soak_shown(soaked: JudgedWork) -> dict[str, Any]:
    """What is told of the piece with the shortest soak."""
    result, measured, figures = soaked.result, soaked.measured, soaked.figures
    on = figures.on
    level_c = sum(figures.levels_c) / 2.0 if figures.levels_c is not None else on.level.level_c
    return {
        "in_band_s": figures.in_band(measured.known.expanded_c or 0.0) if on.inside_band else None,
        "soak_s": result.soak_s,
        "level_c": level_c + on.correction_c,
        "lag_s": result.lag_s,
        "noise_c": on.allowed.noise_c,
        "measured_by": on.sensor.name,
        "temperature_from": measured.work.source,
        "shown_by": measured.known,
        "dips": figures.dips,
        "load_s": result.load_s,
        "pull_s": result.pull_s,
        "fitted": measured.work.fitted,
    }


def _heat_shown(hottest: JudgedWork, soaked: JudgedWork) -> dict[str, Any]:
    """What is told of the hottest piece; whether its peak may be hidden, of the sensor that tells the soak."""
    peak, hot = hottest.figures.shown_peak, hottest.figures.shown_hot
    return {
        "overshoot_c": peak.overshoot_c if peak else None,
        "overshoot_is_at_least": bool(peak and (peak.is_at_least or soaked.figures.on.chamber.lost)),
        "overshoot_at_s": peak.at_s if peak else None,
        "above_band_s": peak.above_band_s if peak else None,
        "too_hot": hot.shown if hot is not None else None,
    }


def _place_shown(measured: MeasuredHold, soaked: JudgedWork) -> dict[str, Any]:
    """Where the hold is, on the sensor that tells the soak and on the chamber."""
    on, control = soaked.figures.on, measured.gathered.control_edges
    return {
        "enter_s": on.edges.enter_s if on.inside_band else None,
        "leave_s": on.edges.leave_s if on.inside_band else None,
        "control_enter_s": control.enter_s if control else None,
        "control_leave_s": control.leave_s if control else None,
        "stays": tuple((s.start_s, s.end_s) for s in on.placed.stays),
        "began": on.began,
        "ended": soaked.figures.ends,
    }


def _verdicts(
    every: Sequence[JudgedWork], soaking: Sequence[JudgedWork], soaked: JudgedWork, record_end_s: float
) -> dict[str, Any]:
    """The verdict of the worst piece, and what it rests on: the weakest."""
    found = [one.result for one in every]
    verdict = req.worst(p.verdict for p in found)
    name = soaked.figures.on.sensor.name
    return {
        "verdict": verdict,
        "as_read": req.worst(p.as_read for p in found),
        "at_true_temperature": req.worst(p.at_true_temperature for p in found),
        "limits_verdict": req.worst(p.limits_verdict for p in found),
        "unmet": _each(p.unmet for p in found if p.verdict == verdict),
        "unproven": _each(p.unproven for p in found),
        "error_it_stands_c": req.common(
            one.result.error_it_stands_c for one in soaking if one.figures.on.sensor.name == name
        ),
        "known": max(soaking, key=_weakness).measured.known,
        "longest_s": max((p.longest_s for p in found if p.longest_s), key=lambda b: b.best, default=None),
        "all_out": all(p.pull_s is not None and p.pull_s <= record_end_s for p in found),
    }


def _shortest(soaking: Iterable[JudgedWork]) -> JudgedWork:
    return min(soaking, key=lambda one: (one.result.soak_s.best, one.result.soak_s.low))


def _weakness(judged: JudgedWork) -> tuple[int, bool, bool, float, float]:
    """How weak a piece stands: by verdict, by what it rests on, by what is known of its sensor, by soak."""
    result, known = judged.result, judged.measured.known
    order = req.ORDER.index(result.verdict)
    soak = result.soak_s
    return order, known.basis == "reading", known.expanded_c is None, -soak.best, -soak.low


def _heat(judged: JudgedWork) -> tuple[float, float]:
    hot, peak = judged.figures.shown_hot, judged.figures.shown_peak
    return hot.by_c if hot else -np.inf, peak.overshoot_c if peak else -np.inf


def _of_stay(many: Sequence[JudgedWork]) -> PieceResult:
    """One piece by all its work temperatures: its shortest soak, its worst verdict."""
    soaked = _shortest(one for one in many if one.tells_soak).result
    results = [one.result for one in many]
    return replace(
        soaked,
        verdict=req.worst(p.verdict for p in results),
        as_read=req.worst(p.as_read for p in results),
        at_true_temperature=req.worst(p.at_true_temperature for p in results),
        limits_verdict=req.worst(p.limits_verdict for p in results),
        unmet=_each(p.unmet for p in results),
        unproven=_each(p.unproven for p in results),
        error_it_stands_c=req.common(p.error_it_stands_c for p in results),
    )


def _named(result: PieceResult, stay: Stay) -> PieceResult:
    """A piece's result with its name, charge and quench."""
    return replace(
        result,
        piece=stay.piece if stay.piece is not None else stay.charge,
        charge=stay.charge,
        plates_s=stay.plates_s,
        quench_delay_s=stay.quench_delay_s,
        bounds=stay.bounds,
    )


def _each(many: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for names in many for name in names))
