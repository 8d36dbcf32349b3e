"""Which piece was in the furnace from when to when, as marks and log book tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from soakwitness.analysis.verification.model import PieceInfo
from soakwitness.firmware_bridge.runfolder.model import Mark


@dataclass(frozen=True)
class Stay:
    """One piece (or an unnamed charge) in the furnace.

    ``load_s`` None: no load mark. ``pull_s`` None: no pull mark. ``again`` counts stays of the same piece from 1.
    """

    piece: str | None
    charge: str | None
    load_s: float | None
    pull_s: float | None = None
    plates_s: float | None = None
    hand_warm_s: float | None = None
    info: PieceInfo | None = None
    again: int = 1


def stays_of(marks: Sequence[Mark], pieces: Sequence[PieceInfo] = ()) -> tuple[Stay, ...]:
    """Read the stays of all pieces from the marks of a run.

    Parameters
    ----------
    marks : sequence of Mark
        Marks of the run; struck ones are left out.
    pieces : sequence of PieceInfo
        What the log book knows of the pieces in this run.

    Returns
    -------
    tuple of Stay
        In the order of loading. One unnamed stay without marks where nothing is known.

    Notes
    -----
    A load mark without names loads one charge: the pieces of the log book that no mark names, else an unnamed charge.
    A pull, plates or hand-warm mark without names speaks of every piece that waits for it.
    """
    valid = sorted((m for m in marks if not m.struck), key=lambda m: m.t_s)
    named = {name for mark in valid for name in mark.pieces}
    unnamed = [p.id for p in pieces if p.id not in named]
    stays: list[Stay] = []
    for mark in valid:
        if mark.act == "load":
            _load(stays, mark, unnamed)
        elif mark.act in ("pull", "plates", "hand-warm"):
            _end(stays, mark, unnamed)
    if not stays:
        stays = [Stay(p.id, p.charge, None) for p in pieces] or [Stay(None, None, None)]
    else:
        here = {s.piece for s in stays}
        stays += [
            Stay(p.id, p.charge, None) for p in pieces if p.id not in here and all(s.load_s is None for s in stays)
        ]
    known = {p.id: p for p in pieces}
    return tuple(replace(s, info=known.get(s.piece or "")) for s in stays)


def _load(stays: list[Stay], mark: Mark, unnamed: list[str]) -> None:
    charge = f"charge {1 + len({s.charge for s in stays if s.load_s is not None})}"
    first = not any(s.load_s is not None for s in stays)
    names: list[str | None] = [*mark.pieces] or ([*unnamed] if first and unnamed else [None])
    for name in names:
        before = sum(1 for s in stays if s.piece == name and name is not None)
        stays.append(Stay(name, charge, mark.t_s, again=before + 1))


def _end(stays: list[Stay], mark: Mark, unnamed: list[str]) -> None:
    """Enter a pull, plates or hand-warm mark in the stays it speaks of."""
    key = {"pull": "pull_s", "plates": "plates_s", "hand-warm": "hand_warm_s"}[mark.act]
    if not stays:
        names: list[str | None] = [*(mark.pieces or unnamed)] or [None]
        stays += [Stay(name, None, None) for name in names]
    for name in mark.pieces:
        if all(s.piece != name for s in stays):
            stays.append(_named_part(stays, name))
    waiting = [i for i, s in enumerate(stays) if _waits(s, mark, key)]
    if not mark.pieces and mark.act != "pull":
        # The last pulled go to the plates; earlier ones without that mark have simply none on record.
        pulled = [i for i in waiting if stays[i].pull_s is not None]
        latest = max((stays[i].pull_s or 0.0 for i in pulled), default=None)
        waiting = [i for i in pulled if stays[i].pull_s == latest] if mark.act == "plates" else pulled
    chosen = [i for i in waiting if not mark.pieces or stays[i].piece in mark.pieces]
    if mark.act == "pull" and not mark.pieces and not chosen:
        chosen = _next_of_charge(stays)
    for i in {stays[i].piece: i for i in chosen}.values() if mark.pieces else chosen:
        stays[i] = _ended(stays[i], mark)


def _ended(stay: Stay, mark: Mark) -> Stay:
    if mark.act == "pull":
        return replace(stay, pull_s=mark.t_s)
    return replace(stay, plates_s=mark.t_s) if mark.act == "plates" else replace(stay, hand_warm_s=mark.t_s)


def _next_of_charge(stays: list[Stay]) -> list[int]:
    """A further pull without a name: one more piece of the unnamed charge."""
    whole = next((s for s in reversed(stays) if s.piece is None), None)
    if whole is None:
        return []
    stays.append(Stay(None, whole.charge, whole.load_s))
    return [len(stays) - 1]


def _named_part(stays: list[Stay], name: str) -> Stay:
    """A piece first named when it leaves: it came in with the charge that was loaded without names."""
    whole = next((s for s in reversed(stays) if s.piece is None), None)
    if whole is None:
        last = stays[-1]
        return Stay(name, last.charge, last.load_s)
    return Stay(name, whole.charge, whole.load_s)


def _waits(stay: Stay, mark: Mark, key: str) -> bool:
    since = stay.load_s if stay.load_s is not None else float("-inf")
    done = {"pull_s": stay.pull_s, "plates_s": stay.plates_s, "hand_warm_s": stay.hand_warm_s}[key]
    return done is None and since <= mark.t_s


def drop_unnamed(stays: Sequence[Stay]) -> tuple[Stay, ...]:
    """Leave out the unnamed part of a charge of which single pieces were named later.

    Parameters
    ----------
    stays : sequence of Stay
        The stays.

    Returns
    -------
    tuple of Stay
        Without unnamed stays that were never pulled while named pieces of the same charge were.
    """
    named = {(s.charge, s.load_s) for s in stays if s.piece is not None}
    return tuple(s for s in stays if s.piece is not None or (s.charge, s.load_s) not in named)
