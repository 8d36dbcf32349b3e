"""What may come back from a damaged run folder: written without the reader that it judges.

A row may be handed on only if the very same bytes were written, under the same column names, at most once and in the
order of time; any change to the folder must be reported.
"""

from __future__ import annotations

from pathlib import Path

from soakwitness.firmware_bridge.runfolder.contents import RecordCheck
from soakwitness.firmware_bridge.runfolder.reader import check_record


def written_rows(path: Path) -> list[bytes]:
    """Rows of all sample segments, before any damage."""
    return [row for file in sorted(path.glob("samples*.csv")) for row in file.read_bytes().split(b"\n")[1:] if row]


def returned_rows(check: RecordCheck) -> list[bytes]:
    """Rows in the byte ranges that a check hands on."""
    rows: list[bytes] = []
    for part in check.good:
        data = part.segment.read_bytes()[part.start : part.stop]
        here = data.removesuffix(b"\n").split(b"\n")
        assert len(here) == part.rows
        rows += here
    assert len(rows) == check.rows
    return rows


def is_subsequence(part: list[bytes], whole: list[bytes]) -> bool:
    """Whether ``part`` is left when some rows of ``whole`` are taken away."""
    rest = iter(whole)
    return all(row in rest for row in part)


def judge(path: Path, written: list[bytes], *, reported: bool = True) -> RecordCheck:
    """Check a damaged folder: no row that was not written, none twice, and the damage said."""
    check = check_record(path)
    rows = returned_rows(check)
    assert is_subsequence(rows, written), "a row came back that was not written so"
    if reported:
        assert not check.intact or check.bad_rows or check.torn_tail, "the damage was not reported"
        assert check.says
    return check
