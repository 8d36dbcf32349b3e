"""The log book's list of runs in step with the run folders, without looking through them at every page."""

from __future__ import annotations

import os
import threading
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.record.moments import Stamp

APART_S = 5.0


class InStep:
    """Looks through the run folders at most every few seconds, and at once where a folder came or went."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._seen: tuple[int, float] = (0, -APART_S)

    def look(self, book: LogBook, stamp: Stamp) -> None:
        """Take in what is new; called in the thread that opened the book."""
        from soakwitness.analysis.logbook.charges import bind_waiting
        from soakwitness.analysis.logbook.run_loads import bind_loads
        from soakwitness.analysis.logbook.runs import take_in

        with self._lock:
            written, now_s = os.stat(book.runs_folder).st_mtime_ns, time.monotonic()
            if written == self._seen[0] and now_s - self._seen[1] < APART_S:
                return
            taken = take_in(book, stamp=stamp)
            self._seen = (written, now_s)
            if taken.new or taken.changed:
                bind_waiting(book, stamp=stamp)
                bind_loads(book, stamp=stamp)
