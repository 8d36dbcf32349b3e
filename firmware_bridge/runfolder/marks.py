"""Marks: how one is written into an event's detail and read back, and how one is handed to a recorder.

A detail reads ``load; id 3fa2; pieces B-041, B-042; at 1234.500 s; by anna; entered later; note wet foil``; a mark
struck out later ``strike; id 3fa2; by anna; why wrong blade``. What a person typed has ``%``, ``;``, ``,`` and control
characters written as ``%3B`` and so on.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import ACTS, Act, Event, Mark
from soakwitness.firmware_bridge.runfolder.line_format import read_utc

DROPPED = ".mark"
SAME_MOMENT_S = 0.05  # an entry this soon after the act speaks of its own moment
_UNSAFE = re.compile(r"[%;,\x00-\x1f\x7f]")
_ESCAPED = re.compile(r"%([0-9A-F]{2})")


def new_mark_id() -> str:
    """A random name for a mark, short enough to type."""
    return os.urandom(3).hex()


def _safe(text: str) -> str:
    return _UNSAFE.sub(lambda hit: f"%{ord(hit[0]):02X}", text)


def _plain(text: str) -> str:
    return _ESCAPED.sub(lambda hit: chr(int(hit[1], 16)), text)


def encode_mark(mark: Mark) -> str:
    """Detail of the event that enters a mark; its time is said only where it differs from the entry's."""
    parts: list[str] = [mark.act, f"id {_safe(mark.mark_id)}"]
    if mark.pieces:
        parts.append("pieces " + ", ".join(_safe(piece) for piece in mark.pieces))
    if mark.entered_t_s is None or abs(mark.t_s - mark.entered_t_s) > SAME_MOMENT_S:
        parts.append(f"at {mark.t_s:.3f} s")
    if mark.by:
        parts.append(f"by {_safe(mark.by)}")
    if mark.entered_later:
        parts.append("entered later")
    if mark.note:
        parts.append(f"note {_safe(mark.note)}")
    return "; ".join(parts)


def encode_strike(mark_id: str, *, why: str, by: str | None = None) -> str:
    """Detail of the event that strikes a mark out; the first entry stays."""
    parts = ["strike", f"id {_safe(mark_id)}"]
    if by:
        parts.append(f"by {_safe(by)}")
    return "; ".join([*parts, f"why {_safe(why)}"])


def _words(detail: str) -> tuple[str, dict[str, str]]:
    first, *parts = detail.split("; ")
    pairs = (part.partition(" ") for part in parts)
    return first, {key: text for key, _, text in pairs}


def decode_mark(event: Event) -> Mark | None:
    """The mark that an event enters; None for a strike, another event, or what a newer version wrote."""
    act, words = _words(event.detail)
    if event.event != "mark" or act not in ACTS:
        return None
    try:
        t_s = float(words["at"].removesuffix(" s")) if "at" in words else event.t_s
    except ValueError:
        return None
    if not math.isfinite(t_s):
        return None
    return Mark(
        t_s=t_s,
        act=act,
        pieces=tuple(_plain(piece) for piece in words["pieces"].split(", ")) if "pieces" in words else (),
        note=_plain(words.get("note", "")),
        mark_id=_plain(words.get("id", "")),
        entered_t_s=event.t_s,
        entered_later="entered" in words,
        by=_plain(words["by"]) if "by" in words else None,
    )


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
    [s]. ``strike`` is the id of the mark to strike out, ``why`` the reason.
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
    path: Path | None = None


def drop_mark(run: Path, mark: DroppedMark) -> Path:
    """Leave a mark in ``marks/`` of an open run, whole or not at all; the recorder enters and removes it.

    Raises RunFolderError if the file cannot be written.
    """
    folder = run / "marks"
    said = {key: value for key, value in vars(mark).items() if key != "path" and (value or key == "at_s")}
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


def dropped_marks(run: Path) -> list[DroppedMark]:
    """Marks waiting in ``marks/``, oldest first. What cannot be read is given the ending ``.unreadable``.

    Raises ``OSError`` where the folder cannot be listed.
    """
    folder = os.path.join(run, "marks")
    try:
        names = sorted(name for name in os.listdir(folder) if name.endswith(DROPPED) and not name.startswith("."))
    except FileNotFoundError:
        return []
    found = []
    for name in names:
        path = Path(folder, name)
        mark = _parse(path)
        if mark is None:
            with contextlib.suppress(OSError):
                path.replace(path.with_name(f"{name}.unreadable"))
        else:
            found.append(mark)
    return found


def _parse(path: Path) -> DroppedMark | None:
    try:
        said: Any = json.loads(path.read_text(encoding="utf-8"))
        act = said.get("act")
        fit = (act in ACTS or "strike" in said) and read_utc(said["utc"]) == read_utc(said["utc"])
        mark = DroppedMark(
            mark_id=str(said["mark_id"]),
            utc=str(said["utc"]),
            act=act,
            pieces=tuple(str(piece) for piece in said.get("pieces", ())),
            note=str(said.get("note", "")),
            by=said.get("by"),
            later=bool(said.get("later", False)),
            at_s=None if said.get("at_s") is None else float(said["at_s"]),
            strike=said.get("strike"),
            why=str(said.get("why", "")),
            path=path,
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return mark if fit and math.isfinite(mark.at_s or 0.0) else None


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
