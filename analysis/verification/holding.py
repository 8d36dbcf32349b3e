"""One hold of one run: its figures, its requirements, and the verdict of the worst piece."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification import requirements as req
from soakwitness.analysis.verification.dips import dips_of
from soakwitness.analysis.verification.edges import Edges, Readings
from soakwitness.analysis.verification.figures import in_band_figures, lag_of, lost_in, unseen_s
from soakwitness.analysis.verification.intervals import Allowed, Mode
from soakwitness.analysis.verification.model import Bounds, HoldResult, PieceResult, Verdict
from soakwitness.analysis.verification.overshoot import Level, Overshoot, level_part, overshoot
from soakwitness.analysis.verification.pieces import Stay
from soakwitness.analysis.verification.placing import Placed
from soakwitness.analysis.verification.scene import Scene, Work, measured_work
from soakwitness.analysis.verification.shift import extremes
from soakwitness.analysis.verification.soak import Soak, Window, soak
from soakwitness.analysis.verification.thinning import EdgeThinner, Thinners

Figure = Callable[[float], float]


@dataclass(frozen=True)
class Ground:
    """One hold on the trace that decides: edges, level part, noise; ``began`` and ``ended`` on record."""

    hold: Hold
    trace: Readings
    placed: Placed
    edges: Edges
    level: Level
    allowed: Allowed
    limit_s: float
    begin_s: float
    began: bool
    ended: bool
    thinners: Thinners


def ground_of(scene: Scene, number: int) -> Ground | None:
    """Edges, level part and limits of one hold; None where the run has no such hold."""
    hold = scene.recipe.holds[number]
    trace, every = scene.deciding(hold)
    placed = every[number]
    if placed is None:
        return None
    following = next((p for p in every[number + 1 :] if p is not None), None)
    edges = placed.edges or _edges_beside(placed, following, trace)
    allowed = scene.allowed(trace, edges.enter_s, edges.leave_s, hold)
    limit = following.stays[0].start_s if following else float(trace.t_s[-1])
    begin = placed.window_s if placed.window_s is not None else scene.start_s
    limit, begin = max(limit, edges.leave_s), min(begin, edges.enter_s)
    return Ground(
        hold,
        trace,
        placed,
        edges,
        level_part(trace, hold, edges, allowed.noise_c),
        allowed,
        limit,
        begin,
        # inside the band from the moment the hold before was left: what came before is on record
        began=edges.entered or edges.enter_s > float(trace.t_s[0]),
        ended=edges.left,
        thinners=Thinners(begin, limit),
    )


def _edges_beside(placed: Placed, following: Placed | None, trace: Readings) -> Edges:
    """Edges of a hold that was level beside its band: those of its stays."""
    last = placed.stays[-1].end_s
    climbs = following is not None and following.hold.target_c > placed.hold.target_c
    left = last < trace.t_s[-1] - 2.0 * trace.period_s
    return Edges(placed.stays[0].start_s, last, left=left, left_upward=climbs)


def judge_hold(scene: Scene, number: int) -> HoldResult:
    """Figures and verdicts of one hold.

    Parameters
    ----------
    scene : Scene
        The verification.
    number : int
        Index among the recipe's holds.

    Returns
    -------
    HoldResult
        The figures are those of the worst piece.
    """
    scene = scene.of_hold(number)
    hold, ground = scene.recipe.holds[number], ground_of(scene, number)
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
    if ground is None:
        return bare
    peak = overshoot(ground.trace, hold, ground.level, ground.allowed)
    shared = [*_level_outcomes(scene, ground), *_peak_outcome(scene, ground, peak)]
    within = _stays_in(scene, ground)
    if not within:
        # Every charge went in later, into the hotter furnace: the hold is reported, not judged.
        bare, scene = replace(bare, judged=False), _furnace_alone(scene, ground)
    pieces = _judge_pieces(scene, ground, within or [0], shared)
    return _with_pieces(scene, ground, peak, replace(bare, found=True), pieces)


def _furnace_alone(scene: Scene, ground: Ground) -> Scene:
    """The same verification with nothing in the furnace."""
    work = measured_work("load" if scene.source == "load" else "control", ground.trace)
    return replace(scene, stays=(Stay(None, None, scene.start_s),), works={0: work})


def _with_pieces(
    scene: Scene, ground: Ground, peak: Overshoot | None, bare: HoldResult, pieces: tuple[PieceResult, ...]
) -> HoldResult:
    hold, edges = ground.hold, ground.edges
    worst = max(pieces, key=lambda p: (req.ORDER.index(p.verdict), -p.soak_s.best, -p.soak_s.low))
    inside_band = ground.placed.edges is not None
    control = scene.placed[scene.recipe.holds.index(hold)]
    control_edges = control.edges if control is not None else None
    expanded = scene.expanded_c(hold) or 0.0
    return replace(
        bare,
        enter_s=edges.enter_s if inside_band else None,
        leave_s=edges.leave_s if inside_band else None,
        in_band_s=in_band_figures(
            ground.trace, hold, ground, expanded, ground.thinners.of(ground.trace), unseen_s(scene, ground, None)
        )
        if inside_band
        else None,
        soak_s=worst.soak_s,
        longest_s=max((p.longest_s for p in pieces if p.longest_s), key=lambda b: b.best, default=None),
        unmet=_names(p.unmet for p in pieces),
        unproven=_names(p.unproven for p in pieces),
        overshoot_c=peak.overshoot_c if peak else None,
        overshoot_is_at_least=bool(peak and (peak.is_at_least or lost_in(scene, ground))),
        overshoot_at_s=peak.at_s if peak else None,
        above_band_s=peak.above_band_s if peak else None,
        level_c=ground.level.level_c,
        lag_s=worst.lag_s,
        noise_c=ground.allowed.noise_c,
        never_reached=_never_reached(scene, ground),
        as_read=req.worst(p.as_read for p in pieces),
        at_true_temperature=req.worst(p.at_true_temperature for p in pieces),
        error_it_stands_c=req.common(p.error_it_stands_c for p in pieces),
        verdict=req.worst(p.verdict for p in pieces),
        pieces=tuple(p for p in pieces if p.piece is not None),
        measured_by=scene.chamber_name if hold.soak_from == "control" else scene.edges_name,
        temperature_from="control" if hold.soak_from == "control" else scene.source,
        control_enter_s=control_edges.enter_s if control_edges else None,
        control_leave_s=control_edges.leave_s if control_edges else None,
        dips=dips_of(ground.trace, hold, ground, scene.run.marks) if inside_band else (),
        stays=tuple((s.start_s, s.end_s) for s in ground.placed.stays),
    )


def _names(many: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for names in many for name in names))


def _never_reached(scene: Scene, ground: Ground) -> float | None:
    """Largest share of packet draws that never reach the band; None where nothing was estimated."""
    lags = [w.lag for w in scene.works.values() if w.lag is not None]
    if not lags or ground.hold.soak_from == "control":
        return None
    return max(lag(ground.hold.lower_c, ground.edges.enter_s, ground.edges.leave_s)[3] for lag in lags)


def _stays_in(scene: Scene, ground: Ground) -> list[int]:
    """Which stays this hold is judged for: every piece once, by the stay that lies most within the hold."""
    shares: dict[object, tuple[float, int]] = {}
    for index, stay in enumerate(scene.stays):
        load, pull = _in(stay), stay.pull_s if stay.pull_s is not None else np.inf
        share = min(pull, ground.edges.leave_s) - max(load, ground.begin_s)
        if load > ground.edges.leave_s and scene.recipe.load == "hot" and _loads_above(scene, ground.hold):
            continue
        key: object = stay.piece if stay.piece is not None else index
        if key not in shares or share > shares[key][0]:
            shares[key] = (share, index)
    named = [v for k, v in shares.items() if isinstance(k, str)]
    others = [v for k, v in shares.items() if not isinstance(k, str)]
    within = [v for v in others if v[0] > 0.0]
    chosen = [*named, *(within or ([] if named else others))]
    return sorted(index for _, index in chosen)


def _in(stay: Stay) -> float:
    return stay.load_s if stay.load_s is not None else -np.inf


def _loads_above(scene: Scene, hold: Hold) -> bool:
    """A charge that goes into the hotter furnace does not need the hold before."""
    return scene.recipe.load_at_c is not None and scene.recipe.load_at_c > hold.upper_c


def _judge_pieces(
    scene: Scene, ground: Ground, indices: Sequence[int], shared: Sequence[req.Outcome]
) -> tuple[PieceResult, ...]:
    """Judge every stay; pieces alike that went in and out together are judged once."""
    known: dict[tuple[object, ...], PieceResult] = {}
    results = []
    for index in indices:
        stay = scene.stays[index]
        key = (id(_work_for(scene, ground.hold, index).best), stay.load_s, stay.pull_s)
        if key not in known:
            known[key] = _judge_piece(scene, ground, index, shared)
        results.append(
            replace(
                known[key],
                piece=stay.piece if stay.piece is not None else stay.charge,
                charge=stay.charge,
                plates_s=stay.plates_s,
                quench_delay_s=_delay(stay),
            )
        )
    return tuple(results)


def _delay(stay: Stay) -> float | None:
    return None if stay.pull_s is None or stay.plates_s is None else stay.plates_s - stay.pull_s


def _judge_piece(scene: Scene, ground: Ground, index: int, shared: Sequence[req.Outcome]) -> PieceResult:
    """Soak and verdict of one stay in one hold, whose name is not entered yet."""
    stay, hold = scene.stays[index], ground.hold
    work = _work_for(scene, hold, index)
    window = _window(scene, ground, stay)
    known_load = stay.load_s is not None or scene.recipe.load == "cold"
    measure = _Measure(work, ground, window, known_load)
    expanded = scene.expanded_c(hold)
    low, high = extremes(measure.at("low"), measure.at("high"), expanded or 0.0)
    best, hidden_s = measure.at("best")(0.0), unseen_s(scene, ground, stay)
    outcomes = [*shared, *_soak_outcomes(scene, ground, work, measure, stay)]
    verdict = _unless_untrusted(scene, ground, [o.on(scene.basis) for o in outcomes])
    return PieceResult(
        piece=None,
        charge=None,
        soak_s=Bounds(min(low, best), best, max(high, best) + hidden_s),
        longest_s=measure.longest(hidden_s),
        verdict=verdict,
        as_read=_unless_untrusted(scene, ground, [o.as_read for o in outcomes]),
        at_true_temperature=_unless_untrusted(scene, ground, [o.at_true_temperature for o in outcomes]),
        load_s=stay.load_s,
        pull_s=stay.pull_s,
        lag_s=lag_of(scene, ground, work, window),
        error_it_stands_c=req.common(o.stands_c for o in outcomes if o.stands_c is not None or o.as_read != "pass"),
        unmet=tuple(o.name for o in outcomes if o.on(scene.basis) == verdict == "fail"),
        unproven=tuple(o.name for o in outcomes if o.on(scene.basis) == "not proven"),
    )


def _work_for(scene: Scene, hold: Hold, index: int) -> Work:
    if hold.soak_from == "control":
        return Work("control", scene.chamber, scene.chamber, scene.chamber)
    return scene.works[index]


def _window(scene: Scene, ground: Ground, stay: Stay) -> Window:
    return Window(
        start_s=max(ground.begin_s, _in(stay)),
        level_start_s=ground.level.start_s,
        level_end_s=ground.level.end_s,
        leave_s=ground.edges.leave_s,
        limit_s=ground.limit_s,
        from_above=ground.edges.from_above,
        left_upward=ground.edges.left_upward,
        pull_s=stay.pull_s,
        edges_on=ground.trace,
    )


class _Measure:
    """Soak of one piece as a function of the sensor error, remembered."""

    def __init__(self, work: Work, ground: Ground, window: Window, known_load: bool) -> None:
        self.window, self._allowed, self._hold, self._known = window, ground.allowed, ground.hold, known_load
        traces: dict[Mode, Readings] = {"low": work.low, "best": work.best, "high": work.high}
        thin = {
            id(trace): EdgeThinner(ground.thinners.of(trace), ground.hold.lower_c, ground.allowed.noise_c)
            for trace in traces.values()
        }
        self._thin = {mode: thin[id(trace)] for mode, trace in traces.items()}
        self._seen: dict[tuple[Mode, float], Soak] = {}

    def full(self, mode: Mode, error_c: float) -> Soak:
        """Soak and whole time above the lower edge."""
        key = (mode, error_c)
        if key not in self._seen:
            if mode == "low" and not self._known:
                self._seen[key] = Soak(0.0, 0.0)
            else:
                trace = self._thin[mode].at(error_c)
                self._seen[key] = soak(
                    trace, self._hold, self.window, error_c=error_c, mode=mode, allowed=self._allowed
                )
        return self._seen[key]

    def at(self, mode: Mode) -> Figure:
        """Soak [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).soak_s

    def above(self, mode: Mode) -> Figure:
        """Whole time above the lower edge [s] as a function of the error."""
        return lambda error_c: self.full(mode, error_c).above_s

    def longest(self, hidden_s: float) -> Bounds:
        """Whole time above the lower edge as read, dips or not, and what was not seen of it."""
        low, best, high = (self.full(mode, 0.0).above_s for mode in ("low", "best", "high"))
        return Bounds(min(low, best), best, max(high, best) + hidden_s)


