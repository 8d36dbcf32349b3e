"""How fast the book's pages come with a log book of 5,000 runs and 5,000 pieces, and the first chart of a long run.

    .venv/bin/python -m tests.benchmarks.book_pages [--runs 5000]

Prints the first answer after the start and the slowest of nine more, in seconds, of every page; then what a browser
needs until the chart of a day at 1 Hz with four sensors stands there, and until a part of it is drawn anew.
"""

from __future__ import annotations

import argparse
import http.client
import math
import tempfile
import time
import urllib.parse
from contextlib import closing
from pathlib import Path

from soakwitness.analysis.logbook import kept
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.benchmarks.logbook_speed import BLADES, STAMP, copies, enter_pieces, keep_figures
from tests.cli.books import ServedBook, served
from tests.cli.browsers import chromium
from tests.furnace_days import HARDEN, Blade, Day, Fitting, live, record

DAY_S = 86_400
BEGUN_S = 1_900_000_000.0


def a_day(folder: Path) -> str:
    """A run of a day at 1 Hz with four sensors."""
    roles = {"control": "control", "left": "load", "right": "load", "wall": "recording"}
    columns = tuple(Column(name, "sensor", "C", role=role) for name, role in roles.items())
    run = RunFolder.create(folder, columns=columns, furnace_name="Kiln", started_utc=BEGUN_S, every_s=1.0)
    for second in range(DAY_S):
        level = 500.0 + 400.0 * math.sin(second / 9000.0)
        shown = {name: round(level + (7 * second + k) % 5 / 10.0, 1) for k, name in enumerate(roles)}
        run.write_row(second, BEGUN_S + second, shown)
    run.seal(sealed_utc=BEGUN_S + DAY_S)
    return run.path.name


def large_book(scratch: Path, runs: int) -> tuple[Path, list[str], str]:
    """A log book with so many runs, a piece each, their verdicts kept; and the run of a day."""
    folder = scratch / "book"
    blades = tuple(Blade(f"T-{i}", pull_after_s=60.0 * i) for i in range(BLADES))
    template = record(live(Day(blades=blades)), Fitting(), scratch / "made", ("harden", HARDEN))
    names = copies(template, folder, runs)
    day = a_day(folder)
    with open_logbook(folder, create=True) as book:
        take_in(book, stamp=STAMP)
        enter_pieces(book, names, 1)
        refresh(book, stamp=STAMP, runs=names[:1])
        row = book.row("SELECT f.*, v.verdict, v.answer FROM figures f JOIN verdicts v USING (run)")
        assert row is not None
        one = kept.Computed(
            names[0], row["recipe_digest"], row["verdict"], row["answer"], row["audit"], row["condition"]
        )
        keep_figures(book, one, names)
    return folder, names, day


def asked(book: ServedBook, path: str) -> float:
    """Seconds until a page is there whole."""
    with closing(http.client.HTTPConnection("127.0.0.1", book.port, timeout=60)) as connection:
        begun = time.perf_counter()
        connection.request("GET", path)
        answer = connection.getresponse()
        answer.read()
        assert answer.status == 200, (path, answer.status)
        return time.perf_counter() - begun


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5000)
    count = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as scratch:
        folder, names, day = large_book(Path(scratch), count)
        piece = f"P{count - 1:05d}-0"
        paths = [
            "/runs",
            f"/runs?page={count // 20}",
            "/runs?month=2025-03",
            f"/runs?piece={piece}",
            "/runs?words=P0&steel=S44004&verdict=pass",
            "/runs?verdict=fail",
            f"/runs/{names[-1]}",
            f"/runs/{names[-1]}/chart.json",
            f"/runs/{names[-1]}/thumbnail.svg",
            f"/runs/over-each-other?run={names[-1]}&run={names[-2]}",
            "/pieces",
            f"/pieces?page={count // 40}",
            "/pieces?words=P00&steel=S44004",
            f"/pieces/{piece}",
            f"/runs/{day}/thumbnail.svg",
            f"/runs/{day}/chart.json",
            f"/runs/{day}/chart.json?from=20000&to=30000",
        ]
        with served(folder) as book:
            time.sleep(3.0)
            for path in paths:
                first, more = asked(book, path), [asked(book, path) for _ in range(9)]
                print(f"{first:.3f} first, {max(more):.3f} slowest of nine: {urllib.parse.unquote(path)}", flush=True)
        with served(folder) as book, chromium() as browser:
            tab = browser.new_page(viewport={"width": 1280, "height": 900})
            for name, words in ((names[-1], "two hours"), (day, "a day")):
                begun = time.perf_counter()
                tab.goto(f"{book.address}runs/{name}")
                tab.locator("figure[data-ready]").wait_for()
                print(f"{time.perf_counter() - begun:.2f} until the first chart of {words} stands there", flush=True)
            begun = time.perf_counter()
            with tab.expect_response(lambda answer: "from=" in answer.url):
                tab.get_by_role("button", name="Closer").click()
            print(f"{time.perf_counter() - begun:.2f} until a part of it is there (0.15 of it waited for more zooming)")


if __name__ == "__main__":
    main()
