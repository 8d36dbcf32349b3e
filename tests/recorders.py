"""The real commands in processes of their own, against the simulated furnace; nothing here sleeps."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from soakwitness.firmware_bridge.connecting.furnace_file import template

LONGEST_S = 120.0
MAIN = [sys.executable, "-c", "from soakwitness.cli.main import main; main()"]


def simulated_furnace(folder: Path) -> Path:
    """A furnace file of the simulated furnace."""
    path = folder / "furnace.toml"
    path.write_text(template("simulated"))
    return path


def run_for_real(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command to its end."""
    return subprocess.run([*MAIN, *words], capture_output=True, text=True, check=False, cwd=cwd)


class Recorder:
    """A command that runs: wait for words on its stderr, signal it, take what it said at the end."""

    def __init__(self, *words: str, cwd: Path) -> None:
        pipe = subprocess.PIPE
        self.child = subprocess.Popen([*MAIN, *words], stdout=pipe, stderr=pipe, text=True, cwd=cwd)
        self.heard: list[str] = []
        self.timer = threading.Timer(LONGEST_S, self.child.kill)  # a test that hangs fails
        self.timer.start()

    def wait_for(self, words: str) -> str:
        """Read stderr until a line has these words; return the line."""
        assert self.child.stderr is not None
        for line in self.child.stderr:
            self.heard.append(line)
            if words in line:
                return line
        raise AssertionError(f"{words!r} was not said, but: {''.join(self.heard)}")

    def end(self, number: int) -> tuple[int, list[str], str]:
        """Signal it and wait; return status, lines of stdout, rest of stderr."""
        self.child.send_signal(number)
        out, err = self.child.communicate(timeout=60)
        return self.child.returncode, out.splitlines(), err


@contextmanager
def recorder(*words: str, cwd: Path) -> Iterator[Recorder]:
    """A recorder that is killed where a test fails."""
    running = Recorder(*words, cwd=cwd)
    try:
        yield running
    finally:
        running.timer.cancel()
        if running.child.poll() is None:
            running.child.kill()
        running.child.communicate()


SHELL = """\
import fcntl, signal, subprocess, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
child = subprocess.Popen(sys.argv[1:], process_group=0)
signal.signal(signal.SIGTERM, lambda *_: child.terminate())
sys.exit(child.wait())
"""


class Terminal:
    """A command in a terminal of 100 columns: what it shows and what is typed.

    In the ``background`` it runs as a shell's ``command &`` does; ``child`` is that shell, which hands SIGTERM on.
    """

    def __init__(self, *words: str, cwd: Path, background: bool = False) -> None:
        import pty
        import termios

        self._ours, theirs = pty.openpty()
        termios.tcsetwinsize(theirs, (24, 100))
        command = [*([sys.executable, "-c", SHELL] if background else []), *MAIN, *words]
        self.child = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=cwd, start_new_session=background
        )
        os.close(theirs)
        self.shown = ""
        self._timer = threading.Timer(LONGEST_S, self.child.kill)
        self._timer.start()

    def wait_for(self, words: str) -> None:
        """Read until these words were shown since the last call."""
        while words not in self.shown:
            if self.shown.count("\r") > 60:  # as many sentences and it was not among them
                raise AssertionError(f"{words!r} was not shown, but: {self.shown!r}")
            try:
                data = os.read(self._ours, 4096)
            except OSError:
                data = b""
            if not data:
                raise AssertionError(f"{words!r} was not shown, but: {self.shown!r}")
            self.shown += data.decode()
        self.shown = self.shown.partition(words)[2]

    def type(self, keys: str) -> None:
        """Type."""
        os.write(self._ours, keys.encode())

    def close(self) -> None:
        """Kill what still runs and close the terminal."""
        self._timer.cancel()
        if self.child.poll() is None:
            self.child.kill()
        self.child.wait()
        os.close(self._ours)
