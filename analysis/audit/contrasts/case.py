"""A case at hand: the suspect run beside the good ones, hardness at each stage, contrasts within the run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import median
from typing import Literal

from soakwitness.analysis.audit.contrasts.stage_changes import Changes, changes
from soakwitness.analysis.audit.contrasts.statistics import FigureComparison, compare
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence
from soakwitness.analysis.evidence.hardness_at_stages import CLEARLY_HRC, Stage, nearer, stage_value
from soakwitness.analysis.evidence.run_figures import ConditionFigures, HoldFigures, PieceFigures, RunFigures
from soakwitness.analysis.metallurgy.hardness_readings import least_difference_hrc
from soakwitness.analysis.recipes.recipe import Recipe

Direction = Literal["low", "high", "normal"]
LEAST_HRC = 1.0  # twice the machine error allowed at 60 HRC: less is not told apart


@dataclass(frozen=True)
class Hardness:
    """Hardness of the suspects at one stage beside that of the good ones [HRC]; ``direction`` None: not known.

    ``least`` is the smallest difference that the tester can show between them [HRC].
    """

    stage: Stage
    suspect: float | None = None
    good: float | None = None
    limits: tuple[float, float] | None = None
    direction: Direction | None = None
    least: float = LEAST_HRC

    @property
    def change(self) -> float | None:
        """Suspects minus good ones, minus the middle of the limits where no good one was measured [HRC]."""
        reference = self.good if self.good is not None else sum(self.limits) / 2 if self.limits else None
        return None if self.suspect is None or reference is None else self.suspect - reference

    @property
    def says(self) -> str:
        """Figures in words."""
        beside = f", the good ones {self.good:.1f}" if self.good is not None else ""
        inside = f", limits {self.limits[0]:g} to {self.limits[1]:g}" if self.limits else ""
        return f"{self.suspect:.1f} HRC {self.stage}{beside}{inside}"


class Case:
    """Looks at the evidence from all sides; everything is computed once, when it is first asked for."""

    def __init__(self, evidence: Evidence, everyone: Sequence[PieceEvidence] = ()) -> None:
        self.evidence = evidence
        self.everyone = tuple(everyone) or evidence.suspects  # suspects of other runs too

    @cached_property
    def run(self) -> RunFigures | None:
        """The hardening run in question: where most suspects were."""
        runs = [p.harden for p in self.evidence.suspects if p.harden is not None]
        for name in (*(r for r, _ in Counter(runs).most_common()), *self.evidence.suspect_runs):
            if name in self.evidence.runs:
                return self.evidence.runs[name]
        return None

    @cached_property
    def good(self) -> tuple[RunFigures, ...]:
        """Good hardening runs by the same recipe."""
        if self.run is None:
            return ()
        runs = self.evidence.runs
        named = [runs[name] for name in self.evidence.good_runs if name in runs and name != self.run.run]
        return tuple(r for r in named if r.recipe_digest == self.run.recipe_digest) or tuple(named)

    @cached_property
    def recipe(self) -> Recipe | None:
        """Recipe of the run in question."""
        return None if self.run is None else self.evidence.recipes.get(self.run.run)

    @cached_property
    def condition(self) -> ConditionFigures | None:
        """The furnace's own figures of the run in question."""
        return None if self.run is None else self.evidence.condition.get(self.run.run)

    @cached_property
    def good_condition(self) -> tuple[ConditionFigures, ...]:
        """The furnace's own figures of the good runs."""
        return tuple(self.evidence.condition[r.run] for r in self.good if r.run in self.evidence.condition)

    @cached_property
    def suspects_here(self) -> tuple[PieceEvidence, ...]:
        """Suspects that were in the run in question."""
        return tuple(p for p in self.evidence.suspects if self.run is None or p.harden in (None, self.run.run))

    @cached_property
    def siblings(self) -> tuple[PieceEvidence, ...]:
        """Other pieces of that run which are known to be good: by hardness, and not as far off as the suspects."""
        here = [p for p in self.evidence.siblings if self.run is None or p.harden == self.run.run]
        return tuple(p for p in here if self.piece_value(p) is not None and not self._off_as_well(p))

    def _off_as_well(self, piece: PieceEvidence) -> bool:
        """Whether a piece inside the limits is nearer to the suspects than to the middle of the limits."""
        for stage, limits in (
            ("final", self.recipe.hardness_final if self.recipe else None),
            ("as quenched", self.recipe.hardness_as_quenched if self.recipe else None),
        ):
            values = [v for p in self.suspects_here if (v := stage_value(p, stage)) is not None]  # type: ignore[arg-type]
            value = stage_value(piece, stage)  # type: ignore[arg-type]
            if values and value is not None:
                return limits is not None and nearer(value, median(values), sum(limits) / 2)
        return False

    @cached_property
    def all_suspect(self) -> bool:
        """Whether no sibling of the same run came out well."""
        return not self.siblings

    # hardness

    @cached_property
    def as_quenched(self) -> Hardness:
        """Hardness after the quench."""
        limits = self.recipe.hardness_as_quenched if self.recipe else None
        return self._hardness("as quenched", limits)

    @cached_property
    def final(self) -> Hardness:
        """Hardness after tempering."""
        limits = self.recipe.hardness_final if self.recipe else None
        return self._hardness("final", limits)

    def _hardness(self, stage: Stage, limits: tuple[float, float] | None) -> Hardness:
        values = [v for v in (stage_value(p, stage) for p in self.suspects_here) if v is not None]
        beside = [v for v in (stage_value(p, stage) for p in (*self.evidence.good, *self.siblings)) if v is not None]
        if not values:
            return Hardness(stage, None, median(beside) if beside else None, limits)
        value, good = median(values), median(beside) if beside else None
        return Hardness(stage, value, good, limits, _direction(value, good, limits), self._least(stage))

    def _least(self, stage: Stage) -> float:
        """Median over the suspects' tests of what can be told apart from a good one's."""
        mine, theirs = (
            [h.test for p in part for h in p.hardness if (h.as_quenched if stage == "as quenched" else h.final)]
            for part in (self.suspects_here, (*self.evidence.good, *self.siblings))
        )
        mine, theirs = ([t for t in part if t.scale == "HRC"] for part in (mine, theirs))
        return median([least_difference_hrc(t, theirs[0]) for t in mine]) if mine and theirs else LEAST_HRC

    @cached_property
    def nothing_wrong(self) -> bool:
        """Whether every suspect's hardness is known and as it should be: there is nothing to explain."""
        stages = [h for h in (self.final, self.as_quenched) if h.suspect is not None]
        if not stages or any(h.direction != "normal" for h in stages if h.direction is not None):
            return False
        return all(h.direction == "normal" for h in stages) and all(
            self.piece_value(p) is not None and not self._outside(p) for p in self.suspects_here
        )

    def _outside(self, piece: PieceEvidence) -> bool:
        for stage, view in (("final", self.final), ("as quenched", self.as_quenched)):
            value = stage_value(piece, stage)  # type: ignore[arg-type]
            if value is not None and _direction(value, view.good, view.limits) != "normal":
                return True
        spots = spot_values(piece)
        return bool(spots) and max(spots.values()) - min(spots.values()) > 2 * LEAST_HRC

    def piece_value(self, piece: PieceEvidence) -> float | None:
        """Latest hardness that is known of a piece: final, else as quenched [HRC]."""
        final = stage_value(piece, "final")
        return final if final is not None else stage_value(piece, "as quenched")

    @cached_property
    def changes(self) -> Changes:
        """What the pieces lost beside the good ones, stage by stage; beside the middle of the limits without those."""
        spots = [v for p in self.suspects_here if len(v := spot_values(p)) > 1]
        return changes(
            self.suspects_here,
            (*self.evidence.good, *self.siblings),
            as_quenched=self.as_quenched.change,
            final=self.final.change,
            uneven=max((max(v.values()) - min(v.values()) for v in spots), default=0.0),
        )

    @property
    def softness(self) -> Direction | None:
        """How the pieces came out in the end: by the final hardness, else as quenched."""
        return self.final.direction or self.as_quenched.direction

    # pieces and holds

    def figures_of(self, piece: PieceEvidence) -> PieceFigures | None:
        """What the run's record says of one piece."""
        if self.run is None:
            return None
        for found in self.run.pieces:
            if found.piece is not None and found.piece.casefold() == piece.id.casefold():
                return found
        alone = [f for f in self.run.pieces if f.piece is None]
        return alone[0] if len(alone) == 1 else None

    @cached_property
    def suspect_figures(self) -> tuple[PieceFigures, ...]:
        """What the run's record says of the suspects; of the whole charge where no piece is named."""
        if self.run is None:
            return ()
        named = tuple(f for f in (self.figures_of(p) for p in self.suspects_here) if f is not None)
        return named or self.run.pieces

    @cached_property
    def holds(self) -> tuple[HoldFigures, ...]:
        """Judged holds of the run in question."""
        return tuple(h for h in self.run.holds if h.judged) if self.run else ()

    def good_holds(self, step: int) -> tuple[HoldFigures, ...]:
        """The same hold of the good runs, where it was found."""
        return tuple(h for r in self.good for h in r.holds if h.step == step and h.found)

    def beside_good(self, value: float, get: Callable[[RunFigures], float | None], *, floor: float) -> FigureComparison:
        """A figure of the run in question beside those of the good runs."""
        return compare(value, [v for v in map(get, self.good) if v is not None], floor=floor)

    def has_finding(self, code: str) -> bool:
        """Whether the verification of the run in question found this, as more than a note."""
        return self.run is not None and any(f.code == code and f.severity != "note" for f in self.run.findings)

    def fails(self, code: str, step: int | None = None) -> bool:
        """Whether the verification failed the run for this."""
        return self.run is not None and any(
            f.code == code and f.severity == "fail" and step in (None, f.step) for f in self.run.findings
        )

    def finding_says(self, code: str) -> str:
        """Its sentence."""
        return next((f.says for f in (self.run.findings if self.run else ()) if f.code == code), "")

    def good_share_with(self, code: str) -> float:
        """Share of the good runs in which the verification found this too."""
        hits = [any(f.code == code and f.severity != "note" for f in r.findings) for r in self.good]
        return sum(hits) / len(hits) if hits else 0.0


