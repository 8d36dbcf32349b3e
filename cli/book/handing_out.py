"""A sheet that the worker made, handed out once."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.responses import Response

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.working import JobRefused


async def hand_out(desk: Desk, name: str, *, job: str = "sheet", **of: Any) -> Response:
    """Have a worker print a sheet ``of`` a run, a piece or a plan, and answer with it."""
    try:
        made = await (desk.worker if job == "sheet" else desk.looker).ask(job, **of)
    except JobRefused as error:
        raise HTTPException(409, str(error)) from None
    path = Path(made["file"])
    body = await asyncio.to_thread(path.read_bytes)
    await asyncio.to_thread(_clear, path)
    shown = {"content-disposition": f"inline; filename*=UTF-8''{quote(name)}"}
    return Response(body, media_type="application/pdf", headers=shown)


def _clear(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.parent.rmdir()
