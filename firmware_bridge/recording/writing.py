"""The disk's side of a recording: rows and events through any trouble, in the one thread that may wait for a disk.

Every row is handed to the system at once and counts as unsafe until an fsync after it was good. When anything fails,
nothing of what was written since the last good fsync is trusted: a new sample segment is opened and all of it is
written again; the reader takes a repeated time once. The newest two hours stay in memory: what the disk did not take,
and what another program overwrote, is written again from there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

MOST_EVENTS = 5_000


class Writing:
    """Writes one run. No method raises because of the disk; ``trouble`` says what is wrong with it now.

    ``changed`` gets one sentence for each thing that another program did to the files; who tells it takes it out.
    """

    def __init__(self, make: Callable[[], RunFolder], clock: Clock, most_rows: int) -> None:
        self._make = make
        self._clock = clock
        self._most_rows = most_rows
        self._rows: deque[bytes] = deque()  # the newest, oldest first
        self._events: deque[bytes] = deque()  # not known to be on the disk
        self.unsafe_rows = 0  # so many at the end of them
        self.lost_rows = 0
        self.synced_s = self.tried_s = clock.monotonic()
        self.folder: RunFolder | None = None
        self.trouble: str | None = None
        self.trouble_since_s: float | None = None
        self.changed: deque[str] = deque()

    def open(self) -> None:
        """Make or reopen the run folder."""
        self._attempt(self._open)

    def row(self, body: bytes) -> None:
        """Write one row."""
        self._rows.append(body)
        self.unsafe_rows += 1
        if len(self._rows) > self._most_rows:
            self._rows.popleft()
            self.lost_rows += self.unsafe_rows > len(self._rows)
            self.unsafe_rows = min(self.unsafe_rows, len(self._rows))
        folder = self.folder
        if self.trouble is None and folder is not None:
            self._attempt(lambda: folder.write_body(body))

    def event(self, body: bytes) -> None:
        """Write one event."""
        self._events.append(body)
        if len(self._events) > MOST_EVENTS:
            self._events.popleft()
        folder = self.folder
        if self.trouble is None and folder is not None:
            self._attempt(lambda: folder.write_event_body(body))

    def look(self) -> None:
        """See whether another program laid hands on the files, and write again what can be had."""
        if self.trouble is None:
            self._attempt(self._mend)

    def save(self) -> bool:
        """Bring everything to the disk now, after trouble in new places; return whether it is there."""
        self.tried_s = self._clock.monotonic()
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

    def _mend(self) -> None:
        if self.folder is not None and (harms := self.folder.harmed()):
            self.changed.extend(self.folder.mend(harms, self._rows))

    def _again(self) -> None:
        """Write all that is not known to be on the disk, in new places."""
        self._open()
        assert self.folder is not None
        self._mend()
        self.folder.new_segment()
        try:
            for body in list(self._rows)[len(self._rows) - self.unsafe_rows :]:
                self.folder.write_body(body)
            self.folder.renew_events(tuple(self._events))
            self._sync()
        except OSError:
            self.folder.drop_segment()
            raise

    def _sync(self) -> None:
        if self.folder is None:
            return
        began_s = self._clock.monotonic()
        self.folder.sync()
        self._mend()  # rows are forgotten only where they are seen to be
        self.unsafe_rows = 0
        self._events.clear()
        self.synced_s = began_s

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
