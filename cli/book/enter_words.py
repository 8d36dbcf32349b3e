"""Notes and photographs of a piece, and entries struck through with the reason."""

from __future__ import annotations

import asyncio
import re
import shutil
import tempfile
from pathlib import Path
from typing import Any, BinaryIO

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.on_record import on_record
from soakwitness.cli.book.sent_forms import Filled, Said, onward, seen_of, send, show, the_piece, values_of

MOST_UPLOAD_BYTES = 64 << 20  # beyond what a photograph may have, so that the command's own words are read
REASONS = ("wrong piece", "wrong number", "entered twice")


def routes(desk: Desk, said: Said) -> list[Route]:
    """Forms and what they enter; the photographs themselves."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_about_piece, desk, request, filled)
        found["said"] = said.take(request)
        return show(desk, request, "enter_photo.html", form="photo", status=status, filled=filled, **found)

    async def photo(request: Request) -> Response:
        return await shown(request, Filled())

    async def photo_kept(request: Request, form: FormData) -> Response:
        values = values_of(form) | {"name": [request.path_params["piece"]]}
        file = form.get("file")
        if not isinstance(file, UploadFile) or not file.filename:
            return await shown(request, Filled(values, "Choose a photograph, or take one.", "file"), 422)
        with tempfile.TemporaryDirectory(prefix="soakwitness-") as folder:
            path = Path(folder) / file_name(file.filename)
            await asyncio.to_thread(_copy, file.file, path)
            outcome = await send(desk, said, request, "photo", values, files={"file": str(path)})
        if outcome.done is None:
            filled = Filled(outcome.filled.values, outcome.filled.refused, outcome.filled.at or "file")
            return await shown(request, filled, 422)
        return onward(said, outcome, request.url.path)

    async def picture(request: Request) -> Response:
        path = await asyncio.to_thread(_file_of, desk, request.path_params["digest"])
        if path is None:
            raise HTTPException(404)
        return FileResponse(path, media_type="image/jpeg", headers={"cache-control": "private, max-age=86400"})

    photos = "/pieces/{piece}/photo"
    return [
        *form_routes(desk, said, NOTE),
        Route(photos, photo, methods=["GET"], name="enter_photo"),
        entry_route(photos, photo_kept, desk.tokens, name="photo_entered", most=MOST_UPLOAD_BYTES),
        Route("/photos/{digest}.jpg", picture, methods=["GET"], name="photograph"),
        *form_routes(desk, said, STRIKE),
    ]


def file_name(given: str) -> str:
    """A name for a file that was sent: its own, as far as it is a plain one."""
    plain = re.sub(r"[^\w.-]+", "-", given.replace("\\", "/").rpartition("/")[2])[-80:].strip(".-")
    return plain or "photograph"


def _copy(source: BinaryIO, goal: Path) -> None:
    with goal.open("xb") as out:
        shutil.copyfileobj(source, out, 1 << 20)


def _about_piece(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    from soakwitness.analysis.logbook.history import piece_history
    from soakwitness.analysis.logbook.photos import photos_of
    from soakwitness.analysis.logbook.piece_notes import notes_of

    with desk.open_book() as book:
        piece = the_piece(book, request)
        return {
            "piece": piece,
            "seen": seen_of(book, piece.id),
            "record": [on_record(step) for step in reversed(piece_history(book, piece.id).steps)],
            "photos": photos_of(book, piece.id),
            "notes": notes_of(book, piece.id),
        }


def _one_entry(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    about = {name: request.path_params[name] for name in ("kind", "entry")}
    return _about_piece(desk, request, filled) | about | {"reasons": REASONS}


def _file_of(desk: Desk, digest: str) -> Path | None:
    """The file of a photograph that stands with a piece."""
    from soakwitness.analysis.logbook.photos import photo_of, photo_path

    with desk.open_book() as book:
        found = photo_of(book, digest)
        path = None if found is None else photo_path(book, found)
    return path if path is not None and path.is_file() else None


def _to_the_piece(request: Request) -> str | None:
    return way(request, "enter_piece", piece=request.path_params["piece"])


NOTE = FormPage(
    path="/pieces/{piece}/note",
    name="enter_note",
    template="enter_note.html",
    form="note",
    context=_about_piece,
    about=lambda request, values: {"names": [request.path_params["piece"]]},
    onward=_to_the_piece,
)
STRIKE = FormPage(
    path="/pieces/{piece}/strike/{kind}/{entry:int}",
    name="enter_strike",
    template="enter_strike.html",
    form="strike",
    context=_one_entry,
    about=lambda request, values: {name: [str(request.path_params[name])] for name in ("kind", "entry")},
    onward=_to_the_piece,
)
