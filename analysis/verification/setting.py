"""From a run to the scene of its verification: which sensors count, their corrections, marks, the work temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.recipes.model import PacketSpec, Recipe
from soakwitness.analysis.runs import Run, Trace
from soakwitness.analysis.verification.assignment import block_medians
from soakwitness.analysis.verification.edges import GAP_PERIODS, Readings
from soakwitness.analysis.verification.intervals import gaps
from soakwitness.analysis.verification.model import HoldResult, PieceInfo, SensorErrors, Source, WorkTemperature
from soakwitness.analysis.verification.pieces import Stay, drop_unnamed, stays_of
from soakwitness.analysis.verification.placing import Placed, place_again, place_holds, readings_of
from soakwitness.analysis.verification.requirements import basis_of
from soakwitness.analysis.verification.scene import ROOM_C, Scene, Work, coldest, fastest, measured_work
from soakwitness.analysis.verification.sensor_errors import errors_of
from soakwitness.analysis.verification.stuck import Stuck

if TYPE_CHECKING:
    from soakwitness.analysis.verification.packets import Known

CHAMBER_ROLES = ("control", "recording", "reference", "survey")
FEWEST_READINGS = 5
USABLE_SHARE = 0.5
READS_ON_S = 60.0


def usable(trace: Trace, *, to_its_end: bool = False) -> bool:
    """Whether a trace has enough readings to count: five, and no gaps for more than half of the run.

    Parameters
    ----------
    trace : Trace
        The trace.
    to_its_end : bool
        Of the run until the trace's own last reading: a load sensor that broke still tells of what came before.

    Returns
    -------
    bool
        Whether it counts.
    """
    readings = readings_of(trace)
    t = readings.t_s
    if t.size < FEWEST_READINGS:
        return False
    end_s = t[-1] if to_its_end else trace.t_s[-1]
    missing = sum(b - a for a, b in gaps(readings, t[0], t[-1])) + (t[0] - trace.t_s[0]) + (end_s - t[-1])
    return bool(missing <= (1.0 - USABLE_SHARE) * (end_s - trace.t_s[0]))


def chamber_trace(run: Run) -> Trace:
    """Choose the trace that the steps are found on.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Trace
        Control, else recording, else reference or survey sensor, else a load sensor; those that were read to the
        run's end come first.

    Raises
    ------
    NotEnoughData
        If no sensor has enough readings.
    """
    inclined = [tr for role in (*CHAMBER_ROLES, "load") for tr in run.traces if tr.role == role and usable(tr)]
    # One that stopped reading in the run gives way to another of the chamber's that went on.
    whole = [tr for tr in inclined if tr.role != "load" and _to_the_end(tr)]
    if inclined:
        return (whole or inclined)[0]
    best = max(run.traces, key=lambda tr: int(np.isfinite(tr.temp_c).sum()), default=None)
    if best is None or int(np.isfinite(best.temp_c).sum()) < FEWEST_READINGS:
        raise NotEnoughData(
            f"{run.header.run}: no sensor has {FEWEST_READINGS} readings: there is nothing to compare. "
            "Look at samples.csv in the run folder."
        )
    return best


def _to_the_end(trace: Trace) -> bool:
    """Whether a trace was read to the end of the run, or until it had lost half of its heat."""
    last = np.flatnonzero(np.isfinite(trace.temp_c))[-1]
    cooled = trace.temp_c[last] < (np.nanmax(trace.temp_c) + ROOM_C) / 2.0
    return bool(cooled or trace.t_s[-1] - trace.t_s[last] <= max(GAP_PERIODS * trace.period_s, READS_ON_S))


def load_traces(run: Run, chamber: Trace) -> tuple[Trace, ...]:
    """Load sensors that can be used.

    Parameters
    ----------
    run : Run
        The run.
    chamber : Trace
        The chamber's trace.

    Returns
    -------
    tuple of Trace
        Those with enough readings, the chamber's own left out.
    """
    loads = (tr for tr in run.traces if tr.role == "load" and tr.name != chamber.name)
    return tuple(tr for tr in loads if usable(tr, to_its_end=True))


def corrected(trace: Trace, errors: SensorErrors) -> Readings:
    """Readings with their correction added."""
    readings = readings_of(trace)
    if errors.correction is None:
        return readings
    return replace(readings, temp_c=readings.temp_c + errors.correction(readings.temp_c))


def uncertain_gaps(run: Run) -> tuple[tuple[float, float], ...]:
    """Stretches whose length is not known: after a restart of the computer.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple
        Begin and end [s].
    """
    found = []
    for event in run.events:
        if event.event == "resumed" and "uncertain" in event.detail:
            after = int(np.searchsorted(run.t_s, event.t_s))
            start = float(run.t_s[after - 1]) if after else event.t_s
            end = float(run.t_s[after]) if after < run.t_s.size else event.t_s
            found.append((start, max(end, event.t_s)))
    return tuple(found)


def make_scene(
    run: Run,
    recipe: Recipe,
    *,
    sensor_errors: SensorErrors | None,
    corrections: Mapping[str, Correction],
    packet: object,
    pieces: Sequence[PieceInfo],
    stuck: Sequence[Stuck] = (),
) -> Scene:
    """Gather what all holds of a verification share.

    Parameters
    ----------
    run, recipe : Run, Recipe
        What to compare.
    sensor_errors : SensorErrors or None
        Overrides what run and log book say of the sensor that decides.
    corrections : mapping
        Corrections by the sensor's name.
    packet : PacketModel or None
        A measured packet.
    pieces : sequence of PieceInfo
        Pieces in this run.
    stuck : sequence of Stuck
        Where readings were stuck.

    Returns
    -------
    Scene
        The scene.
    """
    columns = {c.name: c for c in run.columns}
    day = run.header.started_utc[:10]
    trace = chamber_trace(run)
    loads = load_traces(run, trace)
    chamber_errors = errors_of(columns.get(trace.name), corrections, day)
    load_errors = [errors_of(columns.get(tr.name), corrections, day) for tr in loads]
    if sensor_errors is not None:
        chamber_errors = chamber_errors if loads else sensor_errors
        load_errors = [sensor_errors for _ in loads]
    chamber = corrected(trace, chamber_errors)
    blocks = block_medians(chamber.t_s, chamber.temp_c, chamber.period_s)
    placed = place_holds(chamber, recipe, reach_c=_reach(recipe, chamber_errors), blocks=blocks)
    stays = drop_unnamed(stays_of(run.marks, pieces))
    scene = Scene(
        run=run,
        recipe=recipe,
        chamber=chamber,
        chamber_name=trace.name,
        placed=placed,
        edges_on=chamber,
        edges_name=trace.name,
        measured=placed,
        source="load" if trace.role == "load" else "control",
        works={},
        stays=stays,
        errors=chamber_errors,
        chamber_errors=chamber_errors,
        basis=basis_of(chamber_errors, recipe.decide_on),
        rates=fastest(blocks),
        uncertain=uncertain_gaps(run),
        untrusted=_untrusted(stuck, [trace.name]),
        stood_still=_untrusted(stuck, [trace.name]),
    )
    if not loads:
        return _without_loads(scene, packet)
    loaded = _with_loads(scene, loads, load_errors, stuck)
    last_s = float(loaded.edges_on.t_s[-1])
    if _reads_on(scene, last_s):
        return loaded
    left = [i for i, tr in enumerate(loads) if _reads_on(scene, float(readings_of(tr).t_s[-1]))]
    if left:
        alone = _with_loads(scene, tuple(loads[i] for i in left), [load_errors[i] for i in left], stuck)
    else:
        alone = _without_loads(scene, packet)
        alone = replace(alone, basis=loaded.basis, load_gone=alone.source == "control")
    return replace(loaded, lost_s=last_s, alone=alone)


def _reads_on(scene: Scene, last_s: float) -> bool:
    """Whether a sensor with this last reading was read as long as the chamber."""
    return scene.end_s - last_s <= GAP_PERIODS * scene.chamber.period_s


def _without_loads(scene: Scene, packet: object) -> Scene:
    """Let the packet estimate decide, or the chamber itself."""
    known: Known = {}
    works = {i: _work_of(scene, stay, packet, known) for i, stay in enumerate(scene.stays)}
    source: Source = next((w.source for w in works.values() if w.source == "packet estimate"), scene.source)
    return replace(scene, works=works, source=source)


def _reach(recipe: Recipe, errors: SensorErrors) -> float:
    """How far beside its band a level stretch can still be a hold: the sensor's error may have put it there [K]."""
    spread = [(errors.at(h.target_c) or 0.0) + max(h.above_c, h.below_c) for h in recipe.holds]
    return max(spread, default=0.0)


