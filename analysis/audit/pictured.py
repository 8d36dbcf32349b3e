"""What the picture of an audit shows: the run, or the pieces by what sets them apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from soakwitness.analysis.audit.auditing import ODD, Audit
from soakwitness.analysis.audit.catalogue import NOTHING
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence, TreatmentEvidence
from soakwitness.analysis.evidence.hardness_at_stages import stage_value
from soakwitness.analysis.evidence.run_figures import PieceFigures
from soakwitness.analysis.record.moments import seconds_between

Group = Literal["suspect", "same run", "good runs"]
Scale = Literal["words", "temperature", "time", "count", "thickness", "points"]


@dataclass(frozen=True)
class PiecePoint:
    """One piece, or one test of it: hardness [HRC] and where it stands by what is shown.

    ``at``: a number [degC, s, mm, HRC, or counted], or a word; None where that is not on record.
    """

    piece: str
    group: Group
    as_quenched: float | None
    final: float | None
    at: float | str | None


@dataclass(frozen=True)
class PiecesPictured:
    """Pieces by one thing. ``by``: what it is, as the axis is called; ``allowed``: what the recipe asks, or allows."""

    by: str
    scale: Scale
    points: tuple[PiecePoint, ...]
    allowed: float | None = None
    limits_as_quenched: tuple[float, float] | None = None
    limits_final: tuple[float, float] | None = None


LEAST_RANGE = 0.01  # of the figure itself: good ones that are all the same

Read = Callable[[Evidence, PieceEvidence], float | str | None]


@dataclass(frozen=True)
class _By:
    words: str
    scale: Scale
    of: Read
    allowed: Callable[[Evidence], float | None] = lambda _: None


def pictured_cause(audit: Audit) -> str:
    """The cause to show: the leading one; where nothing is claimed, what comes nearest; else the run as a whole."""
    named = [o.cause for o in audit.causes if o.cause != NOTHING and (o.claimed or o.score >= ODD)]
    return named[0] if named else ""


def pieces_pictured(evidence: Evidence, cause: str, run: str | None) -> PiecesPictured | None:
    """Pieces by what the cause sets apart; None where the cause lies in the furnace, or no hardness is known.

    ``cause``: the leading cause; ``NOTHING`` for the pieces as they are. ``run``: the run in question.
    """
    if cause not in BY_CAUSE:
        return None
    told = [(by, points) for by in BY_CAUSE[cause] if _tells(points := _points(evidence, by.of))]
    told.sort(key=lambda one: -_apart(one[1]))  # of equals the first stays first
    by, points = told[0] if told else (_RUN, _points(evidence, _RUN.of))
    return _pictured(evidence, by, points, run)


def _tells(points: Sequence[PiecePoint]) -> bool:
    """Whether it is on record for a suspect, and differs at all."""
    known = [p for p in points if p.at is not None]
    return any(p.group == "suspect" for p in known) and len({p.at for p in known}) > 1


def _apart(points: Sequence[PiecePoint]) -> float:
    """How far suspects stand from good ones, in ranges of the good ones; 0 where they stand among them."""
    bad = [p.at for p in points if p.at is not None and p.group == "suspect"]
    good = [p.at for p in points if p.at is not None and p.group != "suspect"]
    bad_numbers = [b for b in bad if isinstance(b, float)]
    numbers = [g for g in good if isinstance(g, float)]
    if not bad_numbers or not numbers:
        return float(not set(bad) & set(good))
    low, high = min(numbers), max(numbers)
    gap = min(max(low - b, b - high) for b in bad_numbers)
    return max(0.0, gap) / max(high - low, LEAST_RANGE * max(abs(low), abs(high), 1.0))


def spots_pictured(evidence: Evidence, cause: str, run: str | None) -> PiecesPictured | None:
    """Tests of single spots where the cause lies in the skin or at an edge: each test is a point."""
    if cause not in ON_THE_PIECE:
        return None
    points = [
        PiecePoint(p.id, group, h.test.mean if h.as_quenched else None, h.test.mean if h.final else None, _spot(h))
        for group, pieces in _groups(evidence).items()
        for p in pieces
        for h in p.hardness
        if h.test.scale == "HRC"
    ]
    return _pictured(evidence, _By("where it was tested", "words", lambda *_: None), points, run) if points else None


def _spot(test: object) -> str:
    spot, ground = getattr(test, "spot", None), getattr(test, "ground_off_mm", None)
    return f"{ground:g} mm ground off" if ground else spot or "skin"


def _pictured(evidence: Evidence, by: _By, points: list[PiecePoint], run: str | None) -> PiecesPictured | None:
    if all(p.final is None and p.as_quenched is None for p in points):
        return None
    recipe = evidence.recipes.get(run or "")
    return PiecesPictured(
        by.words,
        by.scale,
        tuple(p for p in points if p.final is not None or p.as_quenched is not None),
        by.allowed(evidence),
        recipe.hardness_as_quenched if recipe else None,
        recipe.hardness_final if recipe else None,
    )


def _groups(evidence: Evidence) -> Mapping[Group, tuple[PieceEvidence, ...]]:
    return {"suspect": evidence.suspects, "same run": evidence.siblings, "good runs": evidence.good}


def _points(evidence: Evidence, read: Read) -> list[PiecePoint]:
    return [
        PiecePoint(p.id, group, stage_value(p, "as quenched"), stage_value(p, "final"), read(evidence, p))
        for group, pieces in _groups(evidence).items()
        for p in pieces
    ]


def figures_of(evidence: Evidence, piece: PieceEvidence) -> PieceFigures | None:
    """What the record of a piece's own run says of it."""
    run = evidence.runs.get(piece.harden or "")
    return next((f for f in run.pieces if f.piece and f.piece.casefold() == piece.id.casefold()), None) if run else None


