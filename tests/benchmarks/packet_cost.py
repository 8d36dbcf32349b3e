"""What the packet estimate costs beside a plain ``pandas.read_csv`` of the same run, and where the time goes.

Run it: ``python tests/benchmarks/packet_cost.py [ROWS]``. A run of ROWS readings (1,000,000 by default) at 1 Hz and at
10 Hz, recipe after recipe; each figure is the least of three calls in a process of its own. Ratios count, not seconds.
``verify_cost.py`` has the whole verification. Memory is read from ``/proc``, so this runs on Linux.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_795_590_902.0
RECIPE = """name = "two holds"
steel = "S44004"
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
[[step]]
ramp = 400
to = 1040
[[step]]
hold_minutes = 25
tolerance = 6
[packet]
thickness_mm = 3.0
"""
CORNERS = ((0, 1900, 2800, 5140, 7240, 9000, 20000), (20, 780, 780, 1040, 1040, 500, 20))
TIMED = """
import sys, time
{setup}
def peak():
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
before, best = peak(), float("inf")
for _ in range(3):
    begin = time.process_time()
    kept = {call}
    best = min(best, time.process_time() - begin)
print(best, (peak() - before) / 1024)
"""
READ = "import pandas as pd"
MODEL = """
import numpy as np
from soakwitness.analysis.packet.draws import bundle_of
from soakwitness.analysis.packet.grid import bridge, lay_steps
from soakwitness.analysis.packet.marching import march
from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
t = np.arange({rows}) * {every_s}
c = np.interp(t % 36000, *{corners}) + np.random.default_rng(1).normal(0, 0.3, t.size)
packet = generic_packet(PacketSpec())
count = estimate(t, c, packet=packet).draws_c.shape[0]
chamber = bridge(t, c)
steps = lay_steps(chamber, packet, 0.0, 20.0)
bundle, unseen = bundle_of(packet, count)
"""
ROW = """
from soakwitness.analysis.packet.estimate import estimate_row
from soakwitness.analysis.packet.rack import Row
from soakwitness.firmware_bridge.furnace.rack import Rack
seven = Row(Rack(7, 12.0), (packet,) * 7)
"""
CLOCK = """
from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.living_sentence import sentence
from soakwitness.analysis.recipes.recipe_file import parse_recipe
recipe = parse_recipe({recipe!r})
temps = {temps}
def follow():
    clock = SoakClock(recipe)
    for t, c in enumerate(temps):
        clock.read(float(t), {{"control": c}})
        sentence(clock.state())
"""


def make_run(logbook: Path, count: int, every_s: float) -> Path:
    """Write a run of this many rows."""
    columns = [Column("control", "sensor", "C", role="control"), Column("setpoint", "signal", "C")]
    run = RunFolder.create(logbook, columns=columns, furnace_name="bench", started_utc=START, every_s=every_s)
    run.write_bodies(rows(count, every_s))
    run.close()
    return run.path


def rows(count: int, every_s: float) -> Iterator[bytes]:
    """One sensor, 0.1 degC resolution, 0.3 degC noise."""
    t = np.arange(count) * every_s
    c = np.interp(t % 36000, *CORNERS) + np.random.default_rng(1).normal(0, 0.3, count)
    for at, temp in zip(t.tolist(), c.round(1).tolist(), strict=True):
        yield f"{at:.3f},{utc_text(START + at)},{temp},1040.0".encode()


def timed(setup: str, call: str) -> tuple[float, float]:
    """Seconds of one core and memory [MiB] of a call."""
    code = TIMED.format(setup=setup, call=call)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    seconds, peak = done.stdout.split()
    return float(seconds), float(peak)


def main() -> None:
    """Print the ratios."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    for every_s in (1.0, 0.1):
        with tempfile.TemporaryDirectory() as folder:
            path = make_run(Path(folder), count, every_s) / "samples.csv"
            plain, plain_mib = timed(READ, f"pd.read_csv({str(path)!r})")
        print(f"{count} rows, one each {every_s:g} s: read_csv {plain:.2f} s, {plain_mib:.0f} MiB")
        setup = MODEL.format(rows=count, every_s=every_s, corners=CORNERS)
        for words, call in (
            ("packet estimate", "estimate(t, c, packet=packet)"),
            ("  of it: chamber and steps", "lay_steps(bridge(t, c), packet, 0.0, 20.0)"),
            ("  of it: stepping all draws", "march(steps, bundle, unseen, 20.0)"),
        ):
            seconds, mib = timed(setup, call)
            print(f"{words:32}{seconds / plain:6.2f} x read_csv{mib / plain_mib:8.2f} x its memory")
    setup = MODEL.format(rows=36_000, every_s=1.0, corners=CORNERS)
    seconds, _ = timed(setup, "estimate(t, c, packet=packet, draws=200)")
    print(f"10 h at 1 Hz, 200 draws: {seconds:.2f} s of one core")
    row, _ = timed(setup + ROW, "estimate_row(t, c, row=seven, draws=200)")
    print(f"the same, seven side by side: {row / seconds:.2f} x one alone ({row:.2f} s)")
    temps = np.interp(np.arange(7200.0), *CORNERS).round(1).tolist()
    seconds, _ = timed(CLOCK.format(recipe=RECIPE, temps=temps), "follow()")
    print(f"soak clock with its sentence: {seconds / 72:.3f} % of one core at 1 Hz")


if __name__ == "__main__":
    main()
