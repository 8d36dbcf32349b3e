"""One hold of one run: its figures, its requirements, and the verdict of the worst piece."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.verification.holds.placed_sensors import placed_for
from soakwitness.analysis.verification.inputs.stays import Stay, stays_in_hold
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.asking import Asked, ask, ask_absent, dips_in
from soakwitness.analysis.verification.judging.error_shift import extremes
from soakwitness.analysis.verification.judging.figures import in_band_figures, lag_of, lost_in, unseen_s
from soakwitness.analysis.verification.measuring.too_hot import HotFigures
from soakwitness.analysis.verification.results.verification import (
    Bounds,
    HoldResult,
    KnownError,
    PieceResult,
    TooHot,
    Verdict,
)
from soakwitness.analysis.verification.sensors.context import HoldOnTrace, VerificationContext, Work


@dataclass(frozen=True)
class _Judged:
    """One piece judged by one of its work temperatures."""

    result: PieceResult
    known: KnownError
    asked: Asked

    @property
    def tells_soak(self) -> bool:
        """Whether it tells the soak, not only what was too hot."""
        return not self.asked.work.limits_only


def judge_hold(context: VerificationContext, number: int) -> HoldResult:
    """Figures and verdicts of one hold, by its index among the recipe's holds; figures are the worst piece's."""
    hold = context.recipe.holds[number]
    bare = HoldResult(
        step=hold.number,
        target_c=hold.target_c,
        band_c=(hold.lower_c, hold.upper_c),
        required_s=hold.required_s,
        found=False,
        judged=hold.judged,
        at_most_s=hold.at_most_s,
        max_overshoot_c=hold.max_overshoot_c,
        cycle=hold.cycle,
    )
    chamber = _on(context, context.control_work(), number, context.known(context.chamber, number).correction_c)
    if chamber is None:
        return _absent(context, number, bare)
    within = stays_in_hold(context.stays, context.recipe, chamber.hold, chamber.begin_s, chamber.edges.leave_s)
    if not within:
        # Every charge went in later, into the hotter furnace: the hold is reported, not judged.
        bare, context = replace(bare, judged=False), _furnace_alone(context)
    judged = {index: _judge_stay(context, number, index) for index in within or [0]}
    judged = {index: many for index, many in judged.items() if many}
    if not judged:
        return replace(bare, known=context.known(context.chamber, number))
    return _result(context, number, chamber, replace(bare, found=True), judged)


def _absent(context: VerificationContext, number: int, bare: HoldResult) -> HoldResult:
    """A hold that was not found may still have been too hot: that counts, whatever else its absence shows."""
    known = context.known(context.chamber, number)
    verdicts: list[Verdict] = []
    for index, stay in enumerate(context.stays):
        for work in context.works(index, number):
            asked = ask_absent(context, number, work, stay)
            mine = context.known(work.sensor, number)
            verdicts += [_alone(r, mine, on_true=mine.basis == "true temperature") for r in asked]
    limits = req.worst(verdicts)
    return replace(bare, known=known, limits_verdict=limits, unmet=("too hot",) if limits == "fail" else ())


def _on(
    context: VerificationContext, work: Work, number: int, correction_c: float, *, lapsed: bool = False
) -> HoldOnTrace | None:
    """The hold on the sensor of a work temperature, with a correction [K]."""
    placed = placed_for(work.sensor, corrected=correction_c != 0.0, lapsed=lapsed)
    return context.on_trace(work.sensor, number, correction_c, placed)


def _furnace_alone(context: VerificationContext) -> VerificationContext:
    """The same verification with nothing in the furnace."""
    return replace(context, stays=(Stay(None, None, context.start_s),), estimate_of=lambda _: None)


def _judge_stay(context: VerificationContext, number: int, index: int) -> list[_Judged]:
    """One stay by each of its work temperatures; one that has no such hold is left out."""
    judged = [*_judge_works(context, number, context.stays[index], context.works(index, number))]
    for other in _other_stays(context, index):
        # What a piece got in another stay is no soak of this one, but it was too hot then all the same.
        works = [replace(work, limits_only=True) for work in context.works(other, number)]
        judged += _judge_works(context, number, context.stays[other], works)
    return judged


def _other_stays(context: VerificationContext, index: int) -> list[int]:
    """Further stays of the same piece."""
    name = context.stays[index].piece
    return [n for n, stay in enumerate(context.stays) if name is not None and n != index and stay.piece == name]


def _judge_works(context: VerificationContext, number: int, stay: Stay, works: Iterable[Work]) -> list[_Judged]:
    judged = []
    for work in works:
        # pieces alike that went in and out together are judged once
        key = (number, work.sensor.key, id(work.best.temp_c), work.gone, work.limits_only, stay.load_s, stay.pull_s)
        if key not in context.remembered.judged:
            context.remembered.judged[key] = _judge_by(context, number, stay, work)
        judged.append(context.remembered.judged[key])
    return [one for one in judged if one is not None]


def _judge_by(context: VerificationContext, number: int, stay: Stay, work: Work) -> _Judged | None:
    """One stay by one work temperature: as read, at true temperature, and by what an overdue calibration said."""
    known = context.known(work.sensor, number)
    on_true = known.basis == "true temperature"

    def with_c(added_c: float) -> Asked | None:
        return ask(context, _on(context, work, number, added_c), work, stay)

    read = with_c(0.0)
    true = read if known.correction_c == 0.0 else with_c(known.correction_c)
    asked = true if on_true else read if known.place is None else with_c(known.place_c)
    if asked is None:
        return None
    as_read = req.worst(req.as_read(r) for r in read.requirements) if read is not None else "fail"
    at_true = _at_true(true, known.expanded_c)
    placed = as_read if known.place is None else _at_true(asked, known.place.expanded_c)
    verdict = at_true if on_true else placed
    if known.lapsed is not None and context.recipe.decide_on is None:
        old = ask(context, _on(context, work, number, known.lapsed.correction_c, lapsed=True), work, stay)
        verdict = req.with_lapsed(verdict, _at_true(old, known.lapsed.expanded_c) if old is not None else "fail")
    return _Judged(_piece(context, asked, known, stay, (as_read, at_true, verdict)), known, asked)


def _at_true(asked: Asked | None, expanded_c: float | None) -> Verdict:
    if asked is None:
        return "fail"
    return "not proven" if expanded_c is None else req.at_true_temperature(asked.requirements, expanded_c)


def _piece(
    context: VerificationContext,
    asked: Asked,
    known: KnownError,
    stay: Stay,
    verdicts: tuple[Verdict, Verdict, Verdict],
) -> PieceResult:
    as_read, at_true, verdict = verdicts
    expanded_c = known.expanded_c or 0.0
    measure, on = asked.measure, asked.on
    low, high = extremes(measure.at("low"), measure.at("high"), expanded_c)
    best = measure.at("best")(0.0)
    on_true = known.basis == "true temperature"
    each = [(r.name, _alone(r, known, on_true=on_true)) for r in asked.requirements]
    always = [r for r in asked.requirements if r.always]
    unmet = tuple(name for name, alone in each if alone == "fail") or tuple(
        r.name for r in asked.requirements if not r.best(0.0)
    )
    return PieceResult(
        piece=None,
        charge=None,
        soak_s=Bounds(min(low, best), best, max(high, best) + asked.hidden_s),
        longest_s=measure.longest(asked.hidden_s),
        verdict=verdict,
        as_read=as_read,
        at_true_temperature=at_true,
        load_s=stay.load_s,
        pull_s=stay.pull_s,
        temperature_from=asked.work.source,
        lag_s=lag_of(context, on, asked.work, measure.window),
        error_it_stands_c=req.common(_intervals(asked.requirements, known)),
        unmet=unmet if verdict == "fail" else (),
        unproven=tuple(name for name, alone in each if alone == "not proven"),
        limits_verdict=req.worst(_alone(r, known, on_true=on_true) for r in always),
        pull_c=_at_pull(asked, stay),
    )


def _alone(requirement: req.Requirement, known: KnownError, *, on_true: bool) -> Verdict:
    """One requirement by itself, on what the hold's verdict rests on."""
    if not on_true and known.place is not None:
        return req.at_true_temperature([requirement], known.place.expanded_c)
    if not on_true:
        return req.as_read(requirement)
    return "not proven" if known.expanded_c is None else req.at_true_temperature([requirement], known.expanded_c)


