"""Imports log files as they come from other people's instruments: what is right, refused, silently wrong, gone.

Long form: python -m tests.campaigns.odd_imports [WORDS OF A NAME]
Files put together by chance: python -m tests.campaigns.odd_imports mixtures 2000 [FIRST]
"""

from __future__ import annotations

import csv
import json
import os
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from tests.odd_files import OddFile, Row
from tests.odd_mixtures import mixture
from tests.odd_tables import odd_files

OUTCOMES = ("right", "refused", "silently wrong", "most rows gone", "some rows gone", "died", "unsaid")
CLOSE_S = 0.6
CLOSE = 0.051  # the campaign's values stand on a tenth


@dataclass(frozen=True)
class Outcome:
    """What came of one file: one of the OUTCOMES, whether that is no fault, and what was said."""

    case: OddFile
    what: str
    said: str

    @property
    def fine(self) -> bool:
        return self.what in self.case.wants


@contextmanager
def computers_zone(zone: str) -> Iterator[None]:
    """The computer stands in this zone."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = zone
    time.tzset()
    try:
        yield
    finally:
        if before is None:
            del os.environ["TZ"]
        else:
            os.environ["TZ"] = before
        time.tzset()


def imported(case: OddFile, folder: Path) -> tuple[Result, Path]:
    log = folder / f"log{case.suffix}"
    log.write_bytes(case.content)
    book = folder / "book"
    with computers_zone(case.zone):
        result = CliRunner().invoke(soakwitness, ["import", str(log), *case.words, "--logbook", str(book)])
    return result, book / "runs"


def kept_rows(run: Path) -> tuple[list[Row], datetime]:
    """What the folder holds, read without the house's reader: seconds from its first row, and when that was."""
    with (run / "samples.csv").open(newline="") as file:
        lines = list(csv.reader(file))
    body = [line for line in lines[1:] if line]
    begins = float(body[0][0])
    rows = [(float(line[0]) - begins, float(line[2]) if line[2] else None) for line in body]
    return rows, datetime.fromisoformat(body[0][1].replace("Z", "+00:00"))


def compared(case: OddFile, rows: list[Row], begins: datetime) -> str:
    """The rows against the truth: each kept row must be one of the truth's, each truth one of the kept."""
    if case.begins is not None and abs((begins - case.begins).total_seconds()) > CLOSE_S:
        return "silently wrong"
    first = case.truth[0][0]
    truth = {round((t - first) / CLOSE_S): value for t, value in case.truth}
    had = 0
    for t, value in rows:
        at = round(t / CLOSE_S)
        near = next((key for key in (at, at - 1, at + 1) if key in truth), None)
        if near is None:
            return "silently wrong"
        true = truth.pop(near)
        if value is not None and (true is None or abs(value - true) > CLOSE):
            return "silently wrong"
        had += value is not None
    known = sum(value is not None for _, value in case.truth)
    if had == known:
        return "right"
    return "most rows gone" if had < known / 2 else "some rows gone"


def judged(case: OddFile, result: Result, runs: Path) -> str:
    made = [path for path in runs.iterdir() if not path.name.startswith(".")] if runs.is_dir() else []
    if result.exit_code != 0:  # an error made on purpose knows its exit status, as the command line asks it
        meant = isinstance(result.exception, SystemExit) or hasattr(result.exception, "exit_code")
        return "refused" if meant and not made else "died"
    if not made:
        return "died"
    what = compared(case, *kept_rows(made[0]))
    if json.loads((made[0] / "run.json").read_text())["columns"][0]["unit"] != case.unit:
        return "silently wrong"
    return "unsaid" if what == "right" and not all(word in result.output for word in case.says) else what


def tried(case: OddFile) -> Outcome:
    with tempfile.TemporaryDirectory() as folder:
        result, runs = imported(case, Path(folder))
        what = judged(case, result, runs)
    told = "" if isinstance(result.exception, SystemExit) else str(result.exception or "")
    said = f"{result.output}\n{told}"
    return Outcome(case, what, said)


def campaign(words: str = "") -> list[Outcome]:
    return [tried(case) for case in odd_files() if words in case.name]


def main(arguments: list[str]) -> None:
    if arguments[:1] == ["mixtures"]:
        count, first = int(arguments[1]), int(arguments[2]) if len(arguments) > 2 else 0
        told([tried(mixture(number)) for number in range(first, first + count)], everything=False)
    else:
        told(campaign(" ".join(arguments)), everything=bool(arguments))


def told(outcomes: list[Outcome], *, everything: bool) -> None:
    """Print what is a fault, and the counts."""
    for outcome in outcomes:
        if not outcome.fine or everything:
            last = " / ".join(line.strip() for line in outcome.said.strip().splitlines()[-4:])
            print(f"{'' if outcome.fine else 'FAULT '}{outcome.case.name}: {outcome.what}: {last[:400]}")
    counted = Counter(outcome.what for outcome in outcomes)
    print(f"{len(outcomes)} files: " + ", ".join(f"{counted[what]} {what}" for what in OUTCOMES if counted[what]))
    refused = [o.case.name for o in outcomes if o.what == "refused" and "right" in o.case.wants]
    print(f"{sum(o.fine for o in outcomes)} as they should be; refused though readable: {'; '.join(refused)}")


if __name__ == "__main__":
    main(sys.argv[1:])
