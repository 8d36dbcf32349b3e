"""Packets in a rack as ordinary differential equations with radiosities, solved tightly: written apart from the model.

View factors by Stokes' contour integral (Sparrow 1963; Howell, Menguc, Siegel, Thermal Radiation Heat Transfer), not by
closed forms; radiosities by solving the whole enclosure of each gap; the two sides of a foil each by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

from tests.packet_oracle import KELVIN, SIGMA, TruePacket, convection, scaled_heat

FloatArray = npt.NDArray[np.float64]
Corners = tuple[tuple[float, float, float], ...]


def contour_view_factor(one: Corners, other: Corners, points: int = 60) -> float:
    """View factor from one polygon to another that face each other, by a double line integral of ln(distance)."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    at, weights = (nodes + 1.0) / 2.0, weights / 2.0
    total = 0.0
    for a, b in _edges(one):
        first = a + at[:, None] * (b - a)
        for c, d in _edges(other):
            along = float((b - a) @ (d - c))
            if along and {tuple(a), tuple(b)} == {tuple(c), tuple(d)}:  # a common edge: the integral in closed form
                total += np.sign(along) * abs(along) * (0.5 * np.log(abs(along)) - 1.5)
            elif along:
                second = c + at[:, None] * (d - c)
                apart = np.linalg.norm(first[:, None] - second[None], axis=2)
                total += along * float(weights @ np.log(np.maximum(apart, 1e-12)) @ weights)
    corners = np.array(one)
    area = float(np.linalg.norm(np.cross(corners[1] - corners[0], corners[3] - corners[0])))
    return abs(total) / (2.0 * np.pi * area)


def _edges(polygon: Corners) -> list[tuple[FloatArray, FloatArray]]:
    corners = [np.array(corner) for corner in polygon]
    return list(zip(corners, corners[1:] + corners[:1], strict=True))


def upright(length: float, height: float, at: float) -> Corners:
    return ((0.0, at, 0.0), (length, at, 0.0), (length, at, height), (0.0, at, height))


def ground(length: float, start: float, end: float) -> Corners:
    return ((0.0, start, 0.0), (0.0, end, 0.0), (length, end, 0.0), (length, start, 0.0))


@lru_cache(maxsize=64)
def gap_transfer(
    length: float, height: float, other_height: float, gap: float, eps: float, other_eps: float, floor: bool
) -> FloatArray:
    """Matrix M: heat into the two faces [W/m2] = sigma M (T1^4, T2^4, Tc^4), the radiosities solved as one system."""
    one, other = upright(length, height, 0.0), upright(length, other_height, gap)
    areas = [height * length, other_height * length, gap * length]
    f = np.zeros((4, 4))  # two faces, floor, chamber
    f[0, 1] = contour_view_factor(one, other)
    f[1, 0] = f[0, 1] * areas[0] / areas[1]
    if floor:
        flat = ground(length, 0.0, gap)
        for face, polygon in enumerate((one, other)):
            f[face, 2] = contour_view_factor(polygon, flat, 400)
            f[2, face] = f[face, 2] * areas[face] / areas[2]
    f[:3, 3] = 1.0 - f[:3, :3].sum(axis=1)
    emitted = np.diag([eps, other_eps, 0.0, 1.0])
    back = np.diag([1.0 - eps, 1.0 - other_eps, 1.0, 0.0])
    radiosity = np.linalg.solve(np.eye(4) - back @ f, emitted)
    arriving = f @ radiosity
    heat = np.diag([eps, other_eps]) @ (arriving[:2] - np.eye(4)[:2])
    answer: FloatArray = heat[:, [0, 1, 3]]
    return answer


