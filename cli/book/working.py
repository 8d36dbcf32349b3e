"""The server's side of the worker: a process that is started when there is work, and ends by itself without."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.common.wording import duration

LONGEST_S = 600.0
LONGEST_LINE = 16 << 20


class JobRefused(Exception):
    """The job was refused, in the words of the command behind it."""


class WorkerProcess:
    """One job at a time; a worker that died is started anew."""

    def __init__(self, logbook: Path) -> None:
        self._words = [sys.executable, "-m", "soakwitness.cli.book_work.worker", "--logbook", str(logbook.absolute())]
        self._child: asyncio.subprocess.Process | None = None
        self._turn = asyncio.Lock()
        self._id = 0

    async def ask(self, job: str, *, progress: Callable[[int, int], None] | None = None, **about: Any) -> Any:
        """Have a job of ``book_work/jobs.py`` done, and return what it found.

        ``progress`` is called with how much is done, of how much. Raises JobRefused with the words of the refusal.
        """
        async with self._turn:
            for attempt in range(2):
                try:
                    return await asyncio.wait_for(self._ask(job, about, progress), LONGEST_S)
                except (OSError, EOFError) as error:  # it ended, by itself or by a fault
                    await self.leave()
                    if attempt:
                        raise JobRefused(f"The worker ended before it was done ({error}).") from None
                except TimeoutError:
                    await self.leave()
                    raise JobRefused(f"{job}: not done within {duration(LONGEST_S)}.") from None
                except asyncio.CancelledError:
                    self.stop()  # what it is at belongs to nobody now
                    raise
            return None

    async def _ask(self, job: str, about: dict[str, Any], progress: Callable[[int, int], None] | None) -> Any:
        child = await self._running()
        assert child.stdin is not None
        assert child.stdout is not None
        self._id += 1
        child.stdin.write(json.dumps({**about, "id": self._id, "do": job}).encode() + b"\n")
        await child.stdin.drain()
        while line := await child.stdout.readline():
            said = json.loads(line)
            if said.get("id") != self._id:
                continue
            if "progress" in said:
                if progress is not None:
                    progress(*said["progress"])
            elif "refused" in said:
                raise JobRefused(str(said["refused"]))
            else:
                return said.get("done")
        raise EOFError("its answer is not whole")

    async def _running(self) -> asyncio.subprocess.Process:
        if self._child is None or self._child.returncode is not None:
            self._child = await asyncio.create_subprocess_exec(
                *self._words,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.DEVNULL,
                limit=LONGEST_LINE,
            )
        return self._child

    async def leave(self) -> None:
        """End it, and wait until it has."""
        self.stop()
        if self._child is not None:
            child, self._child = self._child, None
            await child.wait()
            child._transport.close()  # type: ignore[attr-defined] # else its pipes outlive the loop

    def stop(self) -> None:
        """End it."""
        if self._child is not None and self._child.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                self._child.kill()
