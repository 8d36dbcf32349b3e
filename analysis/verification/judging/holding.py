"""One hold of one run: its requirements by every work temperature, and the verdict of the worst piece."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from soakwitness.analysis.verification.figures.figures_in_hold import FiguresInHold
from soakwitness.analysis.verification.figures.measured_run import MeasuredHold, MeasuredWork
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.asking import asked_of, asked_of_missing
from soakwitness.analysis.verification.judging.error_shift import extremes
from soakwitness.analysis.verification.judging.hold_result import JudgedWork, result_of
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.results.verification import Bounds, HoldResult, PieceResult, Verdict


def judge_hold(measured: MeasuredHold, record_end_s: float) -> HoldResult:
    """Figures and verdicts of one hold; ``record_end_s`` is the record's last moment [s]."""
    gathered = measured.gathered
    hold = gathered.hold
    bare = HoldResult(
        step=hold.number,
        target_c=hold.target_c,
        band_c=(hold.lower_c, hold.upper_c),
        required_s=hold.required_s,
        found=False,
        judged=hold.judged and not gathered.alone,
        at_most_s=hold.at_most_s,
        max_overshoot_c=hold.max_overshoot_c,
        cycle=hold.cycle,
        known=gathered.known,
    )
    if gathered.chamber is None:
        return _absent(measured, bare)
    judged = [_judged(one) for one in measured.works]
    if not any(judged):
        return bare
    pieces = [(piece.stay, [judged[place] for place in piece.works]) for piece in gathered.stays]
    told = [(stay, [one for one in many if one is not None]) for stay, many in pieces]
    return result_of(measured, bare, [(stay, many) for stay, many in told if many], record_end_s)


def _absent(measured: MeasuredHold, bare: HoldResult) -> HoldResult:
    """A hold that was not found may still have been too hot: that counts, whatever else its absence shows."""
    verdicts = [_alone(r, one.known) for one in measured.missing for r in asked_of_missing(one)]
    limits = req.worst(verdicts)
    return replace(bare, limits_verdict=limits, unmet=("too hot",) if limits == "fail" else ())


def _judged(measured: MeasuredWork) -> JudgedWork | None:
    """One piece by one work temperature: as read, at true temperature, and by what an overdue calibration said."""
    known, read, true, deciding = measured.known, measured.read, measured.true, measured.deciding
    if deciding is None:
        return None
    as_read = req.worst(req.as_read(r) for r in asked_of(read)) if read is not None else "fail"
    at_true = _at_true(true, known.expanded_c)
    placed = as_read if known.place is None else _at_true(measured.placed, known.place.expanded_c)
    verdict = at_true if known.basis == "true temperature" else placed
    if measured.asks_lapsed and known.lapsed is not None:
        verdict = req.with_lapsed(verdict, _at_true(measured.lapsed, known.lapsed.expanded_c))
    return JudgedWork(_piece(measured, deciding, (as_read, at_true, verdict)), measured, deciding)


def _at_true(figures: FiguresInHold | None, expanded_c: float | None) -> Verdict:
    if figures is None:
        return "fail"
    return "not proven" if expanded_c is None else req.at_true_temperature(asked_of(figures), expanded_c)


def _piece(measured: MeasuredWork, figures: FiguresInHold, verdicts: tuple[Verdict, Verdict, Verdict]) -> PieceResult:
    as_read, at_true, verdict = verdicts
    known, requirements = measured.known, asked_of(figures)
    low, high = extremes(figures.soak.at("low"), figures.soak.at("high"), known.expanded_c or 0.0)
    best = figures.soak.at("best")(0.0)
    each = [(r.name, _alone(r, known)) for r in requirements]
    always = [alone for r, (_, alone) in zip(requirements, each, strict=True) if r.always]
    unmet = tuple(name for name, alone in each if alone == "fail") or tuple(
        r.name for r in requirements if not r.best(0.0)
    )
    return PieceResult(
        piece=None,
        charge=None,
        soak_s=Bounds(min(low, best), best, max(high, best) + figures.hidden_s),
        longest_s=figures.soak.longest(figures.hidden_s),
        verdict=verdict,
        as_read=as_read,
        at_true_temperature=at_true,
        load_s=measured.stay.load_s,
        pull_s=measured.stay.pull_s,
        temperature_from=measured.work.source,
        lag_s=measured.lag_s,
        error_it_stands_c=req.common(_intervals(requirements, known)),
        unmet=unmet if verdict == "fail" else (),
        unproven=tuple(name for name, alone in each if alone == "not proven"),
        limits_verdict=req.worst(always),
        pull_c=measured.pull_c,
    )


def _alone(requirement: req.Requirement, known: KnownError) -> Verdict:
    """One requirement by itself, on what the hold's verdict rests on."""
    if known.basis != "true temperature" and known.place is not None:
        return req.at_true_temperature([requirement], known.place.expanded_c)
    if known.basis != "true temperature":
        return req.as_read(requirement)
    return "not proven" if known.expanded_c is None else req.at_true_temperature([requirement], known.expanded_c)


def _intervals(requirements: Sequence[req.Requirement], known: KnownError) -> Iterable[tuple[float, float] | None]:
    return (req.interval_of(r, known.expanded_c) for r in requirements)
