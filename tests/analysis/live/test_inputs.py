"""What another process gathers for the soak clock comes over whole, and corrects as numpy interpolates."""

from __future__ import annotations

import json

import numpy as np
import pytest

from soakwitness.analysis.live.clock_inputs import ClockInputs, clock_inputs_from
from soakwitness.analysis.live.packet import latest_packet
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec

TABLE = ((0.0, 0.0), (700.0, 10.0), (1100.0, 12.0))


def packet(thickness_mm: float, **more: object):  # type: ignore[no-untyped-def]
    return generic_packet(PacketSpec(thickness_mm, **more), "S44004")  # type: ignore[arg-type]


@pytest.mark.parametrize("temp_c", [-20.0, 0.0, 350.0, 700.0, 701.0, 1000.0, 1300.0])
def test_a_reading_is_corrected_as_numpy_interpolates(temp_c: float) -> None:
    readings, differences = zip(*TABLE, strict=True)
    known = ClockInputs({"control": TABLE})
    assert known.corrected("control", temp_c) == pytest.approx(temp_c + np.interp(temp_c, readings, differences))
    assert known.corrected("load", temp_c) == temp_c


def test_it_comes_over_as_it_was() -> None:
    known = ClockInputs({"control": TABLE}, {"B-1": packet(10.0), "B-2": packet(2.0, foil=False)}, packet(3.0))
    assert clock_inputs_from(json.loads(json.dumps(known.as_plain()))) == known
    assert clock_inputs_from(json.loads(json.dumps(ClockInputs().as_plain()))) == ClockInputs()


@pytest.mark.parametrize(
    "said", [None, [], {}, {"tables": {"a": 3}, "packets": {}, "packet": None}, {"tables": {}, "packets": {"a": {}}}]
)
def test_an_answer_that_is_none_is_told(said: object) -> None:
    assert clock_inputs_from(said) is None


def test_the_packet_that_lags_most_has_most_steel_behind_most_resistance() -> None:
    """Steel behind each face times the resistance to it; a foil is one more in series."""
    thin, thick, two, bare = packet(3.0), packet(10.0), packet(3.0, blades=2), packet(3.0, foil=False)
    assert latest_packet([thin, thick, two]) is thick
    assert latest_packet([thin, two]) is two
    assert latest_packet([bare, thin]) is thin
    assert latest_packet([]) is None