def _intervals(requirements: Sequence[req.Requirement], known: KnownError) -> Iterable[tuple[float, float] | None]:
    return (req.interval_of(r, known.expanded_c) for r in requirements)


def _at_pull(asked: Asked, stay: Stay) -> float | None:
    """Work temperature of a piece at its pull, corrected as the hold is [degC]."""
    trace = asked.work.best
    if stay.pull_s is None or not trace.t_s[0] <= stay.pull_s <= trace.t_s[-1]:
        return None
    return trace.at(stay.pull_s) + asked.on.correction_c


def _result(
    context: VerificationContext,
    number: int,
    chamber: HoldOnTrace,
    bare: HoldResult,
    judged: Mapping[int, Sequence[_Judged]],
) -> HoldResult:
    """The hold's figures: soak of the piece with the shortest, heat of the hottest, the verdict of the worst."""
    every = [one for many in judged.values() for one in many]
    # All figures are of one piece by one sensor, that with the shortest soak; the basis is that of the weakest.
    soaking = [one for one in every if one.tells_soak]
    soaked = min(soaking, key=lambda one: (one.result.soak_s.best, one.result.soak_s.low))
    weakest = max(soaking, key=_weakness)
    hottest = max(every, key=_heat)
    pieces = [_named(_of_stay(many), context.stays[index]) for index, many in judged.items()]
    on = soaked.asked.on
    verdict = req.worst(one.result.verdict for one in every)
    hidden_s = unseen_s(context, on, None)
    peak, hot = hottest.asked.peak, hottest.asked.hot
    control = context.chamber.placed_true[number] or context.chamber.placed[number]
    control_edges = control.edges if control is not None else None
    found = [one.result for one in every]
    return replace(
        bare,
        enter_s=on.edges.enter_s if on.inside_band else None,
        leave_s=on.edges.leave_s if on.inside_band else None,
        in_band_s=in_band_figures(context, on, soaked.known.expanded_c or 0.0, hidden_s) if on.inside_band else None,
        soak_s=soaked.result.soak_s,
        longest_s=max((p.longest_s for p in found if p.longest_s), key=lambda b: b.best, default=None),
        unmet=_each(p.unmet for p in found if p.verdict == verdict),
        unproven=_each(p.unproven for p in found),
        overshoot_c=peak.overshoot_c if peak else None,
        overshoot_is_at_least=bool(peak and (peak.is_at_least or lost_in(context, on))),
        overshoot_at_s=peak.at_s if peak else None,
        above_band_s=peak.above_band_s if peak else None,
        level_c=_shown_level(soaked) + on.correction_c,
        lag_s=soaked.result.lag_s,
        noise_c=on.allowed.noise_c,
        never_reached=_never_reached(every),
        as_read=req.worst(p.as_read for p in found),
        at_true_temperature=req.worst(p.at_true_temperature for p in found),
        error_it_stands_c=req.common(
            one.result.error_it_stands_c for one in soaking if one.asked.on.sensor.name == on.sensor.name
        ),
        verdict=verdict,
        pieces=tuple(p for p in pieces if p.piece is not None),
        measured_by=on.sensor.name,
        temperature_from=soaked.asked.work.source,
        control_enter_s=control_edges.enter_s if control_edges else None,
        control_leave_s=control_edges.leave_s if control_edges else None,
        dips=dips_in(context, on),
        stays=tuple((s.start_s, s.end_s) for s in on.placed.stays),
        known=weakest.known,
        shown_by=soaked.known,
        sensors=tuple(dict.fromkeys((one.asked.on.sensor.name, one.known) for one in every if one.tells_soak)),
        limits_verdict=req.worst(p.limits_verdict for p in found),
        too_hot=_too_hot(hot),
        load_s=soaked.result.load_s,
        pull_s=soaked.result.pull_s,
        began=on.began,
        ended=soaked.asked.ends,
        all_out=all(p.pull_s is not None and p.pull_s <= float(context.run.t_s[-1]) for p in found),
        fitted=soaked.asked.work.fitted,
    )