def _delay(evidence: Evidence, piece: PieceEvidence) -> float | None:
    figures = figures_of(evidence, piece)
    return figures.quench_delay_s if figures else None


def _within(evidence: Evidence) -> float | None:
    runs = [evidence.runs[name] for name in evidence.suspect_runs if name in evidence.runs]
    return runs[0].quench_within_s if runs else None


def _pull_number(evidence: Evidence, piece: PieceEvidence) -> float | None:
    run, figures = evidence.runs.get(piece.harden or ""), figures_of(evidence, piece)
    if run is None or figures is None or figures.pull_s is None:
        return None
    pulls = sorted({f.pull_s for f in run.pieces if f.pull_s is not None})
    return float(pulls.index(figures.pull_s) + 1) if len(pulls) > 1 else None


def _done(piece: PieceEvidence, kind: str) -> list[TreatmentEvidence]:
    return [t for t in piece.treatments if t.kind == kind and not t.not_done]


def _temper_c(evidence: Evidence, piece: PieceEvidence) -> float | None:
    """The hottest of its tempers: by a second thermometer, by the run, else as the oven showed [degC]."""
    second = [t.second_c for t in _done(piece, "temper") if t.second_c is not None]
    logged = [
        max((c for h in evidence.runs[r].holds if (c := h.work_c or h.control_c) is not None), default=None)
        for r in piece.tempers
        if r in evidence.runs
    ]
    shown = [t.shown_c for t in _done(piece, "temper") if t.shown_c is not None]
    values = second or [c for c in logged if c is not None] or shown
    return max(values) if values else None


def _temper_target(evidence: Evidence) -> float | None:
    runs = [evidence.runs[r] for p in (*evidence.suspects, *evidence.good) for r in p.tempers if r in evidence.runs]
    targets = [h.target_c for run in runs for h in run.holds]
    return max(targets) if targets else None


def _tempers(evidence: Evidence, piece: PieceEvidence) -> str | None:
    count = len(piece.tempers) + len(_done(piece, "temper"))
    if count:
        return f"{count} temper{'s' if count > 1 else ''}"
    return "not done" if any(t.kind == "temper" and t.not_done for t in piece.treatments) else "none on record"


