"""What moves a furnace's figures without anything being wrong: the room, the charge, the mains."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.condition.levels import mean_between
from soakwitness.analysis.condition.measuring import control_trace
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.results.verification import PieceInfo

ROOM_MOST_C = 45.0
FIRST_S = 20.0
FULL_FROM_PCT = 98.0
_MASS = re.compile(r"(\d+(?:[.,]\d+)?)\s*kg\b", re.IGNORECASE)
_EMPTY = re.compile(r"\s*empty\b", re.IGNORECASE)


@dataclass(frozen=True)
class RunSurroundings:
    """What was around and in the furnace in one run; None is "not known"."""

    charged: bool | None
    room_c: float | None
    warm: bool
    charge_kg: float | None
    charge_mm: float | None
    mains_v: float | None


def surroundings(
    run: Run, pieces: Sequence[PieceInfo] = (), *, load_kg: float | None = None, empty: bool = False
) -> RunSurroundings:
    """Gather them from the readings, from the pieces in the charge, from what was entered of the load, from notes.

    What was entered counts before a note; a note that begins with "empty" says so, one with a mass in kg what was put
    in.
    """
    notes = [m.note for m in run.marks if not m.struck and m.act in ("note", "load")]
    masses = [float(found.group(1).replace(",", ".")) for note in notes if (found := _MASS.search(note))]
    empty = empty or any(_EMPTY.match(note) for note in notes)
    loaded = bool(pieces) or any(m.act == "load" and not m.struck for m in run.marks) or sum(masses) > 0
    loaded = loaded or bool(load_kg)
    steel = [p.thickness_mm * (p.blades or 1) for p in pieces if p.thickness_mm is not None]
    start_c = _start(run)
    warm = start_c is not None and start_c > ROOM_MOST_C
    return RunSurroundings(
        charged=True if loaded else False if empty else None,
        room_c=_room(run, start_c),
        warm=warm,
        charge_kg=load_kg if load_kg is not None else _noted(masses, empty and not loaded),
        charge_mm=sum(steel) if steel and len(steel) == len(pieces) else 0.0 if empty and not loaded else None,
        mains_v=_mains(run),
    )


def _noted(masses: Sequence[float], empty: bool) -> float | None:
    return sum(masses) if masses else 0.0 if empty else None


def _start(run: Run) -> float | None:
    """What the control reading began with: its first moments only, as some furnaces climb within a minute."""
    control = control_trace(run)
    if control is None:
        return None
    good = np.flatnonzero(np.isfinite(control.temp_c))
    first = good[control.t_s[good] <= control.t_s[good[0]] + FIRST_S]
    return float(np.median(control.temp_c[first]))


def _room(run: Run, start_c: float | None) -> float | None:
    """The room at the start: by a sensor for it, else by the cold furnace itself."""
    for trace in run.traces:
        if trace.role == "ambient":
            return mean_between(trace.t_s, trace.temp_c, float(trace.t_s[0]), float(trace.t_s[0]) + 600.0)
    return start_c if start_c is not None and start_c <= ROOM_MOST_C else None


def _mains(run: Run) -> float | None:
    """Median mains voltage: while the output was full, where that is logged; a signal named mains, or in volts."""
    named = next(
        (c.name for c in run.columns if c.kind == "signal" and (c.name.lower() == "mains" or c.unit == "V")), None
    )
    volts = run.values.get(named) if named else None
    if volts is None:
        return None
    output = run.signal("output")
    full = np.isfinite(volts) if output is None else np.isfinite(volts) & (output >= FULL_FROM_PCT)
    part = volts[full if full.any() else np.isfinite(volts)]
    return float(np.median(part)) if part.size else None