def _with_loads(scene: Scene, loads: tuple[Trace, ...], errors: list[SensorErrors], stuck: Sequence[Stuck]) -> Scene:
    """Let the load sensors decide; where the chamber misses a hold that they show, theirs is taken."""
    traces = [corrected(tr, e) for tr, e in zip(loads, errors, strict=True)]
    work = traces[0] if len(traces) == 1 else coldest(traces, scene.run.t_s)
    placed = list(scene.placed)
    if any(p is None or p.edges is None for p in placed):
        placed = _filled(placed, place_holds(work, scene.recipe))
    worst = max(errors, key=_spread)
    return replace(
        scene,
        placed=tuple(placed),
        edges_on=work,
        edges_name=loads[0].name if len(loads) == 1 else "the coldest of " + ", ".join(tr.name for tr in loads),
        measured=place_again(work, scene.recipe, tuple(placed)),
        source="load",
        works={i: measured_work("load", work) for i in range(len(scene.stays))},
        errors=worst,
        basis=basis_of(worst, scene.recipe.decide_on),
        rates=scene.rates.with_other(fastest(block_medians(work.t_s, work.temp_c, work.period_s))),
        untrusted=_untrusted(stuck, [tr.name for tr in loads]),
    )


def _untrusted(stuck: Sequence[Stuck], names: list[str]) -> tuple[tuple[float, float], ...]:
    return tuple((s.start_s, s.end_s) for s in stuck if s.sensor in names)


