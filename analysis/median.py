"""Median of many numbers: only those near the middle are put in order."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.runs import FloatArray

MANY = 20_000
SAMPLE = 2_000
NEAR = (0.45, 0.55)


def median(values: FloatArray) -> float:
    """Median of finite numbers, to the last bit what ``np.median`` says.

    Parameters
    ----------
    values : ndarray
        Numbers in any unit, shape (n,), n from 1 on, none of them NaN.

    Returns
    -------
    float
        Their median [unit of ``values``].

    Notes
    -----
    A sample of them tells two bounds about the middle; how many lie below is counted, and only what lies between is
    put in order.
    """
    if values.size < MANY:
        return float(np.median(values))
    some = np.sort(values[:: values.size // SAMPLE])
    low, high = (some[int(share * some.size)] for share in NEAR)
    near = values[(values >= low) & (values <= high)]
    below = int(np.count_nonzero(values < low))
    first, last = (values.size - 1) // 2 - below, values.size // 2 - below
    if first < 0 or last >= near.size:  # the sample was none
        return float(np.median(values))
    near.partition((first, last))
    return float((near[first] + near[last]) / 2.0) if first < last else float(near[first])
