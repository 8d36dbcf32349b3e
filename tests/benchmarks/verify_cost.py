"""Time and memory of verifying a run of a million rows beside a plain ``pandas.read_csv`` of its samples.

Run it: ``python tests/benchmarks/verify_cost.py [ROWS]``. Each figure comes from a whole process of its own, imports
included; ratios count, not seconds. Memory is read from ``/proc``, so this runs on Linux.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from soakwitness.firmware_bridge.runfolder.format import utc_text
from soakwitness.firmware_bridge.runfolder.model import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_790_000_000.0
RECIPE = """
name = "bench"
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = {need}
tolerance = 8
[[step]]
ramp = "full power"
to = 1040
[[step]]
hold_minutes = {need}
tolerance = 6
max_overshoot = 6
"""
PACKET = """
[packet]
thickness_mm = 3.0
"""
BODY = {
    "plain read_csv": "import pandas; kept = pandas.read_csv(run + '/samples.csv')",
    "verify": "\n".join(
        (
            "from soakwitness.analysis.runs import open_run",
            "from soakwitness.analysis.recipes.file import load_recipe",
            "from soakwitness.analysis.verification.verifying import verify",
            "opened = open_run(run)",
            "read_at = time.perf_counter()",
            "kept = verify(opened, load_recipe(recipe))",
            "print(kept.verdict, file=sys.stderr)",
        )
    ),
    "the command": "\n".join(
        (
            "from click.testing import CliRunner",
            "from soakwitness.cli.main import soakwitness",
            "words = ['verify', run, '--recipe', recipe, '--logbook', run + '-book']",
            "kept = CliRunner().invoke(soakwitness, words)",
            "assert kept.exit_code in (0, 3, 4), kept.output",
        )
    ),
}
MEASURE = """
import time
start = read_at = time.perf_counter()
import sys
run, recipe = sys.argv[1:]
{body}
done = time.perf_counter()
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(done - start, peak / 1024, read_at - start)
"""


def course(count: int) -> np.ndarray:
    """Ramp, hold, ramp, hold, cooling: shares of the rows; 780 and 1040 degC."""
    corners = np.array([0.0, 0.02, 0.08, 0.48, 0.52, 0.92, 1.0]) * count
    return np.interp(np.arange(count), corners, [20.0, 20.0, 780.0, 780.0, 1040.0, 1040.0, 60.0])


def rows(count: int, every_s: float, lag_rows: int) -> Iterator[bytes]:
    """Three sensors, 0.1 degC resolution, 0.3 degC noise; the last one lags."""
    rng = np.random.default_rng(0)
    true_c = course(count)
    late_c = np.concatenate((np.full(lag_rows, 20.0), true_c[: count - lag_rows]))
    for first in range(0, count, 100_000):
        size = min(100_000, count - first)
        part = slice(first, first + size)
        temp_c = np.stack((true_c[part], true_c[part], late_c[part]), axis=1) + rng.normal(0, 0.3, (size, 3))
        for k, cells in enumerate(np.round(temp_c, 1).tolist()):
            t = (first + k) * every_s
            yield f"{t:.3f},{utc_text(START + t)},{cells[0]},{cells[1]},{cells[2]}".encode()


def make_run(logbook: Path, count: int, *, sealed: bool, load: bool, every_s: float = 0.1) -> Path:
    """Write a run of this many rows."""
    roles = ("control", "recording", "load" if load else "survey")
    columns = [Column(role, "sensor", "C", role=role, expanded_uncertainty=2.0) for role in roles]
    run = RunFolder.create(logbook, columns=columns, furnace_name="bench", started_utc=START, every_s=every_s)
    run.write_bodies(rows(count, every_s, 600))
    if sealed:
        run.seal(sealed_utc=START)
    run.close()
    return run.path


def measured(what: str, run: Path, recipe: Path) -> tuple[float, float, float]:
    """Time [s], peak memory [MiB] and the time until the run was read [s]: the least of three processes."""
    code = MEASURE.format(body=BODY[what])
    answers = []
    for _ in range(3):
        done = subprocess.run(
            [sys.executable, "-c", code, str(run), str(recipe)], capture_output=True, text=True, check=True
        )
        answers.append([float(x) for x in done.stdout.split()])
    best = np.min(answers, axis=0)
    return float(best[0]), float(best[1]), float(best[2])


def main() -> None:
    """Print the ratios."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    arrow = "with" if importlib.util.find_spec("pyarrow") else "without"
    print(f"pandas {pd.__version__} {arrow} pyarrow, {count} rows, 3 sensors")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        text = RECIPE.format(need=0.35 * count * 0.1 / 60)
        plain_recipe, packet_recipe = place / "plain.toml", place / "packet.toml"
        plain_recipe.write_text(text)
        packet_recipe.write_text(text + PACKET)
        for words, sealed, load, recipe in (
            ("sealed, control sensor", True, False, plain_recipe),
            ("sealed, load sensor", True, True, plain_recipe),
            ("unsealed, checked row by row", False, False, plain_recipe),
            ("sealed, packet estimate", True, False, packet_recipe),
        ):
            run = make_run(place / words.replace(" ", "-"), count, sealed=sealed, load=load)
            plain, ours, command = (measured(what, run, recipe) for what in BODY)
            print(
                f"{words}: plain {plain[0]:.2f} s {plain[1]:.0f} MiB, verify {ours[0]:.2f} s {ours[1]:.0f} MiB "
                f"({ours[2]:.2f} s of it until the run was read)"
            )
            print(f"  time {ours[0] / plain[0]:.2f} x, memory {ours[1] / plain[1]:.2f} x")
            print(f"  the whole command: time {command[0] / plain[0]:.2f} x, memory {command[1] / plain[1]:.2f} x")


if __name__ == "__main__":
    main()
