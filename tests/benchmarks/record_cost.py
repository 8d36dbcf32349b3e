"""What the recording process costs, measured on the real command against a Modbus instrument in another process.

Prints peak memory, processor time, start to first row, and missed slots; run it as::

    python -m tests.benchmarks.record_cost [SECONDS]
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.listing import good_rows

SERVER = """
import sys
from soakwitness.firmware_bridge.simulated.serving import start
serving = start({"speaks": "modbus"})
print(serving.link.port, flush=True)
sys.stdin.read()
serving.stop()
"""
FURNACE = """\
name = "measured"
unit = "C"
[sample]
every_s = {every_s}
[link]
kind = "modbus"
port = "{port}"
baud = 115200
parity = "none"
timeout_s = 0.5
"""
SENSOR = """\
[[sensor]]
name = "{name}"
role = "{role}"
table = "input"
register = {register}
scale = 0.1
"""
RECIPE = """\
name = "Blades"
unit = "C"
load = "cold"
[[step]]
ramp = "full power"
to = 790
[[step]]
hold_minutes = 10
tolerance = 8
[packet]
thickness_mm = 3.0
foil = true
"""
HEAVY = ("numpy", "pandas", "scipy", "matplotlib")


@dataclass(frozen=True)
class Cost:
    """What one run of ``record`` cost."""

    memory_mib: float
    cpu_s: float
    took_s: float
    first_row_s: float
    rows: int
    empty_rows: int
    longest_gap_s: float


def measure(folder: Path, port: str, *, every_s: float, seconds: float, recipe: bool = False) -> Cost:
    """Run the command once and look at what it used and wrote."""
    furnace = folder / f"furnace-{every_s}.toml"
    roles = (("control", "control"), ("load", "load"), ("back", "survey"), ("front", "survey"))
    sensors = [SENSOR.format(name=name, role=role, register=k % 2) for k, (name, role) in enumerate(roles)]
    furnace.write_text(FURNACE.format(every_s=every_s, port=port) + "".join(sensors))
    logbook = folder / f"book-{every_s}-{recipe}-{seconds}"
    command = [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "record", str(furnace)]
    command += ["--for", f"{seconds}s", "--logbook", str(logbook)]
    if recipe:
        (folder / "recipe.toml").write_text(RECIPE)
        command += ["--recipe", str(folder / "recipe.toml")]
    began = time.time()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    _, status, used = os.wait4(child.pid, 0)
    took_s = time.time() - began
    assert status == 0, f"record ended with {status}"
    (run,) = (logbook / "runs").iterdir()
    rows = list(good_rows(run))
    times = [float(row[0]) for row in rows]
    return Cost(
        memory_mib=used.ru_maxrss / (1 << 20 if sys.platform == "darwin" else 1 << 10),
        cpu_s=used.ru_utime + used.ru_stime,
        took_s=took_s,
        first_row_s=read_utc(rows[0][1]) - began,
        rows=len(rows),
        empty_rows=sum(row[2] == "" for row in rows),
        longest_gap_s=max(b - a for a, b in zip(times, times[1:], strict=False)),
    )


def loaded_modules() -> list[str]:
    """Heavy modules that the command has loaded when it records."""
    code = (
        "import sys, json; from soakwitness.cli.commands import record; import soakwitness.cli.terminal.person, "
        "soakwitness.cli.terminal.soaking, soakwitness.firmware_bridge.recording.session, "
        "soakwitness.firmware_bridge.links.modbus; "
        f"print(json.dumps([name for name in {HEAVY!r} if name in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    found: list[str] = json.loads(done.stdout)
    return found


def main() -> None:
    """Measure and print."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    print(f"heavy modules loaded: {', '.join(loaded_modules()) or 'none'}")
    with (
        tempfile.TemporaryDirectory() as folder,
        subprocess.Popen(
            [sys.executable, "-c", SERVER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as server,
    ):
        assert server.stdout is not None
        port = server.stdout.readline().strip()
        for every_s, recipe in ((1.0, False), (1.0, True), (0.1, False)):
            start = measure(Path(folder), port, every_s=every_s, seconds=1, recipe=recipe)
            cost = measure(Path(folder), port, every_s=every_s, seconds=seconds, recipe=recipe)
            steady = (cost.cpu_s - start.cpu_s) / (cost.took_s - start.took_s)
            what = f"{1 / every_s:g} Hz, 4 sensors{', soak clock and packet' if recipe else ''}"
            print(
                f"{what:42} peak {cost.memory_mib:5.1f} MiB, {100 * steady:4.2f} % of a core and {start.cpu_s:.2f} s "
                f"to start and end, first row after {cost.first_row_s:.2f} s, {cost.rows} rows, "
                f"{cost.empty_rows} missed, longest gap {cost.longest_gap_s:.3f} s"
            )
        assert server.stdin is not None
        server.stdin.close()


if __name__ == "__main__":
    main()
