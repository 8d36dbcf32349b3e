"""Runs of all kinds for the soak clock beside the verification: foreign ones, drawn ones, with packets and pieces."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import FloatArray, Run
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from tests.campaigns.foreign_runs import as_run, foreign_run
from tests.synthetic import KINDS, assignment_case, soak_case
from tests.verification_runs import make_run, run_of, sensor

DUMMY_MM = 3.0
SLOW_S = (60.0, 400.0)  # lag of a load sensor that is made out of the chamber


@dataclass(frozen=True)
class ClockRun:
    """One run as the recorder would have seen it, its recipe, and what the log book knows of its pieces."""

    seed: int
    kinds: tuple[str, ...]
    run: Run
    recipe: Recipe
    pieces: tuple[PieceInfo, ...] = ()


def clock_run(seed: int) -> ClockRun:
    """Draw a run: three in five foreign, else one of ``synthetic``; a third with packets or loads put on top."""
    rng = np.random.default_rng((seed, 77))
    kind = rng.choice(["foreign", "assignment", "soak", "pulls"], p=[0.6, 0.22, 0.06, 0.12])
    if kind == "foreign":
        case = foreign_run(seed)
        drawn = ClockRun(seed, ("foreign", *case.kinds), as_run(case), parse_recipe(case.recipe_toml, str(seed)))
    elif kind == "soak":
        made = soak_case(seed)
        drawn = ClockRun(seed, ("drawn", "soak"), run_of(made), made.recipe)
    elif kind == "assignment":
        made = assignment_case(seed, KINDS[seed % len(KINDS)])
        drawn = ClockRun(seed, ("drawn", made.kind), run_of(made), made.recipe)
    else:
        drawn = _pulled(rng, seed)
    drawn = _with_loads(rng, drawn)
    drawn = _with_packets(rng, drawn)
    return _with_own_packets(rng, drawn)


def _pulled(rng: np.random.Generator, seed: int) -> ClockRun:
    """A furnace that stands hot: charges go in one after the other, pieces come out one after the other."""
    made = assignment_case(seed, str(rng.choice(["plain", "door", "1 degree", "60 s", "dropouts"])))
    hold = made.recipe.holds[-1]
    hot = np.flatnonzero(made.temp_c >= hold.lower_c - 5.0)
    since, until = float(made.t_s[hot[0]]), float(made.t_s[hot[-1]])
    recipe = replace(made.recipe, steps=made.recipe.steps[-1:], load="hot", load_at_c=hold.target_c)
    marks: list[Mark] = []
    for charge, names in enumerate((("A", "B"), ("C",))[: int(rng.integers(1, 3))]):
        load_s = since + (until - since) * float(rng.uniform(0.0, 0.3)) * (1 + charge)
        marks.append(Mark(load_s, "load", names if rng.random() < 0.7 else ()))
        marks += [Mark(float(rng.uniform(load_s + 60.0, until + 300.0)), "pull", (n,)) for n in names]
    if rng.random() < 0.3:
        marks = [m for m in marks if m.act == "load"]
    run = replace(run_of(made), marks=tuple(sorted(marks, key=lambda m: m.t_s)))
    return ClockRun(seed, ("pulled hot", made.kind), run, recipe)


def _with_loads(rng: np.random.Generator, drawn: ClockRun) -> ClockRun:
    """Load sensors that lag behind the chamber, where there are none: one or two, one of them perhaps dies."""
    run = drawn.run
    if len(run.traces) > 1 or rng.random() > 0.2:
        return drawn
    chamber = run.traces[0]
    columns, values = list(run.columns), dict(run.values)
    for number in range(int(rng.integers(1, 3))):
        name, values_c = f"blade {number + 1}", _lagging(chamber.t_s, chamber.temp_c, float(rng.uniform(*SLOW_S)))
        values_c = np.round(values_c + float(rng.normal(0.0, 1.5)) + rng.normal(0.0, 0.15, values_c.size), 1)
        if rng.random() < 0.15:
            values_c[int(rng.integers(values_c.size // 4, values_c.size)) :] = np.nan
        columns.append(sensor(name, "load", thickness_mm=DUMMY_MM if rng.random() < 0.5 else None))
        values[name] = values_c
    made = make_run(run.t_s, values, columns=columns, events=run.events, marks=run.marks)
    return replace(drawn, run=made, kinds=(*drawn.kinds, "loads put in"))


def _lagging(t_s: FloatArray, chamber_c: FloatArray, tau_s: float) -> FloatArray:
    """What follows the chamber with a first-order lag; where the chamber was not read it follows what was read last."""
    result, now = np.empty(t_s.size), float("nan")
    seen = np.interp(t_s, t_s[np.isfinite(chamber_c)], chamber_c[np.isfinite(chamber_c)])
    for k, temp_c in enumerate(seen.tolist()):
        share = 1.0 if k == 0 else 1.0 - np.exp(-(t_s[k] - t_s[k - 1]) / tau_s)
        now = temp_c if k == 0 else now + share * (temp_c - now)
        result[k] = now
    return result


def _with_packets(rng: np.random.Generator, drawn: ClockRun) -> ClockRun:
    if drawn.recipe.packet is not None or rng.random() > 0.35:
        return drawn
    spec = PacketSpec(thickness_mm=float(rng.choice([1.5, 2.5, 3.0, 5.0, 8.0])), foil=bool(rng.random() < 0.7))
    return replace(drawn, recipe=replace(drawn.recipe, packet=spec), kinds=(*drawn.kinds, "packet"))


def _with_own_packets(rng: np.random.Generator, drawn: ClockRun) -> ClockRun:
    """Pieces that marks name have a thickness of their own in the log book."""
    names = sorted({name for mark in drawn.run.marks for name in mark.pieces})
    if not names or rng.random() > 0.5:
        return drawn
    pieces = tuple(PieceInfo(name, thickness_mm=float(rng.choice([2.0, 3.0, 5.0, 8.0]))) for name in names)
    return replace(drawn, pieces=pieces, kinds=(*drawn.kinds, "own packets"))


def until(run: Run, at_s: float) -> Run:
    """The run as it was on record at a moment [s]."""
    kept = int(np.searchsorted(run.t_s, at_s, side="right"))
    return replace(
        run,
        t_s=run.t_s[:kept],
        values={name: value[:kept] for name, value in run.values.items()},
        traces=tuple(replace(tr, t_s=tr.t_s[:kept], temp_c=tr.temp_c[:kept]) for tr in run.traces),
        marks=tuple(mark for mark in run.marks if mark.t_s <= at_s),
        events=tuple(event for event in run.events if event.t_s <= at_s),
    )


def load_columns(run: Run) -> tuple[Column, ...]:
    """Columns of load sensors."""
    return tuple(c for c in run.columns if c.kind == "sensor" and c.role == "load")
