"""What a packet is, as frozen data, and the generic figures used until one was measured. Standard library only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.common.steel_groups import SteelGroup, steel_group

ROOM_C, WARM_C = 20.0, 60.0
PARAMETERS = ("eps_o", "f_i", "gap_mm", "peak_factor")
FIGURE_WORDS = {
    "eps_o": "emissivity outside",
    "f_i": "radiation factor from foil to blade",
    "gap_mm": "gas gap between them",
    "peak_factor": "transformation peak",
}
LIMITS = {"eps_o": (0.02, 0.98), "f_i": (0.005, 0.9), "gap_mm": (0.02, 10.0), "peak_factor": (0.05, 4.0)}
PEAK_LIMITS_C = (600.0, 950.0)
LAG_LIMITS = (-60.0, 300.0)  # of ``sensor_lag_s``: below nought where the elements shine on the packet more
NO_CORRELATION = tuple(tuple(1.0 if i == j else 0.0 for j in range(4)) for i in range(4))

# Engineering guesses, no source: a figure and its standard deviation as a logarithm (0.3 is about 30 %).
GENERIC_FOIL = {"eps_o": (0.60, 0.20), "f_i": (0.19, 0.25), "gap_mm": (1.0, 0.35), "peak_factor": (1.0, 0.25)}
GENERIC_BARE = {"eps_o": (0.80, 0.20), "f_i": (0.19, 0.0), "gap_mm": (1.0, 0.0), "peak_factor": (1.0, 0.25)}
# Middle of the transformation peak on heating [degC] and its standard deviation [K]. Carbon: EN 1993-1-2, 3.4.1.2.
# The other groups: common practice, no source.
PEAK_C: dict[SteelGroup, tuple[float, float]] = {
    "carbon": (735.0, 10.0),
    "tool": (785.0, 20.0),
    "stainless": (800.0, 30.0),
    "unknown": (735.0, 30.0),
}


@dataclass(frozen=True)
class PacketModel:
    """A piece in its packet (or bare) and how sure its figures are.

    ``thickness_mm`` is the blade's, ``foil_mm`` the foil's [mm]; ``eps_o`` the emissivity of the outer surface,
    ``f_i`` the radiation factor between foil and blade, ``gap_mm`` the mean gas gap between them [mm],
    ``peak_factor`` scales the transformation peak of EN 1993-1-2, ``peak_c`` its place [degC].
    ``spread`` and ``scatter`` are standard deviations of the logarithms of ``PARAMETERS``: of the figures, and from
    run to run. ``slow_side`` stretches the slow half of the draws (1.5 unless fitted). ``sensor_lag_s`` is how long the
    chamber's sensor takes to show what the packet feels [s], with its standard deviation and how it goes
    together with each of ``PARAMETERS``: a slow packet beside a slow sensor looks like a quick one beside a quick one.
    """

    thickness_mm: float
    foil: bool = True
    foil_mm: float = 0.05
    heated_faces: int = 2
    blades: int = 1
    eps_o: float = 0.60
    f_i: float = 0.19
    gap_mm: float = 1.0
    peak_factor: float = 1.0
    spread: tuple[float, ...] = (0.20, 0.25, 0.35, 0.25)
    correlation: tuple[tuple[float, ...], ...] = NO_CORRELATION
    scatter: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    peak_c: float = 735.0
    peak_spread_c: float = 30.0
    steel_group: SteelGroup = "unknown"
    fitted: bool = False
    slow_side: float = 1.5
    sensor_offset_c: float = 0.0
    sensor_lag_s: float = 0.0
    sensor_lag_spread_s: float = 0.0
    sensor_lag_with: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    fitted_from: str = ""
    fitted_thickness_mm: float | None = None
    source: str = ""

    @property
    def steel_mm(self) -> float:
        """Steel behind each heated face [mm]."""
        return self.thickness_mm * self.blades / self.heated_faces


def begins_c(first_c: float, *, rides: bool) -> float:
    """Temperature of a blade when its estimate begins [degC]: the room's, unless it rides a ramp from cold on.

    ``rides``: whether it is in from the beginning, without a load mark. Returns temperature [degC]. A record that
    begins hot says nothing of the blade: it is taken to be cold.
    """
    return first_c if rides and first_c < WARM_C else ROOM_C


def generic_packet(spec: PacketSpec, steel: str | None = None) -> PacketModel:
    """Packet with generic figures, for a piece of which nothing was measured.

    ``spec``: thickness [mm], foil, heated faces and blades per packet. ``steel``: open designation; tells where the
    transformation peak is expected. Returns not fitted, so it can never cause a fail.
    """
    generic = GENERIC_FOIL if spec.foil else GENERIC_BARE
    figures: dict[str, Any] = {name: generic[name][0] for name in PARAMETERS}
    group = steel_group(steel)
    peak_c, peak_spread_c = PEAK_C[group]
    return PacketModel(
        thickness_mm=spec.thickness_mm,
        foil=spec.foil,
        foil_mm=spec.foil_mm,
        heated_faces=spec.heated_faces,
        blades=spec.blades,
        spread=tuple(generic[name][1] for name in PARAMETERS),
        peak_c=peak_c,
        peak_spread_c=peak_spread_c,
        steel_group=group,
        source="generic figures",
        **figures,
    )


def for_piece(packet: PacketModel, spec: PacketSpec, steel: str | None = None) -> PacketModel:
    """Turn a packet's figures to another piece: its thickness, foil, heated faces and blades.

    ``spec``: the piece: thickness [mm], foil thickness [mm], heated faces, blades per packet. Returns figures of
    ``packet`` with the measures of ``spec``; generic ones where one has foil and the other has not, because the outer
    surface is then another.
    """
    if packet.foil != spec.foil:
        return generic_packet(spec, steel)
    return replace(
        packet,
        thickness_mm=spec.thickness_mm,
        foil_mm=spec.foil_mm,
        heated_faces=spec.heated_faces,
        blades=spec.blades,
    )


def spec_of(
    usual: PacketSpec | None,
    thickness_mm: float | None,
    *,
    foil: bool | None = None,
    heated_faces: int | None = None,
    blades: int | None = None,
) -> PacketSpec | None:
    """Say what one piece is: its own figures over the recipe's.

    ``usual``: the recipe's ``[packet]``: what a piece is when nothing else is known of it. ``thickness_mm``: of this
    piece [mm]; None: not known, so that it is what is usual. ``foil``, ``heated_faces``, ``blades``: of this piece, as
    far as they are known. Returns none where nothing is known: then there is nothing to estimate.
    """
    if thickness_mm is None:
        return usual
    base = usual or PacketSpec()
    return replace(
        base,
        thickness_mm=thickness_mm,
        foil=base.foil if foil is None else foil,
        heated_faces=base.heated_faces if heated_faces is None else heated_faces,
        blades=base.blades if blades is None else blades,
    )


def spec_of_packet(packet: PacketModel) -> PacketSpec:
    """What the piece is that a packet's figures stand for."""
    return PacketSpec(packet.thickness_mm, packet.foil, packet.heated_faces, packet.blades, packet.foil_mm)


def packet_of(measured: PacketModel | None, spec: PacketSpec | None, steel: str | None = None) -> PacketModel | None:
    """Packet of one piece: the measured one turned to it, else one with generic figures.

    ``spec``: what the piece is; None: nothing is known of it, and a measured packet counts as it is.
    """
    if measured is None:
        return None if spec is None else generic_packet(spec, steel)
    return measured if spec is None else for_piece(measured, spec, steel)


def packet_to_dict(packet: PacketModel) -> dict[str, Any]:
    """Packet as plain data, to be handed to another process."""
    return asdict(packet)


def packet_from_dict(data: Mapping[str, Any]) -> PacketModel:
    """Packet from plain data that ``packet_to_dict`` made and JSON may have carried."""
    lists = {name: tuple(data[name]) for name in ("spread", "scatter", "sensor_lag_with") if name in data}
    return PacketModel(**{**data, **lists, "correlation": tuple(tuple(row) for row in data["correlation"])})
