"""Marks by a tap or a key of the page: handed to the recorder as the command ``mark`` does, or entered late."""

from __future__ import annotations

import asyncio
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.words.page_words import on_page
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined
from soakwitness.firmware_bridge.common.zones import computer_zone
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.marks.handing_over import mark_of_device, present_t_s, taken_back
from soakwitness.firmware_bridge.marks.undoing import strike_out
from soakwitness.firmware_bridge.runfolder.contents import ACTS, Act, Mark
from soakwitness.firmware_bridge.runfolder.late import enter_late, outside_words, strike_late, time_in_run
from soakwitness.firmware_bridge.runfolder.line_format import read_utc, utc_text
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held
from soakwitness.firmware_bridge.runfolder.marks import (
    DroppedMark,
    drop_mark,
    find_mark,
    mark_to_strike,
    new_mark_id,
)
from soakwitness.firmware_bridge.runfolder.reader import read_marks

_ID = re.compile(r"[0-9a-f]{6,16}")


@dataclass(frozen=True)
class Tap:
    """What a device sends: a mark of a moment of its own clock, an undo or a strike of the mark ``mark_id``.

    ``device_utc_s`` [s since 1970] by its clock, which is ``clock_off_s`` [s] ahead of ours (None: not measured).
    """

    kind: str
    run: str
    mark_id: str
    by: str
    act: str = ""
    pieces: tuple[str, ...] = ()
    note: str = ""
    why: str = ""
    device_utc_s: float = 0.0
    clock_off_s: float | None = None


def routes(desk: Desk) -> list[Route]:
    """The moment and the form's token for a page that was away, and what it enters."""

    async def here(request: Request) -> Response:
        return JSONResponse({"utc_ms": desk.now().timestamp() * 1000.0, "form_token": desk.tokens.of(request)})

    async def entered(request: Request, form: FormData) -> Response:
        try:
            tap = tap_of(form, request.state.device.name)
            said = await asyncio.to_thread(enter, desk.logbook, tap, desk.now().timestamp())
        except (RunFolderError, ValueError) as error:
            return JSONResponse({"refused": on_page(error)}, status_code=409)
        desk.states.judge_again(Path(tap.run).name)
        return JSONResponse({"entered": said})

    return [Route("/here", here, name="here"), entry_route("/taps", entered, desk.tokens, name="taps")]


def tap_of(form: FormData, by: str) -> Tap:
    """The tap that a form tells of. Raises ValueError, with what is wrong in it."""
    kind, mark_id = _text(form, "kind"), _text(form, "mark_id")
    if kind not in ("mark", "undo", "strike"):
        raise ValueError(f"kind is {kind!r}: none of mark, undo, strike.")
    if kind == "mark" and not _ID.fullmatch(mark_id):
        raise ValueError(f"mark_id is {mark_id!r}: 6 to 16 signs of 0 to 9 and a to f belong there.")
    act = _text(form, "act")
    if kind == "mark" and act not in ACTS:
        raise ValueError(f"act is {act!r}: none of {', '.join(ACTS)}.")
    off_ms = _text(form, "off_ms")
    return Tap(
        kind,
        _text(form, "run"),
        mark_id,
        by,
        act,
        tuple(str(piece) for piece in form.getlist("piece")),
        _text(form, "note"),
        _text(form, "why"),
        _number(form, "device_ms") / 1000.0 if kind == "mark" else 0.0,
        _number(form, "off_ms") / 1000.0 if off_ms else None,
    )


def enter(logbook: Path, tap: Tap, now_utc_s: float) -> str:
    """Enter a tap; return the mark's id. Raises RunFolderError with the words of the refusal."""
    path = logbook / "runs" / Path(tap.run).name
    if not tap.run or not (path / "run.json").is_file():
        raise RunFolderError(f"{tap.run or 'The run'}: no such run in {logbook}. Nothing was entered.")
    recorded = is_held(path / RUN_LOCK)
    if tap.kind == "mark":
        dropped = mark_of_device(
            cast(Act, tap.act),
            tap.pieces,
            mark_id=tap.mark_id,
            device_utc_s=tap.device_utc_s,
            clock_off_s=tap.clock_off_s,
            note=tap.note,
            by=tap.by,
        )
        return _hand_over(path, dropped) if recorded else _enter_late(path, dropped, now_utc_s)
    return _take_out(path, tap, now_utc_s, recorded=recorded)


def _hand_over(path: Path, dropped: DroppedMark) -> str:
    drop_mark(path, dropped)
    return dropped.mark_id


def _enter_late(path: Path, dropped: DroppedMark, now_utc_s: float) -> str:
    """The network came back after the run: the mark is entered later, and says so; one sent twice counts once."""
    if any(mark.mark_id == dropped.mark_id for mark in read_marks(path)):
        return dropped.mark_id
    at_s = time_in_run(path, read_utc(dropped.utc))
    if (away := outside_words(path, at_s, computer_zone())) is not None:
        then = NextCommand.of(
            "mark", str(dropped.act), *dropped.pieces, "--run", path.name, "--at", "TIME", "--outside"
        )
        raise RunFolderError(joined([f"{away}. Nothing was entered. If it was done then:", then]))
    mark = Mark(
        at_s,
        cast(Act, dropped.act),
        dropped.pieces,
        dropped.note,
        dropped.mark_id,
        entered_later=True,
        by=dropped.by,
        origin=dropped.origin,
        within_s=dropped.within_s,
    )
    enter_late(path, mark, now_utc=now_utc_s)
    return dropped.mark_id


def _take_out(path: Path, tap: Tap, now_utc_s: float, *, recorded: bool) -> str:
    """An undo, or a strike with its reason; a mark that is out already stays as it is."""
    marks = read_marks(path)
    if find_mark(marks, tap.mark_id).struck:
        return tap.mark_id
    if tap.kind == "undo":
        if not recorded:
            says = f"{path.name} is over: nothing is taken back there without a reason. Strike it out:"
            raise RunFolderError(joined([says, strike_out(tap.mark_id, run=path.name)]))
        _, dropped = taken_back(marks, present_t_s(path, now_utc_s), utc_s=now_utc_s, by=tap.by, mark_id=tap.mark_id)
    else:
        if not tap.why.strip():
            raise RunFolderError("A mark is struck out with a reason: it stays with the mark.")
        if not recorded:
            return strike_late(path, tap.mark_id, why=tap.why, by=tap.by, now_utc=now_utc_s).mark_id
        struck = mark_to_strike(marks, tap.mark_id)
        dropped = DroppedMark(new_mark_id(), utc_text(now_utc_s), strike=struck.mark_id, why=tap.why, by=tap.by)
    drop_mark(path, dropped)
    return tap.mark_id


def _text(form: FormData, name: str) -> str:
    value = form.get(name)
    return value if isinstance(value, str) else ""


def _number(form: FormData, name: str) -> float:
    text = _text(form, name)
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 1e14:
        raise ValueError(f"{name} is {text!r}, no number of milliseconds.")
    return value
