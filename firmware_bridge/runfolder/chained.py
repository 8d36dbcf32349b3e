"""Files of rows whose checksums continue each other, and how one tells that another program laid hands on one."""

from __future__ import annotations

import contextlib
import os
from array import array
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO, Literal

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.check import check_segment
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.line_format import header_crc, row_bytes

How = Literal["removed", "replaced", "changed"]
_AT_ONCE = 1 << 20
_BELIEVED = 3  # a disk that tells new times of files nobody wrote to is not asked for times again


class OwnFile:
    """A file that this program alone may write; it stays open, so that what was in it outlives its name."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self.path = path
        self.file = file
        self._strange_times = 0
        self._foreign = False
        self._state = self._now()

    def _now(self) -> tuple[int, int, int, int]:
        return _signs(os.fstat(self.file.fileno()))

    def how(self) -> How | None:
        """What another program did to it, None where nothing. Raises ``OSError`` where that cannot be told."""
        try:
            here = _signs(os.stat(self.path, follow_symlinks=False))
        except (FileNotFoundError, NotADirectoryError):
            return "removed"
        if here == self._state and not self._foreign:
            return None
        if here[:2] != self._state[:2]:
            return "replaced"
        return "changed" if self._foreign or here[2] != self._state[2] or self._content_differs() else None

    def _content_differs(self) -> bool:
        """Same size, another time: some disks change that by themselves, so the content decides."""
        if self._strange_times < _BELIEVED and not self.holds():
            return True
        self._strange_times += 1
        self._state = self._now()
        return False

    def holds(self) -> bool:
        """Whether the content is what it should be."""
        return True

    def before_writing(self) -> None:
        """Take note of what others did since the last write, before one's own hides it."""
        now = self._now()
        self._foreign |= now[2] != self._state[2] or (now[3] != self._state[3] and self._content_differs())

    def after_writing(self) -> None:
        """Take note of the state that one's own write left."""
        self._state = self._now()

    def close(self) -> None:
        """Close the file; not a promise that its bytes are on the disk."""
        with contextlib.suppress(OSError):
            self.file.close()


def _signs(state: os.stat_result) -> tuple[int, int, int, int]:
    return state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns


class TextFile(OwnFile):
    """A small file that is written once."""

    def __init__(self, path: Path, file: BinaryIO, data: bytes) -> None:
        super().__init__(path, file)
        self.data = data

    def holds(self) -> bool:
        """Whether the content is what was written."""
        with contextlib.suppress(OSError):
            return self.path.read_bytes() == self.data
        return False


class ChainedFile(OwnFile):
    """A file of rows whose checksums continue each other. Methods raise ``OSError``; then the file is given up.

    ``rows`` counts the good ones that it should hold, ``times`` lists when they were taken where that is known [s];
    ``bad`` counts those that did not hold when it was opened.
    """

    def __init__(
        self, files: Files, path: Path, file: BinaryIO, crc: int, *, header: bytes, rows: int = 0, bad: int = 0
    ) -> None:
        super().__init__(path, file)
        self.rows = rows
        self._bad = bad
        self.times = array("d")
        self._header = header
        self._files = files
        self._crc = crc
        self._unsynced = True

    @classmethod
    def new(cls, files: Files, path: Path, header: bytes) -> ChainedFile:
        """Make a new file with its header; it must not exist."""
        file = files.open_new(path)
        try:
            files.write(file, header)
            files.sync_folder(path.parent)
        except BaseException:
            file.close()
            with contextlib.suppress(OSError):
                files.remove(path)
            raise
        return cls(files, path, file, header_crc(header), header=header)

    @classmethod
    def old(cls, files: Files, path: Path, header: bytes) -> ChainedFile:
        """A segment that is written no more, watched over all the same. Raises RunFolderError too."""
        found = check_segment(path, header)
        file = open(path, "rb")  # noqa: SIM115 (held open on purpose)
        return cls(files, path, file, found.last_crc, header=header, rows=found.rows, bad=len(found.bad))

    @property
    def crc(self) -> int:
        """Checksum that the next row continues."""
        return self._crc

    def holds(self) -> bool:
        """Whether the rows go on to the checksum that the last one was given."""
        with contextlib.suppress(OSError, RunFolderError):
            found = check_segment(self.path, self._header)
            return found.last_crc == self._crc and len(found.bad) == self._bad
        return False

    def write(self, body: bytes, t_s: float | None = None) -> bytes:
        """Append one row; ``t_s`` is noted as the time it was taken. Returns its bytes."""
        row, crc = row_bytes(body, self._crc)
        self._unsynced = True
        self.before_writing()
        try:
            self._files.write(self.file, row)
        finally:
            self.after_writing()
        self._crc = crc
        self.rows += 1
        if t_s is not None:
            self.times.append(t_s)
        return row

    def write_many(self, bodies: Iterable[bytes]) -> int:
        """Append many rows; return how many."""
        self._unsynced = True
        crc = self._crc
        count = size = 0
        waiting: list[bytes] = []
        for body in bodies:
            row, crc = row_bytes(body, crc)
            waiting.append(row)
            count += 1
            size += len(row)
            if size > _AT_ONCE:
                self._files.write(self.file, b"".join(waiting))
                waiting.clear()
                size = 0
        self._files.write(self.file, b"".join(waiting))
        self.after_writing()
        self._crc = crc
        self.rows += count
        return count

    def sync(self) -> None:
        """Bring all rows to the disk itself, where there are new ones."""
        if self._unsynced:
            self._files.sync(self.file)
            self._unsynced = False
