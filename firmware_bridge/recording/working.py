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

    def submit(self, job: Job) -> int:
        """Take a job; it is done now or soon. Returns its number."""
        ...

    def wait(self, timeout_s: float, number: int | None = None) -> bool:
        """Wait until the job of a number is done, else every job, at most so long; return whether they are."""
        ...

    def close(self) -> None:
        """Take no more jobs; those that wait are not done."""
        ...


class AtOnce:
    """Does each job at once, in the caller's own time."""

    def submit(self, job: Job) -> int:
        """Do it."""
        job()
        return 0

    def wait(self, timeout_s: float, number: int | None = None) -> bool:
        """Nothing waits."""
        return True

    def close(self) -> None:
        """Nothing is left."""


class OneThread:
    """Does jobs in a thread of its own, which ends with the program also where a job never does."""

    def __init__(self) -> None:
        self._jobs: deque[Job] = deque()
        self._taken = 0
        self._done = 0
        self._changed = threading.Condition()
        self._closed = False
        self._raised: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="writing", daemon=True)
        self._thread.start()

    def submit(self, job: Job) -> int:
        """Take a job, which may come from another job."""
        with self._changed:
            self._tell()
            self._jobs.append(job)
            self._taken += 1
            self._changed.notify_all()
            return self._taken

    def wait(self, timeout_s: float, number: int | None = None) -> bool:
        """Wait until the job of a number is done, else every job, at most so long."""
        with self._changed:
            done = self._changed.wait_for(lambda: self._done >= (number or self._taken), timeout_s)
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
            with self._changed:
                self._done += 1
                self._changed.notify_all()

    def _next(self) -> Job | None:
        with self._changed:
            self._changed.wait_for(lambda: self._jobs or self._closed)
            if self._closed:
                return None
            return self._jobs.popleft()


def worker_for(clock: Clock) -> Worker:
    """A thread where time is the computer's own; a clock of its own kind knows nothing of how long a disk takes."""
    return OneThread() if isinstance(clock, RealClock) else AtOnce()
