"""What another program did to the files of a run while it was recorded, and which rows can be written again.

Rows come from three places: what still stands in the file; the file itself, which stays open and so outlives its name;
and the rows that the recorder remembers.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chained import ChainedFile, How, OwnFile
from soakwitness.firmware_bridge.runfolder.check import SegmentCheck, check_file
from soakwitness.firmware_bridge.runfolder.contents import NOTHING_MISSING
from soakwitness.firmware_bridge.runfolder.files import Files, open_regular

RECORD_CHANGED = "record changed"  # the event that says so
HOW = {
    "removed": "was removed by another program",
    "replaced": "was replaced by another program's file",
    "changed": "was changed by another program",
}


@dataclass(frozen=True)
class Harm:
    """A file of an open run that is not what its recorder left."""

    file: OwnFile
    how: How

    @property
    def says(self) -> str:
        """The first half of a sentence."""
        return f"{self.file.path.name} {HOW[self.how]} while it was being recorded"


@dataclass(frozen=True)
class Salvage:
    """What becomes of a harmed segment: bodies of rows to be written again by their times, and what is missing."""

    harm: Harm
    again: Mapping[float, bytes]
    missing: int
    times: tuple[float, ...]  # of what is missing, where they are known [s]

    def says(self, new: Path) -> str:
        """One sentence, for the event and for the seal; ``new`` is where rows were written again."""
        assert isinstance(self.harm.file, ChainedFile)
        words = [f"{self.harm.says}, with {counted(self.harm.file.rows, 'row')} in it"]
        if self.again:
            words.append(f"written again to {new.name}: {counted(len(self.again), 'row')}")
        if not self.missing:
            return "; ".join([*words, NOTHING_MISSING])
        span = f", between {self.times[0]:.3f} and {self.times[-1]:.3f} s" if self.times else ""
        return "; ".join([*words, f"missing: {counted(self.missing, 'row')}{span}"])


def salvage(harm: Harm, header: bytes, remembered: Mapping[float, bytes]) -> Salvage:
    """Find out what is left of a harmed segment, and what of the rest is to be had elsewhere."""
    assert isinstance(harm.file, ChainedFile)
    times = set(harm.file.times)
    left = _rows_at(harm.file.path, header)
    again = {t_s: body for t_s, body in remembered.items() if t_s in times}
    if harm.how != "changed":
        again |= _rows_of(harm.file, header)
    again = {t_s: body for t_s, body in again.items() if t_s not in left}
    if len(harm.file.times) == harm.file.rows:
        missing = tuple(sorted(times - set(left) - set(again)))
        return Salvage(harm, again, len(missing), missing)
    return Salvage(harm, again, max(0, harm.file.rows - len(left) - len(again)), ())


def _rows_at(path: Path, header: bytes) -> dict[float, bytes]:
    with contextlib.suppress(OSError), open_regular(path) as file:
        return _bodies(file, check_file(path, file, header))
    return {}


def _rows_of(own: ChainedFile, header: bytes) -> dict[float, bytes]:
    """Rows of a file that has lost its name."""
    with contextlib.suppress(OSError), open(os.dup(own.file.fileno()), "rb") as file:
        file.seek(0)
        return _bodies(file, check_file(own.path, file, header))
    return {}


def _bodies(file: BinaryIO, found: SegmentCheck) -> dict[float, bytes]:
    bodies = {}
    for start, stop, _ in found.good:
        file.seek(start)
        for row in file.read(stop - start).rstrip(b"\n").split(b"\n"):
            body = row.rpartition(b",")[0]
            with contextlib.suppress(ValueError):
                bodies[row_time(body)] = body
    return bodies


def row_time(body: bytes) -> float:
    """Time at which a row was taken [s]; ValueError where it says none."""
    return float(body[: body.find(b",")])


def watched(path: Path, files: Files, header: bytes) -> list[ChainedFile]:
    """A segment that is written no more, to be watched over; none where it cannot be read."""
    with contextlib.suppress(OSError, RunFolderError):
        return [ChainedFile.old(files, path, header)]
    return []
