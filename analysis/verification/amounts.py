"""What the holds of a run amount to, for comparison only: no verdict rests on these figures."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.comparison import ComparisonRefused, comparison_sentence
from soakwitness.analysis.recipes.words import Unit
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.model import Verification


def what_holds_amount_to(run: Run, verification: Verification, *, unit: Unit = "C") -> tuple[tuple[int, str], ...]:
    """Comparison figures of every hold that was found, from the sensor that its edges were found on, as read.

    Parameters
    ----------
    run : Run
        The run.
    verification : Verification
        What was found in it.
    unit : str
        Unit of the sentences, ``C`` or ``F``.

    Returns
    -------
    tuple of tuple
        Step number and one labelled sentence: the Hollomon-Jaffe parameter of a temper, the Arrhenius-weighted
        equivalent soak of a hotter hold. Holds with fewer than two readings are left out.
    """
    found: list[tuple[int, str]] = []
    for hold in verification.holds:
        trace = run.trace(hold.measured_by) if hold.measured_by else None
        if trace is None or hold.enter_s is None or hold.leave_s is None:
            continue
        first, last = np.searchsorted(trace.t_s, [hold.enter_s, hold.leave_s])
        part = slice(int(first), int(last) + 1)
        try:
            says = comparison_sentence(trace.t_s[part], trace.temp_c[part], target_c=hold.target_c, unit=unit)
        except ComparisonRefused:
            continue
        found.append((hold.step, says))
    return tuple(found)