def solve_rack(
    packets: Sequence[TruePacket | None],
    spacing_mm: float,
    chamber: Callable[[float], float],
    at_s: FloatArray,
    *,
    start_c: float = 20.0,
    floor: bool = True,
    length_mm: float = 250.0,
    heights_mm: Sequence[float] | None = None,
) -> FloatArray:
    """Blades [degC], shape (packets there, times): left side, right side and blade of each are nodes of their own."""
    slots = [n for n, packet in enumerate(packets) if packet is not None]
    there = [packet for packet in packets if packet is not None]
    heights = [40.0 if heights_mm is None else heights_mm[n] for n in slots]
    gaps = []
    for (n, a), (m, b) in zip(zip(slots, there, strict=True), list(zip(slots, there, strict=True))[1:], strict=False):
        thick = sum((p.thickness_mm + (2 * (p.foil_mm + p.gap_mm) if p.foil else 0.0)) / 2 for p in (a, b))
        gaps.append(spacing_mm * (m - n) - thick)
    transfers = [
        gap_transfer(length_mm, heights[i], heights[i + 1], gap, there[i].eps_o, there[i + 1].eps_o, floor)
        for i, gap in enumerate(gaps)
    ]
    count = len(there)

    def rates(t: float, state: FloatArray) -> FloatArray:
        gas = chamber(t)
        hot = (gas + KELVIN) ** 4
        left, right, blade = state.reshape(3, count)
        sides = np.array([left, right]) if there[0].foil else np.array([blade, blade])
        into = np.zeros((2, count))
        for i, packet in enumerate(there):
            for side in (0, 1):
                wall = sides[side, i]
                into[side, i] = packet.convection * convection(gas, wall, 0.04) * (gas - wall)
        free = lambda i, side: there[i].eps_o * SIGMA * (hot - (sides[side, i] + KELVIN) ** 4)  # noqa: E731
        into[0, 0] += free(0, 0)
        into[1, count - 1] += free(count - 1, 1)
        for i, matrix in enumerate(transfers):
            fourth = np.array([(sides[1, i] + KELVIN) ** 4, (sides[0, i + 1] + KELVIN) ** 4, hot])
            into[1, i] += SIGMA * matrix[0] @ fourth
            into[0, i + 1] += SIGMA * matrix[1] @ fourth
        change = np.zeros((3, count))
        for i, packet in enumerate(there):
            mass = 7850 * packet.thickness_mm / 1000 * scaled_heat(blade[i], packet.peak_factor)
            if not packet.foil:
                change[:, i] = into[:, i].sum() / mass
                continue
            for side, wall in ((0, left[i]), (1, right[i])):
                film = (wall + blade[i]) / 2 + KELVIN
                air = 2.64638e-3 * film**1.5 / (film + 245.4 * 10 ** (-12 / film))
                inner = packet.f_i * SIGMA * ((wall + KELVIN) ** 4 - (blade[i] + KELVIN) ** 4)
                inner += air / (packet.gap_mm / 1000) * (wall - blade[i])
                heat = 450 + 0.280 * wall - 2.91e-4 * wall**2 + 1.34e-7 * wall**3
                change[side, i] = (into[side, i] - inner) / (7850 * packet.foil_mm / 1000 * heat)
                change[2, i] += inner / mass
        return change.ravel()

    answer = solve_ivp(
        rates,
        (0, at_s[-1]),
        np.full(3 * count, start_c),
        method="LSODA",
        t_eval=at_s,
        rtol=1e-6,
        atol=1e-4,
        max_step=20,
    )
    assert answer.success
    blades: FloatArray = answer.y[2 * count :]
    return blades


def strips_to_chamber(height: float, gap: float, eps: float, strips: int) -> float:
    """Radiation factor of a face towards the chamber where both faces are equally warm, without end: strip by strip.

    The radiosity may differ along the height; view factors of strips by Hottel's crossed strings. Open above and below.
    """
    edges = np.linspace(0.0, height, strips + 1)
    low, high = edges[:-1], edges[1:]
    string = np.hypot(edges[:, None] - edges[None, :], gap)
    crossed = string[:-1, 1:] + string[1:, :-1]
    straight = string[:-1, :-1] + string[1:, 1:]
    f = (crossed - straight) / (2.0 * (high - low))[:, None]
    radiosity = np.linalg.solve(np.eye(strips) - (1.0 - eps) * f, np.full(strips, eps))  # of one unit of own emission
    return float(np.mean(eps * (1.0 - f @ radiosity)))  # what of it leaves: none comes back from the dark chamber
