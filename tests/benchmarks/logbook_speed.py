"""How fast a log book of 5,000 runs answers from kept figures, and what a second process brings to recomputing.

    .venv/bin/python -m tests.benchmarks.logbook_speed [--runs 5000] [--recompute 48]

Prints seconds of whole commands, start of the interpreter included, and a ratio measured side by side.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from soakwitness.analysis.logbook import kept
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.runs import run_named, take_in
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.moments import Stamp, utc_text
from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.firmware_bridge.runfolder.seal import file_sha256, seal_text
from tests.furnace_days import HARDEN, Blade, Day, Fitting, live, record

STAMP = Stamp("2036-01-01T00:00:00Z", "benchmark")
BLADES = 8


def copies(template: Path, folder: Path, count: int) -> list[str]:
    """Run folders that share the template's readings (hard links) and have names, headers and seals of their own."""
    header = json.loads((template / "run.json").read_text(encoding="utf-8"))
    seal = json.loads((template / "seal.json").read_text(encoding="utf-8"))
    first = datetime(2024, 1, 1, 6, 0, tzinfo=UTC)
    names, previous = [], None
    for number in range(count):
        start = first + timedelta(hours=8 * number)
        name = f"{start:%Y%m%dT%H%M%SZ}_small-furnace_{number:04x}"
        path = folder / "runs" / name
        path.mkdir(parents=True)
        for file in ("samples.csv", "events.csv"):
            os.link(template / file, path / file)
        (path / "run.json").write_text(json.dumps({**header, "run": name, "started_utc": utc_text(start)}))
        files = {**seal["files"], "run.json": file_sha256(path / "run.json")}
        chain = {"id": "benchmark", "number": number + 1, "previous": previous}
        text = seal_text(
            {**{k: v for k, v in seal.items() if k != "digest"}, "run": name, "files": files, "chain": chain}
        )
        previous = json.loads(text)["digest"]
        (path / "seal.json").write_text(text)
        names.append(name)
    return names


def enter_pieces(book: LogBook, names: list[str], blades: int = BLADES) -> None:
    """Some pieces a run with their hardness; those of the last run are soft."""
    source = random.Random(1)
    who = (STAMP.at_utc, STAMP.by)
    with book.writing(STAMP):
        for n, run in enumerate(names):
            book.connection.execute(
                "INSERT INTO charges (charge, run, number, entered_utc, entered_by) VALUES (?, ?, 1, ?, ?)",
                (n + 1, run, *who),
            )
            for i in range(blades):
                piece, hrc = f"P{n:05d}-{i}", source.gauss(55.0 if n == len(names) - 1 else 59.5, 0.3)
                book.connection.execute("INSERT INTO pieces (piece) VALUES (?)", (piece,))
                book.connection.execute(
                    "INSERT INTO piece_facts (piece, steel, lot, thickness_mm, entered_utc, entered_by) "
                    "VALUES (?, 'S44004', '7733', 3, ?, ?)", (piece, *who),
                )  # fmt: skip
                book.connection.execute(
                    "INSERT INTO charge_pieces (charge, piece, foil, entered_utc, entered_by) VALUES (?, ?, 1, ?, ?)",
                    (n + 1, piece, *who),
                )
                book.connection.execute(
                    "INSERT INTO hardness (piece, measured_utc, stage, scale, readings, entered_utc, entered_by) "
                    "VALUES (?, ?, 'after temper', 'HRC', ?, ?, ?)", (piece, STAMP.at_utc, json.dumps([hrc] * 3), *who),
                )  # fmt: skip


def keep_figures(book: LogBook, template: kept.Computed, names: list[str]) -> None:
    """Kept figures for every run: the template's under each run's name, its rates a little apart."""
    source = random.Random(2)
    audit, condition = json.loads(template.audit), json.loads(template.condition)
    digest = run_named(book, names[0]).recipe_digest
    with book.writing(STAMP):
        for name in names:
            start = run_named(book, name).started_utc
            rates = {w: r * source.gauss(1.0, 0.01) for w, r in condition["full_power"].items()}
            own = {"run": name, "started_utc": start}
            book.connection.execute(
                "INSERT OR REPLACE INTO figures VALUES (?, ?, ?, ?, ?, ?)",
                (
                    name, digest, RULES_VERSION, STAMP.at_utc, json.dumps({**audit, **own}),
                    json.dumps({**condition, **own, "full_power": rates}),
                ),
            )  # fmt: skip
            book.connection.execute(
                "INSERT OR REPLACE INTO verdicts VALUES (?, ?, ?, ?, ?, ?)",
                (name, digest, RULES_VERSION, STAMP.at_utc, template.verdict, template.answer),
            )


def timed(folder: Path, *words: str) -> float:
    """Seconds of a command, the best of three."""
    best = float("inf")
    for _ in range(3):
        begun = time.perf_counter()
        subprocess.run(
            [str(Path(sys.executable).with_name("soakwitness")), *words, "--logbook", str(folder)],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        best = min(best, time.perf_counter() - begun)
    return best


def recompute(book: LogBook, names: list[str], processes: int) -> float:
    """Seconds to verify and measure some runs anew."""
    with book.writing(STAMP):
        for name in names:
            book.connection.execute("DELETE FROM figures WHERE run = ?", (name,))
    begun = time.perf_counter()
    refresh(book, stamp=STAMP, runs=names, processes=processes)
    return time.perf_counter() - begun


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5000)
    parser.add_argument("--recompute", type=int, default=48)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        made, folder = Path(scratch) / "made", Path(scratch) / "book"
        blades = tuple(Blade(f"T-{i}", pull_after_s=60.0 * i) for i in range(BLADES))
        template = record(live(Day(blades=blades)), Fitting(), made, ("harden", HARDEN))
        names = copies(template, folder, asked.runs)
        with open_logbook(folder, create=True) as book:
            begun = time.perf_counter()
            take_in(book, stamp=STAMP)
            print(f"taking in {asked.runs} run folders: {time.perf_counter() - begun:.1f} s")
            enter_pieces(book, names)
            refresh(book, stamp=STAMP, runs=names[:1])
            row = book.row("SELECT f.*, v.verdict, v.answer FROM figures f JOIN verdicts v USING (run)")
            assert row is not None
            one = kept.Computed(
                names[0], row["recipe_digest"], row["verdict"], row["answer"], row["audit"], row["condition"]
            )
            keep_figures(book, one, names)
        last = f"P{asked.runs - 1:05d}-0"
        for words in (
            ("today",), ("runs",), ("piece", "history", last), ("audit", "--suspect", names[-1]),
            ("condition", "small furnace"),
        ):  # fmt: skip
            print(f"{' '.join(words[:2])}: {timed(folder, *words):.2f} s")
        with open_logbook(folder) as book:
            some = names[: asked.recompute]
            alone, both = recompute(book, some, 1), recompute(book, some, 2)
            print(f"recomputing {len(some)} runs: {alone:.1f} s alone, {both:.1f} s with two: {alone / both:.2f} x")


if __name__ == "__main__":
    main()
