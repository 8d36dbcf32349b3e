"""Disks that take their time, on a clock that passes only when somebody waits."""

from __future__ import annotations

import random
from collections import deque
from pathlib import Path
from typing import BinaryIO

from soakwitness.firmware_bridge.recording.working import Job
from tests.fakes import FakeClock, PowerCutFiles


class SlowFiles(PowerCutFiles):
    """Each fsync takes ``sync_s``; a power cut loses what no sync that was over had brought to the disk."""

    def __init__(self, clock: FakeClock, sync_s: float, chance: random.Random | None = None) -> None:
        super().__init__(chance or random.Random(1))
        self.clock = clock
        self.sync_s = sync_s
        self.cost_s = 0.0
        self.syncs = 0
        self._done: list[tuple[float, Path, int]] = []

    def sync(self, file: BinaryIO) -> None:
        self.syncs += 1
        self.cost_s += self.sync_s
        path = self._paths[id(file)]
        self._done.append((self.clock.now_s + self.cost_s, path, path.stat().st_size))

    def sync_folder(self, path: Path) -> None:
        self.cost_s += self.sync_s

    def replace(self, source: Path, target: Path) -> None:
        super().replace(source, target)
        self._done = [(at_s, target if path == source else path, size) for at_s, path, size in self._done]

    def cut(self) -> None:
        for at_s, path, size in self._done:
            if at_s <= self.clock.now_s and path in self._synced:
                self._synced[path] = size
        super().cut()


class SlowWorker:
    """Does jobs one after the other, each as long as its files say, while the sampler's time goes on."""

    def __init__(self, clock: FakeClock, files: SlowFiles) -> None:
        self._clock = clock
        self._files = files
        self._jobs: deque[Job] = deque()
        self._taken = 0
        self._over_s: list[float] = []  # when each job that was begun is over
        self._at_work = False

    def submit(self, job: Job) -> int:
        self._jobs.append(job)
        self._taken += 1
        self._go_on()
        return self._taken

    def _done(self, number: int) -> bool:
        return len(self._over_s) >= number and (number == 0 or self._over_s[number - 1] <= self._clock.now_s)

    def wait(self, timeout_s: float, number: int | None = None) -> bool:
        until_s = self._clock.now_s + timeout_s
        self._go_on()
        while not self._done(number or self._taken):
            if self._busy_until_s > until_s:
                self._clock.now_s = until_s
                return False
            self._clock.now_s = self._busy_until_s
            self._go_on()
        return True

    def close(self) -> None:
        self._jobs.clear()

    @property
    def _busy_until_s(self) -> float:
        return self._over_s[-1] if self._over_s else -float("inf")

    def _go_on(self) -> None:
        while self._jobs and not self._at_work and self._busy_until_s <= self._clock.now_s:
            self._files.cost_s = 0.0
            self._at_work = True
            try:
                self._jobs.popleft()()
            finally:
                self._at_work = False
            self._over_s.append(self._clock.now_s + self._files.cost_s)
