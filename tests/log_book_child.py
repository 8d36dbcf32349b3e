"""Runs one soakwitness command and is killed in the middle of it: for tests of what a crash leaves behind.

    python -m tests.log_book_child KILL_AT COMMAND...

KILL_AT is the number of the SQL statement at which the process kills itself (0: never; then the number of statements
is printed last), or ``ready``: it says so, waits for a line, and goes on until somebody kills it.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
from typing import Any


class Counting:
    """Counts statements of every connection; kills the process at the one that was asked for."""

    def __init__(self, kill_at: int) -> None:
        self.kill_at = kill_at
        self.count = 0
        self._connect = sqlite3.connect

    def connect(self, *args: Any, **more: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = self._connect(*args, **more)
        connection.set_trace_callback(self.saw)
        return connection

    def saw(self, statement: str) -> None:
        self.count += 1
        if self.count == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    """Run the command in this process."""
    moment, *command = sys.argv[1:]
    counting = Counting(0 if moment == "ready" else int(moment))
    sqlite3.connect = counting.connect  # type: ignore[assignment]
    from soakwitness.cli.main import soakwitness
    from soakwitness.cli.options import entering  # noqa: F401 (loaded before the clock of a random kill runs)
    from soakwitness.cli.options.common import run_main

    if moment == "ready":
        import soakwitness.analysis.logbook.evidence  # noqa: F401

        print("ready", flush=True)
        sys.stdin.readline()
    sys.argv = ["soakwitness", *command]
    status = run_main(soakwitness)
    print(counting.count)
    sys.exit(status)


if __name__ == "__main__":
    main()
