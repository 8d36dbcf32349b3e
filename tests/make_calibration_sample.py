"""Makes ``sample_logs/calibration/`` anew: ``python tests/make_calibration_sample.py [FOLDER]``.

A made run of two holds with a reference, the control sensor (which reads high, more so when hot) and five survey
sensors at their places; a certificate; a table of readings typed in. All names and numbers are invented.
"""

from __future__ import annotations

import math
import random
import shutil
import sys
import tempfile
from pathlib import Path
from unittest.mock import patch

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

SAMPLE = Path(__file__).resolve().parents[1] / "sample_logs" / "calibration"
STARTED_UTC = 1_775_201_650.0  # 2026-04-03T07:34:10Z
EVERY_S = 15
UNTIL_S = 14_400
# seconds and setpoint [degC]: ramp, 50 min at 780, ramp, 55 min at 1050, off
PROGRAM = ((0, 20.0), (3300, 780.0), (6300, 780.0), (8700, 1050.0), (12_000, 1050.0), (14_400, 600.0))
PLACES = {  # place, how much hotter than the middle at 1050 degC, lag behind the chamber [s]
    "back left top": (3.1, 25.0),
    "back right bottom": (-1.4, 45.0),
    "front left bottom": (-4.2, 60.0),
    "front right top": (-0.6, 40.0),
    "centre": (0.8, 30.0),
}

CERTIFICATE = """\
# Certificate of the reference, as typed from the laboratory's paper. Invented.
sensor = "type N, 1.5 mm sheath"
serial = "R-07"
thermocouple = "N"
laboratory = "invented"
date = 2026-02-16
drift = 0.3                  # half-width of what it may have drifted since

[[point]]
temp = 600
correction = -0.4            # to be added to its reading
U = 1.1
k = 2

[[point]]
temp = 800
correction = -0.7
U = 1.2
k = 2

[[point]]
temp = 1100
correction = -1.3
U = 1.4
k = 2
"""

READINGS = """\
reference,sensor,head,room,note
402.0,379.3,35,23,"after lunch, door shut"
603.1,569.9,40,23,
801.4,760.1,45,24,
1049.2,989.6,52,24,
"""


def setpoint_c(t_s: float) -> float:
    """Setpoint at a time [degC]."""
    for (t0, a), (t1, b) in zip(PROGRAM, PROGRAM[1:], strict=False):
        if t_s <= t1:
            return a + (b - a) * (t_s - t0) / (t1 - t0)
    return PROGRAM[-1][1]


def lagged(course: list[float], tau_s: float) -> list[float]:
    """First-order lag of a course given every second."""
    out, now, share = [], course[0], 1.0 - math.exp(-1.0 / tau_s)
    for value in course:
        now += share * (value - now)
        out.append(now)
    return out


def write(folder: Path) -> None:
    """Write run, certificate and readings into a folder; what is there is replaced."""
    chamber = lagged([setpoint_c(t) + 0.5 * math.sin(t / 75.0) for t in range(UNTIL_S + 1)], 40.0)
    control = [c + 1.2 + 2.4 * c / 1000.0 for c in lagged(chamber, 12.0)]
    shown = {"control": control, "reference": [c + 0.1 + c / 1000.0 for c in lagged(chamber, 20.0)]}
    for place, (more, tau_s) in PLACES.items():
        shown[place.replace(" ", "-")] = [c + more * c / 1050.0 for c in lagged(chamber, tau_s)]
    columns = [
        Column("control", "sensor", "C", role="control", thermocouple="K", resolution=0.1, serial="K-21"),
        Column(
            "reference", "sensor", "C", role="reference", thermocouple="N", resolution=0.1, expanded_uncertainty=2.0,
            serial="R-07",
        ),
        *(
            Column(
                place.replace(" ", "-"), "sensor", "C", role="survey", thermocouple="K", tolerance_class="1",
                resolution=0.1, expanded_uncertainty=1.6, position=place,
            )
            for place in PLACES
        ),
        Column("setpoint", "signal", "C"),
    ]  # fmt: skip
    noise = random.Random(7)
    with (
        tempfile.TemporaryDirectory() as logbook,
        patch("secrets.token_hex", lambda n: "00ca".rjust(2 * n, "0")),
        patch("platform.node", lambda: "samples"),
    ):
        run = RunFolder.create(
            Path(logbook), columns=columns, furnace_name="shed furnace", started_utc=STARTED_UTC, every_s=EVERY_S,
            operator="R. Ashby", zone="UTC", software="soakwitness samples", origin="simulated",
        )  # fmt: skip
        run.write_event(0, STARTED_UTC, "start")
        for t_s in range(0, UNTIL_S + 1, EVERY_S):
            row: dict[str, float | str | None] = {
                name: round(values[t_s] + noise.gauss(0.0, 0.12), 1) for name, values in shown.items()
            }
            run.write_row(t_s, STARTED_UTC + t_s, row | {"setpoint": round(setpoint_c(t_s), 1)})
        run.write_event(UNTIL_S, STARTED_UTC + UNTIL_S, "end")
        run.seal(sealed_utc=STARTED_UTC + UNTIL_S)
        shutil.rmtree(folder / "run", ignore_errors=True)
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copytree(run.path, folder / "run")
    (folder / "reference.toml").write_text(CERTIFICATE, encoding="utf-8", newline="\n")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE)
