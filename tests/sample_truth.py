"""What the blades of the sample logs truly were, by the simulated furnace's own figures and not by any reading."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.simulated.furnace import SimulatedFurnace
from soakwitness.firmware_bridge.simulated.settings import read_settings
from tests.make_sample_logs import SAMPLES


@dataclass(frozen=True)
class TrueHold:
    """When a blade and the chamber's sensor truly came to an edge [s], how long the blade stayed over it [s]."""

    blade_came_s: float
    furnace_came_s: float
    soak_s: float
    hottest_c: float

    @property
    def lag_s(self) -> float:
        """How much later than the chamber's sensor the blade came [s]."""
        return self.blade_came_s - self.furnace_came_s


@cache
def true_hold(run: str, piece: str, lower_c: float, from_s: float = 0.0) -> TrueHold:
    """A blade's last hold, second by second until its pull: everything over the lower edge, after a time."""
    text = json.loads((SAMPLES / run / "run.json").read_text(encoding="utf-8"))["furnace"]["file"]
    furnace = SimulatedFurnace(read_settings(parse_furnace(text, run).link.settings).scenario)
    blade, chamber = [], []
    while not any(done.act == "pull" and piece in done.pieces for done in furnace.happenings):
        furnace.advance(furnace.t_s + 1.0)
        blade.append((furnace.t_s, furnace.true_blade_c(piece)))
        chamber.append((furnace.t_s, furnace.shown().temp_c["control"] or 0.0))
    hot = [(t_s, temp_c) for t_s, temp_c in blade if temp_c >= lower_c and t_s >= from_s]
    came_s = next(t_s for t_s, temp_c in chamber if temp_c >= lower_c and t_s >= from_s)
    return TrueHold(hot[0][0], came_s, hot[-1][0] - hot[0][0], max(temp_c for _, temp_c in hot))
