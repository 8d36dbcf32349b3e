"""Row by row: which bytes of a sample segment or of ``events.csv`` hold whole good rows."""

from __future__ import annotations

import sys
from array import array
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO
from zlib import crc32

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import BadRow
from soakwitness.firmware_bridge.runfolder.files import open_regular
from soakwitness.firmware_bridge.runfolder.line_format import CELL_LENGTH, header_crc

_HEX = frozenset(b"0123456789abcdef")
_LONGEST_HEADER = 1 << 20
_AT_ONCE = 1 << 19
_TAIL = CELL_LENGTH - 1  # the checksum cell and its comma, without the line feed
NOT_CONTINUED = "its checksum does not hold: it was changed, or a row before it was lost, repeated or moved"
NO_CHECKSUM = "it does not end in a checksum of eight lower-case hex digits"
FOREIGN_LINE_END = "its line end was changed by another program"


@dataclass
class SegmentCheck:
    """What one file holds: runs of good rows as (start, stop, rows), bad rows, and its tail.

    ``last_crc`` is the checksum that a further row would continue; ``whole`` counts the bytes up to the last line feed.
    """

    path: Path
    last_crc: int
    good: list[tuple[int, int, int]] = field(default_factory=list)
    bad: list[BadRow] = field(default_factory=list)
    torn: bool = False
    whole: int = 0

    @property
    def rows(self) -> int:
        """Number of good rows."""
        return sum(rows for _, _, rows in self.good)

    def add_good(self, start: int, stop: int, rows: int) -> None:
        """Note good rows, joined to those right before them."""
        if self.good and self.good[-1][1] == start:
            start, _, before = self.good.pop()
            rows += before
        self.good.append((start, stop, rows))


def check_segment(path: Path, header: bytes) -> SegmentCheck:
    """Check every row of a file that should begin with ``header``.

    A row holds if it continues the stored or the computed checksum before it: a flipped bit spoils its own row only; a
    lost, repeated or moved row shows in the row after it. A last row whose checksum holds but whose line feed is
    missing is good, and the tail is called torn all the same.

    Raises RunFolderError if the file cannot be read.
    """
    try:
        with open_regular(path) as file:
            return check_file(path, file, header)
    except OSError as error:
        raise RunFolderError(f"{path} cannot be read: {error.strerror or error}.") from None


def check_file(path: Path, file: BinaryIO, header: bytes) -> SegmentCheck:
    """Check every row of a file that is open at its beginning, whose name may be gone. Raises ``OSError``."""
    found = SegmentCheck(path, header_crc(header))
    first = file.readline(_LONGEST_HEADER)
    if _header_holds(found, file, first, header):
        _CheckedRows(found, len(first)).read(file)
    return found


def _header_holds(found: SegmentCheck, file: BinaryIO, first: bytes, header: bytes) -> bool:
    """Whether the rows below stand under the header that is expected, were its own bytes damaged or not."""
    found.whole = len(first) if first.endswith(b"\n") else 0
    if first == header:
        return True
    place = file.tell()
    row = file.readline()
    file.seek(place)
    if not row and header.startswith(first):
        found.torn = True
        return False
    found.bad.append(BadRow(found.path.name, 1, f"the header is not {header[:-1].decode()!r}, as run.json asks"))
    return row[-CELL_LENGTH:] == b",%08x\n" % crc32(row[:-CELL_LENGTH], found.last_crc)


class _CheckedRows:
    """Goes through the rows of one file: many at once while all hold, else one by one."""

    def __init__(self, found: SegmentCheck, position: int) -> None:
        self.found = found
        self.position = position
        self.line = 1
        self.crc = found.last_crc
        self.others: frozenset[int] = frozenset()

    def read(self, file: BinaryIO) -> None:
        """Check all rows up to the end of the file."""
        rest = b""
        while chunk := file.read(_AT_ONCE):
            chunk = rest + chunk
            cut = chunk.rfind(b"\n") + 1
            rest = chunk[cut:]
            if cut:
                self._lines(chunk[:cut])
        self.found.whole = self.position
        self.found.last_crc = self.crc
        if rest:
            self.found.torn = True
            self._one(rest, whole=False)

    def _lines(self, chunk: bytes) -> None:
        rows = chunk.split(b"\n")
        rows.pop()
        if not self._all_hold(rows):
            for row in rows:
                self._one(row)
            return
        self.found.add_good(self.position, self.position + len(chunk), len(rows))
        self.position += len(chunk)
        self.line += len(rows)

    def _all_hold(self, rows: list[bytes]) -> bool:
        crc = self.crc
        computed = array("I", [crc := crc32(row[:-_TAIL], crc) for row in rows])
        if sys.byteorder == "little":
            computed.byteswap()
        expected = b"," + computed.tobytes().hex(",", 4).encode()
        if b"".join([row[-_TAIL:] for row in rows]) != expected:
            return False
        self.crc = crc
        self.others = frozenset()
        return True

    def _one(self, row: bytes, *, whole: bool = True) -> None:
        start = self.position
        self.position += len(row) + whole
        self.line += 1
        if self._holds(row):
            self.found.add_good(start, self.position, 1)
        elif whole:
            self.found.bad.append(BadRow(self.found.path.name, self.line, _says(row)))

    def _holds(self, row: bytes) -> bool:
        """Whether a row holds, and what the next one may continue: the stored checksum or a computed one."""
        body, tail = row[:-_TAIL], row[-_TAIL:]
        computed = [crc32(body, before) for before in (self.crc, *self.others)]
        if not _is_cell(tail):
            self.crc, self.others = computed[0], frozenset(computed[1:3])
            return False
        self.crc = int(tail[1:], 16)
        if self.crc in computed:
            self.others = frozenset()
            return True
        self.others = frozenset(computed[:3])
        return False


def _is_cell(tail: bytes) -> bool:
    return len(tail) == _TAIL and tail.startswith(b",") and _HEX.issuperset(tail[1:])


def _says(row: bytes) -> str:
    if row.endswith(b"\r"):
        return FOREIGN_LINE_END
    return NOT_CONTINUED if _is_cell(row[-_TAIL:]) else NO_CHECKSUM
