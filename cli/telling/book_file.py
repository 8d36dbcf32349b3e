"""The book's lock file in the log book's folder: who serves it, under which address, and where states are heard."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.runfolder.lock import Lock, LockHeld, is_held, read_holder

BOOK_FILE = "book.json"
DEFAULT_PORT = 8431
ENDED_WITHIN_S = 5.0  # so long one that was asked to end may take


@dataclass(frozen=True)
class RunningBook:
    """A book that runs, as its lock file tells; ``hears`` says where it takes states, ``network`` where else it is."""

    pid: int
    address: str
    version: str
    lan: bool
    hears: Mapping[str, Any]
    network: tuple[str, ...] = ()


def claim_book(logbook: Path, about: Mapping[str, Any]) -> Lock:
    """Hold the book of a log book and say of it what others need; only the owner can read that.

    Raises LockHeld if another book has it.
    """
    path = logbook / BOOK_FILE
    logbook.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    with contextlib.suppress(OSError):
        path.chmod(0o600)
    return Lock(path, {"who": "book", **about})


def running_book(logbook: Path) -> RunningBook | None:
    """The book of a log book that runs now; None where none does."""
    path = logbook / BOOK_FILE
    return told_by(read_holder(path)) if is_held(path) else None


def told_by(said: Mapping[str, Any]) -> RunningBook | None:
    """What a lock file says; None where it is not of a book."""
    pid, address, hears = said.get("pid"), said.get("address"), said.get("hears")
    if not isinstance(pid, int) or not isinstance(address, str) or not isinstance(hears, dict):
        return None
    network = said.get("network")
    others = tuple(map(str, network)) if isinstance(network, list) else ()
    return RunningBook(pid, address, str(said.get("version")), bool(said.get("lan")), hears, others)


def stop_book(logbook: Path) -> RunningBook | None:
    """End the book of a log book; return the one that ended, None where none ran.

    Raises LockHeld if it does not end.
    """
    book = running_book(logbook)
    if book is None:
        return None
    with contextlib.suppress(ProcessLookupError):
        os.kill(book.pid, signal.SIGTERM)
    until = time.monotonic() + ENDED_WITHIN_S
    while is_held(logbook / BOOK_FILE):
        if time.monotonic() > until:
            raise LockHeld(
                f"The book at {book.address} (process {book.pid}) was asked to end and has not. End that process.", {}
            )
        time.sleep(0.05)
    return book
