"""A furnace that swings about its level: who is out of the band at each turn, and so gets no soak there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
MOST_OUT = 0.5  # a hold in which more is out is none that minutes could mend


def share_below(t_s: FloatArray, temp_c: npt.NDArray[np.floating], level_c: float, from_s: FloatArray) -> FloatArray:
    """Share of the time that each row stands below a level once it has been there, shape (rows,).

    ``t_s``: shape (n,) [s], ``temp_c``: shape (rows, n) [degC], ``from_s``: when each row came there, shape (rows,)
    [s], inf for one that never did. Never more than ``MOST_OUT``.
    """
    after = t_s >= from_s[:, None]
    share: FloatArray = (after & (temp_c < level_c)).sum(axis=1) / np.maximum(after.sum(axis=1), 1)
    return np.minimum(share, MOST_OUT)
