"""The devices that may look at the book over the network, each with a link of its own; kept as digests."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import os
import secrets
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from soakwitness.firmware_bridge.runfolder.files import read_json
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.lock import LockHeld, short_lock

DEVICES_FILE = "book-devices.json"
LONGEST_NAME = 60
MOST_DEVICES = 100
Rights = Literal["look", "mark"]
RIGHTS_WORDS: dict[Rights, str] = {"look": "looks", "mark": "looks and marks"}


class DeviceRefused(Exception):
    """A device cannot be let in or withdrawn as asked."""

    exit_code = 2


@dataclass(frozen=True)
class Device:
    """A device: its name, what it may do, the digest of its token, since when, when it was seen last."""

    name: str
    rights: Rights
    token_sha256: str
    since_utc: str
    seen_utc: str | None = None


THIS_COMPUTER = Device("this computer", "mark", "", "")


class Devices:
    """The list in the log book's folder; it is read anew where another process changed it."""

    def __init__(self, logbook: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.path = logbook / DEVICES_FILE
        self._now = now
        self._signs: tuple[int, int] | None = None
        self._list: tuple[Device, ...] = ()
        self._seen: dict[str, str] = {}  # digest of the token: when; kept now and then only

    def all(self) -> tuple[Device, ...]:
        """All devices that may look."""
        try:
            state = os.stat(self.path)
        except OSError:
            self._signs, self._list = None, ()
            return ()
        if (signs := (state.st_ino, state.st_mtime_ns)) != self._signs:
            self._list, self._signs = _read(self.path), signs
        return tuple(replace(d, seen_utc=self._seen.get(d.token_sha256, d.seen_utc)) for d in self._list)

    def add(self, name: str, rights: Rights = "look") -> str:
        """Let a device in; return its token, which is kept nowhere.

        Raises DeviceRefused if the name cannot be had.
        """
        name = checked_name(name)
        token = secrets.token_urlsafe(24)
        with self._changing() as kept:
            there = _devices(kept)
            same = next((d for d in there if d.name.casefold() == name.casefold()), None)
            if same is not None:
                raise DeviceRefused(
                    f'"{same.name}" has its link since {same.since_utc}. Withdraw that first, or give another name.'
                )
            if len(there) >= MOST_DEVICES:
                raise DeviceRefused(
                    f"{MOST_DEVICES} devices have a link. Withdraw one that is not used any more first."
                )
            kept["devices"] = [*there, Device(name, rights, _digest(token), utc_text(self._now()))]
        return token

    def withdraw(self, name: str) -> Device:
        """Shut a device out, from this moment on.

        Raises DeviceRefused if there is none of this name.
        """
        with self._changing() as kept:
            there = _devices(kept)
            gone = next((d for d in there if d.name.casefold() == name.strip().casefold()), None)
            if gone is None:
                names = ", ".join(f'"{d.name}"' for d in there) or "none"
                raise DeviceRefused(f'No device is called "{name}". There are: {names}.')
            kept["devices"] = [d for d in there if d is not gone]
        return gone

    def known_by(self, token: str) -> Device | None:
        """The device with this token; wrong ones cost nobody anything, the right one has 192 random bits."""
        digest = _digest(token)
        return next((d for d in self.all() if hmac.compare_digest(d.token_sha256, digest)), None)

    def still(self, device: Device) -> bool:
        """Whether a device may go on."""
        return device is THIS_COMPUTER or any(
            (d.token_sha256, d.rights) == (device.token_sha256, device.rights) for d in self.all()
        )

    def noticed(self, device: Device) -> None:
        """Remember that a device was here just now."""
        if device is not THIS_COMPUTER:
            self._seen[device.token_sha256] = utc_text(self._now())

    def keep_seen(self) -> None:
        """Keep when each device was seen last; what cannot be kept is left."""
        there = {d.token_sha256: d.seen_utc for d in _read(self.path)}
        if any(digest in there and there[digest] != seen for digest, seen in self._seen.items()):
            with contextlib.suppress(OSError, LockHeld, DeviceRefused), self._changing() as kept:
                kept["devices"] = [
                    replace(d, seen_utc=self._seen.get(d.token_sha256, d.seen_utc)) for d in _devices(kept)
                ]

    def secret(self) -> bytes:
        """What the forms' tokens are made of; it stays, so that a page outlives the book's process."""
        with contextlib.suppress(OSError, ValueError, LockHeld, DeviceRefused), self._changing() as kept:
            if len(str(kept.get("secret", ""))) < 64:
                kept["secret"] = secrets.token_hex(32)
            return bytes.fromhex(str(kept["secret"]))
        return secrets.token_bytes(32)

    @contextlib.contextmanager
    def _changing(self) -> Iterator[dict[str, Any]]:
        """What the file says, to be changed: written when the block is left, and changed by no other meanwhile."""
        with short_lock(self.path.with_suffix(".lock")):
            kept = _whole(self.path)
            before = json.dumps(kept)
            yield kept
            kept["devices"] = [d if isinstance(d, dict) else asdict(d) for d in kept.get("devices", ())]
            if json.dumps(kept) != before:
                self._write(kept)

    def _write(self, kept: dict[str, Any]) -> None:
        part = self.path.with_name(f".{self.path.name}.{os.getpid()}.part")
        with contextlib.suppress(FileNotFoundError):
            part.unlink()
        with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
            json.dump(kept, file, indent=1)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, self.path)


def checked_name(name: str) -> str:
    """A device's name as it is kept. Raises DeviceRefused for one that no list could show."""
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME:
        raise DeviceRefused(f"A device has a name of 1 to {LONGEST_NAME} letters, such as: tablet at the furnace")
    if any(unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co", "Cn") for letter in name):
        raise DeviceRefused(f"The name {name!r} has letters that cannot be shown. Give another.")
    if name.casefold() == THIS_COMPUTER.name:
        raise DeviceRefused(f'"{name}" is what the book calls the computer it runs on. Give another name.')
    return name


def _whole(path: Path) -> dict[str, Any]:
    """All that the file says. Raises DeviceRefused where it is there and cannot be read: it is not written over."""
    try:
        kept = read_json(path)
        _devices(kept)
    except FileNotFoundError:
        return {"devices": []}
    except (OSError, ValueError, LookupError, TypeError):
        raise DeviceRefused(
            f"{path} cannot be read. Move it away: every device needs a new link then, and nothing else is lost."
        ) from None
    return dict(kept)


def _read(path: Path) -> tuple[Device, ...]:
    """What the file says; what cannot be read lets nobody in."""
    try:
        return tuple(_devices(read_json(path)))
    except (OSError, ValueError, LookupError, TypeError):
        return ()


def _devices(kept: Any) -> list[Device]:
    return [
        Device(
            str(d["name"]),
            "mark" if d["rights"] == "mark" else "look",
            str(d["token_sha256"]),
            str(d["since_utc"]),
            None if d.get("seen_utc") is None else str(d["seen_utc"]),
        )
        for d in kept["devices"]
    ]


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
