"""What another process gathers for the soak clock comes over whole."""

from __future__ import annotations

import json

import pytest

from soakwitness.analysis.live.clock_inputs import Calibrated, ClockInputs, clock_inputs_from
from soakwitness.analysis.live.packet import latest_packet
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.verification.results.verification import PieceInfo


def packet(thickness_mm: float, **more: object):  # type: ignore[no-untyped-def]
    return generic_packet(PacketSpec(thickness_mm, **more), "S44004")  # type: ignore[arg-type]


def test_it_comes_over_as_it_was() -> None:
    known = ClockInputs(
        {"control": Calibrated((-6.3, 0.0), 8.2)},
        (PieceInfo("B-1", thickness_mm=10.0, charge="1", treated=("cold",)), PieceInfo("B-2")),
        {"B-1": packet(10.0), "B-2": packet(2.0, foil=False)},
        packet(3.0),
    )
    assert clock_inputs_from(json.loads(json.dumps(known.as_plain()))) == known
    assert clock_inputs_from(json.loads(json.dumps(ClockInputs().as_plain()))) == ClockInputs()
    assert known.of("load") == Calibrated()


@pytest.mark.parametrize(
    "said",
    [
        None,
        [],
        {},
        {"sensors": {"a": 3}, "pieces": [], "packets": {}, "packet": None},
        {"sensors": {}, "pieces": [{"id": "A"}], "packets": {}, "packet": None},
        {"sensors": {}, "pieces": [], "packets": {"a": {}}},
    ],
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