def is_move(run: RunFigures, at_s: float) -> bool:
    """Whether a moment belongs to loading, or to pulling a piece: the door was open for that.

    Returns true from half a minute before such a mark to five minutes after it.
    """
    moves = [t for p in run.pieces for t in (p.load_s, p.pull_s) if t is not None] + [*run.loads_s, *run.pulls_s]
    return any(-30.0 <= at_s - move <= 300.0 for move in moves)


def _direction(value: float, good: float | None, limits: tuple[float, float] | None) -> Direction | None:
    """Low or high where outside the limits, or clearly apart from the good ones; within the tester's reach: normal."""
    if limits is not None:
        if value < limits[0] - 1e-9:
            return "low"
        if value > limits[1] + 1e-9:
            return "high"
    if good is not None and abs(value - good) > (2 * CLEARLY_HRC if limits is not None else CLEARLY_HRC):
        return "low" if value < good else "high"
    return "normal" if limits is not None or good is not None else None


def spot_values(piece: PieceEvidence) -> dict[str, float]:
    """Final hardness by place on the piece, tests after grinding off the skin left out.

    Returns place to mean [HRC].
    """
    found: dict[str, list[float]] = {}
    for h in piece.hardness:
        if h.final and not h.ground_off_mm and h.test.scale == "HRC":
            found.setdefault(h.spot or "flat", []).append(h.test.mean)
    return {spot: sum(values) / len(values) for spot, values in found.items()}
