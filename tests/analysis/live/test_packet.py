"""The live packet step against the model that works on whole arrays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.live.packet import LivePacket, slow_packet
from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec

RECIPE = ([0, 1900, 2500, 4840, 6700, 9000], [20, 780, 780, 1040, 1040, 500])


def trace(name: str, every_s: float) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(0.0, 8000.0, every_s)
    if name == "recipe":
        return t, np.interp(t, *RECIPE)
    if name == "loaded hot":
        return t, np.full(t.size, 1065.0)
    dip = np.where(t > 3000, 200 * np.minimum((t - 3000) / 15, 1) * np.exp(-np.maximum(t - 3015, 0) / 60), 0.0)
    return t, 1065.0 - dip


def followed(packet: PacketModel, t: np.ndarray, c: np.ndarray) -> np.ndarray:
    live = LivePacket(packet)
    return np.array([live.advance(float(a), float(b)) for a, b in zip(t, c, strict=True)])


@pytest.mark.parametrize("every_s", [1.0, 5.0, 30.0])
@pytest.mark.parametrize("name", ["recipe", "loaded hot", "door"])
@pytest.mark.parametrize(("thickness_mm", "foil"), [(1.5, True), (6.0, True), (3.0, False)])
def test_within_half_a_degree_of_the_model(name: str, every_s: float, thickness_mm: float, foil: bool) -> None:
    packet = generic_packet(PacketSpec(thickness_mm=thickness_mm, foil=foil))
    t, c = trace(name, every_s)
    found = estimate(t, c, packet=packet, load_t_s=0.0, draws=2)
    fine = np.interp(t, found.draw_t_s, found.best_draw_c)
    # The model's own grid is up to 20 s wide: compare where both have a point.
    both = np.isin(np.round(t, 6), np.round(found.draw_t_s, 6))
    assert both.sum() > 50
    assert np.abs(followed(packet, t, c) - fine)[both].max() < 0.5


def test_peak_shift_and_factor_are_followed_too() -> None:
    packet = replace(generic_packet(PacketSpec(), "S44004"), peak_factor=1.4)
    t, c = trace("recipe", 1.0)
    found = estimate(t, c, packet=packet, draws=2)
    both = np.isin(t, found.draw_t_s)
    fine = np.interp(t, found.draw_t_s, found.best_draw_c)
    assert np.abs(followed(packet, t, c) - fine)[both].max() < 0.5


def test_a_gap_is_walked_in_one_go() -> None:
    packet = generic_packet(PacketSpec())
    live, gapped = LivePacket(packet), LivePacket(packet)
    for t in range(0, 1201):
        live.advance(float(t), 20.0 + 0.5 * t)
        if t < 300 or t > 900:
            gapped.advance(float(t), 20.0 + 0.5 * t)
    assert gapped.work_c == pytest.approx(live.work_c, abs=0.1)


def test_an_older_reading_changes_nothing() -> None:
    live = LivePacket(generic_packet(PacketSpec()))
    live.advance(0.0, 900.0)
    before = live.advance(60.0, 900.0)
    assert live.advance(30.0, 20.0) == before


@pytest.mark.parametrize("foil", [True, False])
def test_look_ahead_is_what_then_happens(foil: bool) -> None:
    packet = generic_packet(PacketSpec(foil=foil))
    live = LivePacket(packet)
    live.advance(0.0, 1050.0)
    live.advance(60.0, 1050.0)
    ahead = live.reaches_in_s(1044.0, 1050.0)
    assert ahead is not None
    now = 60.0
    while live.work_c < 1044.0:
        now += 1.0
        live.advance(now, 1050.0)
    assert now - 60.0 == pytest.approx(ahead, rel=0.03, abs=2.0)
    assert live.reaches_in_s(1044.0, 1050.0) == 0.0
    assert live.reaches_in_s(1060.0, 1050.0) is None


@pytest.mark.parametrize("fitted", [True, False])
@pytest.mark.parametrize(("thickness_mm", "foil"), [(2.0, True), (5.0, True), (3.0, False)])
def test_the_slow_packet_lags_as_the_slow_end_of_the_draws(thickness_mm: float, foil: bool, fitted: bool) -> None:
    packet = generic_packet(PacketSpec(thickness_mm=thickness_mm, foil=foil))
    if fitted:
        packet = replace(
            packet, fitted=True, slow_side=1.0, spread=(0.1, 0.1, 0.2, 0.1), scatter=(0.15, 0.15, 0.3, 0.0)
        )
    t, c = trace("loaded hot", 1.0)
    draws = estimate(t, c, packet=packet, load_t_s=0.0).lag_s(1059.0, 0.0)
    slow = estimate(t, c, packet=slow_packet(packet), load_t_s=0.0, draws=2).lag_s(1059.0, 0.0)
    assert draws.high_s is not None
    assert slow.best_s == pytest.approx(draws.high_s, rel=0.15)
