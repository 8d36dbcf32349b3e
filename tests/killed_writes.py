"""Kills write commands at any moment and looks at what is left: all of the command or nothing, and a whole database."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.logbook.care import check_book
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.record.moments import Stamp
from tests.run_folders import sealed_run

ROOT = Path(__file__).resolve().parents[1]
STAMP = Stamp("2026-11-25T09:00:00Z", "Ana")

# tables that people's entries go to; what repeats run folders may be half done, it is read again
ENTERED = (
    "pieces", "piece_facts", "batches", "batch_pieces", "charges", "charge_pieces", "hardness", "treatments",
    "sensor_lives", "calibrations", "surveys", "accuracy_tests", "place_differences", "dispositions", "run_recipes",
)  # fmt: skip

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("piece", "add", "N-001..N-030", "--steel", "S44004", "--batch", "new"),
    ("piece", "change", "B-001", "--thickness-mm", "2.5", "--why", "measured"),
    ("piece", "charge", "last", "B-001..B-020", "--foil", "--place", "front"),
    ("piece", "hardness", "B-002", "60", "60.2", "59.9", "--after", "quench"),
    ("piece", "treatment", "cold treatment", "B-001..B-020", "--start", "2026-11-25T18:00Z", "--lowest", "-78"),
    ("piece", "strike", "piece", "3", "--why", "typed twice"),
    ("batch", "add", "spring", "B-001..B-020"),
    ("disposition", "last", "--decide", "scrap", "--why", "soft"),
    ("logbook", "rebuild"),
)


@dataclass(frozen=True)
class Left:
    """What was found after a kill."""

    command: tuple[str, ...]
    killed: bool
    outcome: str  # nothing, all, or what is wrong


def prepared(folder: Path) -> Path:
    """A log book with twenty pieces and a run, to be copied for every kill."""
    from soakwitness.analysis.logbook.pieces import Piece, add_pieces, spelled_out

    sealed_run(folder, 30)
    with open_logbook(folder, create=True) as book:
        add_pieces(book, [Piece(name, steel="S44004") for name in spelled_out(["B-001..B-020"])], stamp=STAMP)
        take_in(book, stamp=STAMP)
    return folder


def entries(folder: Path) -> dict[str, int]:
    """How many entries of each kind there are, struck ones counted apart."""
    raw = sqlite3.connect(folder / "logbook.sqlite")
    found = {table: raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ENTERED}
    for table in ENTERED:
        names = {row[1] for row in raw.execute(f"PRAGMA table_info({table})")}
        if "struck_utc" in names:
            struck = raw.execute(f"SELECT count(*) FROM {table} WHERE struck_utc IS NOT NULL").fetchone()[0]
            found[f"{table} struck"] = struck
    raw.close()
    return found


def child(folder: Path, moment: str, command: Sequence[str]) -> subprocess.Popen[str]:
    """Start a command that can be killed."""
    asked = [sys.executable, "-m", "tests.log_book_child", moment, *command, "--logbook", str(folder)]
    return subprocess.Popen(
        asked, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )


def finished(folder: Path, command: Sequence[str]) -> tuple[dict[str, int], int]:
    """Let a command finish; return the entries after it and how many SQL statements it took."""
    process = child(folder, "0", command)
    out, _ = process.communicate()
    assert process.returncode == 0, f"{command}: exit {process.returncode}"
    return entries(folder), int(out.split()[-1])


def judged(folder: Path, before: dict[str, int], after: dict[str, int]) -> str:
    """Whether the database is whole and holds all of the command or nothing."""
    now = entries(folder)
    with open_logbook(folder) as book:
        take_in(book, stamp=STAMP)
        troubles = check_book(book)
    if troubles:
        return f"{troubles[0].where}: {troubles[0].says}"
    if now == after and before != after:
        return "all"
    return "nothing" if now == before else f"part of it: {[(k, before[k], now[k]) for k in now if now[k] != before[k]]}"


def kill_at_statement(origin: Path, work: Path, command: tuple[str, ...], share: float) -> Left:
    """Kill a command at a share (0 to 1) of its SQL statements."""
    before = entries(origin)
    after, statements = finished(_copy(origin, work / "whole"), command)
    folder = _copy(origin, work / "killed")
    process = child(folder, str(1 + int(share * (statements - 1))), command)
    process.communicate()
    return Left(command, process.returncode != 0, judged(folder, before, after))


def kill_after(origin: Path, work: Path, command: tuple[str, ...], source: random.Random) -> Left:
    """Kill a command at a random moment of its work, by the clock."""
    before = entries(origin)
    whole = _copy(origin, work / "whole")
    process = _ready(whole, command)
    begun = time.perf_counter()
    process.communicate("\n")
    took_s = time.perf_counter() - begun
    after = entries(whole)
    folder = _copy(origin, work / "killed")
    process = _ready(folder, command)
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()
    time.sleep(source.uniform(0.0, took_s))
    process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            stream.close()
    return Left(command, process.returncode != 0, judged(folder, before, after))


def _ready(folder: Path, command: tuple[str, ...]) -> subprocess.Popen[str]:
    process = child(folder, "ready", command)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def _copy(origin: Path, goal: Path) -> Path:
    shutil.rmtree(goal, ignore_errors=True)
    shutil.copytree(origin, goal)
    return goal
