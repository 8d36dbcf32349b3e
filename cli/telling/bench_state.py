"""What the book is told of the work at the furnace: whose turn it is, what may be taken back, and the log.

Imports nothing heavy: it runs in the recording process.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.cli.words.furnace_side import at_the_furnace_state, side_of
from soakwitness.cli.words.page_words import ON_PAGE
from soakwitness.cli.words.turn_words import clock_time, done_words, turn_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import duration, listed, temperature
from soakwitness.firmware_bridge.common.zones import computer_zone, zone_of
from soakwitness.firmware_bridge.marks.charges import read_charges
from soakwitness.firmware_bridge.runfolder.origins import origin_words

if TYPE_CHECKING:
    from datetime import tzinfo

    from soakwitness.analysis.live.state import ClockState
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.firmware_bridge.recording.now import Now
    from soakwitness.firmware_bridge.runfolder.contents import Mark

MOST_LINES = 40


class Diary:
    """What happened in a run without anyone entering it: bands reached, soaks complete, alarms; each said once."""

    def __init__(self) -> None:
        self._run: object = None
        self._known: set[object] = set()
        self.lines: list[tuple[float, str]] = []

    def look(self, now: Now, clock: ClockState | None, unit: Unit) -> None:
        """Note what is new at this moment of a run."""
        if now.run != self._run:
            self._run, self._known, self.lines = now.run, set(), []
        for kind, says in now.alarms.items():
            if kind not in ("soak complete", "soak overdue"):
                self._once(("alarm", kind), now.t_s, f"Alarm: {says}")
        self._known -= {key for key in self._known if isinstance(key, tuple) and key[0] == "alarm"} - {
            ("alarm", kind) for kind in now.alarms
        }
        if clock is None or clock.hold is None or clock.target_c is None:
            return
        band = f"in the band at {temperature(clock.target_c, unit)}"
        if clock.phase == "in":
            self._once((clock.hold, "chamber"), now.t_s, f"The chamber is {band}")
        for lot in clock.pieces:
            names = lot.pieces or ("The charge",)
            if lot.in_band:
                self._of_pieces((clock.hold, lot.charge, "band"), names, now.t_s, band)
            if lot.complete and lot.required_s > 0.0:
                had = f"had {duration(lot.required_s)} at {temperature(clock.target_c, unit)}"
                self._of_pieces((clock.hold, lot.charge, "soak"), names, now.t_s, had)

    def _of_pieces(self, key: tuple[object, ...], names: Sequence[str], t_s: float, what: str) -> None:
        """Say it of those pieces of whom it was not said yet."""
        new = [name for name in names if (*key, name) not in self._known]
        self._known |= {(*key, name) for name in new}
        if new:
            one = len(new) == 1
            verb = ("has" if one else "have") if what.startswith("had") else ("is" if one else "are")
            self.lines = [*self.lines, (t_s, f"{listed(new, most=4)} {verb} {what}")][-MOST_LINES:]

    def _once(self, key: object, t_s: float, says: str) -> None:
        if key not in self._known:
            self._known.add(key)
            self.lines = [*self.lines, (t_s, says)][-MOST_LINES:]


def bench_state(
    now: Now, *, recipe: Recipe | None, clock: ClockState | None, unit: Unit, lead: str, diary: Diary
) -> dict[str, Any]:
    """How it stands with the pieces, with the words for it: ``turn`` (``turn_words``), ``log`` and ``asked``.

    ``log``: lines, the newest first, each with ``at`` by the clock, ``says`` and ``how`` (who entered it, and how
    exact its moment is); those of marks have their ``id`` and whether they are ``struck`` too. ``asked``: what the
    marks leave to be asked.
    """
    side, zone = side_of(now, recipe=recipe, clock=clock), _zone()
    return {
        **at_the_furnace_state(side, utc_s=now.utc_s, clock=clock),
        "turn": turn_words(
            side,
            utc_s=now.utc_s,
            zone=zone,
            unit=unit,
            clock=clock,
            lead=lead,
            quenched=practice_of(recipe).quenched,
        ),
        "log": _log(now, diary.lines, zone),
        "asked": [f"{q.says} {q.next.text('C', ON_PAGE)}" for q in read_charges(now.marks, known=now.pieces).questions],
    }


@cache
def _zone() -> tzinfo:
    return zone_of(computer_zone())


def _log(now: Now, lines: Sequence[tuple[float, str]], zone: tzinfo) -> list[dict[str, Any]]:
    """Marks and what happened, the newest first."""
    found: list[tuple[float, dict[str, Any]]] = [(t_s, {"says": says, "how": ""}) for t_s, says in lines]
    found += [(mark.t_s, _entry(mark)) for mark in now.marks]
    newest = sorted(found, key=lambda one: -one[0])[:MOST_LINES]
    return [{"at": clock_time(now.utc_s - now.t_s + t_s, zone), **entry} for t_s, entry in newest]


def _entry(mark: Mark) -> dict[str, Any]:
    says = mark.note if mark.act == "note" else done_words(mark.pieces, mark.act)
    how = ", ".join(part for part in (mark.by or "", origin_words(mark)) if part)
    if mark.struck:
        how = f"struck out: {mark.struck_why}"
    return {"id": mark.mark_id, "says": says, "how": how, "struck": mark.struck}