def _waited(kind: str) -> Read:
    def read(evidence: Evidence, piece: PieceEvidence) -> float | None:
        starts = [t.start_utc for t in _done(piece, kind)]
        starts += [evidence.runs[r].started_utc for r in piece.tempers if kind == "temper" and r in evidence.runs]
        if piece.quenched_utc is None or not starts:
            return None
        waited_s = seconds_between(piece.quenched_utc, min(starts))
        return waited_s if waited_s >= 0 else None

    return read


def _cold(_: Evidence, piece: PieceEvidence) -> str | None:
    if _done(piece, "cold treatment"):
        return "done"
    return "not done" if any(t.kind == "cold treatment" for t in piece.treatments) else "not on record"


def _coldest(_: Evidence, piece: PieceEvidence) -> float | None:
    values = [t.lowest_c for t in _done(piece, "cold treatment") if t.lowest_c is not None]
    return min(values) if values else None


def _tester(_: Evidence, piece: PieceEvidence) -> str | None:
    names = [h.tester for h in piece.hardness if h.tester]
    return names[-1] if names else None


def _ovens(_: Evidence, piece: PieceEvidence) -> str | None:
    names = [t.oven for t in _done(piece, "temper") if t.oven]
    return names[-1] if names else None


def _operator(evidence: Evidence, piece: PieceEvidence) -> str | None:
    return evidence.operators.get(piece.harden or "")


def _run_day(evidence: Evidence, piece: PieceEvidence) -> str | None:
    run = evidence.runs.get(piece.harden or "")
    return run.started_utc[:10] if run is not None else piece.harden


def _block(_: Evidence, piece: PieceEvidence) -> float | None:
    """How much too high the tester read on its block when the piece was tested [HRC]."""
    off = [h.test.block_error for h in piece.hardness if h.test.block_error is not None and h.test.scale == "HRC"]
    return median(off) if off else None


_PLACE = _By("place in the furnace", "words", lambda _, p: p.place)
_LOT = _By("lot", "words", lambda _, p: f"{p.steel or 'steel not known'}, lot {p.lot}" if p.lot else p.steel)
_RUN = _By("run of", "words", _run_day)
_DELAY = _By("from the furnace to the plates", "time", _delay, _within)
_PULL = _By("order of pull", "count", _pull_number)
_TEMPER = _By("temper", "temperature", _temper_c, _temper_target)
_OVEN = _By("tempering oven", "words", _ovens)
_THICK = _By("thickness", "thickness", lambda _, p: p.thickness_mm)

# what sets pieces apart where the cause lies after the furnace, or in the piece; else the picture is the run
BY_CAUSE: Mapping[str, tuple[_By, ...]] = {
    "late quench": (_DELAY, _PULL),
    "plates warmed by the blades before": (_PULL, _DELAY),
    "poor plate contact": (_PULL,),
    "temper missed": (_By("tempers", "words", _tempers), _TEMPER),
    "temper late": (_By("from the quench to the temper", "time", _waited("temper")),),
    "temper too cold": (_TEMPER,),
    "temper too hot": (_TEMPER,),
    "cold treatment late or warm": (
        _By("from the quench to the cold treatment", "time", _waited("cold treatment")),
        _By("coldest", "temperature", _coldest),
    ),
    "cold treatment left out": (_By("cold treatment", "words", _cold),),
    "tempering oven reads wrong": (_OVEN, _TEMPER),
    "another hand at the furnace": (_By("who ran it", "words", _operator),),
    "place in the furnace": (_PLACE,),
    "mixed or wrong bar": (_LOT, _THICK),
    "leaking foil": (),
    "overheated in finish grinding": (),
    "hardness tester": (
        _By("tester", "words", _tester),
        _By("what the tester read on its block, too high by", "points", _block),
    ),
    NOTHING: (_PLACE, _LOT),
}
ON_THE_PIECE = ("leaking foil", "overheated in finish grinding")
