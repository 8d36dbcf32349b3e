"""Gaps in a record whose length is not known: the computer was started anew within the run."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soakwitness.analysis.record.run import Run


class UncertainGap(NamedTuple):
    """From the last reading before to the first after it [s]; ``longer``: it surely was, nobody knows by how much."""

    start_s: float
    end_s: float
    longer: bool = False


def uncertain_gaps(run: Run) -> tuple[UncertainGap, ...]:
    """Stretches whose length is not known: after a restart of the computer; longer where its clock was behind."""
    found = []
    for event in run.events:
        if event.event == "resumed" and "uncertain" in event.detail:
            after = int(np.searchsorted(run.t_s, event.t_s))
            start = float(run.t_s[after - 1]) if after else event.t_s
            end = float(run.t_s[after]) if after < run.t_s.size else event.t_s
            found.append(UncertainGap(start, max(end, event.t_s), "longer than that" in event.detail))
    return tuple(found)
