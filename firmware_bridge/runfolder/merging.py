"""Several sample segments as one record: rows in the order of their times, a repeated time taken once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from soakwitness.firmware_bridge.runfolder.check import SegmentCheck
from soakwitness.firmware_bridge.runfolder.contents import ByteRange


def merge(parts: Sequence[SegmentCheck]) -> tuple[tuple[ByteRange, ...], int]:
    """Byte ranges of good rows in the order of their times, and how many rows stood twice.

    A segment that begins after all rows before it is taken as it stands; only where segments overlap (a later one
    wrote again what an earlier one may have lost) are rows looked at one by one. The earlier segment's row is kept.
    """
    merged: list[ByteRange] = []
    twice = 0
    for part in parts:
        ranges = [ByteRange(part.path, start, stop, rows) for start, stop, rows in part.good]
        if merged and ranges and _first_t_s(ranges[0]) <= _last_t_s(merged[-1]):
            ranges, dropped, kept = _woven(merged, ranges)
            merged = kept
            twice += dropped
        merged += ranges
    return tuple(merged), twice


def _woven(before: list[ByteRange], after: list[ByteRange]) -> tuple[list[ByteRange], int, list[ByteRange]]:
    """Overlapping rows in one order; the ranges before the overlap are handed back untouched."""
    begin = _first_t_s(after[0])
    kept = [part for part in before if _last_t_s(part) < begin]
    rows: dict[float, ByteRange] = {}
    dropped = 0
    for part in [*before[len(kept) :], *after]:
        for t_s, row in _rows(part):
            dropped += t_s in rows
            rows.setdefault(t_s, row)
    return _joined([rows[t_s] for t_s in sorted(rows)]), dropped, kept


def _joined(rows: Sequence[ByteRange]) -> list[ByteRange]:
    joined: list[ByteRange] = []
    for row in rows:
        last = joined[-1] if joined else None
        if last is not None and last.segment == row.segment and last.stop == row.start:
            joined[-1] = ByteRange(last.segment, last.start, row.stop, last.rows + 1)
        else:
            joined.append(row)
    return joined


def _rows(part: ByteRange) -> Iterator[tuple[float, ByteRange]]:
    position = part.start
    with open(part.segment, "rb") as file:
        file.seek(part.start)
        for _ in range(part.rows):
            line = file.readline()
            yield _t_s(line), ByteRange(part.segment, position, position + len(line), 1)
            position += len(line)


def _t_s(line: bytes) -> float:
    return float(line.partition(b",")[0])


def _first_t_s(part: ByteRange) -> float:
    with open(part.segment, "rb") as file:
        file.seek(part.start)
        return _t_s(file.readline())


def _last_t_s(part: ByteRange) -> float:
    """Time of the last row of a range."""
    with open(part.segment, "rb") as file:
        back = min(part.stop - part.start, 1 << 16)
        file.seek(part.stop - back)
        lines = file.read(back).rstrip(b"\n").split(b"\n")
        return _t_s(lines[-1])
