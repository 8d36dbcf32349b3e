"""A lock that says who holds it and that ends with its process, however that ends."""

from __future__ import annotations

import contextlib
import json
import os
import stat
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.files import read_json, set_aside

RUN_LOCK = "recording.lock"  # in a run folder, held by whoever writes it
_MOST_BYTES = 1 << 16
_FAR = 1 << 30  # Windows locks bytes, not files: one that nobody reads


class LockHeld(RunFolderError):
    """Another process holds the lock. ``holder`` is what it wrote of itself."""

    def __init__(self, says: str, holder: Mapping[str, Any]) -> None:
        super().__init__(says)
        self.holder = dict(holder)


class Lock:
    """An advisory lock on a file, held until ``release`` or until the process ends.

    ``path``: the lock's file; it stays there after the release. ``about``: what the holder says of itself; the process
    number is added.

    Raises LockHeld if another process has it.
    """

    def __init__(self, path: Path, about: Mapping[str, Any] | None = None) -> None:
        self.path = path
        self._about = dict(about or {})
        self._file: BinaryIO | None = _open(path)
        if not _grab_within(self._file, 0.3):  # a look at who holds it takes it for a moment
            self._file.close()
            self._file = None
            holder = read_holder(path)
            raise LockHeld(f"{path.parent}: {holder_words(holder)} has it.", holder)
        self._file.truncate(0)
        self._file.write(json.dumps({"pid": os.getpid(), **(about or {})}).encode())
        self._file.flush()

    def renew(self) -> None:
        """Hold it under its name again where another program removed the file; does nothing where it is there."""
        with contextlib.suppress(OSError, RunFolderError):
            if self._file is not None and not os.path.lexists(self.path):
                again = Lock(self.path, {key: value for key, value in self._about.items() if key != "pid"})
                _let_go(self._file)
                self._file.close()
                self._file, again._file = again._file, None

    def release(self) -> None:
        """Let go; a second time does nothing."""
        if self._file is not None:
            with contextlib.suppress(OSError):
                self._file.truncate(0)
            _let_go(self._file)
            self._file.close()
            self._file = None


def is_held(path: Path) -> bool:
    """Whether a living process holds the lock."""
    if not path.exists():
        return False
    try:
        with open(path, "r+b") as file:
            free = _grab(file)
            if free:
                _let_go(file)
            return not free
    except OSError:
        return False


def read_holder(path: Path) -> dict[str, Any]:
    """What the holder wrote of itself; empty where nothing can be read."""
    try:
        found = read_json(path, _MOST_BYTES)
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def holder_words(holder: Mapping[str, Any]) -> str:
    """A holder in words: program, process and since when."""
    pid = holder.get("pid")
    who = str(holder.get("who", "another soakwitness"))
    words = f"{who}, process {pid}" if pid else who
    return words + (f", since {holder['since']}" if "since" in holder else "")


@contextlib.contextmanager
def short_lock(path: Path, *, wait_s: float = 10.0) -> Iterator[None]:
    """Hold a lock for a moment, waiting for others that do the same."""
    with _open(path) as file:
        if not _grab_within(file, wait_s):
            raise LockHeld(f"{path}: another soakwitness keeps it. Try again, or end the other one.", {})
        try:
            yield
        finally:
            _let_go(file)


def _open(path: Path) -> BinaryIO:
    """Open a lock's file, which is made where it is missing; what else stands in its place is set aside."""
    with contextlib.suppress(FileNotFoundError):
        if not stat.S_ISREG(path.lstat().st_mode):
            set_aside(path)
    return open(path, "a+b")


def _grab_within(file: BinaryIO, wait_s: float) -> bool:
    until = time.monotonic() + wait_s
    while not _grab(file):
        if time.monotonic() > until:
            return False
        time.sleep(0.01)
    return True


if sys.platform == "win32":
    import msvcrt

    def _grab(file: BinaryIO) -> bool:
        file.seek(_FAR)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            file.seek(0)
        return True

    def _let_go(file: BinaryIO) -> None:
        file.seek(_FAR)
        with contextlib.suppress(OSError):
            msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)
        file.seek(0)
else:
    import fcntl

    def _grab(file: BinaryIO) -> bool:
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _let_go(file: BinaryIO) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_UN)
