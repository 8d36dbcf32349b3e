"""Random racks: every slot's lag by the model beside the radiosity solution written apart from it.

Run it: ``python -m tests.campaigns.racks [CASES] [SEED]``. Each case draws slots, spacing, thicknesses, empty places,
floor or shelf, foil or bare, a program, and one packet's true figures round the generic ones. It prints how often the
generic figures' bounds hold the true lag, and how far the best estimate is off once the figures are known.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from soakwitness.analysis.packet.estimate import estimate_row
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.packet.rack import Row
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.furnace.rack import Rack
from tests.packet_oracle import TruePacket
from tests.rack_oracle import solve_rack

T = np.arange(0.0, 9000.0, 10.0)
EDGE_C = 6.0


def case(seed: int) -> tuple[list[tuple[float, float]], list[bool]]:
    """Pairs of lag by the known figures and true lag [s], and whether the generic bounds hold it, of every slot."""
    rng = np.random.default_rng(seed)
    foil, hold_c = bool(rng.random() < 0.7), float(rng.uniform(800.0, 1080.0))
    places = [float(rng.choice([2.0, 2.5, 3.0, 4.0, 6.0])) if rng.random() < 0.85 else None for _ in range(7)]
    places[3] = places[3] or 3.0
    rack = Rack(7, float(rng.uniform(11.0, 25.0)), stands_on="floor" if rng.random() < 0.5 else "shelf")
    true = TruePacket(eps_o=(0.6 if foil else 0.8) * float(np.exp(rng.normal(0, 0.15))), foil=foil)
    true = replace(
        true,
        eps_o=min(true.eps_o, 0.95),
        f_i=0.19 * float(np.exp(rng.normal(0, 0.25))),
        gap_mm=float(np.exp(rng.normal(0, 0.3))),
    )
    ramp_s, begin_s = float(rng.choice([0.0, 1500.0, 3000.0])), 20.0

    def chamber(t: float) -> float:
        return hold_c if ramp_s == 0.0 else float(np.interp(t, [0.0, ramp_s], [begin_s, hold_c]))

    blades = solve_rack(
        [None if mm is None else replace(true, thickness_mm=mm) for mm in places],
        rack.spacing_mm,
        chamber,
        T,
        floor=rack.stands_on == "floor",
    )
    measured = np.array([chamber(t) for t in T])

    def packet(mm: float, *, known: bool) -> PacketModel:
        generic = generic_packet(PacketSpec(mm, foil), "1095")
        return replace(generic, eps_o=true.eps_o, f_i=true.f_i, gap_mm=true.gap_mm) if known else generic

    pairs, held = [], []
    rows = [Row(rack, tuple(None if mm is None else packet(mm, known=k) for mm in places)) for k in (True, False)]
    known, generic = (estimate_row(T, measured, row=row, load_t_s=0.0) for row in rows)
    there = [n for n, mm in enumerate(places) if mm is not None]
    for slot, blade in zip(there, blades, strict=True):
        one, other = known[slot], generic[slot]
        assert one is not None
        assert other is not None
        reached = float(np.interp(hold_c - EDGE_C, blade[np.argmax(blade > 50.0) :], T[np.argmax(blade > 50.0) :]))
        since = max(ramp_s * (1.0 - EDGE_C / (hold_c - begin_s)), 0.0)
        best, bounds = one.lag_s(hold_c - EDGE_C, since).best_s, other.lag_s(hold_c - EDGE_C, since)
        pairs.append((np.inf if best is None else best, reached - since))
        low, high = bounds.low_s, bounds.high_s
        held.append((0.0 if low is None else low) - 10.0 <= pairs[-1][1] <= (np.inf if high is None else high) + 10.0)
    return pairs, held


def main() -> None:
    """Print the ratios of all cases together."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    pairs, held = [], []
    for seed in range(first, first + count):
        mine, bounds = case(seed)
        worst = max(abs(best - true) / max(true, 60.0) for best, true in mine)
        if worst > 0.15 or not all(bounds):
            print(
                f"seed {seed}: {worst * 100:.0f} % off with known figures; bounds hold {sum(bounds)} of {len(bounds)}"
            )
        pairs += mine
        held += bounds
    off = np.array([abs(best - true) / max(true, 60.0) for best, true in pairs])
    print(f"{len(pairs)} slots of {count} racks: bounds of generic figures hold {100 * np.mean(held):.1f} %")
    print(f"with known figures {100 * np.mean(off <= 0.15):.1f} % within 15 %, median {100 * np.median(off):.1f} % off")


if __name__ == "__main__":
    main()
