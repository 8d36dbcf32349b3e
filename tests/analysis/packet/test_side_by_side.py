"""Several chambers in one march: each comes out as it does by itself, to the last bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.packet.draws import bundle_of
from soakwitness.analysis.packet.grid import Steps, bridge, lay_steps
from soakwitness.analysis.packet.marching import march, march_each
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.packet.rack import Row
from soakwitness.analysis.packet.row_bundle import row_bundle
from soakwitness.analysis.packet.row_stepping import march_row
from soakwitness.analysis.packet.stepping import Bundle
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.furnace.rack import Rack

STARTS_C = (20.0, 23.0, 400.0)


def packet(*, foil: bool, mm: float = 3.0) -> PacketModel:
    """With a sensor that lags, so that every draw has a chamber of its own."""
    return replace(generic_packet(PacketSpec(mm, foil=foil)), sensor_lag_s=20.0, sensor_lag_spread_s=12.0)


def chambers(of: PacketModel) -> list[Steps]:
    """Three unlike ones, of unlike length and unlike steps: they move and stand still at other times, one has a gap."""
    t = np.arange(0.0, 5000.0, 10.0)
    ramp = np.interp(t, [0, 1500, 5000], [20, 1000, 1000])
    swings = 900.0 + 40.0 * np.sin(t[:300] / 200.0)
    late = np.where((t > 2000) & (t < 2400), np.nan, np.interp(t, [0, 2500, 4000, 5000], [20, 780, 1040, 1040]))
    each = ((t, ramp), (t[:300], swings), (t, late))
    return [lay_steps(bridge(*one), of, 0.0, start) for one, start in zip(each, STARTS_C, strict=True)]


@pytest.mark.parametrize("foil", [True, False])
def test_lone_packets(foil: bool) -> None:
    one = packet(foil=foil)
    steps = chambers(one)
    bundle, unseen = bundle_of(one, 16)
    together = march_each(steps, bundle, unseen, STARTS_C)
    for each, start_c, found in zip(steps, STARTS_C, together, strict=True):
        np.testing.assert_array_equal(found, march(each, bundle, unseen, start_c))


@pytest.mark.parametrize("foil", [True, False])
def test_lone_packets_with_figures_for_each_chamber(foil: bool) -> None:
    steps = chambers(packet(foil=foil))
    bundles = [bundle_of(packet(foil=foil, mm=mm), 16)[0] for mm in (2.0, 3.0, 5.0)]
    unseen = bundle_of(packet(foil=foil), 16)[1]
    names = [name for name, value in vars(bundles[0]).items() if isinstance(value, np.ndarray)]
    stacked = {name: np.stack([getattr(bundle, name) for bundle in bundles]) for name in names}
    both = Bundle(foil_kg_m2=bundles[0].foil_kg_m2, **stacked)
    together = march_each(steps, both, unseen, STARTS_C)
    for each, bundle, start_c, found in zip(steps, bundles, STARTS_C, together, strict=True):
        np.testing.assert_array_equal(found, march(each, bundle, unseen, start_c))


def test_a_row() -> None:
    packets = (packet(foil=True), packet(foil=False, mm=5.0), packet(foil=True, mm=2.0))
    steps = chambers(packets[2])
    bundle, unseen = row_bundle(Row(Rack(3, 12.0), packets), 16)
    together = march_row(steps, bundle, unseen, STARTS_C)
    for each, start_c, found in zip(steps, STARTS_C, together, strict=True):
        np.testing.assert_array_equal(found, march_row([each], bundle, unseen, [start_c])[0])
