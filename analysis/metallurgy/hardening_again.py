"""What is to be known before hardened steel is hardened again."""

from __future__ import annotations

# common practice, no source
ANNEAL_FIRST = (
    "Never harden hardened steel again without annealing it first: it cracks and the grain grows. Each heat costs "
    "skin, so leave stock to grind, use foil, and expect to straighten."
)
