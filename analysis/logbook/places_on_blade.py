"""Places on a blade: as shares of it, and in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says


@dataclass(frozen=True)
class PlaceOnBlade:
    """``along_pct`` from heel (0) to tip (100), ``across_pct`` from edge (0) to spine (100) [%]."""

    along_pct: float
    across_pct: float


# where a spot in a maker's words lies; the flat is the middle of the blade's height
SPOTS: dict[str, PlaceOnBlade] = {
    "edge": PlaceOnBlade(50.0, 12.0),
    "spine": PlaceOnBlade(50.0, 88.0),
    "tip": PlaceOnBlade(94.0, 50.0),
    "heel": PlaceOnBlade(6.0, 50.0),
    "middle": PlaceOnBlade(50.0, 50.0),
    "flat": PlaceOnBlade(50.0, 50.0),
    "tang": PlaceOnBlade(-14.0, 62.0),
}
_THIRDS = (100.0 / 3.0, 200.0 / 3.0)


def place_on_blade(along_pct: float | None, across_pct: float | None) -> PlaceOnBlade | None:
    """The place that two shares name; None where none is told.

    Raises LogBookError if only one is told, or one is no share of the blade.
    """
    for value, name in ((along_pct, "along"), (across_pct, "across")):
        if value is not None and not (math.isfinite(value) and 0.0 <= value <= 100.0):
            says = "{share}: a place on the blade is told in per cent of it, 0 to 100."
            raise LogBookError(Says.of(says, share=Field(name, f"{value:g}")))
    if along_pct is None and across_pct is None:
        return None
    if along_pct is None or across_pct is None:
        missing = Field("along" if along_pct is None else "across")
        raise LogBookError(
            Says.of("{share} is missing: a place on the blade is told along it and across it.", share=missing)
        )
    return PlaceOnBlade(along_pct, across_pct)


def spot_words(place: PlaceOnBlade) -> str:
    """A place in words: which third from heel to tip, and of its height: ``tip, edge``."""
    along = "heel" if place.along_pct < _THIRDS[0] else "tip" if place.along_pct > _THIRDS[1] else "middle"
    across = "edge" if place.across_pct < _THIRDS[0] else "spine" if place.across_pct > _THIRDS[1] else "flat"
    return f"{along}, {across}"


def place_of_spot(spot: str | None) -> PlaceOnBlade | None:
    """Where about a spot in words lies, such as ``edge``; None where the words tell no place."""
    return SPOTS.get((spot or "").strip().casefold())
