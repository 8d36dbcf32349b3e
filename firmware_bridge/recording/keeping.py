"""Keeps rows and events through any trouble of the disk.

Every row is handed to the system at once and stays in memory until an fsync after it was good. When anything fails,
nothing of what was written since the last good fsync is trusted: a new sample segment is opened and all of it is
written again; the reader takes a repeated time once. While the disk stays away, memory holds the last two hours.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.runfolder.line_format import Value, event_body, sample_body, utc_text
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

SYNC_EVERY_S = 4.0  # at most 5 s may be lost to a power cut
TRY_EVERY_S = 3.0
FRESH_S, TRY_LATER_S = 60.0, 15.0  # a disk that stays away is not written full of tries
HELD_S = 7200.0
MOST_ROWS = 100_000
MOST_EVENTS = 5_000


class Keeper:
    """Writes one run. No method raises because of the disk; ``trouble`` says what is wrong with it now.

    ``make``: makes or reopens the run folder; may raise RunFolderError or OSError, and is tried again then.
    ``last_t_s``: time of the last row that a resumed run has [s].
    """

    def __init__(
        self,
        make: Callable[[], RunFolder],
        columns: tuple[str, ...],
        every_s: float,
        clock: Clock,
        *,
        last_t_s: float | None = None,
    ) -> None:
        self._make = make
        self._columns = columns
        self._clock = clock
        self._most_rows = min(MOST_ROWS, max(1, round(HELD_S / every_s)))
        self._rows: deque[bytes] = deque()
        self._events: deque[bytes] = deque()
        self._synced_s = self._tried_s = clock.monotonic()
        self._last_t_s = last_t_s
        self.folder: RunFolder | None = None
        self.trouble: str | None = None
        self.trouble_since_s: float | None = None
        self.rows = 0
        self.lost_rows = 0
        self._attempt(self._open)

    @property
    def held_rows(self) -> int:
        """Rows that are in memory only, as far as can be trusted."""
        return len(self._rows) if self.trouble else 0

    def row(self, t_s: float, utc_s: float, values: Mapping[str, Value]) -> bool:
        """Keep one row; one whose time does not rise by a millisecond is refused (False)."""
        t_s = round(t_s, 3)
        if self._last_t_s is not None and t_s <= self._last_t_s:
            return False
        body = sample_body(t_s, utc_text(utc_s), self._columns, values)
        self._last_t_s = t_s
        self.rows += 1
        self._rows.append(body)
        if len(self._rows) > self._most_rows:
            self._rows.popleft()
            self.lost_rows += 1
        if self.trouble is None and self.folder is not None:
            folder = self.folder
            self._attempt(lambda: folder.write_body(body))
        return True

    def event(self, t_s: float, utc_s: float, event: str, detail: str = "") -> None:
        """Keep one event."""
        body = event_body(t_s, utc_text(utc_s), event, detail)
        self._events.append(body)
        if len(self._events) > MOST_EVENTS:
            self._events.popleft()
        if self.trouble is None and self.folder is not None:
            folder = self.folder
            self._attempt(lambda: folder.write_event_body(body))

    def tend(self) -> None:
        """Sync when it is time, and try again after trouble. To be called at least once a second."""
        now_s = self._clock.monotonic()
        if self.trouble is not None:
            fresh = now_s - (self.trouble_since_s or now_s) < FRESH_S
            if now_s - self._tried_s >= (TRY_EVERY_S if fresh else TRY_LATER_S):
                self.save()
        elif now_s - self._synced_s >= SYNC_EVERY_S:
            self.save()

    def save(self) -> bool:
        """Bring everything to the disk now; return whether it is there."""
        self._tried_s = self._clock.monotonic()
        if self.trouble is None:
            return self._attempt(self._sync)
        was, since_s = self.trouble, self.trouble_since_s
        self.trouble = None
        if self._attempt(self._again):
            self.trouble_since_s = None
            return True
        self.trouble, self.trouble_since_s = self.trouble or was, since_s
        return False

    def close(self) -> None:
        """Close the files without a seal."""
        if self.folder is not None:
            self.folder.close()

    def _open(self) -> None:
        if self.folder is None:
            self.folder = self._make()

    def _again(self) -> None:
        """Write all that is not known to be on the disk, in new places."""
        if self.folder is None:
            self._open()
        assert self.folder is not None
        self.folder.new_segment()
        try:
            for body in self._rows:
                self.folder.write_body(body)
            self.folder.renew_events(tuple(self._events))
            self._sync()
        except OSError:
            self.folder.drop_segment()
            raise

    def _sync(self) -> None:
        if self.folder is None:
            return
        self.folder.sync()
        self._rows.clear()
        self._events.clear()
        self._synced_s = self._clock.monotonic()

    def _attempt(self, work: Callable[[], None]) -> bool:
        try:
            work()
        except (OSError, RunFolderError) as error:
            text = getattr(error, "strerror", None) or str(error)
            self.trouble = text[:1].lower() + text[1:].rstrip(".")
            if self.trouble_since_s is None:
                self.trouble_since_s = self._clock.monotonic()
            return False
        return True
