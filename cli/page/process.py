"""The recorder's side of the live page: starts the serving process and hands it what is new, never waiting for it."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from typing import Any

DEFAULT_PORT = 8431


class PageProcess:
    """A child process that serves the page. A state that does not fit into the pipe is dropped, never waited for.

    ``lan``: listen on the workshop network too, behind a link that opens one browser.
    """

    def __init__(self, *, port: int = DEFAULT_PORT, lan: bool = False) -> None:
        words = [sys.executable, "-m", "soakwitness.cli.page.server", "--port", str(port)]
        self._child = subprocess.Popen(
            [*words, *(["--lan"] if lan else [])], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=False
        )
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        self.address = self._child.stdout.readline().decode().strip()
        os.set_blocking(self._child.stdin.fileno(), False)
        self._waiting = b""
        self.dropped = 0

    @property
    def running(self) -> bool:
        """Whether the serving process is there and said where it serves."""
        return bool(self.address) and self._child.poll() is None

    def send(self, state: dict[str, Any]) -> None:
        """Hand over the newest state (see ``server.py`` for its keys); returns at once, whatever the browsers do."""
        if self._child.poll() is not None:
            return
        if self._waiting:
            self._push()
        if self._waiting:
            self.dropped += 1
            return
        self._waiting = json.dumps(state, allow_nan=False).encode() + b"\n"
        self._push()

    def _push(self) -> None:
        assert self._child.stdin is not None
        with contextlib.suppress(BlockingIOError, BrokenPipeError):
            written = os.write(self._child.stdin.fileno(), self._waiting)
            self._waiting = self._waiting[written:]

    def stop(self) -> None:
        """Close the pipe; the child ends by itself."""
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        try:
            self._child.wait(timeout=3)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
