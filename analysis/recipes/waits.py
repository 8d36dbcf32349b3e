"""How long as-quenched steel may wait for what comes after the quench."""

from __future__ import annotations

TEMPER_WITHIN_S = 24 * 3600.0  # common practice, no source: as-quenched steel does not wait overnight and longer
COLD_WITHIN_S = 12 * 3600.0  # common practice, no source: retained austenite grows stable at room temperature
