"""Speed of the thermocouple functions, side by side in one run; prints ratios. Run it by hand, it is no test.

Beside: ``thermocouple-its90`` 1.0.2 (value by value) and one plain numpy polynomial of the same degree.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import thermocouple_its90

from soakwitness.analysis.thermocouples.coefficients import REFERENCE_FUNCTIONS
from soakwitness.analysis.thermocouples.reference_functions import TYPES, emf_mv, temperature_c, type_range

MANY = 1_000_000
FEW = 20_000  # the other package goes value by value: timed on these, then scaled


def best_of(times: int, work: Callable[[], object]) -> float:
    """Shortest of several timings [s]."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def compare(kind: str) -> tuple[float, float, float, float]:
    """Ratios of one type: faster than the package (emf, inverse), slower than one polynomial (emf, inverse)."""
    limits = type_range(kind)
    low_c = 251.0 if kind == "B" else limits.low_c
    temp_c = np.random.default_rng(1).uniform(low_c, limits.high_c, MANY)
    mv = np.asarray(emf_mv(temp_c, kind))
    temperature_c(mv, kind)  # makes the tables
    plain = max((piece.coefficients for piece in REFERENCE_FUNCTIONS[kind]), key=len)[::-1]
    other = thermocouple_its90.TYPES[kind]
    few_c, few_mv = temp_c[:FEW].tolist(), mv[:FEW].tolist()
    emf_s = best_of(5, lambda: emf_mv(temp_c, kind))
    inverse_s = best_of(5, lambda: temperature_c(mv, kind))
    polynomial_s = best_of(5, lambda: np.polyval(plain, temp_c))
    other_emf_s = best_of(2, lambda: [other.emf(t) for t in few_c]) * MANY / FEW
    other_inverse_s = best_of(2, lambda: [other.temperature(e) for e in few_mv]) * MANY / FEW
    return other_emf_s / emf_s, other_inverse_s / inverse_s, emf_s / polynomial_s, inverse_s / polynomial_s


if __name__ == "__main__":
    print(f"{MANY:,} values over the whole range, in random order")
    print("type   times faster than thermocouple-its90    times one numpy.polyval of the same degree")
    print("            emf     inverse                         emf     inverse")
    for letter in TYPES:
        emf, inverse, emf_cost, inverse_cost = compare(letter)
        print(f"  {letter}    {emf:8.0f}    {inverse:8.0f}                    {emf_cost:8.2f}    {inverse_cost:8.2f}")
