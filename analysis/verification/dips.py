"""Dips below a hold's lower edge, and what each looks like: an opened door, a power cut, missing readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.intervals import inside
from soakwitness.analysis.verification.model import Dip, Looks
from soakwitness.firmware_bridge.runfolder.model import Mark

if TYPE_CHECKING:
    from soakwitness.analysis.verification.holding import Ground

# An opened door is felt within seconds; without power a small furnace falls at up to half a degree a second at first,
# and for minutes. Common practice, no source.
AT_ONCE_C_PER_S = 1.0
QUICK_C_PER_S = 0.2
QUICK_S = 120.0
OPENS = ("load", "pull", "door")
MARKED_S = 120.0


def dips_of(trace: Readings, hold: Hold, ground: Ground, marks: Sequence[Mark] = ()) -> tuple[Dip, ...]:
    """List the dips below the lower edge between enter and leave.

    Parameters
    ----------
    trace : Readings
        The trace that decides.
    hold : Hold
        The hold.
    ground : Ground
        Its edges and level part.
    marks : sequence of Mark
        Marks of the run: a load, pull or door mark explains a dip.

    Returns
    -------
    tuple of Dip
        Those that go below the edge by more than noise and resolution (at least 1 K), in order of time.
    """
    start, end = ground.edges.enter_s, ground.edges.leave_s
    if hold.judge_by == "mean":
        return ()
    spans = inside(trace, hold.lower_c, np.inf, start_s=start, end_s=end, mode="best", allowed=ground.allowed)
    dips = []
    for a, b in zip(spans.end_s[:-1], spans.start_s[1:], strict=True):
        low, high = trace.between(float(a), float(b))
        lowest = float(trace.temp_c[low:high].min(initial=np.inf))
        if lowest < hold.lower_c - max(trace.back_c, ground.allowed.noise_c):
            bottom = low + int(trace.temp_c[low:high].argmin())
            effect = "pause" if b - a <= hold.dip_s else "new start"
            marked = any(m.act in OPENS and a - MARKED_S <= m.t_s <= b and not m.struck for m in marks)
            looks = "marked" if marked else looks_like(trace, bottom, ground.level.level_c, start)
            dips.append(Dip(float(a), float(b), lowest, effect, looks))  # type: ignore[arg-type]
    return tuple(dips)


def looks_like(trace: Readings, bottom: int, level_c: float, since_s: float) -> Looks:
    """Tell what made a reading fall.

    Parameters
    ----------
    trace : Readings
        The trace.
    bottom : int
        Reading at the bottom of the dip.
    level_c : float
        Level that it fell from [degC].
    since_s : float
        Begin of the hold [s].

    Returns
    -------
    str
        ``gap`` where readings are missing in the fall, ``door`` where it fell within seconds, ``power`` where it fell
        as a furnace cools by itself.
    """
    low, _ = trace.between(since_s, since_s)
    level = np.flatnonzero(trace.temp_c[low : bottom + 1] >= level_c - trace.back_c)
    first = low + (int(level[-1]) if level.size else 0)
    fall_s = max(float(trace.t_s[bottom] - trace.t_s[first]), trace.period_s)
    if bottom > first and bool(trace.is_gap(slice(first, bottom + 1)).any()):
        return "gap"
    rate = (level_c - float(trace.temp_c[bottom])) / fall_s
    return "door" if rate >= AT_ONCE_C_PER_S or (rate >= QUICK_C_PER_S and fall_s < QUICK_S) else "power"
