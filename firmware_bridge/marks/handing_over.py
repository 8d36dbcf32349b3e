"""Marks as another program hands them to the recorder: with the moment of a device's own clock, and taken back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from soakwitness.firmware_bridge.common.wording import joined
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.marks.undoing import UNDONE, newest_undoable, strike_out, undoable
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from soakwitness.firmware_bridge.runfolder.late import last_t_s, time_in_run
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.marks import DroppedMark, find_mark, new_mark_id
from soakwitness.firmware_bridge.runfolder.origins import origin_of_own_clock


def mark_of_device(
    act: Act,
    pieces: Sequence[str] = (),
    *,
    mark_id: str,
    device_utc_s: float,
    clock_off_s: float | None,
    note: str = "",
    by: str | None = None,
) -> DroppedMark:
    """A mark that was tapped at a moment of the device's own clock [s since 1970], perhaps while the network was away.

    ``clock_off_s``: by how much that clock is ahead of this computer's [s], None where it was not measured. Where it is
    known and small the mark is that of its corrected moment; else that moment is a typed one. ``mark_id`` is the
    device's, so that a mark that is sent twice counts once.
    """
    origin = origin_of_own_clock(clock_off_s)
    off_s = 0.0 if clock_off_s is None else clock_off_s
    return DroppedMark(
        mark_id=mark_id,
        utc=utc_text(device_utc_s - off_s),
        act=act,
        pieces=tuple(pieces),
        note=note,
        by=by,
        later=origin == "typed",
        origin=origin,
        within_s=abs(off_s) if origin == "typed" and clock_off_s is not None else None,
    )


def present_t_s(run: Path, utc_s: float) -> float:
    """Time in an open run of this moment [s since 1970]; a simulated one may run ahead of it: at least its last row."""
    return max(time_in_run(run, utc_s), last_t_s(run))


def taken_back(
    marks: Sequence[Mark], now_t_s: float, *, utc_s: float, by: str | None, mark_id: str | None = None
) -> tuple[Mark, DroppedMark]:
    """The entry that is taken back, the newest or that of an id, and what to hand over for it.

    Raises RunFolderError where it takes a reason by now.
    """
    mark = newest_undoable(marks, now_t_s) if mark_id is None else find_mark(marks, mark_id)
    if mark not in undoable(marks, now_t_s):
        says = f"The {mark.act} mark {mark.mark_id} can no longer be taken back. Strike it out with the reason:"
        raise RunFolderError(joined([says, strike_out(mark.mark_id)]))
    return mark, DroppedMark(new_mark_id(), utc_text(utc_s), strike=mark.mark_id, why=UNDONE, by=by)
