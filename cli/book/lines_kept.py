"""Readings of the runs that are looked at just now, kept in memory as long as their files stay as they are."""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from pathlib import Path
from typing import TypeVar

from soakwitness.cli.charts.run_data import RunLines, read_lines
from soakwitness.cli.charts.thumbnail import thumbnail_svg

RUNS_KEPT = 6  # a day at 1 Hz with four sensors takes 6 MB
PICTURES_KEPT = 1000
T = TypeVar("T")
Signs = tuple[tuple[str, int, int], ...]


class LinesKept:
    """The lines of the runs looked at last, and small pictures of many; for threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._reading: dict[Path, threading.Lock] = {}
        self._lines: OrderedDict[Path, tuple[Signs, RunLines]] = OrderedDict()
        self._pictures: OrderedDict[Path, tuple[Signs, str]] = OrderedDict()

    def lines(self, folder: Path) -> RunLines:
        """The lines of a run; of two who ask at once one reads. Raises RunFolderError if it cannot be read."""
        with self._lock:
            turn = self._reading.setdefault(folder, threading.Lock())
        with turn:
            signs = _signs(folder)
            found = self._seen(folder, signs) or read_lines(folder)
        with self._lock:
            _keep(self._lines, folder, (signs, found), RUNS_KEPT)
            self._reading.pop(folder, None)
        return found

    def _seen(self, folder: Path, signs: Signs) -> RunLines | None:
        kept = self._lines.get(folder)
        return kept[1] if kept is not None and kept[0] == signs else None

    def picture(self, folder: Path) -> str:
        """A small picture of a run. Raises RunFolderError if it cannot be read."""
        signs = _signs(folder)
        kept = self._pictures.get(folder)
        if kept is None or kept[0] != signs:
            kept = (signs, thumbnail_svg(self._seen(folder, signs) or read_lines(folder)))
        with self._lock:
            _keep(self._pictures, folder, kept, PICTURES_KEPT)
        return kept[1]


def _keep(kept: OrderedDict[Path, T], folder: Path, new: T, most: int) -> None:
    kept[folder] = new
    kept.move_to_end(folder)
    while len(kept) > most:
        kept.popitem(last=False)


def _signs(folder: Path) -> Signs:
    """What tells that a file of the run is another: its size and when it was written."""
    try:
        entries = sorted((e for e in os.scandir(folder) if e.is_file()), key=lambda e: e.name)
        return tuple((e.name, (state := e.stat()).st_size, state.st_mtime_ns) for e in entries)
    except OSError:
        return ()