def _soak_outcomes(scene: Scene, ground: Ground, work: Work, measure: _Measure, stay: Stay) -> list[req.Outcome]:
    """Least and greatest soak."""
    hold, expanded = ground.hold, scene.expanded_c(ground.hold)
    best = measure.at("high")
    pulled = stay.pull_s is not None and stay.pull_s <= float(ground.trace.t_s[-1])
    if not (ground.ended or pulled) or not ground.began:
        best = _unbounded  # what came before or after the record is not on record: it can show no shortage
    elif not work.may_fail:
        chamber = _Measure(_measured(scene.chamber), ground, measure.window, True).at("high")
        estimate = best
        best = lambda e: max(estimate(e), chamber(e))  # noqa: E731
    judge = req.judged
    outcomes = [judge("soak", measure.at("low"), best, hold.required_s, at_least=True, expanded_c=expanded)]
    if hold.at_most_s is not None:
        least, most = measure.above("low"), measure.above("high")
        hidden_s = unseen_s(scene, ground, stay)
        whole: Figure = lambda e: most(e) + hidden_s  # noqa: E731
        outcomes.append(judge("longest soak", whole, least, hold.at_most_s, at_least=False, expanded_c=expanded))
    return outcomes


def _unbounded(_: float) -> float:
    return float("inf")


