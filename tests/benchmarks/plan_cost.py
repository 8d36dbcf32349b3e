"""What a plan and a fit cost beside ``import pandas`` and beside one estimate of a lone blade.

Run it: ``python tests/benchmarks/plan_cost.py``. A plan of six unlike blades, lying apart and in a rack, and the fit of
one instrumented run, of a lone blade and of one in a full rack. The elements shone on these while the furnace was cold,
so that the whole run and its warm part are both tried. Each figure is the least of three calls in a process of its own,
of the import of three processes. Ratios count, not seconds.
"""

from __future__ import annotations

import subprocess
import sys

TIMED = """
import time
{setup}
best = float("inf")
for _ in range({times}):
    begin = time.process_time()
    kept = {call}
    best = min(best, time.process_time() - begin)
print(best)
"""
RUN = """
import numpy as np
from dataclasses import replace
from soakwitness.analysis.packet.estimate import estimate, estimate_row
from soakwitness.analysis.packet.piece import for_piece, generic_packet
from soakwitness.analysis.packet.rack import Row, alike
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Ramp, Recipe
from soakwitness.firmware_bridge.furnace.rack import Rack
rack, spec = Rack(6, 15.0), PacketSpec(4.0)
packet = generic_packet(spec, "S44004")
t = np.arange(0.0, 9000.0, 5.0)
chamber = np.interp(t, (0, 1900, 2800, 5140, 9000), (20, 780, 780, 1040, 1040))
chamber += np.random.default_rng(1).normal(0.0, 0.3, t.size)
"""
PLAN = """
from soakwitness.analysis.planning.plan import PieceToPlan, PlanInputs
from soakwitness.analysis.planning.planning import make_plan
steps = (Ramp(1, 780.0), Hold(2, 780.0, 8.0, 8.0, 600.0, soak_from="control"), Ramp(3, 1040.0, 400.0))
recipe = Recipe("two holds", "C", (*steps, Hold(4, 1040.0, 6.0, 6.0, 1500.0)), steel="S44004")
packets = [for_piece(packet, PacketSpec(mm)) for mm in (2.0, 2.5, 3.0, 4.0, 5.0, 6.0)]
apart = PlanInputs(recipe, tuple(PieceToPlan(f"B-{n}", one) for n, one in enumerate(packets, 1)))
upright = replace(apart, rack=rack, pieces=tuple(replace(one, slot=n) for n, one in enumerate(apart.pieces, 1)))
"""
FIT = """
from soakwitness.analysis.packet_runs.fitting import fit_packet
true = replace(packet, eps_o=0.45, f_i=0.25, gap_mm=0.7)
felt = np.maximum(chamber, 500.0)
row = estimate_row(t, felt, row=Row(rack, (true,) * 6), load_t_s=0.0, draws=2)
alone = estimate(t, felt, packet=true, load_t_s=0.0, draws=2)
where = alike(rack, packet, 3, range(1, 7))
def fit(work, where):
    return fit_packet(t, chamber, work, packet=packet, load_t_s=0.0, where=where)
"""
ASKED = (
    ("plan, six unlike blades apart", PLAN, "make_plan(apart)"),
    ("  the same side by side in a rack", PLAN, "make_plan(upright)"),
    ("fit of a lone blade's run", FIT, "fit(alone.best_c, None)"),
    ("  of the third of six in a rack", FIT, "fit(row[2].best_c, where)"),
)


def timed(setup: str, call: str, times: int = 3) -> float:
    """Seconds of one core that a call takes."""
    code = TIMED.format(setup=setup, call=call, times=times)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return float(done.stdout)


def main() -> None:
    """Print the ratios."""
    pandas = min(timed("", '__import__("pandas")', times=1) for _ in range(3))
    lone = timed(RUN, "estimate(t, chamber, packet=packet, load_t_s=0.0, draws=64)")
    print(f"import pandas {pandas:.2f} s; estimate of a lone blade, 64 draws over 2.5 h: {lone:.3f} s")
    for words, setup, call in ASKED:
        seconds = timed(RUN + setup, call)
        print(
            f"{words:36}{seconds / pandas:6.2f} x import pandas{seconds / lone:8.1f} x that estimate ({seconds:.2f} s)"
        )


if __name__ == "__main__":
    main()
