"""Claiming a furnace: what recording and watching begin with, and the person's side that both tell."""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.base import Link
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.linking import LinkKeeper, Opener, PortMemory, adapters
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.lock import Lock, LockHeld, is_held, read_holder
from soakwitness.firmware_bridge.runfolder.writer import reduced_name


class Attendant(Protocol):
    """The person's side: told what happens, asked whether to end."""

    def tell(self, words: str) -> None:
        """One sentence that stays."""
        ...

    def heard(self, event: str, detail: str) -> None:
        """An event was entered."""
        ...

    def bell(self) -> None:
        """An alarm rings."""
        ...

    def show(self, recording: Recording) -> None:
        """A slot was taken."""
        ...

    def tend(self, recording: Recording) -> None:
        """Called several times a second."""
        ...

    def why_end(self) -> str | None:
        """Why to end; None to go on."""
        ...


def claim_furnace(logbook: Path, furnace: Furnace, who: str, since: str) -> tuple[Lock, list[str]]:
    """Claim a furnace in a log book; also tell who records other furnaces there.

    Raises LockHeld if the furnace is being recorded there already; the message says by whom; RunFolderError if the log
    book's folder cannot be written.
    """
    folder = logbook / "locks"
    name = f"{reduced_name(furnace.name)}-{zlib.crc32(furnace.name.encode()):08x}.lock"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = Lock(folder / name, {"who": who, "since": since, "furnace": furnace.name})
    except LockHeld as held:
        pid = held.holder.get("pid", "unknown")
        since = held.holder.get("since", "unknown")
        raise LockHeld(
            f"{furnace.name} is being recorded in {logbook} already, by {held.holder.get('who', 'another')} (process "
            f"{pid}, since {since}). End that one first, or give another --logbook.",
            held.holder,
        ) from None
    except OSError as error:
        raise RunFolderError(
            f"{logbook}: cannot be written: {error.strerror or error}. Give another --logbook."
        ) from None
    recorded = [other for other in sorted(folder.glob("*.lock")) if other.name != name and is_held(other)]
    return lock, [str(read_holder(other).get("furnace", other.stem)) for other in recorded]


def default_opener(furnace: Furnace, clock: Clock) -> Link:
    """Open the link that the furnace file describes."""
    from soakwitness.firmware_bridge.connecting.opening import open_link

    return open_link(furnace, clock=clock)


def keep_link(furnace: Furnace, clock: Clock, opener: Opener) -> LinkKeeper:
    """A link keeper that also looks for the adapter under a new port name, where the port is a plain name."""
    if furnace.link.kind == "simulated" or "://" in furnace.link.port:
        return LinkKeeper(furnace, clock, opener)
    memory = PortMemory(lambda: adapters())

    def remembering(wanted: Furnace, its_clock: Clock) -> Link:
        link = opener(wanted, its_clock)
        memory.remember(wanted.link.port)
        return link

    return LinkKeeper(furnace, clock, remembering, memory.find_again)


@contextlib.contextmanager
def claimed(
    furnace: Furnace, clock: Clock, logbook: Path, attendant: Attendant, *, who: str, opener: Opener
) -> Iterator[LinkKeeper]:
    """Hold a furnace in a log book, and its link, until the work there is over; the link is not opened yet.

    Raises what ``claim_furnace`` raises.
    """
    lock, others = claim_furnace(logbook, furnace, who, utc_text(clock.utc_s()))
    try:
        for other in others:
            attendant.tell(f"The furnace {other} is being recorded in this log book too.")
        link = keep_link(furnace, clock, opener)
        try:
            yield link
        finally:
            link.close()
    finally:
        lock.release()
