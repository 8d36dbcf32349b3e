"""Hours hot of runs that were not measured yet, or changed since: read from their folders and kept."""

from __future__ import annotations

from collections.abc import Callable

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.calibration_records import keep_hours_hot, runs_without_hours
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.hours_hot import HoursHot, hours_hot
from soakwitness.analysis.record.moments import Stamp
from soakwitness.analysis.record.run import open_run
from soakwitness.firmware_bridge.errors import BridgeError

Progress = Callable[[int, int], None]
PORTION = 100


def measure_hours_hot(book: LogBook, *, stamp: Stamp, progress: Progress | None = None) -> None:
    """Measure how long each sensor was hot in the runs of which that is not known; kept in portions."""
    todo = runs_without_hours(book)
    for begin in range(0, len(todo), PORTION):
        found: list[tuple[str, str, tuple[HoursHot, ...]]] = []
        for number, (run, folder, files) in enumerate(todo[begin : begin + PORTION], start=begin + 1):
            try:
                found.append((run, files, hours_hot(open_run(book.folder / folder))))
            except (AnalysisError, BridgeError):
                continue  # ``logbook check`` says what is wrong with it
            if progress is not None:
                progress(number, len(todo))
        with book.writing(stamp):
            for run, files, hours in found:
                keep_hours_hot(book, run, hours, files=files)
