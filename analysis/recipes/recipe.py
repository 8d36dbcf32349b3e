"""Recipes as frozen data. ``recipes.file`` reads and checks the text, ``recipes.program`` says what to type in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.common.units import Unit

DEFAULT_HOT_S = 60.0
HARDENING_FROM_C = 700.0  # no steel here is hardened below, or tempered above


@dataclass(frozen=True)
class Ramp:
    """A ramp to ``to_c``; ``rate_c_per_h`` None is full power. ``number`` counts steps from 1, cycles included."""

    number: int
    to_c: float
    rate_c_per_h: float | None = None
    min_rate_c_per_h: float | None = None
    max_rate_c_per_h: float | None = None
    cycle: int = 1
    kind: Literal["ramp"] = "ramp"


@dataclass(frozen=True)
class Hold:
    """A hold at ``target_c`` with band ``target_c - below_c`` to ``target_c + above_c`` for ``required_s``."""

    number: int
    target_c: float
    below_c: float
    above_c: float
    required_s: float
    at_most_s: float | None = None
    judged: bool = True
    max_overshoot_c: float | None = None
    dip_s: float = 0.0
    hot_s: float = DEFAULT_HOT_S  # how long a bare chamber reading may stay over its limit
    soak_from: Literal["work", "control"] = "work"
    judge_by: Literal["reading", "mean"] = "reading"
    cycle: int = 1
    kind: Literal["hold"] = "hold"

    @property
    def lower_c(self) -> float:
        """Lower edge of the band [degC]."""
        return self.target_c - self.below_c

    @property
    def upper_c(self) -> float:
        """Upper edge of the band [degC]."""
        return self.target_c + self.above_c


@dataclass(frozen=True)
class PacketSpec:
    """What a piece is when nothing else is known of it."""

    thickness_mm: float = 3.0
    foil: bool = True
    heated_faces: int = 2
    blades: int = 1
    foil_mm: float = 0.05


@dataclass(frozen=True)
class Quench:
    """Quench medium and the longest time from pull to plates [s]."""

    medium: str = "plates"
    within_s: float | None = None
    cool_from_c: float | None = None
    cool_to_c: float | None = None
    cool_within_s: float | None = None


@dataclass(frozen=True)
class Program:
    """Deliberate differences of what is typed into the controller."""

    offset_c: float = 0.0
    extra_s: float = 0.0


@dataclass(frozen=True)
class Recipe:
    """A recipe, checked, all temperatures in degC, its ``repeat`` rounds written out as ``cycle`` 1, 2 and so on.

    ``text`` is the file as it was, ``digest`` its SHA-256, ``folder`` where it lies; None for a text that was kept.
    ``measured`` names the file of a measured packet, beside the recipe.
    """

    name: str
    unit: Unit
    steps: tuple[Ramp | Hold, ...]
    steel: str | None = None
    load: Literal["cold", "hot"] = "cold"
    load_at_c: float | None = None
    packet: PacketSpec | None = None
    measured: str | None = None
    quench: Quench | None = None
    program: Program = Program()
    hardness_as_quenched: tuple[float, float] | None = None
    hardness_final: tuple[float, float] | None = None
    decide_on: Literal["reading", "true temperature"] | None = None
    repeat: int = 1
    cool_below_c: float | None = None
    order: tuple[str, ...] = ()
    text: str = ""
    source: str = ""
    digest: str = ""
    folder: str | None = None

    @property
    def holds(self) -> tuple[Hold, ...]:
        """The holds in order."""
        return tuple(s for s in self.steps if isinstance(s, Hold))
