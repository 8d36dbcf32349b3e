"""Measures what audit and condition need of one run: from its readings, and from what ``verify`` found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.condition.climbing import climb_rates
from soakwitness.analysis.condition.control_dips import blanks, dips
from soakwitness.analysis.condition.heat_lost import heat_lost, last_top, without_doors
from soakwitness.analysis.condition.levels import differences, level_near, longest_stay, mean_between
from soakwitness.analysis.evidence.run_figures import (
    FindingFigures,
    HoldFigures,
    PieceFigures,
    RunFigures,
    SensorFigures,
)
from soakwitness.analysis.recipes.program import program_setpoints
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.results.verification import HoldResult, PieceResult, Verification
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.marks.charges import read_charges
from soakwitness.firmware_bridge.runfolder.contents import Column

EVENTS = ("sensor fault", "link lost", "link back", "resumed", "clock step", "alarm")
SETPOINT_NEAR_C = 0.6
CLIMB_C = 30.0
HOT_SHARE = 0.6
ASKED_PCT = 20.0


@dataclass(frozen=True)
class Measured:
    """A run with what it is judged by, at hand for measuring."""

    run: Run
    recipe: Recipe | None
    verification: Verification | None
    control: Trace

    @property
    def heated_s(self) -> tuple[float, float] | None:
        """From the first enter to the last leave of the holds that were found, by the work, else by the control.

        Where the last hold was never found it lasts until the top of the last climb.
        """
        found = [h for h in (self.verification.holds if self.verification else ()) if h.found]
        enters = [t for t in (_first(h.enter_s, h.control_enter_s) for h in found) if t is not None]
        leaves = [t for t in (_first(h.leave_s, h.control_leave_s) for h in found) if t is not None]
        missed = self.verification is not None and any(not h.found for h in self.verification.holds[-1:])
        if missed and np.isfinite(self.control.temp_c).any():
            t, temp = self.control.t_s, np.nan_to_num(self.control.temp_c, nan=-1e9)
            had = temp > -1e8
            enters = enters or [float(t[int(np.argmax(temp >= HOT_SHARE * temp.max()))])]
            leaves = [*leaves, float(t[had][last_top(without_doors(t[had], temp[had]), CLIMB_C)])]
        return (min(enters), max(leaves)) if enters and leaves else None

    @property
    def in_use_until_s(self) -> float:
        """When the last piece was pulled, as far as that is marked; else when the last hold was to be over [s]."""
        pulls = [stay.pull_s for stay in read_charges(self.run.marks).stays if stay.pull_s is not None]
        last = next((h for h in reversed(self.verification.holds if self.verification else ()) if h.found), None)
        enter = _first(last.enter_s, last.control_enter_s) if last is not None else None
        asked = program_setpoints(self.recipe) if self.recipe is not None else ()
        lasts = [p.hold_s for p in asked if last is not None and p.number == last.step and p.hold_s is not None]
        ends = [enter + hold_s for hold_s in lasts] if enter is not None else []
        return max(pulls or ends, default=0.0)

    @property
    def falls_until_s(self) -> float:
        """Until when falls are looked for: while pieces were in, and without a pull mark while heat was asked for."""
        output = self.run.signal("output")
        pulled = any(stay.pull_s is not None for stay in read_charges(self.run.marks).stays)
        if output is None or pulled:
            return self.in_use_until_s
        asked = np.flatnonzero(np.nan_to_num(output) >= ASKED_PCT)
        return max(self.in_use_until_s, float(self.run.t_s[asked[-1]]) if asked.size else 0.0)


def _first(value: float | None, other: float | None) -> float | None:
    return value if value is not None else other


def control_trace(run: Run) -> Trace | None:
    """Trace that stands for the furnace: control, else recording, else the first one."""
    for role in ("control", "recording"):
        found = next((tr for tr in run.traces if tr.role == role), None)
        if found is not None and np.isfinite(found.temp_c).sum() > 2:
            return found
    return next((tr for tr in run.traces if np.isfinite(tr.temp_c).sum() > 2), None)


def run_figures(
    run: Run,
    recipe: Recipe | None,
    verification: Verification | None,
    *,
    sensor: SensorFigures | None = None,
    ended_utc: str | None = None,
) -> RunFigures:
    """Measure one run for the audit.

    ``sensor``: life and calibration of the control sensor; else what the run's own header says. Returns the figures;
    what the record does not show is None.
    """
    control = control_trace(run)
    if control is None:
        control = Trace("", "control", run.t_s, np.full(run.t_s.size, np.nan), 0.1, run.header.every_s or 1.0)
    at = Measured(run, recipe, verification, control)
    gaps = verification.record.gaps if verification else ()
    holds = _holds(at, gaps)
    loaded = _loads(at)
    return RunFigures(
        run=run.header.run,
        furnace=run.header.furnace_name,
        started_utc=run.header.started_utc,
        ended_utc=ended_utc,
        recipe_digest=recipe.digest if recipe else None,
        recipe=recipe.name if recipe else None,
        verdict=verification.verdict if verification else None,
        temperature_from=verification.temperature_from if verification else None,
        sensor=sensor or header_sensor(run, control.name),
        holds=holds,
        pieces=_pieces(at),
        findings=tuple(
            FindingFigures(f.code, f.severity, f.step, str(f.says), f.pieces)
            for f in (verification.findings if verification else ())
        ),
        differences=differences(run, control, holds),
        dips=dips(run, control, at.heated_s, at.falls_until_s),
        door_marks_s=tuple(m.t_s for m in run.marks if m.act == "door" and not m.struck),
        loads_s=_marked(run, "load"),
        pulls_s=_marked(run, "pull"),
        recovery_s=_recovery(at, loaded[-1] if loaded else None),
        loaded_at_c=_before_door(control, loaded[0]) if loaded else None,
        load_at_c=recipe.load_at_c if recipe else None,
        quench_within_s=recipe.quench.within_s if recipe and recipe.quench else None,
        ramp_rates=_ramp_rates(verification),
        ramp_outputs=_ramp_outputs(run, verification),
        gaps=tuple(gaps),
        gap_c=tuple(_reading_at(control, start) or 0.0 for start, _ in gaps),
        gap_end_c=tuple(_reading_at(control, end) or 0.0 for _, end in gaps),
        blanks=blanks(control),
        heat_lost=heat_lost(run, control),
        climb=climb_rates(control) or None,
        top_c=float(np.nanmax(control.temp_c)) if np.isfinite(control.temp_c).any() else None,
        events=tuple((e.t_s, e.event, e.detail[:120]) for e in run.events if e.event in EVENTS),
        cold_c=_cold(control),
        duration_s=float(run.t_s[-1] - run.t_s[0]) if run.t_s.size else 0.0,
        period_s=control.period_s,
        resolution_c=control.resolution_c,
    )


def header_sensor(run: Run, name: str) -> SensorFigures:
    """What the run's own header says of a sensor.

    Returns serial, channel, position and input offset [K]; no life and no calibration.
    """
    column = next((c for c in run.columns if c.name == name), None)
    return SensorFigures(name) if column is None else sensor_of(column)


def sensor_of(column: Column) -> SensorFigures:
    """What a run says of one of its sensors; input offset [K], no life and no calibration."""
    return SensorFigures(
        column.name,
        serial=column.serial,
        channel=column.channel,
        position=column.position,
        input_offset_c=to_kelvin(column.input_offset, column.unit),
        thermocouple=column.thermocouple,
    )


def _holds(at: Measured, gaps: Sequence[tuple[float, float]]) -> tuple[HoldFigures, ...]:
    if at.recipe is None or at.verification is None:
        return ()
    program = {step.number: step for step in program_setpoints(at.recipe) if step.kind == "hold"}
    figures = []
    for hold in at.recipe.holds:
        result = at.verification.step(hold.number)
        if isinstance(result, HoldResult):
            asked = program.get(hold.number)
            said = (asked.setpoint_c, asked.hold_s) if asked else (None, None)
            figures.append(_hold(at, hold, result, gaps, said))
    return tuple(figures)


def _hold(
    at: Measured,
    hold: Hold,
    result: HoldResult,
    gaps: Sequence[tuple[float, float]],
    asked: tuple[float | None, float | None],
) -> HoldFigures:
    start_s, end_s = _when(at, hold, result)
    setpoint_c, setpoint_s = _setpoint(at.run, start_s, end_s)
    control_c = mean_between(at.control.t_s, at.control.temp_c, start_s, end_s)
    highest = _highest(at.control, start_s, end_s)
    return HoldFigures(
        step=hold.number,
        target_c=hold.target_c,
        lower_c=hold.lower_c,
        upper_c=hold.upper_c,
        required_s=hold.required_s,
        found=result.found,
        on_record=result.on_record,
        judged=hold.judged,
        at_most_s=hold.at_most_s,
        max_overshoot_c=hold.max_overshoot_c,
        enter_s=result.enter_s,
        leave_s=result.leave_s,
        soak_s=result.soak_s.best if result.soak_s else None,
        in_band_s=result.in_band_s.cumulative.best if result.in_band_s else None,
        chamber_s=_chamber_s(at.control, hold, result),
        chamber_enter_s=result.control_enter_s if result.control_enter_s is not None else result.enter_s,
        work_c=result.level_c if result.found else _work_level(at, start_s, end_s),
        control_c=control_c,
        highest_c=highest,
        overshoot_c=result.overshoot_c,
        above_s=result.above_band_s,
        lag_s=result.lag_s.best if result.lag_s else None,
        setpoint_c=setpoint_c,
        setpoint_s=setpoint_s,
        program_c=asked[0],
        program_s=asked[1],
        output_pct=_output(at.run, start_s, end_s),
        gap_s=_overlap(gaps, start_s, end_s),
        verdict=result.verdict,
    )


def _when(at: Measured, hold: Hold, result: HoldResult) -> tuple[float | None, float | None]:
    """When the hold was; a hold that was not found may still show as a level nearby."""
    if result.found and result.enter_s is not None and result.leave_s is not None:
        return result.enter_s, result.leave_s
    return level_near(
        at.control.t_s, at.control.temp_c, hold.target_c, least_s=0.25 * hold.required_s, hold_s=hold.required_s
    )


def _chamber_s(control: Trace, hold: Hold, result: HoldResult) -> float | None:
    """Time that the control reading itself was at or above the lower edge, dips left out [s]."""
    enter = result.control_enter_s if result.control_enter_s is not None else result.enter_s
    leave = result.control_leave_s if result.control_leave_s is not None else result.leave_s
    if not result.found or enter is None or leave is None:
        return None
    inside = (control.t_s >= enter) & (control.t_s <= leave) & np.isfinite(control.temp_c)
    share = float(np.mean(control.temp_c[inside] >= hold.lower_c)) if inside.any() else 1.0
    return share * (leave - enter)


def _work_level(at: Measured, start_s: float | None, end_s: float | None) -> float | None:
    load = next((tr for tr in at.run.traces if tr.role == "load"), at.control)
    return mean_between(load.t_s, load.temp_c, start_s, end_s)


def _highest(control: Trace, start_s: float | None, end_s: float | None) -> float | None:
    if start_s is None or end_s is None:
        return None
    part = control.temp_c[(control.t_s >= start_s) & (control.t_s <= end_s)]
    return float(np.nanmax(part)) if np.isfinite(part).any() else None


def _setpoint(run: Run, start_s: float | None, end_s: float | None) -> tuple[float | None, float | None]:
    """Level of the logged setpoint in a hold, and how long it stayed there."""
    setpoint = run.signal("setpoint")
    if setpoint is None or start_s is None or end_s is None:
        return None, None
    inside = setpoint[(run.t_s >= start_s) & (run.t_s <= end_s)]
    inside = inside[np.isfinite(inside)]
    if inside.size == 0:
        return None, None
    level = float(np.median(inside))
    middle = 0.5 * (start_s + end_s)
    return level, longest_stay(run.t_s, np.abs(setpoint - level) <= SETPOINT_NEAR_C, middle)


def _output(run: Run, start_s: float | None, end_s: float | None) -> float | None:
    """Mean output over the second half of a hold, when the bricks take less and less [%]."""
    output = run.signal("output")
    if output is None or start_s is None or end_s is None:
        return None
    return mean_between(run.t_s, output, 0.5 * (start_s + end_s), end_s)


def _overlap(gaps: Sequence[tuple[float, float]], start_s: float | None, end_s: float | None) -> float:
    if start_s is None or end_s is None:
        return 0.0
    return float(sum(max(0.0, min(b, end_s) - max(a, start_s)) for a, b in gaps))


def _pieces(at: Measured) -> tuple[PieceFigures, ...]:
    """Each piece once: its soak as a share of what was required, in the hold where that share is smallest."""
    if at.verification is None or at.recipe is None:
        return ()
    judged = {h.number for h in at.recipe.holds if h.judged}
    found: dict[tuple[str | None, str | None], list[tuple[HoldResult, PieceResult]]] = {}
    for hold in at.verification.holds:
        for piece in hold.pieces:
            if hold.step in judged:
                found.setdefault((piece.piece, piece.charge), []).append((hold, piece))
    return tuple(_piece(at, results) for results in found.values())


def _piece(at: Measured, results: Sequence[tuple[HoldResult, PieceResult]]) -> PieceFigures:
    hold, piece = min(results, key=lambda pair: pair[1].soak_s.best / max(pair[0].required_s, 1.0))
    last = results[-1][1]
    lags = [p.lag_s.best for _, p in results if p.lag_s is not None]
    verdicts = {p.verdict for _, p in results}
    return PieceFigures(
        piece=piece.piece,
        charge=piece.charge,
        soak_share=piece.soak_s.best / max(hold.required_s, 1.0),
        soak_s=piece.soak_s.best,
        lag_s=max(lags) if lags else None,
        load_s=last.load_s,
        load_c=None if last.load_s is None else _before_door(at.control, last.load_s),
        pull_s=last.pull_s,
        plates_s=last.plates_s,
        quench_delay_s=last.quench_delay_s,
        verdict=next((v for v in ("fail", "not proven") if v in verdicts), "pass"),
        step=hold.step,
    )


def _reading_at(control: Trace, at_s: float) -> float | None:
    """Last good reading up to a moment [degC]."""
    good = np.isfinite(control.temp_c) & (control.t_s <= at_s)
    return float(control.temp_c[np.flatnonzero(good)[-1]]) if good.any() else None


def _before_door(control: Trace, load_s: float) -> float | None:
    """Highest reading of the minute before a load mark: the door is opened before the mark is made [degC]."""
    part = control.temp_c[(control.t_s >= load_s - 60.0) & (control.t_s <= load_s)]
    return float(np.nanmax(part)) if np.isfinite(part).any() else _reading_at(control, load_s)


def _loads(at: Measured) -> list[float]:
    return sorted({stay.load_s for stay in read_charges(at.run.marks).stays if stay.load_s is not None})


def _marked(run: Run, act: str) -> tuple[float, ...]:
    """When such marks were made, each moment once [s]."""
    return tuple(sorted({m.t_s for m in run.marks if m.act == act and not m.struck}))


def _recovery(at: Measured, load_s: float | None) -> float | None:
    """Time from loading into the hot furnace until the control reading is in the next hold's band again [s]."""
    if load_s is None or at.recipe is None or at.recipe.load != "hot":
        return None
    warm = at.recipe.load_at_c
    t, temp = at.control.t_s, at.control.temp_c
    goal = warm if warm is not None else max((h.target_c for h in at.recipe.holds), default=0.0)
    near = next((h for h in at.recipe.holds if abs(h.target_c - goal) <= h.below_c + h.above_c), None)
    lower = goal - (near.below_c if near else 10.0)
    after = t > load_s
    below = after & (temp < lower)
    if not below.any():
        return 0.0
    first = int(np.flatnonzero(below)[0])
    back = np.flatnonzero(after & (t > t[first]) & (temp >= lower))
    return float(t[back[0]] - load_s) if back.size else None


def _ramp_rates(verification: Verification | None) -> dict[str, float] | None:
    if verification is None:
        return None
    rates = {str(s.step): s.rate_c_per_h for s in verification.steps if s.kind == "ramp" and s.rate_c_per_h is not None}
    return rates or None


def _ramp_outputs(run: Run, verification: Verification | None) -> dict[str, float] | None:
    """Output in the middle part of each ramp [%]."""
    output = run.signal("output")
    if output is None or verification is None:
        return None
    found = {}
    for step in verification.steps:
        if step.kind == "ramp" and step.start_s is not None and step.end_s is not None:
            tenth = 0.1 * (step.end_s - step.start_s)
            level = mean_between(run.t_s, output, step.start_s + tenth, step.end_s - tenth)
            if level is not None:
                found[str(step.step)] = level
    return found or None


def _cold(control: Trace) -> float | None:
    """First readings, while everything still has one temperature [degC]."""
    good = control.temp_c[np.isfinite(control.temp_c)][:5]
    return float(np.median(good)) if good.size else None
