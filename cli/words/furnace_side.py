"""How it stands at the furnace, as JSON for a page: moments in ms since 1970, temperatures in degC, times in s."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from soakwitness.analysis.live.at_the_furnace import AtTheFurnace, PieceThere, at_the_furnace
from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.cli.words.mark_words import expected_words, one_of_marks

if TYPE_CHECKING:
    from soakwitness.analysis.live.state import ClockState
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.firmware_bridge.recording.now import Now


def furnace_side(now: Now, *, recipe: Recipe | None = None, clock: ClockState | None = None) -> dict[str, Any]:
    """How it stands with the pieces of a run at this moment, as JSON."""
    return at_the_furnace_state(side_of(now, recipe=recipe, clock=clock), utc_s=now.utc_s, clock=clock)


def side_of(now: Now, *, recipe: Recipe | None = None, clock: ClockState | None = None) -> AtTheFurnace:
    """How it stands with the pieces of a run at this moment, by its recipe and its soak clock where there are any."""
    quench = None if recipe is None else recipe.quench
    return at_the_furnace(
        now.marks,
        t_s=now.t_s,
        expected=now.expected,
        practice=practice_of(recipe),
        known=now.pieces,
        clock=clock,
        plates_within_s=None if quench is None else quench.within_s,
    )


def at_the_furnace_state(side: AtTheFurnace, *, utc_s: float, clock: ClockState | None = None) -> dict[str, Any]:
    """What a page is told of it; ``utc_s`` is the moment of ``side.t_s`` [s since 1970].

    ``next``: ``act``, the ``pieces`` it is about, the ``names`` that its mark is to carry (none: the whole charge) and
    ``words``; ``not_before_ms`` and ``not_after_ms`` where a pull is next. ``pull``: what is under way to the quench.
    ``undo``: entries that may be taken back, the newest first. ``slowest`` is a place in ``pieces``.
    """

    def ms(t_s: float | None) -> int | None:
        return None if t_s is None else round((utc_s - side.t_s + t_s) * 1000)

    under_way = [piece.piece for piece in side.pieces if piece.stands == "out" and piece.since_s == side.pulled_s]
    return {
        "pieces": [_piece(piece, ms) for piece in side.pieces],
        "slowest": None if side.slowest is None else side.pieces.index(side.slowest),
        "next": {
            "act": side.expected.act,
            "pieces": list(side.expected.pieces),
            "names": list(side.expected.names),
            "words": expected_words(side.expected),
            "not_before_ms": ms(side.not_before_s),
            "not_after_ms": ms(side.not_after_s),
        },
        "pull": None
        if side.pulled_s is None
        else {
            "pieces": [name for name in under_way if name is not None],
            "at_ms": ms(side.pulled_s),
            "ago_s": round(side.t_s - side.pulled_s, 1),
            "plates_within_s": side.plates_within_s,
        },
        "undo": [
            {
                "id": one.mark.mark_id,
                "act": one.mark.act,
                "pieces": list(one.mark.pieces),
                "words": one_of_marks(one.mark, [each.mark for each in side.undo]),
                "by": one.mark.by,
                "at_ms": ms(one.mark.t_s),
                "until_ms": ms(one.until_s),
            }
            for one in side.undo
        ],
        "hold": None if clock is None or clock.hold is None else _hold(clock),
    }


def _hold(clock: ClockState) -> dict[str, Any]:
    """The hold at hand."""
    return {
        "step": clock.step,
        "target_c": clock.target_c,
        "band_c": None if clock.band_c is None else list(clock.band_c),
        "asked_s": clock.required_s,
        "phase": clock.phase,
        "take_out": clock.take_out,
    }


def _piece(piece: PieceThere, ms: Any) -> dict[str, Any]:
    soak = piece.soak
    return {
        "piece": piece.piece,
        "charge": piece.charge,
        "slot": piece.slot,
        "stands": piece.stands,
        "since_ms": ms(piece.since_s),
        "again": piece.again,
        "soak": None
        if soak is None
        else {
            "had_s": round(soak.soak_s, 1),
            "asked_s": soak.required_s,
            "work_c": round(soak.work_c, 1),
            "by": soak.source,
            "in_band": soak.in_band,
            "complete": soak.complete,
            "overdue": soak.overdue,
            "not_to_recipe": bool(soak.troubles),
            "best_ms": ms(soak.from_s),
            "not_before_ms": ms(piece.not_before_s),
            "not_after_ms": ms(soak.until_s),
        },
    }
