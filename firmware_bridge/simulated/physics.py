"""A small hardening furnace with what lies in it, in steps of about a second.

Heat goes from the element by radiation to the liner of the hot face, from there through eight layers of brick to the
room. The gas has no heat capacity to speak of and takes the temperature its surroundings give it (quasi-steady). The
control thermocouple sees liner, element and, while it is open, the door; it lags, more so when cold, because its
radiation falls with the third power of temperature.

Chamber, brick, liner, element and sensor are those of an independent study. What it left open (area between the brick
layers, shell, leaks, views through the door) was fitted to its figures, which the tests reproduce within 10 %. This is
a furnace to try the log book on, not a design tool.
"""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.firmware_bridge.simulated.heated_packet import SIGMA, ZERO_C_K, Packet, Surroundings


@dataclass(frozen=True)
class FurnaceParts:
    """What the furnace is made of. Lengths [m], areas [m2], masses [kg], the rest as named."""

    width_m: float = 0.16
    height_m: float = 0.12
    depth_m: float = 0.40
    brick_m: float = 0.07
    brick_m2: float = 0.405  # between the chamber's 0.26 and the shell's 0.76
    brick_density_kg_per_m3: float = 500.0
    brick_heat_j_per_kg_k: float = 1000.0
    brick_conductivity_w_per_m_k: float = 0.11
    brick_conductivity_per_k: float = 1.0e-4
    layers: int = 8
    liner_j_per_k: float = 2400.0
    shell_w_per_m2_k: float = 12.0  # shell to room, convection and radiation together
    mains_v: float = 230.0
    element_ohm: float = 19.6
    element_kg: float = 0.35
    element_heat_j_per_kg_k: float = 650.0
    element_m2: float = 0.08
    element_emissivity: float = 0.7
    element_convection_w_per_m2_k: float = 10.0
    wall_convection_w_per_m2_k: float = 8.0
    leak_w_per_k: float = 0.03  # gas through the closed door's gap
    bridge_w_per_k: float = 0.11  # door frame and terminals, from the liner to the room
    sensor_lag_s: float = 25.0  # at 1000 degC
    sensor_emissivity: float = 0.8
    sensor_convection_w_per_m2_k: float = 25.0
    sensor_sees_element: float = 0.12
    door_view: float = 0.32  # share of the opening that a held-ajar door lets shine out
    door_gas_w_per_k: float = 3.0
    sensor_sees_door: float = 0.185
    packet_sees_element: float = 0.04


