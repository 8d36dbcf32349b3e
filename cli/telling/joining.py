"""Joining the book that serves a log book, or starting one beside a recording."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.cli.telling.book_file import DEFAULT_PORT, RunningBook, running_book
from soakwitness.firmware_bridge.version import VERSION

IDLE_S = 1800.0  # a book that a recording started ends so long after the last run and browser


class BookRefused(Exception):
    """The book cannot be started or joined."""

    exit_code = 2


@dataclass(frozen=True)
class Joined:
    """A book that serves: on this computer, and where in the network; ``link`` lets the first device in.

    ``trust`` is the fingerprint of the authority that it encrypts by, where it has its own.
    """

    address: str
    link: str | None = None
    network: tuple[str, ...] = ()
    trust: str | None = None


def join_or_start(
    logbook: Path,
    *,
    port: int | None = None,
    lan: bool = False,
    idle_s: float = IDLE_S,
    recipes: Path | None = None,
) -> Joined:
    """Join the book of a log book, or start one that outlives this process; ``recipes``: the folder that it is given.

    Raises BookRefused if one of another version runs, or one that does not fit what is asked, or the port is taken.
    """
    book = running_book(logbook)
    if book is None:
        return _start(logbook, port=port, lan=lan, idle_s=idle_s, recipes=recipes)
    check_fits(book, lan=lan)
    return Joined(book.address, None, book.network)


def check_fits(book: RunningBook, *, lan: bool) -> None:
    """Refuse to join a book of another version, or one that is closed to the network where that is asked for."""
    again = "End it first: soakwitness book --stop"
    if book.version != VERSION:
        raise BookRefused(f"The book at {book.address} is of version {book.version}, this is {VERSION}. {again}")
    if lan and not book.lan:
        raise BookRefused(f"The book at {book.address} is not open to the workshop network. {again}")


def _start(logbook: Path, *, port: int | None, lan: bool, idle_s: float, recipes: Path | None) -> Joined:
    words = [sys.executable, "-m", "soakwitness.cli.book.serving", "--logbook", str(logbook.absolute())]
    words += ["--port", str(DEFAULT_PORT if port is None else port), "--idle", f"{idle_s:g}"]
    words += [] if recipes is None else ["--recipes", str(recipes.absolute())]
    child = subprocess.Popen(
        [*words, *(["--lan"] if lan else [])],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # Ctrl-C and a closed terminal are the recording's business
    )
    assert child.stdout is not None
    said: dict[str, Any] = {}
    with child.stdout as pipe, contextlib.suppress(ValueError):
        said = json.loads(pipe.readline() or b"{}")
    if "address" not in said:
        child.wait()
        raise BookRefused(said.get("refused", "The book could not be started. Try it by itself: soakwitness book"))
    child.returncode = 0  # it lives on by itself: no warning that nobody waited for it
    return Joined(said["address"], said.get("link"), tuple(said.get("network", ())))
