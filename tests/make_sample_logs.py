"""Makes the runs in ``sample_logs/`` anew from their seeds: ``python tests/make_sample_logs.py [FOLDER]``.

Each run is a furnace file (furnace, scenario and what is wrong in it); the file is kept in the run's ``run.json``.
Where the platform's mathematical functions round alike the bytes come out alike, elsewhere within one step of the
reading. All names are invented.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from tests.simulated_runs import Papers, write_run

SAMPLES = Path(__file__).resolve().parents[1] / "sample_logs"
FIRST_START = datetime(2026, 3, 2, 7, 4, 10, tzinfo=UTC)

FURNACE = """\
name = "shed furnace"
unit = "C"

[sample]
every_s = 5.0

[link]
kind = "simulated"
{link}
[[sensor]]
name = "control"
role = "control"
thermocouple = "K"
table = "input"
register = 0
scale = 0.1
resolution = 0.1
fault_values = [32767]

[[sensor]]
name = "load"
role = "load"
thermocouple = "K"
thickness_mm = {load_mm}
table = "input"
register = 1
scale = 0.1
resolution = 0.1
fault_values = [32767]

[[signal]]
name = "setpoint"
table = "input"
register = 4
scale = 0.1

[[signal]]
name = "output"
table = "input"
register = 5
scale = 0.1

[[contact]]
name = "door"
means = "door"
table = "input"
register = 6
bit = 0
"""

PIECE = """
[[link.piece]]
name = "{name}"
steel = "S44004"
thickness_mm = {mm}
{more}
"""


def program(*, rate: int = 400, last_minutes: float = 19.0, first_minutes: float = 14.0) -> str:
    """Program of ramps and holds as it was typed into the controller."""
    return f"""
[[link.program]]
ramp = "full power"
to = 780
[[link.program]]
hold_minutes = {first_minutes}
[[link.program]]
ramp = {rate}
to = 1040
[[link.program]]
hold_minutes = {last_minutes}
"""


def piece(name: str, mm: float, more: str) -> str:
    """One piece in its packet."""
    return PIECE.format(name=name, mm=mm, more=more)


def cold_charge(mm: float = 3.0) -> str:
    """Two pieces that ride the first ramp and are pulled when the program is over, the dummy's sensor in the first."""
    return piece("P-01", mm, "sensor = true\npull_after_step = 4") + piece(
        "P-02", 3.0, "pull_after_step = 4\npull_plus_minutes = 0.5"
    )


def fault(what: str, more: str) -> str:
    """One thing that goes wrong."""
    return f'\n[[link.fault]]\nwhat = "{what}"\n{more}\n'


STAY = 'after_program = "stay"\n'
HOT = "load_after_step = 1\ndoor_s = 10\npull_after_step = "
HOT_CHARGE = (
    piece("dummy", 3.0, "sensor = true\n" + HOT + "4")
    + piece("C-01", 3.0, HOT + "3\npull_plus_minutes = 9")
    + piece("C-02", 3.0, HOT + "3\npull_plus_minutes = 17")
    + piece("C-03", 3.0, HOT + "3\npull_plus_minutes = 18\nplates_s = 45")
)
HOT_PROGRAM = program(rate=500, last_minutes=20.0, first_minutes=18.0)
RELAY = fault("relay stuck", "after_step = 3\nplus_minutes = 2\nfor_minutes = 1.2")

# run: recipe, thickness of the dummy with the load sensor [mm], what stands under [link]
RUNS: dict[str, tuple[str, float, str]] = {
    "good": ("paring-blades", 3.0, "seed = 101\n" + STAY + program() + cold_charge()),
    "short-soak": ("paring-blades", 10.0, "seed = 102\n" + STAY + program() + cold_charge(10.0)),
    "overshoot": ("paring-blades", 3.0, "seed = 103\n" + STAY + program() + cold_charge() + RELAY),
    "slow-ramp": (
        "paring-blades",
        3.0,
        "seed = 104\n" + STAY + program() + cold_charge() + fault("mains sag", "size = 0.72\nminutes = 45"),
    ),
    "pulled-one-by-one": ("chef-blades-hot", 3.0, "seed = 105\n" + STAY + HOT_PROGRAM + HOT_CHARGE),
    "open-circuit": (
        "paring-blades",
        3.0,
        "seed = 106\n"
        + STAY
        + program()
        + cold_charge()
        + fault("open circuit", 'sensor = "load 1"\nafter_step = 3\nplus_minutes = 5\nfor_minutes = 9'),
    ),
    "gap": (
        "paring-blades",
        3.0,
        "seed = 107\n"
        + STAY
        + program()
        + cold_charge()
        + fault("cable pulled", "after_step = 3\nplus_minutes = 6\nfor_minutes = 11"),
    ),
    "program-differs": ("paring-blades", 3.0, "seed = 108\n" + STAY + program(last_minutes=9.0) + cold_charge()),
}


def make(folder: Path) -> None:
    """Write all runs into a folder that has ``recipes/``; runs that are there already are replaced."""
    for number, (name, (recipe, load_mm, link)) in enumerate(RUNS.items()):
        furnace = parse_furnace(FURNACE.format(link=link, load_mm=load_mm), f"{name}.toml")
        found = load_recipe(SAMPLES / "recipes" / f"{recipe}.toml")
        papers = Papers(
            started_utc=FIRST_START + timedelta(days=number),
            recipe_name=found.name,
            recipe_file=found.text,
            operator="R. Ashby",
            zone="UTC",
            software="soakwitness samples",
        )
        marker = f"{number + 1:04x}"
        with (
            tempfile.TemporaryDirectory() as logbook,
            patch("os.urandom", lambda n, marker=marker: bytes.fromhex(marker.rjust(2 * n, "0"))),
            patch("platform.node", lambda: "samples"),
        ):
            made = write_run(furnace, Path(logbook), papers)
            shutil.rmtree(folder / name, ignore_errors=True)
            shutil.copytree(made, folder / name)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLES)
