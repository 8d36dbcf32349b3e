"""Making the folder of a new run, or taking it back where it could not be made whole."""

from __future__ import annotations

import contextlib
import os
import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.runfolder.chain import open_chain
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.line_format import utc_text


def reduced_name(name: str) -> str:
    """A furnace's name as it stands in a run id: ``[a-z0-9-]`` only.

    >>> reduced_name("Big Furnace (left)")
    'big-furnace-left'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "furnace"


def new_folder(runs: Path, furnace_name: str, started_utc: datetime | float, files: Files) -> Path:
    """Make the folder of a run that begins now, under a name that no other has."""
    stamp = re.sub(r"[-:]|\.\d+", "", utc_text(started_utc))
    while True:
        path = runs / f"{stamp}_{reduced_name(furnace_name)}_{os.urandom(2).hex()}"
        with contextlib.suppress(FileExistsError):
            files.make_folder(path)
            files.sync_folder(runs)
            return path


def next_run(logbook: Path, files: Files, run: str) -> dict[str, Any]:
    """Count one more run of this recorder; what ``run.json`` says of that."""
    with open_chain(logbook, files) as book:
        book.save(replace(book.chain, runs=book.chain.runs + 1, last_run=run))
        return {"id": book.chain.id, "counter": book.chain.runs, "previous_seal": book.chain.head}


def take_back(path: Path | None, files: Files) -> None:
    """Remove a run folder that could not be made whole, as far as that goes."""
    if path is None:
        return
    with contextlib.suppress(OSError):
        for file in path.iterdir():
            files.remove(file)
        path.rmdir()
