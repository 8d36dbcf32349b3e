"""Marks on their way into an open run: from files, keys and contacts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from soakwitness.firmware_bridge.marks.charges import Known
from soakwitness.firmware_bridge.marks.expecting import Expected, Practice, expected_next, names_meant
from soakwitness.firmware_bridge.marks.undoing import UNDONE, undoable
from soakwitness.firmware_bridge.recording.keeping import Keeper
from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.marks import (
    FAR_S,
    NAME_LENGTH,
    DroppedMark,
    Refused,
    decode_strike,
    dropped_marks,
    encode_mark,
    encode_strike,
    marks_of,
    new_mark_id,
    refuse_mark,
)

LONGEST_WHY = 200
LATE_S = 10.0  # a file older than this was left while nobody recorded


class MarkIntake:
    """Enters marks into one run's events and knows those entered so far.

    ``enter`` is how an event reaches the run: ``enter(event, detail)`` writes one at this moment. ``pieces`` are those
    that the log book has in this run, as far as it was told by now.
    """

    def __init__(
        self,
        keeper: Keeper,
        enter: Callable[[str, str], Event],
        known: Sequence[Event] = (),
        practice: Practice = Practice(),  # noqa: B008 (frozen)
    ) -> None:
        self._keeper = keeper
        self._enter = enter
        self._events = [event for event in known if event.event == "mark"]
        self._practice = practice
        self.pieces: tuple[Known, ...] = ()
        self._stays: set[str] = set()  # what cannot be given another name is told once
        self.marks: tuple[Mark, ...] = marks_of(self._events)

    def expected(self, temp_c: float | None) -> Expected:
        """What one press means now."""
        return expected_next(self.marks, practice=self._practice, known=self.pieces, temp_c=temp_c)

    def names_meant(self, act: str) -> tuple[str, ...]:
        """Whom a key or a contact of one act speaks of."""
        return names_meant(act, self.marks, practice=self._practice, known=self.pieces)

    def put(self, mark: Mark) -> Mark:
        """Enter a mark; one without an id gets one."""
        mark = mark if mark.mark_id else replace(mark, mark_id=new_mark_id())
        mark = mark if mark.by is None else replace(mark, by=mark.by[:NAME_LENGTH])
        self._note(encode_mark(mark))
        return mark

    def undo(self, now_t_s: float, by: str | None) -> Mark | None:
        """Take the newest entry back, where it may be taken back without a reason; return it as it was."""
        back = undoable(self.marks, now_t_s)
        if not back:
            return None
        self._note(encode_strike(back[0].mark_id, why=UNDONE, by=by))
        return back[0]

    def collect(self, now_t_s: float, wall_s: float, speed: float = 1.0) -> list[Mark]:
        """Enter what waits in the run's ``marks/``; a file goes when its entry is on the disk itself.

        ``now_t_s`` and ``wall_s`` are this moment in the run and on the clock of who hands marks over [s]; of the first
        ``speed`` seconds pass in one of the second.
        """
        folder = self._keeper.folder
        if folder is None:
            return []
        refused: list[Refused] = []
        try:
            waiting = dropped_marks(folder.path, refused.append, seen=self._seen())
        except OSError:
            return []
        new = []
        for dropped in waiting:
            if -FAR_S <= self._at_s(dropped, now_t_s, wall_s, speed) <= now_t_s + FAR_S:
                new.append(dropped)
            elif dropped.path is not None:
                refused.append(refuse_mark(dropped.path, "it speaks of another day than this run"))
        self._tell(refused)
        came = [mark for dropped in new if (mark := self._one(dropped, now_t_s, wall_s, speed)) is not None]
        if new:
            self._keeper.remove_once_kept(dropped.path for dropped in new if dropped.path is not None)
        return came

    def _one(self, dropped: DroppedMark, now_t_s: float, wall_s: float, speed: float) -> Mark | None:
        if dropped.strike is not None:
            if not self._struck(dropped.strike):
                self._note(encode_strike(dropped.strike, why=dropped.why, by=dropped.by))
            return None
        if dropped.act is None or any(mark.mark_id == dropped.mark_id for mark in self.marks):
            return None
        left_long = dropped.origin != "tapped" and wall_s - read_utc(dropped.utc) > LATE_S
        return self.put(
            Mark(
                t_s=self._at_s(dropped, now_t_s, wall_s, speed),
                act=dropped.act,
                pieces=dropped.pieces,
                note=dropped.note,
                mark_id=dropped.mark_id,
                entered_later=dropped.later or left_long or dropped.origin in ("typed", "inferred"),
                by=dropped.by,
                origin=dropped.origin,
                within_s=dropped.within_s,
            )
        )

    @staticmethod
    def _at_s(dropped: DroppedMark, now_t_s: float, wall_s: float, speed: float) -> float:
        """Time in the run that a mark speaks of [s]."""
        if dropped.at_s is not None:
            return dropped.at_s
        return now_t_s - speed * max(wall_s - read_utc(dropped.utc), 0.0)

    def _tell(self, refused: Sequence[Refused]) -> None:
        """One event of what was set aside at one look."""
        if not refused:
            return
        self._stays |= {one.name for one in refused if one.kept_as == one.name}
        first = f"{refused[0].name}: {refused[0].why[:LONGEST_WHY]}; kept as {refused[0].kept_as}"
        many = f"{len(refused)} files in marks/ are no marks, such as {first}"
        self._enter("mark refused", first if len(refused) == 1 else many)

    def _seen(self) -> set[str]:
        return self._stays | {path.name for path in self._keeper.to_remove}

    def _struck(self, mark_id: str) -> bool:
        return any(struck[0] == mark_id for event in self._events if (struck := decode_strike(event)) is not None)

    def _note(self, detail: str) -> None:
        self._events.append(self._enter("mark", detail))
        self.marks = marks_of(self._events)
