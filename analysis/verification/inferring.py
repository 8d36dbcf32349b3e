"""Acts that nobody marked and the chamber shows: door dips, offered as loads and pulls for a person to confirm.

They are offered only where there are as many dips without a mark as there are acts that miss one, in the order in which
they must have come: the load, then the pulls in the order of the rack. Else the dips are told, and nobody guesses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.holds.heats import heats_of
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor, place
from soakwitness.analysis.verification.inputs.doors import DOOR_NEAR_S
from soakwitness.analysis.verification.inputs.run_as_read import RunAsRead, RunKnowledge, read_run
from soakwitness.analysis.verification.inputs.stays import known_of
from soakwitness.analysis.verification.measuring.dips import own_cooling
from soakwitness.analysis.verification.measuring.openings import Opening, openings
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.analysis.verification.rules.placed_edges import placed_edges
from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.marks.expecting import ChargeRow
from soakwitness.firmware_bridge.runfolder.contents import OPENS, Act, Mark

_PULL: Act = "pull"
BEFORE_S = 60.0  # a door that opens as the band is reached


@dataclass(frozen=True)
class Offered:
    """An act that a dip may be; ``piece`` None: the charge that nobody named."""

    act: Act
    piece: str | None
    opening: Opening


@dataclass(frozen=True)
class Inferred:
    """Dips that no mark explains, in the order of time, and what they are offered as; ``why`` nothing is offered."""

    seen: tuple[Opening, ...]
    offered: tuple[Offered, ...]
    why: str = ""


def inferred_marks(run: Run, recipe: Recipe, pieces: Sequence[PieceInfo] = ()) -> Inferred:
    """Door dips of a finished run that no mark explains, and the missing loads and pulls that they are offered as."""
    read = read_run(run, RunKnowledge(tuple(pieces)))
    chamber = place(read, recipe).chamber
    wanted = _wanted(read, recipe, pieces)
    seen = _unmarked(read, chamber, recipe)
    if len(heats_of(chamber.readings, recipe)) > 1:
        return Inferred(seen, (), "the record holds several heats")
    last_enter_s = _enter_s(chamber, last=True)
    pulls_only = all(act == "pull" for act, _ in wanted)
    there = tuple(one for one in seen if not pulls_only or last_enter_s is None or one.at_s >= last_enter_s - BEFORE_S)
    if not wanted:
        return Inferred(there, (), "no load or pull misses its mark" if there else "")
    if not there:
        return Inferred((), ())
    if len(there) > len(wanted) and ("pull", None) in wanted and practice_of(recipe).quenched:
        return Inferred(there, (), "nobody named the pieces: enter the charge in the log book and ask again")
    if len(there) != len(wanted):
        why = f"{counted(len(there), 'dip')} for {counted(len(wanted), 'act')} without a mark: nobody can tell which"
        return Inferred(there, (), why)
    return Inferred(there, tuple(Offered(a, p, o) for (a, p), o in zip(wanted, there, strict=True)))


def _wanted(read: RunAsRead, recipe: Recipe, pieces: Sequence[PieceInfo]) -> list[tuple[Act, str | None]]:
    """The acts without a mark, in the order in which they must have come."""
    marks = read.run.marks
    row = ChargeRow.of(marks, practice_of(recipe), known_of(marks, pieces, read.rack))
    found: list[tuple[Act, str | None]] = []
    if recipe.load == "hot" and row.stays and all(stay.load_s is None for stay in row.stays):
        found.append(("load", None))
    left = [stay.piece for stay in row.stays if stay.pull_s is None]
    together = left[:1] and not practice_of(recipe).quenched
    return [*found, *((_PULL, piece) for piece in ([None] if together else left))]


def _unmarked(read: RunAsRead, chamber: DecidingSensor, recipe: Recipe) -> tuple[Opening, ...]:
    """Dips from the first hold on that no mark stands beside: each mark explains the nearest one."""
    since_s = _enter_s(chamber, last=False)
    if since_s is None:
        return ()
    ends = [p.edges.leave_s for p in chamber.placed if p is not None and p.edges is not None]
    cooling = own_cooling(chamber.readings, max(ends, default=chamber.last_s))
    left = list(openings(chamber.readings, since_s - BEFORE_S, chamber.last_s, cooling))
    for mark in sorted((m for m in read.run.marks if _explains(m)), key=lambda m: m.t_s):
        near = [one for one in left if abs(one.at_s - mark.t_s) <= DOOR_NEAR_S]
        if near:
            left.remove(min(near, key=lambda one: abs(one.at_s - mark.t_s)))
    return tuple(left)


def _explains(mark: Mark) -> bool:
    """A door that a contact reported was opened for something; a person who marked it knows what for."""
    return mark.act in OPENS and not mark.struck and not (mark.act == "door" and mark.origin == "contact")


def _enter_s(chamber: DecidingSensor, *, last: bool) -> float | None:
    """When the chamber came into the first, or the last, hold that was found [s]."""
    edges = [placed_edges(chamber.placed, number, chamber.readings) for number in range(len(chamber.placed))]
    there = [one.enter_s for one in edges if one is not None]
    return None if not there else there[-1] if last else there[0]
