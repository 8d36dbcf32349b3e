"""``recorder.json`` of a log book: who seals here, and which seal was the last."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.files import Files, read_json, set_aside, write_whole
from soakwitness.firmware_bridge.runfolder.lock import short_lock
from soakwitness.firmware_bridge.runfolder.seal import read_seal

_MOST = 1 << 53  # a number that any reader of JSON takes whole


@dataclass(frozen=True)
class Chain:
    """State of one recorder's chain of seals.

    ``id`` is random; ``runs`` counts the runs begun, of which ``last_run`` was the last, and ``seals`` those sealed;
    ``head`` is the digest of the last seal. ``sealing`` is the run whose seal was being written: a crash may have come
    between it and this file.
    A log book that was copied to another computer goes on with a chain of its own.
    """

    id: str
    computer: str
    runs: int = 0
    seals: int = 0
    head: str | None = None
    head_run: str | None = None
    sealing: str | None = None
    last_run: str | None = None


@contextmanager
def open_chain(logbook: Path, files: Files) -> Iterator[ChainFile]:
    """Hold the log book's chain for a moment; nobody else changes it meanwhile."""
    with short_lock(logbook / "recorder.lock"):
        yield ChainFile(logbook, files)


def saved_chain(logbook: Path) -> Chain | None:
    """The chain as it was saved last; None where none can be read. Nobody is kept from changing it meanwhile."""
    try:
        return _parse(read_json(logbook / "recorder.json"))
    except (OSError, ValueError):
        return None


def _parse(said: Any) -> Chain:
    """A chain as it was saved; ValueError where it is none."""
    if not isinstance(said, dict):
        raise ValueError("it is no table of keys")
    chain = Chain(**{key: said[key] for key in Chain.__dataclass_fields__ if key in said})
    texts = (chain.head, chain.head_run, chain.sealing)
    sound = all(isinstance(text, str) for text in (chain.id, chain.computer)) and all(
        isinstance(count, int) and 0 <= count < _MOST for count in (chain.runs, chain.seals)
    )
    if not sound or not all(text is None or isinstance(text, str) for text in texts):
        raise ValueError("a key is not what it should be")
    return chain


class ChainFile:
    """``recorder.json``, open for a change."""

    def __init__(self, logbook: Path, files: Files) -> None:
        self._path = logbook / "recorder.json"
        self._files = files
        self.chain = self._settled(self._read())

    def save(self, chain: Chain) -> None:
        """Write the chain, whole or not at all."""
        self.chain = chain
        write_whole(self._files, self._path, (json.dumps(asdict(chain), indent=1) + "\n").encode())

    def _read(self) -> Chain:
        computer = platform.node()
        try:
            chain = _parse(read_json(self._path))
        except FileNotFoundError:
            return Chain(os.urandom(8).hex(), computer)
        except (OSError, ValueError):  # damaged: the sealed runs keep the old chain, a new one begins
            set_aside(self._path)
            return Chain(os.urandom(8).hex(), computer)
        return chain if chain.computer == computer else Chain(os.urandom(8).hex(), computer)

    def _settled(self, chain: Chain) -> Chain:
        """Take in a seal that was written just before a crash."""
        if chain.sealing is None:
            return chain
        try:
            seal = read_seal(self._path.parent / "runs" / chain.sealing)
        except RunFolderError:
            seal = None
        if seal is not None and seal.chain_id == chain.id and seal.chain_number == chain.seals + 1:
            chain = replace(chain, seals=seal.chain_number, head=seal.digest, head_run=seal.run)
        return replace(chain, sealing=None)
