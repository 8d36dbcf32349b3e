"""Marks on their way into an open run: from files, keys and contacts."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from soakwitness.firmware_bridge.recording.acts import Loading, next_act
from soakwitness.firmware_bridge.recording.keeping import Keeper
from soakwitness.firmware_bridge.runfolder.contents import Act, Event, Mark
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.marks import (
    DroppedMark,
    decode_strike,
    dropped_marks,
    encode_mark,
    encode_strike,
    marks_of,
    new_mark_id,
)

LATE_S = 10.0  # a file older than this was left while nobody recorded


class MarkIntake:
    """Enters marks into one run's events and knows those entered so far.

    ``enter`` is how an event reaches the run: ``enter(detail)`` writes a ``mark`` event at this moment.
    """

    def __init__(
        self, keeper: Keeper, enter: Callable[[str], Event], known: Sequence[Event] = (), loading: Loading = "unknown"
    ) -> None:
        self._keeper = keeper
        self._enter = enter
        self._events = [event for event in known if event.event == "mark"]
        self._loading = loading
        self._entered_files: set[Path] = set()
        self.marks: tuple[Mark, ...] = marks_of(self._events)

    def next_act(self, temp_c: float | None) -> Act:
        """The act that one press means now."""
        return next_act(self.marks, loading=self._loading, temp_c=temp_c)

    def put(self, mark: Mark) -> Mark:
        """Enter a mark; one without an id gets one."""
        mark = mark if mark.mark_id else replace(mark, mark_id=new_mark_id())
        self._note(encode_mark(mark))
        return mark

    def collect(self, now_t_s: float, wall_s: float, speed: float = 1.0) -> list[Mark]:
        """Enter what waits in the run's ``marks/``; a file goes when its entry is on the disk itself.

        ``now_t_s`` and ``wall_s`` are this moment in the run and on the clock of who hands marks over [s]; of the first
        ``speed`` seconds pass in one of the second.
        """
        folder = self._keeper.folder
        if folder is None:
            return []
        try:
            waiting = dropped_marks(folder.path)
        except OSError:
            return []
        new = [dropped for dropped in waiting if dropped.path not in self._entered_files]
        came = [mark for dropped in new if (mark := self._one(dropped, now_t_s, wall_s, speed)) is not None]
        self._entered_files |= {dropped.path for dropped in new if dropped.path is not None}
        if self._entered_files and self._keeper.trouble is None and self._keeper.save():
            for path in self._entered_files:
                with contextlib.suppress(OSError):
                    path.unlink()
            self._entered_files = {path for path in self._entered_files if path.exists()}
        return came

    def _one(self, dropped: DroppedMark, now_t_s: float, wall_s: float, speed: float) -> Mark | None:
        if dropped.strike is not None:
            if not self._struck(dropped.strike):
                self._note(encode_strike(dropped.strike, why=dropped.why, by=dropped.by))
            return None
        if dropped.act is None or any(mark.mark_id == dropped.mark_id for mark in self.marks):
            return None
        age_s = max(wall_s - read_utc(dropped.utc), 0.0)
        late = dropped.later or age_s > LATE_S
        t_s = now_t_s - speed * age_s if dropped.at_s is None else dropped.at_s
        return self.put(
            Mark(
                t_s=t_s,
                act=dropped.act,
                pieces=dropped.pieces,
                note=dropped.note,
                mark_id=dropped.mark_id,
                entered_later=late,
                by=dropped.by,
            )
        )

    def _struck(self, mark_id: str) -> bool:
        return any(struck[0] == mark_id for event in self._events if (struck := decode_strike(event)) is not None)

    def _note(self, detail: str) -> None:
        self._events.append(self._enter(detail))
        self.marks = marks_of(self._events)
