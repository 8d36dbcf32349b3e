"""The tables hold what the published equations say, at every place."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.packet.tables import ENTHALPY_PER_K, HIGHEST_K, enthalpy_lines, enthalpy_tables
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties


def test_the_enthalpy_tables_hold_the_equations_at_every_quarter_of_a_kelvin() -> None:
    temps = [k / ENTHALPY_PER_K - properties.ZERO_C_IN_K for k in range(ENTHALPY_PER_K * HIGHEST_K)]
    base, peak = enthalpy_tables()
    assert np.array_equal(base, np.float32([properties.steel_enthalpy_base(t) for t in temps]))
    assert np.array_equal(peak, np.float32([properties.steel_enthalpy_peak(t) for t in temps]))


def test_a_line_goes_from_each_value_to_the_next() -> None:
    for table, (values, rises) in zip(enthalpy_tables(), enthalpy_lines(), strict=True):
        assert np.array_equal(values, table)
        assert np.allclose(values[:-1] + rises, table[1:], rtol=1e-6, atol=0.1)
