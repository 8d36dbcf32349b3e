"""Which traces of a run count: the chamber's, the load sensors', and what took over from a broken one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.inputs.readings import gaps, readings_of
from soakwitness.analysis.verification.rules.states import ROOM_C
from soakwitness.firmware_bridge.common.chamber import FEWEST_READINGS, Candidate, Seen, chamber_of
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined

ALIKE_C = 3.0  # a change beyond that is a finding wherever two sensors are compared; common practice, no source


@dataclass(frozen=True)
class StandsIn:
    """The control sensor that broke, and by how much the one that took over reads higher than it did [K]."""

    broken: str
    higher_c: float

    @property
    def alike(self) -> bool:
        """Whether they read alike while both read, so that one can judge for the other."""
        return abs(self.higher_c) <= ALIKE_C


def usable(trace: Trace, *, to_its_end: bool = False) -> bool:
    """Whether a trace has enough readings to count: five, and no gaps for more than half of the run.

    ``to_its_end``: of the run until the trace's own last reading; a load sensor that broke tells what came before.
    """
    seen = _seen(trace)
    return seen.usable(float(trace.t_s[0]), seen.last_s if to_its_end else float(trace.t_s[-1]))


def _seen(trace: Trace) -> Seen:
    """How a trace was read."""
    readings = readings_of(trace)
    t, y = readings.t_s, readings.temp_c
    if not t.size:
        return Seen(0, 0.0, 0.0, 0.0, 0.0, 0.0)
    first, last = float(t[0]), float(t[-1])
    missing = sum(b - a for a, b in gaps(readings, first, last))
    return Seen(t.size, first, last, missing, float(y[-1]), float(y.max()))


def chamber_trace(run: Run) -> Trace:
    """The trace that the steps are found on.

    Raises NotEnoughData if no sensor has enough readings.
    """
    name = chamber_of(map(_candidate, run.traces))
    if name is not None:
        return next(tr for tr in run.traces if tr.name == name)
    best = max(run.traces, key=lambda tr: int(np.isfinite(tr.temp_c).sum()), default=None)
    if best is None or int(np.isfinite(best.temp_c).sum()) < FEWEST_READINGS:
        says = (
            f"{run.header.run}: no sensor has {FEWEST_READINGS} readings: there is nothing to compare. Look at "
            "samples.csv in the run folder; a trial is struck out:"
        )
        raise NotEnoughData(joined([says, NextCommand.of("runs", run.header.run, "--strike", "--why", "REASON")]))
    return best


def _candidate(trace: Trace) -> Candidate:
    """A trace as one that may speak for the chamber, over the whole run."""
    seen, end_s = _seen(trace), float(trace.t_s[-1])
    fit = seen.usable(float(trace.t_s[0]), end_s)
    return Candidate(trace.name, trace.role, fit=fit, reads_on=seen.reads_on(end_s, trace.period_s))


def stands_in(run: Run, chamber: Trace) -> StandsIn | None:
    """What a control sensor showed, while it read and the furnace was hot, against the one that took over from it."""
    for control in run.traces:
        if control.role != "control" or chamber.role in ("control", "load"):
            continue
        higher = chamber.temp_c - control.temp_c
        hot = np.isfinite(higher) & (control.temp_c > (np.nanmax(chamber.temp_c) + ROOM_C) / 2.0)
        if np.count_nonzero(hot) >= FEWEST_READINGS:
            return StandsIn(control.name, float(np.median(higher[hot])))
    return None


def load_traces(run: Run, chamber: Trace) -> tuple[Trace, ...]:
    """Load sensors with enough readings, the chamber's own left out; one that broke tells what came before."""
    loads = (tr for tr in run.traces if tr.role == "load" and tr.name != chamber.name)
    return tuple(tr for tr in loads if usable(tr, to_its_end=True))
