"""The devices that may look at the book over the network, each with a link of its own; kept as digests."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import os
import secrets
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from soakwitness.firmware_bridge.runfolder.files import read_json
from soakwitness.firmware_bridge.runfolder.line_format import utc_text

DEVICES_FILE = "book-devices.json"
Rights = Literal["look", "mark"]


@dataclass(frozen=True)
class Device:
    """A device: its name, what it may do, the digest of its token, since when."""

    name: str
    rights: Rights
    token_sha256: str
    since_utc: str


THIS_COMPUTER = Device("this computer", "mark", "", "")


class Devices:
    """The list in the log book's folder; it is read anew where another process changed it."""

    def __init__(self, logbook: Path) -> None:
        self.path = logbook / DEVICES_FILE
        self._seen: tuple[int, int] | None = None
        self._list: tuple[Device, ...] = ()

    def all(self) -> tuple[Device, ...]:
        """All devices that may look."""
        try:
            state = os.stat(self.path)
        except OSError:
            self._seen, self._list = None, ()
            return ()
        if (signs := (state.st_ino, state.st_mtime_ns)) != self._seen:
            self._list, self._seen = _read(self.path), signs
        return self._list

    def add(self, name: str, rights: Rights = "look") -> str:
        """Let a device in; return its token, which is kept nowhere."""
        token = secrets.token_urlsafe(24)
        self._write((*self.all(), Device(name, rights, _digest(token), utc_text(datetime.now(UTC)))))
        return token

    def known_by(self, token: str) -> Device | None:
        """The device with this token; wrong ones cost nobody anything, the right one has 192 random bits."""
        digest = _digest(token)
        return next((d for d in self.all() if hmac.compare_digest(d.token_sha256, digest)), None)

    def _write(self, devices: tuple[Device, ...]) -> None:
        part = self.path.with_name(f".{self.path.name}.{os.getpid()}.part")
        with contextlib.suppress(FileNotFoundError):
            part.unlink()
        with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
            json.dump({"devices": [asdict(device) for device in devices]}, file, indent=1)
        os.replace(part, self.path)


def _read(path: Path) -> tuple[Device, ...]:
    """What the file says; what cannot be read lets nobody in."""
    try:
        said = read_json(path)["devices"]
        return tuple(
            Device(str(d["name"]), "mark" if d["rights"] == "mark" else "look", str(d["token_sha256"]), d["since_utc"])
            for d in said
        )
    except (OSError, ValueError, LookupError, TypeError):
        return ()


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
