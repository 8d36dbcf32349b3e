"""Several chambers in one march: each comes out as it does by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from soakwitness.analysis.packet.draws import bundle_of
from soakwitness.analysis.packet.estimate import (
    ChamberToFollow,
    estimate,
    estimate_each,
    estimate_row,
    estimate_row_each,
)
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
CHAMBERS = ((400, 1040.0, None), (250, 300.0, 200.0), (400, 1100.0, 1300.0))
RACK = Rack(3, 12.0)


def same(found: npt.NDArray[Any], alone: npt.NDArray[Any]) -> None:
    """Equal but for what a processor's wide and narrow arithmetic may differ by in single precision at 1000 degC."""
    np.testing.assert_allclose(found, alone, rtol=0.0, atol=0.001)


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
        same(found, march(each, bundle, unseen, start_c))


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
        same(found, march(each, bundle, unseen, start_c))


def test_a_row() -> None:
    packets = (packet(foil=True), packet(foil=False, mm=5.0), packet(foil=True, mm=2.0))
    steps = chambers(packets[2])
    bundle, unseen = row_bundle(Row(RACK, packets), 16)
    together = march_row(steps, bundle, unseen, STARTS_C)
    for each, start_c, found in zip(steps, STARTS_C, together, strict=True):
        same(found, march_row([each], bundle, unseen, [start_c])[0])


def test_estimates_over_several_chambers_say_what_each_says_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where not all of them march at once, and where the quickest packet is another in a hotter chamber."""
    t = np.arange(0.0, 4000.0, 10.0)
    read = [ChamberToFollow(t[:n], np.interp(t[:n], [0, 1500], [20, c]), load) for n, c, load in CHAMBERS]
    rows = [Row(RACK, (None, packet(foil=True), None)), Row(RACK, (None,) * 3)]
    rows.append(Row(RACK, (packet(foil=True, mm=1.0), packet(foil=False, mm=1.6), None)))
    for most in (1, 100, 10_000):
        monkeypatch.setattr("soakwitness.analysis.packet.estimate.MOST_AT_ONCE", most)
        for row in rows:
            found = list(estimate_row_each(read, row=row, draws=16))
            assert len(found) == len(read)
            for one, each in zip(read, found, strict=True):
                by_itself = estimate_row(one.t_s, one.chamber_c, row=row, load_t_s=one.load_t_s, draws=16)
                assert [x is None for x in each] == [packet is None for packet in row.slots]
                for mine, other in zip(each, by_itself, strict=True):
                    if mine is not None and other is not None:
                        same(mine.draws_c, other.draws_c)
                        same(mine.best_c, other.best_c)
                        assert (mine.load_t_s, mine.biot, mine.says) == (other.load_t_s, other.biot, other.says)


def test_unlike_packets_over_several_chambers_say_what_each_says_alone() -> None:
    """In foil and bare, in foils of two kinds, and with another number of draws where the run is long."""
    thick = replace(packet(foil=True), foil_mm=0.1)
    packets = (packet(foil=True), packet(foil=True, mm=5.0), thick, packet(foil=False))
    t = np.arange(0.0, 200_000.0, 30.0)
    long = ChamberToFollow(t, 900.0 + 20.0 * np.sin(t / 100.0), 600.0)
    short = np.arange(0.0, 4000.0, 10.0)
    read = [ChamberToFollow(short, np.interp(short, [0, 1500], [20, c]), None) for c in (1040.0, 800.0)]
    asked = [(one, chamber) for one in packets for chamber in read] + [(packets[0], long)]
    for (one, chamber), found in zip(asked, estimate_each(asked), strict=True):
        alone = estimate(chamber.t_s, chamber.chamber_c, packet=one, load_t_s=chamber.load_t_s)
        same(found.draws_c, alone.draws_c)
        assert found.packet == one
