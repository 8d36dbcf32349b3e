"""Time and memory of opening a run of a million rows beside a plain ``pandas.read_csv`` of its samples.

Run it: ``python tests/benchmarks/reading_speed.py [ROWS]``. Each figure comes from a process of its own; ratios count,
not seconds. Memory is read from ``/proc``, so this runs on Linux.
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

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_790_000_000.0
BODY = {
    "plain read_csv": "import pandas; work = lambda: pandas.read_csv(path + '/samples.csv')",
    "open_run": "from soakwitness.analysis.record.run import open_run; import pandas; work = lambda: open_run(path)",
}
MEASURE = """
import sys, time
path = sys.argv[1]
{body}
def peak():  # of this process alone; ru_maxrss would begin with that of the process that started it
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
before = peak()
start = time.perf_counter()
kept = work()
print(time.perf_counter() - start, (peak() - before) / 1024)
"""


def rows(count: int) -> Iterator[bytes]:
    """Four sensors at 1 Hz, 0.1 degC resolution."""
    rng = np.random.default_rng(0)
    for first in range(0, count, 100_000):
        size = min(100_000, count - first)
        t_s = np.arange(first, first + size)
        temp_c = np.round(800 + 200 * np.sin(t_s / 2000)[:, None] + rng.normal(0, 0.3, (size, 4)), 1)
        for t, cells in zip(t_s.tolist(), temp_c.tolist(), strict=True):
            yield f"{t}.000,{utc_text(START + t)},{cells[0]},{cells[1]},{cells[2]},{cells[3]}".encode()


def make_run(logbook: Path, count: int, *, sealed: bool) -> Path:
    """Write a run of this many rows."""
    roles = ("control", "recording", "load", "load")
    columns = [Column(f"{role}-{k}", "sensor", "C", role=role) for k, role in enumerate(roles)]
    run = RunFolder.create(logbook, columns=columns, furnace_name="bench", started_utc=START, every_s=1.0)
    run.write_bodies(rows(count))
    if sealed:
        run.seal(sealed_utc=START)
    run.close()
    return run.path


def measured(what: str, path: Path) -> tuple[float, float]:
    """Time [s] and memory [MiB], the least of three runs."""
    code = MEASURE.format(body=BODY[what])
    answers = [
        subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
        ).stdout.split()
        for _ in range(3)
    ]
    return min(float(a[0]) for a in answers), min(float(a[1]) for a in answers)


def main() -> None:
    """Print the ratios."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    arrow = "with" if importlib.util.find_spec("pyarrow") else "without"
    print(f"pandas {pd.__version__} {arrow} pyarrow, {count} rows, 4 sensors")
    with tempfile.TemporaryDirectory() as folder:
        for sealed in (True, False):
            path = make_run(Path(folder), count, sealed=sealed)
            plain, opened = measured("plain read_csv", path), measured("open_run", path)
            word = "sealed" if sealed else "unsealed, checked row by row"
            print(f"{word}: plain {plain[0]:.2f} s {plain[1]:.0f} MiB, open_run {opened[0]:.2f} s {opened[1]:.0f} MiB")
            print(f"  time {opened[0] / plain[0]:.2f} x, memory {opened[1] / plain[1]:.2f} x")


if __name__ == "__main__":
    main()
