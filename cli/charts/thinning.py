"""Fewer points for the same picture: lowest and highest of each block stay, gaps stay gaps."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from soakwitness.analysis.record.run import FloatArray


def thin(t_s: FloatArray, value: FloatArray, *, most: int, gap_s: float | None) -> tuple[FloatArray, FloatArray]:
    """Thin a line to about ``most`` points; a pause longer than ``gap_s`` [s] is left blank.

    ``t_s``, ``value``: [s] and any unit, shape (n,), NaN where nothing was read. ``gap_s``: pause that breaks the line
    [s]; None breaks it only at NaN. Returns times and values, NaN where the line is broken.
    """
    import numpy as np

    had = np.isfinite(value)
    t_s, value = t_s[had], value[had]
    if len(t_s) < 2:
        return t_s, value
    breaks = np.flatnonzero(np.diff(t_s) > gap_s) if gap_s else np.array([], dtype=np.intp)
    picks = np.union1d(_extremes(value, most), np.union1d(breaks, breaks + 1)).astype(np.intp)
    after = np.searchsorted(picks, breaks) + 1
    return np.insert(t_s[picks], after, t_s[breaks]), np.insert(value[picks], after, np.nan)


def _extremes(value: FloatArray, most: int) -> FloatArray:
    """Indices of first, lowest and highest of each block, and of the last point."""
    import numpy as np

    if len(value) <= most:
        return np.arange(len(value), dtype=np.float64)
    block = int(np.ceil(3 * len(value) / most))
    starts = np.arange(0, len(value) - block + 1, block)
    blocks = value[: len(starts) * block].reshape(-1, block)
    rest = np.arange(len(starts) * block, len(value))
    ends = rest[[0, -1]] if len(rest) else np.array([len(value) - 1])
    return np.concatenate([starts, starts + blocks.argmin(axis=1), starts + blocks.argmax(axis=1), ends]).astype(
        np.float64
    )