def _measured(readings: Readings) -> Work:
    return Work("control", readings, readings, readings)


def _level_outcomes(scene: Scene, ground: Ground) -> list[req.Outcome]:
    """The level itself must not lie above the band: too hot is no short soak, but it is no pass either."""
    level, hold = ground.level.level_c, ground.hold
    figure: Figure = lambda e: level - e  # noqa: E731
    expanded = scene.expanded_c(hold)
    outcomes = [req.judged("level", figure, figure, hold.upper_c, at_least=False, expanded_c=expanded)]
    if hold.judge_by == "mean":
        outcomes.append(req.judged("mean", figure, figure, hold.lower_c, at_least=True, expanded_c=expanded))
    return outcomes


def _peak_outcome(scene: Scene, ground: Ground, peak: Overshoot | None) -> list[req.Outcome]:
    if ground.hold.max_overshoot_c is None or peak is None:
        return []
    noise = ground.allowed.noise_c
    most_c = float("inf") if lost_in(scene, ground) else peak.most_c
    return [
        req.judged(
            "overshoot",
            lambda e: most_c - e,
            lambda e: peak.overshoot_c - noise - e,
            ground.hold.max_overshoot_c,
            at_least=False,
            expanded_c=scene.expanded_c(ground.hold),
        )
    ]


def _unless_untrusted(scene: Scene, ground: Ground, verdicts: list[Verdict]) -> Verdict:
    """The worst verdict; a reading that was stuck or saturated in the hold shows neither pass nor fail.

    Where the load sensor broke before it, the chamber alone shows no pass.
    """
    if scene.load_gone and ground.hold.soak_from == "work":
        verdicts = [*verdicts, "not proven"]
    start, end = ground.edges.enter_s, ground.edges.leave_s
    if any(a < end and b > start for a, b in scene.untrusted):
        return "not proven"
    return req.worst(verdicts)
