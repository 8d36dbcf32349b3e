"""Every call by which a run folder reaches the disk, in one place that tests can make fail; and how it is read.

What is read may be anything that somebody put there: a pipe would hang its reader, an endless device fill it.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import stat
import time
from io import BufferedReader
from pathlib import Path
from typing import Any, BinaryIO

from soakwitness.firmware_bridge.common.jsontext import from_json

_NOT_FOR_FOLDERS = (errno.EINVAL, errno.ENOTSUP, errno.EBADF)  # disks that know no fsync of folders
SMALL_BYTES = 16 << 20  # more than any file of ours that is read whole

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
        """Open a new file for writing, without a buffer; it must not exist. What was written can be read back."""
        return open(path, "x+b", buffering=0)

    def open_end(self, path: Path) -> BinaryIO:
        """Open a file of one's own for appending, without a buffer. What was written can be read back."""
        return open(path, "a+b", buffering=0)

    def write(self, file: BinaryIO, data: bytes) -> None:
        """Hand all bytes to the system; a short write is gone on with until it ends or fails."""
        view = memoryview(data)
        while view:
            view = view[file.write(view) or 0 :]

    def sync(self, file: BinaryIO) -> None:
        """Bring a file to the disk itself."""
        os.fsync(file.fileno())

    def sync_folder(self, path: Path) -> None:
        """Bring a folder's names to the disk, where system and disk can."""
        if os.name == "nt":
            return
        number = os.open(path, os.O_RDONLY)
        try:
            os.fsync(number)
        except OSError as error:
            if error.errno not in _NOT_FOR_FOLDERS:
                raise
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


def open_regular(path: Path) -> BufferedReader:
    """Open a plain file for reading, or what a link to one names; ``OSError`` for a pipe, a device or a folder."""
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        if not stat.S_ISREG(os.fstat(number).st_mode):
            raise OSError(errno.EINVAL, "it is no plain file", str(path))
        return open(number, "rb")
    except BaseException:
        os.close(number)
        raise


def read_small(path: Path, most: int = SMALL_BYTES) -> bytes:
    """All bytes of a plain file; ``OSError`` where it is none, or larger than a file of this kind can be."""
    with open_regular(path) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it has over {most:,} bytes", str(path))
    return data


def set_aside(path: Path, ending: str = "unreadable") -> Path:
    """Give what cannot be read or is not ours another name in its folder, whatever it is; nothing is written over."""
    aside, number = path.with_name(f"{path.name}.{ending}"), 1
    while os.path.lexists(aside):
        number += 1
        aside = path.with_name(f"{path.name}.{ending}-{number}")
    os.rename(path, aside)
    return aside


def read_json(path: Path, most: int = SMALL_BYTES) -> Any:
    """What a small JSON file says; ``OSError`` where it cannot be read, ``ValueError`` where it is not sound."""
    try:
        said = from_json(read_small(path, most))
        json.dumps(said, ensure_ascii=False).encode()  # a lone surrogate can be read, and written nowhere
    except RecursionError:
        raise ValueError("its brackets are nested too deep") from None
    return said
