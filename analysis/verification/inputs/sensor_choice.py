"""Which traces of a run count: the chamber's, the load sensors', and what took over from a broken one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS, ROOM_C, gaps, last_read, readings_of
from soakwitness.firmware_bridge.common.chamber import Candidate, chamber_of

FEWEST_READINGS = 5
USABLE_SHARE = 0.5
READS_ON_S = 60.0
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
    readings = readings_of(trace)
    t = readings.t_s
    if t.size < FEWEST_READINGS:
        return False
    end_s = t[-1] if to_its_end else trace.t_s[-1]
    missing = sum(b - a for a, b in gaps(readings, t[0], t[-1])) + (t[0] - trace.t_s[0]) + (end_s - t[-1])
    return bool(missing <= (1.0 - USABLE_SHARE) * (end_s - trace.t_s[0]))


def chamber_trace(run: Run) -> Trace:
    """The trace that the steps are found on.

    Raises NotEnoughData if no sensor has enough readings.
    """
    name = chamber_of(Candidate(tr.name, tr.role, fit=usable(tr), reads_on=_to_the_end(tr)) for tr in run.traces)
    if name is not None:
        return next(tr for tr in run.traces if tr.name == name)
    best = max(run.traces, key=lambda tr: int(np.isfinite(tr.temp_c).sum()), default=None)
    if best is None or int(np.isfinite(best.temp_c).sum()) < FEWEST_READINGS:
        raise NotEnoughData(
            f"{run.header.run}: no sensor has {FEWEST_READINGS} readings: there is nothing to compare. "
            "Look at samples.csv in the run folder."
        )
    return best


def _to_the_end(trace: Trace) -> bool:
    """Whether a trace was read to the end of the run, or until it had lost half of its heat."""
    last = last_read(trace)
    if last is None:
        return False
    if trace.t_s[-1] - trace.t_s[last] <= max(GAP_PERIODS * trace.period_s, READS_ON_S):
        return True
    return bool(trace.temp_c[last] < (np.nanmax(trace.temp_c) + ROOM_C) / 2.0)


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
    """Load sensors with enough readings, the chamber's own left out."""
    loads = (tr for tr in run.traces if tr.role == "load" and tr.name != chamber.name)
    return tuple(tr for tr in loads if usable(tr, to_its_end=True))