def _weakness(judged: _Judged) -> tuple[int, bool, bool, float, float]:
    """How weak a piece stands: by verdict, by what it rests on, by what is known of its sensor, by soak."""
    result, known = judged.result, judged.known
    order = req.ORDER.index(result.verdict)
    soak = result.soak_s
    return order, known.basis == "reading", known.expanded_c is None, -soak.best, -soak.low


def _heat(judged: _Judged) -> tuple[float, float]:
    hot, peak = judged.asked.hot, judged.asked.peak
    return hot.by_c if hot else -np.inf, peak.overshoot_c if peak else -np.inf


def _too_hot(hot: HotFigures | None) -> TooHot | None:
    return hot.shown if hot is not None else None


def _shown_level(judged: _Judged) -> float:
    """Level of the deciding work [degC], as its sensor shows it."""
    level_c = judged.asked.level_c
    return judged.asked.on.level.level_c if level_c is None else level_c


def _of_stay(many: Sequence[_Judged]) -> PieceResult:
    """One piece by all its work temperatures: its shortest soak, its worst verdict."""
    soaking = [one for one in many if one.tells_soak]
    soaked = min(soaking, key=lambda one: (one.result.soak_s.best, one.result.soak_s.low)).result
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
        quench_delay_s=None if stay.pull_s is None or stay.plates_s is None else stay.plates_s - stay.pull_s,
    )


def _each(many: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for names in many for name in names))


def _never_reached(every: Sequence[_Judged]) -> float | None:
    """Largest share of packet draws that never reach the band; None where nothing was estimated."""
    shares = [
        one.asked.work.lag(one.asked.on.hold.lower_c, one.asked.on.edges.enter_s, one.asked.on.edges.leave_s)[3]
        for one in every
        if one.asked.work.lag is not None
    ]
    return max(shares, default=None)
