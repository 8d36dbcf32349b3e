"""How long as-quenched steel may wait for what comes after the quench."""

from __future__ import annotations

# What a plan asks for: tool steel is tempered within four hours of the quench in the wording of SAE AMS 2759 (from
# memory); guides for knife strip say within one, those for tool steel at once, still hand-warm.
TEMPER_BY_S = 4 * 3600.0
# What is told as late afterwards.
TEMPER_WITHIN_S = 24 * 3600.0  # common practice, no source: as-quenched steel does not wait overnight and longer
COLD_WITHIN_S = 12 * 3600.0  # common practice, no source: retained austenite grows stable at room temperature
