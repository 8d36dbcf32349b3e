"""``events.csv`` of a run that nobody records, and what of it a new recorder may go on from."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from soakwitness.firmware_bridge.runfolder.check import check_segment
from soakwitness.firmware_bridge.runfolder.files import Files, open_regular, write_whole
from soakwitness.firmware_bridge.runfolder.line_format import events_header, header_crc, row_bytes


def append_events(path: Path, bodies: Iterable[bytes], *, files: Files | None = None) -> None:
    """Append events to the table of a run that nobody records, all of them or none. Raises ``OSError``."""
    kept, crc = whole_events(path / "events.csv")
    rows = []
    for body in bodies:
        row, crc = row_bytes(body, crc)
        rows.append(row)
    write_whole(files or Files(), path / "events.csv", kept + b"".join(rows))


def whole_events(path: Path) -> tuple[bytes, int]:
    """Bytes of ``events.csv`` up to the end of its last whole line, and the checksum that goes on."""
    header = events_header()
    if not path.exists():
        return header, header_crc(header)
    found = check_segment(path, header)
    with open_regular(path) as file:
        data = file.read()
    if found.whole == 0:
        return header, header_crc(header)
    if found.torn and found.good and found.good[-1][1] == len(data):  # only its line feed is missing
        return data + b"\n", int(data[-8:], 16)
    return data[: found.whole], found.last_crc
