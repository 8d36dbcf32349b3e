"""What may be taken back without a reason: two minutes after the last time the door was opened."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.marks.undoing import newest_undoable, undoable
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark


def mark(t_s: float, act: Act, *, entered_s: float | None = None, struck: bool = False) -> Mark:
    return Mark(t_s, act, mark_id=f"{act[:2]}{t_s:g}", entered_t_s=entered_s, struck=struck)


def back(*marks: Mark, now_s: float) -> list[str]:
    return [one.mark_id for one in undoable(marks, now_s)]


def test_the_newest_entry_comes_first_until_two_minutes_after_the_door() -> None:
    marks = (mark(1000, "pull"), mark(1010, "plates"))
    assert back(*marks, now_s=1020) == ["pl1010", "pu1000"]
    assert back(*marks, now_s=1120) == ["pl1010", "pu1000"]
    assert back(*marks, now_s=1121) == ["pl1010"]  # plates open no door: two minutes from their own entry
    assert back(*marks, now_s=1131) == []


def test_pieces_pulled_one_after_the_other_are_one_spell_at_the_door() -> None:
    pulls = tuple(mark(1000 + 100 * n, "pull") for n in range(4))  # until 1300, each within two minutes
    assert back(*pulls, now_s=1420) == ["pu1300", "pu1200", "pu1100", "pu1000"]
    assert back(*pulls, now_s=1421) == []
    # Its look-alike: the load half an hour before is another spell.
    assert back(mark(100, "load"), *pulls, now_s=1310) == ["pu1300", "pu1200", "pu1100", "pu1000"]
    # And a struck door keeps nothing open.
    assert back(mark(1000, "pull"), mark(1100, "door", struck=True), now_s=1150) == []


def test_what_was_entered_later_counts_from_its_entry() -> None:
    said_late = mark(100, "load", entered_s=2000)
    assert back(said_late, mark(1900, "pull"), now_s=2030) == ["lo100", "pu1900"]
    assert back(said_late, now_s=2121) == []


def test_what_is_too_old_is_answered_with_the_way_to_strike_it() -> None:
    with pytest.raises(RunFolderError, match=r"load mark of 0:01:40, is older than 2 min.*--strike lo100 --why"):
        newest_undoable((mark(100, "load"),), 300)
    with pytest.raises(RunFolderError, match="no mark of this run stands"):
        newest_undoable((mark(100, "load", struck=True),), 110)
