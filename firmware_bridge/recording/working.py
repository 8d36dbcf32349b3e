"""Who does the work that a disk may hold up: a thread of its own, so that no reading waits for a slow card."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Protocol

from soakwitness.firmware_bridge.recording.clocks import Clock, RealClock

LEAVE_S = 5.0  # so long a thread is waited for that has nothing more to do

Job = Callable[[], None]


class Worker(Protocol):
    """Does jobs one after the other. What a job raises is raised to whoever hands over or waits next."""

    def submit(self, job: Job) -> None:
        """Take a job; it is done now or soon."""
        ...

    def wait(self, timeout_s: float | None) -> bool:
        """Wait until every job is done, at most so long; return whether they are."""
        ...

    def close(self) -> None:
        """Take no more jobs; those that wait are not done."""
        ...


class AtOnce:
    """Does each job at once, in the caller's own time."""

    def submit(self, job: Job) -> None:
        """Do it."""
        job()

    def wait(self, timeout_s: float | None) -> bool:
        """Nothing waits."""
        return True

    def close(self) -> None:
        """Nothing is left."""


class OneThread:
    """Does jobs in a thread of its own, which ends with the program also where a job never does."""

    def __init__(self) -> None:
        self._jobs: deque[Job] = deque()
        self._changed = threading.Condition()
        self._busy = False
        self._closed = False
        self._raised: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="writing", daemon=True)
        self._thread.start()

    def submit(self, job: Job) -> None:
        """Take a job."""
        with self._changed:
            self._tell()
            self._jobs.append(job)
            self._changed.notify_all()

    def wait(self, timeout_s: float | None) -> bool:
        """Wait until every job is done, at most so long."""
        with self._changed:
            done = self._changed.wait_for(lambda: not self._jobs and not self._busy, timeout_s)
            self._tell()
            return done

    def close(self) -> None:
        """End the thread."""
        with self._changed:
            self._closed = True
            self._jobs.clear()
            self._changed.notify_all()
        self._thread.join(LEAVE_S)

    def _tell(self) -> None:
        if self._raised is not None:
            raised, self._raised = self._raised, None
            raise raised

    def _run(self) -> None:
        while (job := self._next()) is not None:
            try:
                job()
            except BaseException as error:
                self._raised = error

    def _next(self) -> Job | None:
        with self._changed:
            self._busy = False
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._jobs or self._closed)
            if self._closed:
                return None
            self._busy = True
            return self._jobs.popleft()


def worker_for(clock: Clock) -> Worker:
    """A thread where time is the computer's own; a clock of its own kind knows nothing of how long a disk takes."""
    return OneThread() if isinstance(clock, RealClock) else AtOnce()
