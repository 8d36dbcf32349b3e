"""Marks: how one is written into an event's detail and read back, and how one is handed to a recorder.

A detail reads ``load; id 3fa2; pieces B-041, B-042; at 1234.500 s; by anna; entered later; note wet foil``; a mark
struck out later ``strike; id 3fa2; by anna; why wrong blade``. What a person typed has ``%``, ``;``, ``,`` and control
characters written as ``%3B`` and so on. ``origin inferred; within 10.000 s`` tells how it came to be, and by how much
its moment may be wrong; older records have neither.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
import reprlib
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import ACTS, Act, Event, Mark
from soakwitness.firmware_bridge.runfolder.files import read_json, set_aside
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.names import LONGEST_RANGE
from soakwitness.firmware_bridge.runfolder.origins import ORIGINS, Origin

DROPPED = ".mark"
WORDS_LENGTH = 2000  # characters of a note or a reason
NAME_LENGTH = 200
FILE_BYTES = 1 << 20  # more than a mark within these bounds can have
AT_ONCE = 50  # files taken at one look: a flood of them does not hold the recorder
FAR_S = 86400.0  # loaded before the record began, or pulled after it ended: but not on another day
SAME_MOMENT_S = 0.05  # an entry this soon after the act speaks of its own moment
_ENDLESS_S = 1e10
_UNSAFE = re.compile(r"[%;,\x00-\x1f\x7f]")
_NO_TEXT = re.compile(r"[\ud800-\udfff]")
_ESCAPED = re.compile(r"%([0-9A-F]{2})")


def new_mark_id() -> str:
    """A random name for a mark, short enough to type."""
    return os.urandom(3).hex()


def _safe(text: str) -> str:
    return _UNSAFE.sub(lambda hit: f"%{ord(hit[0]):02X}", text)


def _plain(text: str) -> str:
    return _ESCAPED.sub(lambda hit: chr(int(hit[1], 16)), text)


def encode_mark(mark: Mark) -> str:
    """Detail of the event that enters a mark; its time is said only where it differs from the entry's.

    Raises RunFolderError if the mark holds more than one may, or what no file can hold.
    """
    check_words(mark_id=mark.mark_id, pieces=mark.pieces, note=mark.note, by=mark.by)
    parts: list[str] = [mark.act, f"id {_safe(mark.mark_id)}"]
    if mark.pieces:
        parts.append("pieces " + ", ".join(_safe(piece) for piece in mark.pieces))
    if mark.entered_t_s is None or abs(mark.t_s - mark.entered_t_s) > SAME_MOMENT_S:
        parts.append(f"at {mark.t_s:.3f} s")
    if mark.by:
        parts.append(f"by {_safe(mark.by)}")
    if mark.entered_later:
        parts.append("entered later")
    if mark.origin is not None:
        parts.append(f"origin {mark.origin}")
    if mark.within_s is not None:
        parts.append(f"within {mark.within_s:.3f} s")
    if mark.note:
        parts.append(f"note {_safe(mark.note)}")
    return "; ".join(parts)


def encode_strike(mark_id: str, *, why: str, by: str | None = None) -> str:
    """Detail of the event that strikes a mark out; the first entry stays. Raises RunFolderError, as above."""
    check_words(mark_id=mark_id, by=by, why=why)
    parts = ["strike", f"id {_safe(mark_id)}"]
    if by:
        parts.append(f"by {_safe(by)}")
    return "; ".join([*parts, f"why {_safe(why)}"])


def check_words(
    *, mark_id: str, pieces: Sequence[str] = (), note: str = "", by: str | None = None, why: str = ""
) -> None:
    """Refuse what is too much for a mark: a record that nobody can read is none. Raises RunFolderError."""
    if len(pieces) > LONGEST_RANGE:
        raise RunFolderError(f"{len(pieces):,} pieces: a mark may name at most {LONGEST_RANGE:,}. Enter several marks.")
    names = (("id", mark_id), ("name of who says so", by or ""), *(("piece's name", piece) for piece in pieces))
    for what, text in (("note", note), ("reason", why), *names):
        most = WORDS_LENGTH if what in ("note", "reason") else NAME_LENGTH
        if len(text) > most:
            raise RunFolderError(f"a {what} of {len(text):,} characters: at most {most:,} belong to a mark.")
        if (odd := _NO_TEXT.search(text)) is not None:
            raise RunFolderError(f"a {what} with {odd[0]!r}, which is no character. Leave it out.")


def _words(detail: str) -> tuple[str, dict[str, str]]:
    first, *parts = detail.split("; ")
    pairs = (part.partition(" ") for part in parts)
    return first, {key: text for key, _, text in pairs}


def decode_mark(event: Event) -> Mark | None:
    """The mark that an event enters; None for a strike, another event, or what a newer version wrote."""
    act, words = _words(event.detail)
    if event.event != "mark" or act not in ACTS:
        return None
    t_s = _told_s(words, "at", event.t_s)
    if t_s is None or not math.isfinite(t_s):
        return None
    within_s = _told_s(words, "within", None)
    return Mark(
        t_s=t_s,
        act=act,
        pieces=tuple(_plain(piece) for piece in words["pieces"].split(", ")) if "pieces" in words else (),
        note=_plain(words.get("note", "")),
        mark_id=_plain(words.get("id", "")),
        entered_t_s=event.t_s,
        entered_later="entered" in words,
        by=_plain(words["by"]) if "by" in words else None,
        origin=cast(Origin, words["origin"]) if words.get("origin") in ORIGINS else None,
        within_s=within_s if within_s is not None and 0.0 <= within_s < _ENDLESS_S else None,
    )


def _told_s(words: dict[str, str], key: str, default: float | None) -> float | None:
    """A time [s] of a detail; None where it is no number."""
    try:
        return float(words[key].removesuffix(" s")) if key in words else default
    except ValueError:
        return None


def decode_strike(event: Event) -> tuple[str, str] | None:
    """Id of the mark that an event strikes out, and why; None for anything else."""
    act, words = _words(event.detail)
    if event.event != "mark" or act != "strike":
        return None
    return _plain(words.get("id", "")), _plain(words.get("why", ""))


def marks_of(events: Iterable[Event]) -> tuple[Mark, ...]:
    """All marks as they stand now, in the order of the moments they speak of; one entered twice counts once."""
    marks: dict[str, Mark] = {}
    for number, event in enumerate(events):
        struck = decode_strike(event)
        if struck is not None and struck[0] in marks:
            marks[struck[0]] = replace(marks[struck[0]], struck=True, struck_why=struck[1])
        mark = decode_mark(event)
        if mark is not None:
            marks.setdefault(mark.mark_id or f"row {number}", mark)
    return tuple(sorted(marks.values(), key=lambda mark: mark.t_s))


@dataclass(frozen=True)
class DroppedMark:
    """A mark, or the striking out of one, on its way to the recorder.

    ``utc`` is when it was handed over, ``at_s`` the time in the run it speaks of, where that is not the same moment
    [s]. ``strike`` is the id of the mark to strike out, ``why`` the reason. ``origin`` and ``within_s`` as in ``Mark``.
    """

    mark_id: str
    utc: str
    act: Act | None = None
    pieces: tuple[str, ...] = ()
    note: str = ""
    by: str | None = None
    later: bool = False
    at_s: float | None = None
    strike: str | None = None
    why: str = ""
    origin: Origin | None = None
    within_s: float | None = None
    path: Path | None = None


def drop_mark(run: Path, mark: DroppedMark) -> Path:
    """Leave a mark in ``marks/`` of an open run, whole or not at all; the recorder enters and removes it.

    Raises RunFolderError if the file cannot be written, or the mark holds more than one may.
    """
    _check(mark)
    folder = run / "marks"
    said = {key: value for key, value in vars(mark).items() if key != "path" and (value or key in ("at_s", "within_s"))}
    stamp = re.sub(r"[^0-9TZ]", "", mark.utc)
    target = folder / f"{stamp}-{mark.mark_id}{DROPPED}"
    part = folder / f".{target.name}.part"
    try:
        folder.mkdir(exist_ok=True)
        with open(part, "x", encoding="utf-8") as file:
            json.dump(said, file, ensure_ascii=False)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink()
        raise RunFolderError(f"{target} cannot be written: {error.strerror or error}. Free the disk.") from None
    return target


@dataclass(frozen=True)
class Refused:
    """A file in ``marks/`` that is no mark: its name, why, and the name under which it is kept."""

    name: str
    why: str
    kept_as: str


def dropped_marks(
    run: Path, refused: Callable[[Refused], object] = lambda _: None, *, seen: Container[str] = ()
) -> list[DroppedMark]:
    """Marks waiting in ``marks/``, oldest first, so many as are taken at one look; names in ``seen`` are left alone.

    What is no mark is given the ending ``.unreadable`` and told to ``refused``. Raises ``OSError`` where the folder
    cannot be listed.
    """
    folder = os.path.join(run, "marks")
    try:
        here = (name for name in os.listdir(folder) if name.endswith(DROPPED) and not name.startswith("."))
    except FileNotFoundError:
        return []
    found = []
    for name in sorted(name for name in here if name not in seen)[:AT_ONCE]:
        path = Path(folder, name)
        try:
            found.append(_parse(path))
        except FileNotFoundError as error:
            if os.path.lexists(path):
                refused(refuse_mark(path, str(error.strerror)))
        except (OSError, RunFolderError, ValueError) as error:
            refused(refuse_mark(path, getattr(error, "strerror", None) or str(error)))
    return found


def refuse_mark(path: Path, why: str) -> Refused:
    """Set a file aside that is no mark, as far as the disk allows that."""
    kept_as = path.name
    with contextlib.suppress(OSError):
        kept_as = set_aside(path).name
    return Refused(path.name, why.rstrip("."), kept_as)


def _parse(path: Path) -> DroppedMark:
    """The mark of one file; OSError, ValueError or RunFolderError where it is none."""
    said = read_json(path, FILE_BYTES)
    if not isinstance(said, dict):
        raise ValueError("it is no table of keys")
    mark = DroppedMark(
        mark_id=_text(said, "mark_id", ""),
        utc=_text(said, "utc", ""),
        act=said.get("act"),
        pieces=_texts(said, "pieces"),
        note=_text(said, "note", ""),
        by=_text(said, "by", "") or None,
        later=said.get("later") is True,
        at_s=_seconds(said, "at_s"),
        strike=_text(said, "strike", "") or None,
        why=_text(said, "why", ""),
        origin=said.get("origin"),
        within_s=_seconds(said, "within_s"),
        path=path,
    )
    if mark.strike is None and mark.act not in ACTS:
        raise ValueError(f"act is {_short(mark.act)}, none of {', '.join(ACTS)}")
    if mark.origin is not None and mark.origin not in ORIGINS:
        raise ValueError(f"origin is {_short(mark.origin)}, none of {', '.join(ORIGINS)}")
    if not mark.mark_id:
        raise ValueError("mark_id is empty")
    if math.isnan(read_utc(mark.utc)):
        raise ValueError(f"utc is {_short(mark.utc)}, no moment with a zone")
    _check(mark)
    return mark


def _check(mark: DroppedMark) -> None:
    check_words(mark_id=mark.mark_id, pieces=mark.pieces, note=mark.note, by=mark.by, why=mark.why)
    check_words(mark_id=mark.strike or "")


def _text(said: dict[str, Any], key: str, default: str) -> str:
    value = said.get(key)
    if value is None:
        return default
    if not isinstance(value, str):
        raise ValueError(f"{key} is {_short(value)}, no text")
    return value


def _texts(said: dict[str, Any], key: str) -> tuple[str, ...]:
    values = said.get(key) or ()
    if not isinstance(values, (list, tuple)) or not all(isinstance(value, str) for value in values):
        raise ValueError(f"{key} is {_short(values)}, no list of texts")
    return tuple(values)


def _seconds(said: dict[str, Any], key: str) -> float | None:
    value = said.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < _ENDLESS_S:
        raise ValueError(f"{key} is {_short(value)}, no time in a run")
    return float(value)


def _short(value: object) -> str:
    return reprlib.repr(value)


def mark_to_strike(marks: Sequence[Mark], mark_id: str) -> Mark:
    """The mark of this id, which must not be struck out already: the first reason stays."""
    mark = find_mark(marks, mark_id)
    if mark.struck:
        raise RunFolderError(f"mark {mark.mark_id} ({mark.act}) is struck out already: {mark.struck_why}.")
    return mark


def find_mark(marks: Sequence[Mark], mark_id: str) -> Mark:
    """The mark of this id, or of the only id that begins so.

    Raises RunFolderError if there is none, or several begin so.
    """
    hits = [mark for mark in marks if mark.mark_id == mark_id] or [
        mark for mark in marks if mark_id and mark.mark_id.startswith(mark_id)
    ]
    if len(hits) != 1:
        known = ", ".join(f"{mark.mark_id} ({mark.act})" for mark in marks) or "none"
        raise RunFolderError(f"mark {mark_id!r}: {len(hits)} marks have this id. The marks of this run: {known}.")
    return hits[0]
