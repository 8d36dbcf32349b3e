"""Budgets against published examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.calibration.uncertainty.budget import (
    Budget,
    BudgetRow,
    coverage_factor,
    expanded,
    rectangular,
    rectangular_factor,
)

# EA-4/02 M:2022, example S5: furnace temperature, thermocouple of type N at 1000 degC. Contributions as printed there
# (CHECKS section 2, read in a public copy); the half-widths and sensitivities behind four of them are from memory.
S5 = Budget(
    (
        BudgetRow("temperature by the reference's certificate", 0.10),
        BudgetRow("voltmeter, correction", 1.0, sensitivity=0.077, unit="uV"),
        rectangular("voltmeter, resolution", 0.5, sensitivity=0.077, unit="uV"),
        rectangular("parasitic voltages", 2.0, sensitivity=0.077, unit="uV"),
        rectangular("reference junction", 0.1, sensitivity=-0.407),
        expanded("reference thermocouples", 0.3, k=2.0),
        rectangular("drift since the last calibration", 0.3),
        rectangular("gradient in the furnace", 1.0),
    )
)


def test_ea_4_02_example_s5() -> None:
    printed = [0.10, 0.077, 0.022, 0.089, 0.024, 0.15, 0.173, 0.577]
    assert [row.contribution_c for row in S5.rows] == pytest.approx(printed, abs=6e-4)
    assert round(S5.combined_c, 3) == 0.641
    assert S5.combined_c == pytest.approx(0.640870517, abs=2e-6)
    assert round(S5.expanded_c, 1) == 1.3
    assert round(S5.coverage_factor, 2) == 2.0


def test_the_dominant_row_is_named() -> None:
    assert S5.dominant is not None
    assert S5.dominant.source == "gradient in the furnace"
    assert Budget(S5.rows[:-1]).dominant is None


def test_a_rectangular_source_alone() -> None:
    # EA-4/02 example S9 (from memory): rectangular, u = 0.030, U = 0.05 V at k = 1.65 for 95 %
    assert round(rectangular_factor(0.0, 0.95), 2) == 1.65
    # derivation: of a uniform distribution of half-width a, a share p lies within p a = p sqrt(3) u
    assert rectangular_factor(0.0) == pytest.approx(0.9545 * 3**0.5, abs=1e-4)
    budget = Budget((rectangular("tolerance of new wire", 4.0), BudgetRow("scatter", 0.1)))
    assert budget.expanded_c < 4.0  # the bound itself: with k = 2 it would be 4.6
    assert rectangular_factor(50.0) == pytest.approx(2.0, abs=1e-3)  # a rest that makes it normal


@pytest.mark.parametrize("beside", [0.05, 0.2, 0.3, 1.0])
def test_a_rectangular_source_and_a_normal_rest_by_counting(beside: float) -> None:
    # by counting 400,000 draws, within 4 standard deviations of the count
    rng = np.random.default_rng(1)
    drawn = np.sqrt(3.0) * rng.uniform(-1, 1, 400_000) + beside * rng.normal(size=400_000)
    inside = np.mean(np.abs(drawn) <= rectangular_factor(beside) * math.hypot(1.0, beside))
    assert inside == pytest.approx(0.9545, abs=4 * 0.00033)


@pytest.mark.parametrize(("dof", "k"), [(1, 13.97), (5, 2.65), (10, 2.28), (20, 2.13), (50, 2.05), (math.inf, 2.00)])
def test_coverage_factor(dof: float, k: float) -> None:
    # GUM table G.2, column 95.45 % (from memory)
    assert round(coverage_factor(dof), 2) == k


def test_welch_satterthwaite() -> None:
    # GUM G.4, example (from memory): 0.25, 0.57, 0.82 % with 9, 4, 14 degrees of freedom give 1.03 % and nu_eff 19.0
    rows = tuple(BudgetRow(name, u, dof=nu) for name, u, nu in (("1", 0.25, 9), ("2", 0.57, 4), ("3", 0.82, 14)))
    budget = Budget(rows)
    assert round(budget.combined_c, 2) == 1.03
    assert round(budget.dof, 1) == 19.0


@given(st.lists(st.tuples(st.floats(0.001, 10), st.booleans()), min_size=1, max_size=8))
def test_own_and_common_parts_make_up_the_whole(rows: list[tuple[float, bool]]) -> None:
    budget = Budget(tuple(BudgetRow(str(n), u, common=common) for n, (u, common) in enumerate(rows)))
    assert math.hypot(budget.own_c, budget.common_c) == pytest.approx(budget.combined_c)
    assert budget.as_dict()["expanded_c"] == pytest.approx(2.0 * budget.combined_c, rel=1e-4)
    assert budget.as_dict()["dof"] is None