class Chamber:
    """Temperatures [degC] of the furnace and of everything in it; ``step`` moves them on."""

    def __init__(self, parts: FurnaceParts, *, start_c: float = 20.0, room_c: float = 20.0) -> None:
        self.parts = parts
        self.room_c = room_c
        self.element_c = start_c
        self.liner_c = start_c
        self.gas_c = start_c
        self.sensor_c = start_c
        self.brick_c = [start_c] * parts.layers
        self.packets: list[Packet] = []
        self.power_w = 0.0
        self._set_geometry()

    def _set_geometry(self) -> None:
        p = self.parts
        w, h, d = p.width_m, p.height_m, p.depth_m
        self._inner_m2 = 2.0 * (w * h + w * d + h * d)
        self._layer_m = p.brick_m / p.layers
        heat = p.brick_density_kg_per_m3 * p.brick_heat_j_per_kg_k
        self._layer_j_per_k = heat * self._layer_m * p.brick_m2
        sensor_k = 1000.0 + ZERO_C_K
        self._sensor_j_per_m2_k = p.sensor_lag_s * (
            p.sensor_convection_w_per_m2_k + 4.0 * p.sensor_emissivity * SIGMA * sensor_k**3
        )

    def step(self, dt_s: float, output: float, *, volts: float | None = None, door: float = 0.0) -> None:
        """Move on by ``dt_s`` with ``output`` 0 to 1; ``door`` 0 is shut, 1 wide open; ``volts`` None: nominal."""
        p = self.parts
        u = p.mains_v if volts is None else volts
        self.power_w = output * u * u / p.element_ohm
        element_k4 = (self.element_c + ZERO_C_K) ** 4
        liner_k4 = (self.liner_c + ZERO_C_K) ** 4
        self._set_gas(door)
        around = self._seen_by_packets(element_k4, liner_k4)
        taken_w = sum(packet.step(dt_s, around) for packet in self.packets)
        self._step_sensor(dt_s, element_k4, liner_k4, door)
        into_brick_w = self._into_brick_w()
        self._step_element_and_liner(dt_s, element_k4, liner_k4, taken_w + into_brick_w, door)
        self._step_brick(dt_s, into_brick_w)

    def _set_gas(self, door: float) -> None:
        p = self.parts
        element = p.element_convection_w_per_m2_k * p.element_m2
        wall = p.wall_convection_w_per_m2_k * self._inner_m2
        out = p.leak_w_per_k + door * p.door_gas_w_per_k
        self.gas_c = (element * self.element_c + wall * self.liner_c + out * self.room_c) / (element + wall + out)

    def _seen_by_packets(self, element_k4: float, liner_k4: float) -> Surroundings:
        share = self.parts.packet_sees_element
        return Surroundings(radiant_k4=share * element_k4 + (1.0 - share) * liner_k4, gas_c=self.gas_c)

    def _step_sensor(self, dt_s: float, element_k4: float, liner_k4: float, door: float) -> None:
        p = self.parts
        open_share = door * p.sensor_sees_door
        hot_k4 = p.sensor_sees_element * element_k4 + (1.0 - p.sensor_sees_element) * liner_k4
        seen_k4 = (1.0 - open_share) * hot_k4 + open_share * (self.room_c + ZERO_C_K) ** 4
        flux = p.sensor_convection_w_per_m2_k * (self.gas_c - self.sensor_c)
        flux += p.sensor_emissivity * SIGMA * (seen_k4 - (self.sensor_c + ZERO_C_K) ** 4)
        self.sensor_c += dt_s * flux / self._sensor_j_per_m2_k

    def _step_element_and_liner(
        self, dt_s: float, element_k4: float, liner_k4: float, taken_w: float, door: float
    ) -> None:
        p = self.parts
        radiated_w = p.element_emissivity * p.element_m2 * SIGMA * (element_k4 - liner_k4)
        element_gas_w = p.element_convection_w_per_m2_k * p.element_m2 * (self.element_c - self.gas_c)
        gas_liner_w = p.wall_convection_w_per_m2_k * self._inner_m2 * (self.gas_c - self.liner_c)
        opening_m2 = door * p.width_m * p.height_m
        door_w = p.door_view * SIGMA * opening_m2 * (liner_k4 - (self.room_c + ZERO_C_K) ** 4)
        away_w = taken_w + p.bridge_w_per_k * (self.liner_c - self.room_c)
        self.element_c += (
            dt_s * (self.power_w - radiated_w - element_gas_w) / (p.element_kg * p.element_heat_j_per_kg_k)
        )
        self.liner_c += dt_s * (radiated_w + gas_liner_w - door_w - away_w) / p.liner_j_per_k

    def _into_brick_w(self) -> float:
        p = self.parts
        k = p.brick_conductivity_w_per_m_k + p.brick_conductivity_per_k * self.brick_c[0]
        return k * p.brick_m2 / (self._layer_m / 2.0) * (self.liner_c - self.brick_c[0])

    def _step_brick(self, dt_s: float, flow_w: float) -> None:
        p, brick = self.parts, self.brick_c
        across = p.brick_m2 / self._layer_m
        base = p.brick_conductivity_w_per_m_k * across
        slope = p.brick_conductivity_per_k * across / 2.0
        move = dt_s / self._layer_j_per_k
        here = brick[0]
        for i in range(1, p.layers):
            there = brick[i]
            on_w = (base + slope * (here + there)) * (here - there)
            brick[i - 1] = here + move * (flow_w - on_w)
            flow_w, here = on_w, there
        half = 0.5 / (base + 2.0 * slope * here)
        out_w = (here - self.room_c) / (half + 1.0 / (p.shell_w_per_m2_k * p.brick_m2))
        brick[-1] = here + move * (flow_w - out_w)