def _spread(errors: SensorErrors) -> float:
    value = errors.at(500.0)
    return np.inf if value is None else value


def _filled(placed: list[Placed | None], other: tuple[Placed | None, ...]) -> list[Placed | None]:
    """Take from another trace the holds that are missing, where their order in time stays right."""
    result = list(placed)
    for number, mine in enumerate(placed):
        theirs = other[number]
        if (mine is None or mine.edges is None) and theirs is not None and theirs.edges is not None:
            before = [p.stays[-1].end_s for p in result[:number] if p is not None]
            after = [p.stays[0].start_s for p in result[number + 1 :] if p is not None]
            if max(before, default=-np.inf) <= theirs.stays[0].start_s and theirs.stays[-1].end_s <= min(
                after, default=np.inf
            ):
                result[number] = theirs
    return result


def _work_of(scene: Scene, stay: Stay, packet: object, known: Known) -> Work:
    """Work temperature of one stay without a load sensor: the packet estimate where a packet is known."""
    from soakwitness.analysis.verification.packets import estimated_work

    spec = _spec_of(scene.recipe, stay)
    if packet is None and spec is None:
        return measured_work(scene.source, scene.chamber)
    return estimated_work(scene, stay, packet, spec, known)


def _spec_of(recipe: Recipe, stay: Stay) -> PacketSpec | None:
    """What is known of a piece's packet: its own figures over the recipe's."""
    info = stay.info
    if info is None or info.thickness_mm is None:
        return recipe.packet
    base = recipe.packet or PacketSpec()
    return replace(
        base,
        thickness_mm=info.thickness_mm,
        foil=base.foil if info.foil is None else info.foil,
        heated_faces=base.heated_faces if info.heated_faces is None else info.heated_faces,
        blades=base.blades if info.blades is None else info.blades,
    )


def shown_work(scene: Scene, holds: Sequence[HoldResult]) -> WorkTemperature | None:
    """The work temperature for charts: that of the slowest piece.

    Parameters
    ----------
    scene : Scene
        The verification.
    holds : sequence of HoldResult
        Its holds.

    Returns
    -------
    WorkTemperature or None
        Low, best and high trace; None where the chamber itself is all there is.
    """
    works = list(scene.works.values())
    if not works or works[0].source == "control":
        return None
    if works[0].measured:
        t, y = works[0].best.t_s, works[0].best.temp_c
        shown = WorkTemperature("load", scene.edges_name, t, y, y, y)
    else:
        estimated = [w for w in works if w.result is not None]
        slowest = min(estimated, key=lambda w: float(np.sum(w.best.temp_c)))
        assert slowest.result is not None
        shown = slowest.result
    return replace(shown, eats_s={h.step: h.lag_s for h in holds if h.lag_s is not None})
