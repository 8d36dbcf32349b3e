"""Browsers on the book beside a recording at 10 Hz: what recorder and book cost with and without, slots missed.

``python tests/benchmarks/page_browsers.py [SECONDS] [BROWSERS]``: two recordings of the simulated furnace side by side,
one whose book so many connections read (every fifth never reads what it asked for), one without a book.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PERIOD_S = 0.1


def furnace_file(folder: Path) -> Path:
    """A simulated furnace read ten times a second."""
    from soakwitness.firmware_bridge.connecting.furnace_file import template

    path = folder / "bench.toml"
    path.write_text(re.sub(r"every_s = [\d.]+", f"every_s = {PERIOD_S}", template("simulated")), encoding="utf-8")
    return path


def start(folder: Path, furnace: Path, *, seconds: float, page: bool) -> subprocess.Popen[str]:
    """Start a recording."""
    words = [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "record", str(furnace)]
    words += ["--for", f"{seconds}s", "--logbook", str(folder), *(["--page", "--port", "0"] if page else [])]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def browse(address: str, browsers: int) -> list[socket.socket]:
    """Open the stream of states as often as there are browsers."""
    host, port = address.removeprefix("http://").rstrip("/").split(":")
    open_ones = []
    for _ in range(browsers):
        browser = socket.create_connection((host, int(port)))
        browser.sendall(f"GET /states HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
        open_ones.append(browser)
    return open_ones


def read_all(browsers: list[socket.socket], until: float) -> int:
    """Read what comes, but from every fifth browser nothing; return the bytes."""
    total = 0
    for browser in browsers:
        browser.settimeout(0.01)
    while time.monotonic() < until:
        for i, browser in enumerate(browsers):
            if i % 5:
                try:
                    total += len(browser.recv(1 << 16))
                except TimeoutError:
                    continue
    return total


def slots(folder: Path, seconds: float) -> str:
    """Rows written beside the slots there were."""
    (samples,) = folder.glob("runs/*/samples.csv")
    rows = sum(1 for _ in samples.open(encoding="utf-8")) - 1
    due = round(seconds / PERIOD_S)
    return f"{rows} rows for {due} slots ({max(0, due - rows)} missed)"


def used(pid: int) -> tuple[float, float]:
    """Memory held at most [MB] and processor time [s] of a process (Linux)."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    ticks = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
    memory = re.search(r"VmHWM:\s+(\d+)", status)
    assert memory is not None
    return int(memory[1]) / 1000, (int(ticks[11]) + int(ticks[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Run both and print."""
    from soakwitness.cli.telling.book_file import running_book, stop_book

    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 50
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        furnace = furnace_file(folder)
        watched = start(folder / "watched", furnace, seconds=seconds, page=True)
        alone = start(folder / "alone", furnace, seconds=seconds, page=False)
        assert watched.stderr is not None
        address = next(m[1] for line in watched.stderr if (m := re.search(r"(http://\S+)", line)))
        book = running_book(folder / "watched")
        assert book is not None
        browsers = browse(address, count)
        processes = {"book": book.pid, "watched": watched.pid, "alone": alone.pid}
        before_s, began = {name: used(pid)[1] for name, pid in processes.items()}, time.monotonic()
        got = read_all(browsers, time.monotonic() + seconds - 3)
        lasted_s, after = time.monotonic() - began, {name: used(pid) for name, pid in processes.items()}
        share = {name: 100 * (after[name][1] - before_s[name]) / lasted_s for name in processes}
        watched.communicate()
        alone.communicate()
        stop_book(folder / "watched")
        print(f"{count} browsers, {got / 1e6:.1f} MB read: {slots(folder / 'watched', seconds)}")
        print(f"no page, side by side:    {slots(folder / 'alone', seconds)}")
        print(f"the book: {after['book'][0]:.1f} MB, {share['book']:.2f} % of a core")
        for name in ("watched", "alone"):
            print(f"the recorder, {name}: {after[name][0]:.1f} MB, {share[name]:.2f} % of a core")
        print(f"beside the book it takes {share['watched'] / share['alone']:.2f} x the time")


if __name__ == "__main__":
    main()
