"""When a door was open, as marks and contacts tell, and which dips are put down to it."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.record.run import Run
from soakwitness.firmware_bridge.runfolder.contents import OPENS

DOOR_S, DOOR_NEAR_S = 180.0, 60.0  # a dip so short, begun so near to a door that was opened, is bridged


def doors_of(run: Run) -> tuple[float, ...]:
    """Moments [s] at which a door was open: door, load and pull marks, and contacts that mean a door."""
    marked = [m.t_s for m in run.marks if m.act in OPENS and not m.struck]
    for column in run.columns:
        if column.kind == "contact" and column.means == "door":
            acted = np.nan_to_num(run.values[column.name]) != 0.0
            marked += run.t_s[np.flatnonzero(np.diff(acted.astype(np.int8)) > 0) + 1].tolist()
    return tuple(sorted(marked))
