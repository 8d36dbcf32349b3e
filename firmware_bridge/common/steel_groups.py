"""Groups of open steel designations that transform at about the same heat. Standard library only."""

from __future__ import annotations

from typing import Literal

SteelGroup = Literal["carbon", "tool", "stainless", "unknown"]

GROUP_STARTS: tuple[tuple[SteelGroup, tuple[str, ...]], ...] = (
    ("stainless", ("S4", "420", "440", "1.40", "1.41", "1.45")),
    ("tool", ("T30", "A2", "A6", "D2", "D3", "D6", "1.236", "1.237", "1.208")),
    ("carbon", ("G1", "G5", "10", "15", "51", "52", "O1", "W1", "W2", "T315", "T72", "1.11", "1.12", "1.28", "1.35")),
)


def steel_group(steel: str | None) -> SteelGroup:
    """Group of an open steel designation: where its transformation is to be expected."""
    name = (steel or "").strip().upper().replace(" ", "")
    return next((group for group, starts in GROUP_STARTS if name.startswith(starts)), "unknown")
