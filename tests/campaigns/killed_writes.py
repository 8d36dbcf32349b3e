"""Kill every write command of the log book at random moments and count what is left.

.venv/bin/python -m tests.campaigns.killed_writes [--kills 200] [--seed 1]
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter
from pathlib import Path

from tests.killed_writes import COMMANDS, kill_after, kill_at_statement, prepared


def main() -> None:
    """Print how the kills ended; exit status 1 if one left part of a command or a damaged database."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    source = random.Random(asked.seed)
    outcomes: Counter[str] = Counter()
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        origin = prepared(Path(folder) / "origin")
        for number in range(asked.kills):
            command = COMMANDS[number % len(COMMANDS)]
            if number % 2:
                left = kill_at_statement(origin, Path(folder), command, source.random() ** 0.3)  # mostly late
            else:
                left = kill_after(origin, Path(folder), command, source)
            outcomes[left.outcome if left.outcome in ("all", "nothing") else "wrong"] += 1
            if left.outcome not in ("all", "nothing"):
                wrong.append(f"{' '.join(command)}: {left.outcome}")
    print(f"{asked.kills} kills: {dict(outcomes)}")
    for says in wrong:
        print(says)
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
