"""The sampler's side of a run folder: rows and events are handed over to who writes them, and nothing waits long."""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.working import Worker, worker_for
from soakwitness.firmware_bridge.recording.writing import MOST_EVENTS, Writing
from soakwitness.firmware_bridge.runfolder.line_format import Value, event_body, sample_body, utc_text
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

SYNC_EVERY_S = 4.0  # a power cut loses at most 5 s, and what a slow disk was bringing in
LOOK_EVERY_S = 0.7  # another program's hands are noticed within a second
TRY_EVERY_S = 3.0
FRESH_S, TRY_LATER_S = 60.0, 15.0  # a disk that stays away is not written full of tries
WAIT_SHARE = 0.2  # of a period: so long the sampler waits for its row
ANSWER_S = 60.0  # so long an end waits for a disk that does not answer
HELD_S = 7200.0
MOST_ROWS = 100_000


class Keeper:
    """Keeps one run, written by ``worker``. No method raises because of the disk; ``trouble`` says what is wrong.

    ``make``: makes or reopens the run folder; may raise RunFolderError or OSError, and is tried again then.
    ``last_t_s``: time of the last row that a resumed run has [s]. ``worker``: who writes; by the clock where none is
    given.
    """

    def __init__(
        self,
        make: Callable[[], RunFolder],
        columns: tuple[str, ...],
        every_s: float,
        clock: Clock,
        *,
        last_t_s: float | None = None,
        worker: Worker | None = None,
    ) -> None:
        self._columns = columns
        self._every_s = every_s
        self._clock = clock
        self._most_rows = min(MOST_ROWS, max(1, round(HELD_S / every_s)))
        self._last_t_s = last_t_s
        self._waiting: deque[tuple[bool, bytes]] = deque()  # whether a row or an event, and its body
        self._waiting_rows = 0
        self._dropped_rows = 0
        self._emptied_s = clock.monotonic()  # when last nothing waited
        self._asked: set[str] = set()
        self._lock = threading.Lock()  # of what both sides change
        self._handed_over = False
        self._to_remove: set[Path] = set()
        self._looked_s = clock.monotonic()
        self._writing = Writing(make, clock, self._most_rows)
        self._worker = worker or worker_for(clock)
        self.rows = 0
        self.behind_since_s: float | None = None  # since when rows wait for the disk longer than the sampler does
        self._number = 0
        self._hand_over("open")

    @property
    def folder(self) -> RunFolder | None:
        """The run folder, None where none could be made yet."""
        return self._writing.folder

    @property
    def trouble(self) -> str | None:
        """What is wrong with the disk."""
        return self._writing.trouble

    @property
    def trouble_since_s(self) -> float | None:
        """Since when on the steady clock [s]."""
        return self._writing.trouble_since_s

    @property
    def waiting_rows(self) -> int:
        """Rows that wait for a disk that is busy."""
        return self._waiting_rows

    @property
    def silent_s(self) -> float:
        """For how long the disk has taken nothing of what waits for it [s]."""
        with self._lock:
            return self._clock.monotonic() - self._emptied_s if self._waiting else 0.0

    @property
    def held_rows(self) -> int:
        """Rows that are in memory only, as far as can be trusted."""
        return self._waiting_rows + (self._writing.unsafe_rows if self.trouble else 0)

    @property
    def lost_rows(self) -> int:
        """Rows that were taken and are neither on the disk nor in memory."""
        return self._writing.lost_rows + self._dropped_rows

    @property
    def to_remove(self) -> frozenset[Path]:
        """Files that go once all that was entered from them is on the disk."""
        with self._lock:
            return frozenset(self._to_remove)

    def row(self, t_s: float, utc_s: float, values: Mapping[str, Value]) -> bool:
        """Keep one row; one whose time does not rise by a millisecond is refused (False)."""
        t_s = round(t_s, 3)
        if self._last_t_s is not None and t_s <= self._last_t_s:
            return False
        self._last_t_s = t_s
        self.rows += 1
        self._put(True, sample_body(t_s, utc_text(utc_s), self._columns, values))
        return True

    def event(self, t_s: float, utc_s: float, event: str, detail: str = "") -> None:
        """Keep one event."""
        self._put(False, event_body(t_s, utc_text(utc_s), event, detail))

    def wait(self) -> None:
        """Wait a moment for what was handed over, so that a kill of the program loses nothing."""
        if self._worker.wait(WAIT_SHARE * self._every_s, self._number):
            self.behind_since_s = None
        elif self.behind_since_s is None:
            self.behind_since_s = self._clock.monotonic()

    def tend(self) -> None:
        """Sync when it is time, and try again after trouble. To be called at least once a second."""
        now_s, writing = self._clock.monotonic(), self._writing
        if writing.trouble is not None:
            fresh = now_s - (writing.trouble_since_s or now_s) < FRESH_S
            if now_s - writing.tried_s >= (TRY_EVERY_S if fresh else TRY_LATER_S):
                self._hand_over("save")
        elif now_s - writing.synced_s >= SYNC_EVERY_S:
            self._hand_over("save")
        elif now_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = now_s
            self._hand_over("look")

    def save(self) -> bool:
        """Bring everything to the disk now; return whether it is there."""
        self.save_soon()
        return self.settle() and self.trouble is None

    def save_soon(self) -> None:
        """Let everything be brought to the disk, without waiting for it."""
        self._hand_over("save")

    def settle(self) -> bool:
        """Wait until everything is done that was handed over; False where the disk does not answer at all."""
        return self._worker.wait(ANSWER_S)

    def remove_once_kept(self, paths: Iterable[Path]) -> None:
        """Remove files when all that was entered so far is on the disk itself."""
        with self._lock:
            self._to_remove |= set(paths)
        if self._to_remove and self.trouble is None:
            self._hand_over("save")

    def changes(self) -> list[str]:
        """What another program did to the files since the last call, a sentence each."""
        found = []
        while self._writing.changed:
            found.append(self._writing.changed.popleft())
        return found

    def close(self) -> None:
        """Close the files without a seal."""
        self.settle()
        self._worker.close()
        self._writing.close()

    def _put(self, is_row: bool, body: bytes) -> None:
        with self._lock:
            if not self._waiting:
                self._emptied_s = self._clock.monotonic()
            self._waiting.append((is_row, body))
            self._waiting_rows += is_row
            if len(self._waiting) > self._most_rows + MOST_EVENTS:
                was_row, _ = self._waiting.popleft()
                self._waiting_rows -= was_row
                self._dropped_rows += was_row
        self._hand_over()

    def _hand_over(self, *what: str) -> None:
        """Ask the worker for something beside writing what waits; it does all that was asked for at once."""
        with self._lock:
            self._asked |= set(what)
            if self._handed_over:
                return
            self._handed_over = True
        self._number = self._worker.submit(self._write)

    def _write(self) -> None:
        """The worker's part: write what waits; what takes longer is a job of its own, which no row is waited for."""
        with self._lock:
            self._handed_over = False
            asked, self._asked = self._asked, set()
        if "open" in asked:
            self._writing.open()
        self._write_waiting()
        due = self.trouble is None and self._clock.monotonic() - self._writing.synced_s >= SYNC_EVERY_S
        if due or "save" in asked:
            self._worker.submit(self._save)
        elif "look" in asked:
            self._writing.look()

    def _save(self) -> None:
        with self._lock:
            entered = list(self._to_remove)
        self._write_waiting()
        if self._writing.save():
            self._remove(entered)

    def _write_waiting(self) -> None:
        while True:
            with self._lock:
                if not self._waiting:
                    self._emptied_s = self._clock.monotonic()
                    return
                is_row, body = self._waiting.popleft()
                self._waiting_rows -= is_row
            if is_row:
                self._writing.row(body)
            else:
                self._writing.event(body)

    def _remove(self, paths: Iterable[Path]) -> None:
        for path in paths:
            with contextlib.suppress(OSError):
                path.unlink()
        with self._lock:
            self._to_remove -= {path for path in paths if not path.exists()}
