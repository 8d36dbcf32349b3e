"""Which entries may be taken back without a reason: a slip of a gloved hand is no event worth one.

Until two minutes after the last time the door was opened, while the work at the furnace lasts; what was entered before
an earlier spell at the door is struck out with a reason, as is everything after the run. A taken back entry stays too.
"""

from __future__ import annotations

from collections.abc import Sequence

from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import duration, joined, moment
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import OPENS, Mark

UNDO_S = 120.0
UNDONE = "taken back at once"  # the reason that such an entry is struck out with


def undoable(marks: Sequence[Mark], now_t_s: float) -> tuple[Mark, ...]:
    """Marks that may be taken back at this moment of the run [s], the newest entry first."""
    doors_s = _doors_s(marks)
    standing = [mark for mark in marks if not mark.struck and mark.mark_id]
    newest = sorted(standing, key=_entered_s)[::-1]
    return tuple(mark for mark in newest if now_t_s <= _until_s(_entered_s(mark), doors_s))


def undo_until_s(mark: Mark, marks: Sequence[Mark]) -> float:
    """Until which moment of the run [s] an entry may be taken back, as the marks stand now."""
    return _until_s(_entered_s(mark), _doors_s(marks))


def _doors_s(marks: Sequence[Mark]) -> list[float]:
    return sorted(_entered_s(mark) for mark in marks if mark.act in OPENS and not mark.struck)


def newest_undoable(marks: Sequence[Mark], now_t_s: float) -> Mark:
    """The entry that is taken back first. Raises RunFolderError, with the way to strike the newest one out."""
    back = undoable(marks, now_t_s)
    if back:
        return back[0]
    standing = sorted((mark for mark in marks if not mark.struck), key=_entered_s)
    if not standing:
        raise RunFolderError("Nothing to take back: no mark of this run stands.")
    last = standing[-1]
    says = f"Nothing to take back: the last entry, the {last.act} mark of {moment(_entered_s(last))}, is older than "
    says += f"{duration(UNDO_S)}. Strike it out with the reason:"
    raise RunFolderError(joined([says, strike_out(last.mark_id)]))


def strike_out(mark_id: str, *, run: str | None = None) -> NextCommand:
    """How a mark is struck out: of the run that is recorded, or of one that is named."""
    return NextCommand.of("mark", *([] if run is None else ["--run", run]), "--strike", mark_id, "--why", "REASON")


def _entered_s(mark: Mark) -> float:
    return mark.t_s if mark.entered_t_s is None else mark.entered_t_s


def _until_s(entered_s: float, doors_s: Sequence[float]) -> float:
    """Until when an entry may be taken back [s]: the door may be opened again and again."""
    until_s = entered_s + UNDO_S
    for door_s in doors_s:
        if entered_s <= door_s <= until_s:
            until_s = door_s + UNDO_S
    return until_s
