"""A blade, bare or in its foil packet, between two heated faces.

Two conductances in series for each heated face: surroundings to foil (radiation and natural convection), foil to blade
(radiation and conduction through the gap's gas). The blade is one lump with a heat capacity that peaks at the
transformation; the foil's small mass is taken implicitly, because its own time constant is below a second.

What steel, foil and air are stands where the packet model takes it from. How well they exchange heat is this furnace's
own on purpose (convection, emissivities), and so is where a steel of a group transforms: the model has to find out what
it does not know.
"""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.firmware_bridge.common import heat_transfer_properties as properties
from soakwitness.firmware_bridge.common.steel_groups import SteelGroup, steel_group

SIGMA, ZERO_C_K = properties.STEFAN_BOLTZMANN, properties.ZERO_C_IN_K
# Middle of the transformation on heating [degC], invented within what the packet model allows for.
TRANSFORMS_AT_C: dict[SteelGroup, float] = {"carbon": 741.0, "tool": 774.0, "stainless": 812.0, "unknown": 741.0}


@dataclass(frozen=True)
class PacketParts:
    """One packet. ``name`` is the piece's; ``foil`` False is a bare blade."""

    name: str = "blade"
    thickness_mm: float = 3.0
    length_m: float = 0.25
    width_m: float = 0.04
    foil: bool = True
    foil_mm: float = 0.05
    heated_faces: int = 2
    outer_emissivity: float = 0.6  # of the foil
    bare_emissivity: float = 0.8  # of a blade without foil
    inner_factor: float = 0.19  # both facing surfaces together
    gap_mm: float = 1.0
    density_kg_per_m3: float = properties.STEEL_DENSITY
    transforms_at_c: float = properties.PEAK_MID_C  # that of the published specific heat; a steel's: transforms_at
    start_c: float = 20.0


@dataclass(frozen=True)
class Surroundings:
    """What a face sees: radiation of a body at ``radiant_k4`` [K4] and gas at ``gas_c`` [degC]."""

    radiant_k4: float
    gas_c: float

    @classmethod
    def even(cls, temp_c: float) -> Surroundings:
        """Walls and gas at one temperature."""
        return cls((temp_c + ZERO_C_K) ** 4, temp_c)


def transforms_at(steel: str) -> float:
    """Where a blade of this steel transforms on heating in this furnace: the middle of it [degC]."""
    return TRANSFORMS_AT_C[steel_group(steel)]


def convection_w_per_m2_k(difference_k: float) -> float:
    """Natural convection at a small plate in still air, 1.42 (dT/L)^1/4 with L = 0.05 m (a usual simplification)."""
    conductance: float = 1.42 * (abs(difference_k) / 0.05) ** 0.25
    return conductance


class Packet:
    """State of one packet: ``blade_c`` and ``foil_c`` [degC]."""

    def __init__(self, parts: PacketParts) -> None:
        self.parts = parts
        self.blade_c = parts.start_c
        self.foil_c = parts.start_c
        self._blade_kg_per_m2 = parts.density_kg_per_m3 * parts.thickness_mm / 1000.0 / parts.heated_faces
        self._foil_kg_per_m2 = parts.density_kg_per_m3 * parts.foil_mm / 1000.0
        self._area_m2 = parts.heated_faces * parts.length_m * parts.width_m

    def step(self, dt_s: float, around: Surroundings) -> float:
        """Move on by ``dt_s``; return the heat taken from the walls by radiation [W]."""
        p = self.parts
        outer_c = self.foil_c if p.foil else self.blade_c
        outer_k4 = (outer_c + ZERO_C_K) ** 4
        radiated = (p.outer_emissivity if p.foil else p.bare_emissivity) * SIGMA * (around.radiant_k4 - outer_k4)
        if p.foil:
            self._step_in_foil(dt_s, around, radiated)
        else:
            flux = radiated + convection_w_per_m2_k(around.gas_c - outer_c) * (around.gas_c - outer_c)
            self._warm_blade(dt_s * flux)
        return radiated * self._area_m2

    def _step_in_foil(self, dt_s: float, around: Surroundings, radiated: float) -> None:
        """Foil implicitly (its radiation linearised about the present state), then the blade with the new foil."""
        p = self.parts
        foil_k, blade_k = self.foil_c + ZERO_C_K, self.blade_c + ZERO_C_K
        outer_slope = 4.0 * p.outer_emissivity * SIGMA * foil_k**3
        convection = convection_w_per_m2_k(around.gas_c - self.foil_c)
        inner = p.inner_factor * SIGMA * (foil_k * foil_k + blade_k * blade_k) * (foil_k + blade_k)
        inner += properties.air_conductivity((foil_k + blade_k) / 2.0) / (p.gap_mm / 1000.0)
        store = self._foil_kg_per_m2 * properties.foil_cp(self.foil_c) / dt_s
        given = store * self.foil_c + radiated + outer_slope * self.foil_c + convection * around.gas_c
        self.foil_c = (given + inner * self.blade_c) / (store + outer_slope + convection + inner)
        self._warm_blade(dt_s * inner * (self.foil_c - self.blade_c))

    def _warm_blade(self, heat_j_per_m2: float) -> None:
        heat = properties.steel_cp_with_peak_at(self.blade_c, self.parts.transforms_at_c)
        self.blade_c += heat_j_per_m2 / (self._blade_kg_per_m2 * heat)

    def cool(self, dt_s: float, *, room_c: float, plates: bool) -> None:
        """Outside the furnace: in still air, or between plates (3 mm through 1050 to 200 degC in about a minute)."""
        if not plates:
            self.step(dt_s, Surroundings.even(room_c))
            return
        thin = 18.0 * self.parts.thickness_mm / 3.0
        self.blade_c += dt_s / thin * (room_c - self.blade_c)
        self.foil_c = self.blade_c
