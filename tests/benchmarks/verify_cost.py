"""What a verdict costs: of a million rows beside a plain ``pandas.read_csv``, of an ordinary run beside loading pandas.

Run it: ``python tests/benchmarks/verify_cost.py [ROWS] [--rounds 5] [--before PYTHON]``. Each figure comes from a whole
process of its own, imports included; what is compared takes turns, and ratios count, not seconds: of the best round
and of the medians. ``--before`` names the interpreter of another checkout's environment, which takes its turn too.
Memory is read from ``/proc``, so this runs on Linux.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

START = 1_790_000_000.0
ORDINARY_ROWS = (1_400, 50_000)
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
READ_CSV = "import pandas; kept = pandas.read_csv(run + '/samples.csv')"
VERIFY = """\
try:
    from soakwitness.analysis import load_recipe, open_run, verify
except ImportError:  # an older checkout
    from soakwitness.analysis.recipes.file import load_recipe
    from soakwitness.analysis.runs import open_run
    from soakwitness.analysis.verification.verifying import verify
opened = open_run(run)
read_at = time.perf_counter()
kept = verify(opened, load_recipe(recipe))
"""
COMMAND = """\
from click.testing import CliRunner
from soakwitness.cli.main import soakwitness
words = ['verify', run, '--recipe', recipe, '--logbook', run + '-book']
kept = CliRunner().invoke(soakwitness, words)
assert kept.exit_code in (0, 3, 4), kept.output
"""
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
FROM_START = "from soakwitness.cli.main import main; main()"
Rounds = dict[str, list[list[float]]]


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


def in_turns(asked: Mapping[str, Sequence[str]], rounds: int, *, whole: bool = False) -> Rounds:
    """Run commands in turns; of each round what it printed, or with ``whole`` the seconds of the whole process.

    A first round warms up: compiled modules are kept beside each other, as an installed package has them.
    """
    answers: Rounds = {name: [] for name in asked}
    with tempfile.TemporaryDirectory() as compiled:
        env = {**os.environ, "PYTHONPYCACHEPREFIX": compiled}
        env.pop("PYTHONDONTWRITEBYTECODE", None)
        for number in range(rounds + 1):
            for name, command in asked.items():
                begun = time.perf_counter()
                done = subprocess.run(command, capture_output=True, text=True, check=not whole, env=env)
                took = time.perf_counter() - begun
                assert done.returncode in (0, 3, 4), done.stderr
                if number:
                    answers[name].append([took] if whole else [float(x) for x in done.stdout.split()])
    return answers


def ratios(answers: Rounds, name: str, beside: str, column: int = 0) -> str:
    """One against the other: of the best rounds, and of the medians."""
    one, other = (np.array([row[column] for row in answers[who]]) for who in (name, beside))
    return f"{one.min() / other.min():.2f} x (medians {np.median(one) / np.median(other):.2f} x)"


def long_run(words: str, run: Path, recipe: Path, pythons: Mapping[str, str], rounds: int) -> None:
    """A long run: reading it plainly, verifying it, and the whole command."""
    asked = {"plain": [sys.executable, "-c", MEASURE.format(body=READ_CSV), str(run), str(recipe)]}
    for who, python in pythons.items():
        for what, body in (("verify", VERIFY), ("the command", COMMAND)):
            asked[f"{what}{who}"] = [python, "-c", MEASURE.format(body=body), str(run), str(recipe)]
    answers = in_turns(asked, rounds)
    plain = np.min(answers["plain"], axis=0)
    print(f"{words}: plain read_csv {plain[0]:.2f} s, {plain[1]:.0f} MiB")
    for name in list(asked)[1:]:
        best = np.min(answers[name], axis=0)
        read = f", {best[2]:.2f} s of it until the run was read" if name.startswith("verify") else ""
        print(f"  {name}: time {ratios(answers, name, 'plain')}; {best[0]:.2f} s{read}")
        print(f"    memory {ratios(answers, name, 'plain', 1)}; {best[1]:.0f} MiB")


def ordinary_runs(place: Path, pythons: Mapping[str, str], rounds: int) -> None:
    """Ordinary runs: the command from the start of the interpreter, beside one that loads pandas and no more."""
    for count in ORDINARY_ROWS:
        run = make_run(place / f"ordinary-{count}", count, sealed=True, load=True, every_s=5.0)
        recipe = place / f"ordinary-{count}.toml"
        recipe.write_text(RECIPE.format(need=0.35 * count * 5.0 / 60))
        words = ["verify", str(run), "--recipe", str(recipe), "--logbook", str(place / "none")]
        asked = {"import pandas": [sys.executable, "-c", "import pandas"]}
        asked |= {f"the command{who}": [python, "-c", FROM_START, *words] for who, python in pythons.items()}
        answers = in_turns(asked, rounds, whole=True)
        for name in list(asked)[1:]:
            print(f"{count} rows, {name} from its start beside import pandas: {ratios(answers, name, 'import pandas')}")


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=int, nargs="?", default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--before", metavar="PYTHON")
    asked = parser.parse_args()
    pythons = {"": sys.executable} | ({" before": asked.before} if asked.before else {})
    arrow = "with" if importlib.util.find_spec("pyarrow") else "without"
    print(f"pandas {pd.__version__} {arrow} pyarrow, {asked.rows} rows, 3 sensors, {asked.rounds} rounds")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        ordinary_runs(place, pythons, 3 * asked.rounds)
        text = RECIPE.format(need=0.35 * asked.rows * 0.1 / 60)
        plain_recipe, packet_recipe = place / "plain.toml", place / "packet.toml"
        plain_recipe.write_text(text)
        packet_recipe.write_text(text + PACKET)
        for words, sealed, load, recipe in (
            ("sealed, control sensor", True, False, plain_recipe),
            ("sealed, load sensor", True, True, plain_recipe),
            ("unsealed, checked row by row", False, False, plain_recipe),
            ("sealed, packet estimate", True, False, packet_recipe),
        ):
            run = make_run(place / words.replace(" ", "-"), asked.rows, sealed=sealed, load=load)
            long_run(words, run, recipe, pythons, asked.rounds)


if __name__ == "__main__":
    main()
