"""What the book's page says at the furnace: whose turn it is and when by the clock, and what a tap would enter.

Standard library only: it is asked in the recording process, with every reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.live.living_sentence import SOURCES, trouble_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import duration, duration_of, listed, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.live.at_the_furnace import AtTheFurnace, PieceThere
    from soakwitness.analysis.live.state import ClockState

AT_HAND_S = 120.0  # before a pull: gloves on, and the page shows nothing but the pull
MOST_NAMED = 4
WORDS = {"load": "in", "pull": "out", "plates": "on the plates", "hand-warm": "hand-warm"}
TAPPED = {"waiting": "load", "in": "pull", "out": "plates", "on the plates": "hand-warm"}


def turn_words(
    side: AtTheFurnace,
    *,
    utc_s: float,
    zone: tzinfo,
    unit: Unit,
    clock: ClockState | None,
    lead: str,
    quenched: bool = True,
) -> dict[str, Any]:
    """Sentence, explanation and target; ``utc_s`` is the moment of ``side.t_s``, ``lead`` the living sentence.

    Keys: ``says``; ``more``, a list of sentences; ``tone`` ``wait``, ``now`` or ``late``; ``at_hand`` whether nothing
    but the next act matters; ``target`` what one tap enters: its words ``says``, ``act`` and ``names``; ``taps`` the
    same for each of ``side.pieces``, null where nothing is left to do; ``where`` words for each of them; ``bar`` the
    soak of the slowest: ``share``, ``had``, ``asked``, ``who``, or null. ``words`` and ``quenched`` are for a page that
    goes on while it hears nothing: what each act is called once it is done, whether a pull leads to the plates, and
    ``within_s`` how soon [s].
    """
    telling = _Telling(side, utc_s, zone, unit, clock, lead)
    tone, says, more = telling.turn()
    names, act = side.expected.pieces, side.expected.act
    return {
        "says": says,
        "more": more,
        "tone": tone,
        "at_hand": telling.at_hand,
        "target": {"act": act, "names": list(side.expected.names), "says": done_words(names, act)},
        "taps": [_tap(piece, quenched) for piece in side.pieces],
        "where": [telling.where(piece) for piece in side.pieces],
        "bar": telling.bar(),
        "words": WORDS,
        "quenched": quenched,
        "within_s": side.plates_within_s,
    }


def clock_time(utc_s: float, zone: tzinfo, *, up: bool = False) -> str:
    """A moment as the clock shows it, ``11:42``; ``up``: never earlier than it."""
    whole = (-int(-utc_s // 60) if up else int(utc_s // 60)) * 60
    return f"{datetime.fromtimestamp(whole, UTC).astimezone(zone):%H:%M}"


def done_words(names: Sequence[str], act: str) -> str:
    """What a mark says was done: ``B-3 is out``."""
    if act == "door":
        return "The door was opened"
    if not names:
        return f"The charge is {WORDS.get(act, act)}"
    return f"{listed(names, most=MOST_NAMED)} {'is' if len(names) == 1 else 'are'} {WORDS.get(act, act)}"


def _tap(piece: PieceThere, quenched: bool) -> dict[str, Any] | None:
    act = TAPPED.get(piece.stands if quenched or piece.stands != "out" else "on the plates")
    if act is None or piece.piece is None:
        return None
    return {"act": act, "names": [piece.piece], "says": done_words([piece.piece], act)}


class _Telling:
    """One moment, put into words."""

    def __init__(
        self, side: AtTheFurnace, utc_s: float, zone: tzinfo, unit: Unit, clock: ClockState | None, lead: str
    ) -> None:
        self._side, self._utc_s, self._zone, self._unit = side, utc_s, zone, unit
        self._clock, self._lead = clock, lead
        inside = [piece for piece in side.pieces if piece.stands == "in"]
        self._next = next((piece for piece in inside if piece.piece in side.expected.pieces), None)
        self._next = self._next or next(iter(inside), None)

    @property
    def at_hand(self) -> bool:
        """Whether a pull or the way to the quench is at hand."""
        if self._side.expected.act == "plates":
            return self._side.pulled_s is not None
        before_s, piece = self._side.not_before_s, self._next
        if before_s is None or piece is None or piece.soak is None or piece.soak.cold:
            return False
        return self._side.t_s >= before_s - AT_HAND_S

    def turn(self) -> tuple[str, str, list[str]]:
        """Tone, sentence, explanation."""
        act = self._side.expected.act
        if act == "pull":
            return self._pull()
        who = listed(self._side.expected.pieces, most=MOST_NAMED) or "The charge"
        one = len(self._side.expected.pieces) <= 1
        if act == "plates":
            within_s = self._side.plates_within_s
            within = "" if within_s is None else f", within {duration(within_s)} of the pull"
            return "now", f"{who} {'goes' if one else 'go'} to the quench{within}.", []
        more = self._living()
        if act == "load":
            if not self._side.expected.pieces:
                out = any(piece.stands not in ("waiting", "in") for piece in self._side.pieces)
                return ("wait", "All pieces are out.", more) if out else ("wait", " ".join(more), [])
            return "wait", f"{who} {'goes' if one else 'go'} in next.", more
        return "wait", f"{who} {'cools' if one else 'cool'} to hand-warm.", more

    def _pull(self) -> tuple[str, str, list[str]]:
        names, piece = self._side.expected.pieces, self._next
        one = len(names) <= 1
        who = listed(names, most=MOST_NAMED) or "The charge"
        out = f"{who} {'comes' if one else 'come'} out"
        if piece is None or piece.soak is None or self._side.not_before_s is None:
            return "wait", f"{out} next.", self._living()
        if piece.soak.cold:
            stays = f"{who} {'is' if one else 'are'} still in: the hold is over"
            return "wait", f"{stays}, {'it has' if one else 'they have'} cooled.", self._living()
        before = clock_time(self._utc_s - self._side.t_s + self._side.not_before_s, self._zone, up=True)
        if self._side.t_s < self._side.not_before_s:
            return "wait", f"{out} next, not before {before}.", self._explained(latest=self.at_hand)
        late = piece.soak.overdue
        then = self._then(names)
        says = f"{out} now: overdue{then}." if late else f"{out} now{then}."
        return "late" if late else "now", says, self._explained(latest=True, before=before)

    def _then(self, names: Sequence[str]) -> str:
        """Who follows."""
        later = [p.piece for p in self._side.pieces if p.stands == "in" and p.piece and p.piece not in names]
        return f", then {listed(later, most=MOST_NAMED)}" if later else ""

    def _explained(self, *, latest: bool, before: str | None = None) -> list[str]:
        """Had and asked of the slowest, the window, what is wrong."""
        slowest = self._side.slowest
        if slowest is None or slowest.soak is None:
            return self._living()
        soak = slowest.soak
        others = sum(piece.stands == "in" for piece in self._side.pieces) > 1
        who = f"{slowest.piece}, the slowest," if others and slowest.piece else "It"
        found = [f"{who} has had {duration_of(soak.soak_s, soak.required_s)} ({SOURCES[soak.source]})."]
        window = [] if before is None else [f"not before {before}"]
        if latest and self._side.not_after_s is not None:
            window.append(f"not after {clock_time(self._utc_s - self._side.t_s + self._side.not_after_s, self._zone)}")
        if window:
            text = ", ".join(window)
            found.append(f"{text[0].upper()}{text[1:]}.")
        if soak.complete and self._side.not_before_s is not None and self._side.t_s < self._side.not_before_s:
            found.append("By the best estimate its soak is complete; the time above is the one that is sure.")
        if soak.troubles:
            found.append(f"Not to the recipe: {trouble_words(soak.troubles, self._unit)}.")
        return found

    def _living(self) -> list[str]:
        return [f"{self._lead.rstrip('.')}."] if self._lead else []

    def bar(self) -> dict[str, Any] | None:
        """The soak of the slowest, as a bar and its words."""
        slowest, clock = self._side.slowest, self._clock
        if slowest is None or slowest.soak is None or slowest.soak.required_s <= 0.0 or slowest.soak.cold:
            return None
        soak = slowest.soak
        hold = "" if clock is None or clock.target_c is None else f"hold at {temperature(clock.target_c, self._unit)}"
        slow = f"slowest: {slowest.piece}" if slowest.piece else ""
        return {
            "share": round(min(soak.soak_s / soak.required_s, 1.0), 4),
            "had": f"{duration(soak.soak_s)} had",
            "asked": f"{duration(soak.required_s)} asked",
            "who": ", ".join(part for part in (hold, slow) if part),
        }

    def where(self, piece: PieceThere) -> str:
        """Where a piece is: ``slot 2, in``, ``out at 11:43``."""
        words = [] if piece.slot is None else [f"slot {piece.slot}"]
        since = piece.since_s is not None and piece.stands not in ("waiting", "in")
        at = f" at {self._clock_of(piece.since_s)}" if since and piece.since_s is not None else ""
        return ", ".join([*words, f"{piece.stands}{at}"])

    def _clock_of(self, t_s: float) -> str:
        return clock_time(self._utc_s - self._side.t_s + t_s, self._zone)
