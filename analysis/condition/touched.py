"""Which figures begin anew when something was done to a part of the furnace."""

from __future__ import annotations

from soakwitness.analysis.condition.combined_figures import Kind

# "moved house" and "other" touch every figure: another mains, another room, or nobody knows.
TOUCHED: dict[str, frozenset[Kind]] = {
    "elements": frozenset(("climb", "top", "output", "cooling", "overshoot", "swing", "afterheat")),
    "relay": frozenset(("output", "overshoot", "swing", "afterheat")),
    "door seal": frozenset(("top", "output", "cooling")),
    "insulation": frozenset(("climb", "top", "output", "cooling")),
    "thermocouple": frozenset(("output", "overshoot", "swing", "difference", "missed", "noise")),
    "controller": frozenset(("overshoot", "swing", "afterheat", "missed", "noise")),
    "mains": frozenset(("climb", "output", "cooling")),
}


def touches(part: str, kind: Kind) -> bool:
    """Whether work on a part begins another baseline of a figure."""
    return part not in TOUCHED or kind in TOUCHED[part]
