"""Which piece was in the furnace from when to when, read out of a run's marks: one reader for every part.

Marks are read in the order of the moments they speak of; where those are equal, in the order of their entry.

- A ``load`` with names puts those in that are not in already; one that names only pieces that are in changes nothing.
  After a pull it begins a new stay. A ``load`` without names is a charge of its own: the pieces of the log book that
  were not in yet, else one charge that nobody named.
- A ``pull`` with names ends the stay of these pieces; the first one counts. Of a charge loaded without names any piece
  may be pulled by its name: it went in with that charge. A piece that is in no charge is asked about, and gets no time.
- A ``pull`` without names speaks of everything that is in. Where nothing is, and the charge loaded last has no names,
  one more piece of it was taken out.
- ``plates`` and ``hand-warm`` speak of pieces that were pulled, the first one counts: without names of those pulled
  last (plates), or of all that wait for it (hand-warm). A new name is that of the piece pulled last without one.
- A charge without names is in from the beginning where no ``load`` mark comes before the first ``pull``.
- A mark that changes nothing changes nothing: it leaves a question (``mark_questions``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeVar

from soakwitness.firmware_bridge.marks.questions import About, Kind, Question, question
from soakwitness.firmware_bridge.runfolder.origins import bounds_only, judged_within_s

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

After = Literal["plates", "hand-warm"]
SPEAKS = ("load", "pull", "plates", "hand-warm")


@dataclass(frozen=True)
class Known:
    """A piece that the log book has in this run; ``charge`` is what it calls the charge there.

    ``slot`` counts from 1 where it stands in the rack.
    """

    piece: str
    charge: str | None = None
    slot: int | None = None


@dataclass(frozen=True)
class PieceStay:
    """One piece (None: an unnamed charge, or one of its pieces) in the furnace, times in s of the run.

    ``load_s`` None: no load mark. ``pull_s`` None: no pull mark. ``again`` counts stays of the same piece from 1.
    ``bounds`` are acts whose mark only bounds the moment, with the time by which it may be wrong [s].
    """

    piece: str | None
    charge: str | None
    load_s: float | None
    pull_s: float | None = None
    plates_s: float | None = None
    hand_warm_s: float | None = None
    again: int = 1
    bounds: tuple[tuple[Act, float], ...] = ()

    def within_s(self, act: Act) -> float:
        """By how much a moment may be wrong [s] that nobody saw; 0 where its mark is one that counts in full."""
        return dict(self.bounds).get(act, 0.0)

    @property
    def quench_delay_s(self) -> float | None:
        """Time from the pull to the plates [s]; None where one of them is missing, or nobody saw it."""
        if self.pull_s is None or self.plates_s is None or self.within_s("pull") or self.within_s("plates"):
            return None
        return self.plates_s - self.pull_s


@dataclass(frozen=True)
class Charges:
    """All stays in the order of loading, what is to be asked, and the marks that counted, in the order of time.

    ``to_come`` are pieces that the log book has in a charge of their own which no mark has begun.
    """

    stays: tuple[PieceStay, ...]
    questions: tuple[Question, ...]
    counted: tuple[Mark, ...]
    to_come: tuple[str, ...] = ()

    @property
    def inside(self) -> tuple[PieceStay, ...]:
        """Stays that last."""
        return tuple(stay for stay in drop_unnamed(self.stays) if stay.pull_s is None)


S = TypeVar("S", bound=PieceStay)


def drop_unnamed(stays: Sequence[S]) -> tuple[S, ...]:
    """Leave out what was never pulled of an unnamed charge of which pieces were named when they came out."""
    named = {(s.charge, s.load_s) for s in stays if s.piece is not None}
    return tuple(s for s in stays if s.piece is not None or s.pull_s is not None or (s.charge, s.load_s) not in named)


def read_charges(marks: Iterable[Mark], *, known: Sequence[Known] = (), cold_since_s: float | None = None) -> Charges:
    """Read the charges of a run from its marks so far.

    ``known`` are pieces of the log book, in the order of their charges there. ``cold_since_s`` [s] is the start of a
    run whose charge rides the first ramp: a charge without a load mark is in since then. Struck marks say nothing.
    """
    reader = _Reader(known, cold_since_s)
    for mark in sorted((m for m in marks if not m.struck and m.act in SPEAKS), key=lambda m: m.t_s):
        reader.take(mark)
    return reader.charges()


def raised(before: Charges, after: Charges) -> tuple[Question, ...]:
    """Questions that are new: what a mark, or striking one out, leaves to be asked."""
    asked = {(q.kind, q.mark, q.pieces) for q in before.questions}
    return tuple(q for q in after.questions if (q.kind, q.mark, q.pieces) not in asked)


@dataclass(eq=False)
class _Charge:
    """Pieces that went in together; ``open``: no mark named them then, ``unknown``: nor does the log book.

    ``label`` is what the log book calls the charge of the first of them.
    """

    name: str | None
    load_s: float | None
    open: bool
    unknown: bool = False
    label: str | None = None
    mark: Mark | None = None


@dataclass(eq=False)
class _Stay:
    """A stay while it is being read: ``ends`` are its pull, plates and hand-warm mark.

    ``supposed``: the log book alone says that this piece was in the charge.
    """

    piece: str | None
    charge: _Charge
    again: int = 1
    supposed: bool = False
    ends: dict[str, Mark] = field(default_factory=dict)

    @property
    def is_in(self) -> bool:
        return "pull" not in self.ends

    def at(self, act: str) -> float | None:
        mark = self.ends.get(act)
        return None if mark is None else mark.t_s

    @property
    def pulled_s(self) -> float:
        return self.ends["pull"].t_s


class _Reader:
    """Takes marks in the order of time."""

    def __init__(self, known: Sequence[Known], cold_since_s: float | None) -> None:
        self._known = {one.piece.casefold(): one for one in known}
        self._cold_since_s = cold_since_s
        self._charges: list[_Charge] = []
        self._stays: list[_Stay] = []
        self._questions: list[Question] = []
        self._counted: list[Mark] = []

    def charges(self) -> Charges:
        """All that was read so far."""
        if not self._charges:
            self._begin()
        stays = (
            PieceStay(
                s.piece,
                s.charge.name,
                s.charge.load_s,
                s.at("pull"),
                s.at("plates"),
                s.at("hand-warm"),
                s.again,
                _bounds((s.charge.mark, *s.ends.values())),
            )
            for s in self._stays
        )
        later = {_key(s) for s in self._stays if self._belongs_later(s)} | {n.casefold() for n in self._not_yet_in()}
        to_come = tuple(one.piece for key, one in self._known.items() if key in later)
        return Charges(tuple(stays), tuple(self._questions), tuple(self._counted), to_come)

    def take(self, mark: Mark) -> None:
        """Take the next mark."""
        if mark.act == "pull" and not self._charges:
            self._begin()
        if mark.act == "load":
            counts = self._load(mark)
        elif mark.act == "pull":
            counts = self._pull(mark)
        else:
            counts = self._after(mark, "plates" if mark.act == "plates" else "hand-warm")
        if counts:
            self._counted.append(mark)

    # Loading

    def _begin(self) -> None:
        """The charge that no mark loads."""
        self._charges.append(_Charge(None, self._cold_since_s, open=True))
        self._fill(self._charges[-1], self._not_yet_in())

    def _load(self, mark: Mark) -> bool:
        names = _once(mark.pieces)
        inside = [s for name in names if (s := self._inside(name)) is not None and not self._belongs_later(s)]
        if inside:
            self._ask("in already", mark, inside)
        new = {name.casefold(): name for name in names if all(_key(s) != name.casefold() for s in inside)}
        if names and not new:
            return False
        later = [s for s in self._stays if self._belongs_later(s) and (not names or _key(s) in new)]
        number = 1 + sum(charge.name is not None for charge in self._charges)
        self._charges.append(_Charge(f"charge {number}", mark.t_s, open=not names, mark=mark))
        self._stays = [s for s in self._stays if s not in later]
        if names:
            self._stays += [
                _Stay(self._spelled(name), self._charges[-1], self._times(name) + 1) for name in new.values()
            ]
        else:
            self._fill(self._charges[-1], self._not_yet_in())
        return True

    def _fill(self, charge: _Charge, names: Sequence[str]) -> None:
        """Put into an unnamed charge what the log book knows, else what nobody knows."""
        self._stays += [_Stay(name, charge, supposed=True) for name in names] or [_Stay(None, charge)]
        charge.unknown = not names
        charge.label = self._label(names[0]) if names else None

    def _not_yet_in(self) -> list[str]:
        return [one.piece for key, one in self._known.items() if all(_key(s) != key for s in self._stays)]

    def _belongs_later(self, stay: _Stay) -> bool:
        """Whether only the log book put it into this charge, and into another of its own than the first ones."""
        return stay.supposed and stay.is_in and self._label(stay.piece or "") != stay.charge.label

    def _label(self, name: str) -> str | None:
        one = self._known.get(name.casefold())
        return one.charge if one is not None else None

    # Pulling

    def _pull(self, mark: Mark) -> bool:
        if mark.pieces:
            return any([self._pull_one(mark, name) for name in _once(mark.pieces)])
        going = [s for s in self._stays if s.is_in and not self._is_rest(s)] or self._one_more()
        if not going:
            self._ask("nothing waits", mark, ())
        for stay in going:
            stay.ends["pull"] = mark
        return bool(going)

    def _pull_one(self, mark: Mark, name: str) -> bool:
        stay = self._inside(name)
        if stay is None:
            last = self._last(name)
            charges = self._may_come_from(last)
            if not charges:
                self._ask("again", mark, [last]) if last is not None else self._ask_of("not in the charge", mark, name)
                return False
            stay = _Stay(self._spelled(name), charges[-1], self._times(name) + 1)
            others = [s for s in self._stays if s.piece is None and s.charge in charges[:-1]]
            if any(s.is_in and not self._is_rest(s) for s in others):
                self._ask("which charge", mark, [stay])
            elif not stay.charge.unknown and name.casefold() not in self._known:
                self._ask("not in the log book", mark, [stay])
            self._stays.append(stay)
        stay.ends["pull"] = mark
        return True

    def _may_come_from(self, last: _Stay | None) -> list[_Charge]:
        """Charges loaded without names since this piece was pulled last; the one it most likely came from is last."""
        since = [c for c in self._charges if c.open and (last is None or not last.is_in)]
        if last is not None and not last.is_in:
            since = [c for c in since if c is not last.charge and c.load_s is not None and c.load_s >= last.pulled_s]
        return sorted(since, key=lambda charge: self._rest(charge) is not None)

    def _one_more(self) -> list[_Stay]:
        """One more piece of the charge loaded last, where nobody named that."""
        charge = self._charges[-1]
        if not charge.unknown:
            return []
        rest = self._rest(charge)
        if rest is None:
            rest = _Stay(None, charge)
            self._stays.append(rest)
        return [rest]

    def _rest(self, charge: _Charge) -> _Stay | None:
        """What is not named yet of an unnamed charge, as long as it was not pulled."""
        return next((s for s in self._stays if s.piece is None and s.charge is charge and s.is_in), None)

    def _is_rest(self, stay: _Stay) -> bool:
        """Whether nothing is known to be left of an unnamed charge: single pieces of it were named."""
        return stay.piece is None and any(s.piece is not None and s.charge is stay.charge for s in self._stays)

    # After the pull

    def _after(self, mark: Mark, act: After) -> bool:
        if mark.pieces:
            return any([self._after_one(mark, act, name) for name in _once(mark.pieces)])
        waiting = [s for s in self._stays if not s.is_in and act not in s.ends]
        if act == "plates":
            # The last pulled go to the plates; earlier ones without that mark have simply none on record.
            latest = max((s.pulled_s for s in waiting), default=0.0)
            waiting = [s for s in waiting if s.pulled_s == latest]
        if not waiting:
            self._ask("nothing waits", mark, ())
        for stay in waiting:
            stay.ends[act] = mark
        return bool(waiting)

    def _after_one(self, mark: Mark, act: After, name: str) -> bool:
        own = [s for s in self._stays if _key(s) == name.casefold()]
        last = own[-1] if own else None
        if act == "hand-warm" and last is not None and last.is_in:
            own = own[:-1]  # said late: it is back in the furnace
        stay = own[-1] if own and not own[-1].is_in and act not in own[-1].ends else self._nameless(act, last)
        if stay is None:
            self._ask_after(mark, name, last)
            return False
        if stay.piece is None:
            stay.piece, stay.again = self._spelled(name), self._times(name) + 1
        stay.ends[act] = mark
        return True

    def _ask_after(self, mark: Mark, name: str, last: _Stay | None) -> None:
        nobody_knows = not self._charges or any(self._rest(charge) for charge in self._may_come_from(last))
        if last is not None and mark.act in last.ends:
            self._ask("again", mark, [last])
        elif last is not None or nobody_knows:
            self._ask_of("not pulled", mark, name)
        else:
            self._ask_of("not in the charge", mark, name)

    def _nameless(self, act: After, last: _Stay | None) -> _Stay | None:
        """What was pulled last without a name, of an unnamed charge that this piece may have been in."""
        charges = self._may_come_from(last)
        waiting = [s for s in self._stays if s.piece is None and s.charge in charges and not s.is_in]
        return max((s for s in waiting if act not in s.ends), key=lambda s: s.pulled_s, default=None)

    # Names

    def _last(self, name: str) -> _Stay | None:
        return next((s for s in reversed(self._stays) if _key(s) == name.casefold()), None)

    def _inside(self, name: str) -> _Stay | None:
        last = self._last(name)
        return last if last is not None and last.is_in else None

    def _times(self, name: str) -> int:
        return sum(_key(s) == name.casefold() for s in self._stays)

    def _spelled(self, name: str) -> str:
        """The name as it was written first: the log book's before that of a mark."""
        known, last = self._known.get(name.casefold()), self._last(name)
        return known.piece if known is not None else (last.piece or name) if last is not None else name

    # Asking

    def _ask_of(self, kind: Kind, mark: Mark, name: str) -> None:
        inside = tuple(s.piece for s in self._stays if s.is_in and not self._is_rest(s))
        self._questions.append(question(kind, mark, (name,), About(inside=inside)))

    def _ask(self, kind: Kind, mark: Mark, stays: Sequence[_Stay]) -> None:
        since_s, first = (stays[0].charge.load_s, stays[0].ends.get(mark.act)) if stays else (None, None)
        pieces = tuple(s.piece for s in stays if s.piece is not None)
        self._questions.append(question(kind, mark, pieces, About(since_s, first)))


def _bounds(marks: Iterable[Mark | None]) -> tuple[tuple[Act, float], ...]:
    return tuple((mark.act, judged_within_s(mark)) for mark in marks if mark is not None and bounds_only(mark))


def _key(stay: _Stay) -> str | None:
    return None if stay.piece is None else stay.piece.casefold()


def _once(names: Iterable[str]) -> list[str]:
    """Each name once, in order; ``a-1`` and ``A-1`` are one piece, as in the log book."""
    return list({name.casefold(): name for name in reversed(list(names))}.values())[::-1]
