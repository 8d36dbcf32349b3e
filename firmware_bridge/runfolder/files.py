"""Every call by which a run folder reaches the disk, in one place that tests can make fail."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import BinaryIO

LEFT_FOR_S = 60.0  # no write of a small file takes so long


class Files:
    """The disk. All methods raise ``OSError``.

    A written byte is safe from a crash of the program at once, and from a power cut only after ``sync``. What was
    written before a failed ``sync`` may be lost although a second ``sync`` succeeds: write it again elsewhere.
    """

    def make_folder(self, path: Path) -> None:
        """Make a new folder; it must not exist."""
        path.mkdir()

    def open_new(self, path: Path) -> BinaryIO:
        """Open a new file for writing, without a buffer; it must not exist."""
        return open(path, "xb", buffering=0)

    def open_end(self, path: Path) -> BinaryIO:
        """Open a file of one's own for appending, without a buffer."""
        return open(path, "ab", buffering=0)

    def write(self, file: BinaryIO, data: bytes) -> None:
        """Hand all bytes to the system; a short write is gone on with until it ends or fails."""
        view = memoryview(data)
        while view:
            view = view[file.write(view) or 0 :]

    def sync(self, file: BinaryIO) -> None:
        """Bring a file to the disk itself."""
        os.fsync(file.fileno())

    def sync_folder(self, path: Path) -> None:
        """Bring a folder's names to the disk, where the system can."""
        if os.name == "nt":
            return
        number = os.open(path, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)

    def replace(self, source: Path, target: Path) -> None:
        """Give a file its final name, atomically."""
        os.replace(source, target)

    def remove(self, path: Path) -> None:
        """Remove a file that this process made."""
        path.unlink()


def write_whole(files: Files, path: Path, data: bytes) -> None:
    """Write a small file so that it is there whole or not at all, also after a power cut."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    with contextlib.suppress(FileNotFoundError):
        part.unlink()
    try:
        with files.open_new(part) as file:
            files.write(file, data)
            files.sync(file)
        files.replace(part, path)
    except OSError:
        with contextlib.suppress(OSError):
            files.remove(part)
        raise
    files.sync_folder(path.parent)
    _sweep(path)


def _sweep(path: Path) -> None:
    """Take away what earlier writes of this file left that were killed; a fresh one may be another process's."""
    with contextlib.suppress(OSError):
        for part in path.parent.glob(f".{path.name}.*.part"):
            if time.time() - part.stat().st_mtime > LEFT_FOR_S:
                part.unlink()
