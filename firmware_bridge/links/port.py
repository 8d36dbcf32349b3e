"""The one place where a port is opened and where the system's errors are met; they leave as LinkError."""

from __future__ import annotations

import errno
import os
import re
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import serial

from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.runfolder.lock import Lock, LockHeld, holder_words, read_holder

if sys.platform == "win32":
    _PORT_ERRORS: tuple[type[Exception], ...] = (OSError, ValueError)
else:
    import termios

    # termios.error is no OSError; ValueError and TypeError come from pyserial when the port went away under it
    _PORT_ERRORS = (OSError, termios.error, ValueError, TypeError)

_LOCK_FOLDERS = ("/run/lock", "/var/lock", "/tmp")
_WRITE_TIMEOUT_S = 2.0
_T = TypeVar("_T")


class Port:
    """A port of our own: opened exclusively and locked. Every failure is a LinkError that tells the reason."""

    def __init__(self, wire: Any, name: str, lock: Lock | None = None) -> None:
        self.name = name
        self.is_open = True
        self._wire = wire
        self._lock = lock

    @property
    def baudrate(self) -> int:
        """Speed in bits per second."""
        return int(self._wire.baudrate)

    @property
    def waiting(self) -> int:
        """Bytes that can be read at once (a network address: 1 for "some")."""
        return int(self._attempt(lambda: self._wire.in_waiting))

    def read(self, size: int) -> bytes:
        """Read up to ``size`` bytes, fewer where the timeout runs out."""
        return bytes(self._attempt(lambda: self._wire.read(size)))

    def read_waiting(self, most: int = 1 << 16) -> bytes:
        """Read what is there, without waiting."""
        data = b""
        while len(data) < most and (waiting := self.waiting):
            data += self.read(waiting)
        return data

    def write(self, data: bytes) -> None:
        """Send bytes."""
        self._attempt(lambda: self._wire.write(data))

    def empty(self) -> None:
        """Throw away what has arrived."""
        self._attempt(self._wire.reset_input_buffer)

    def close(self) -> None:
        """Let go of port and lock; never raises."""
        self.is_open = False
        try:
            self._wire.close()
        except _PORT_ERRORS:
            pass  # the port is gone, which is what was wanted
        finally:
            if self._lock is not None:
                self._lock.release()
                self._lock = None

    def _attempt(self, work: Callable[[], _T]) -> _T:
        try:
            return work()
        except serial.SerialTimeoutException as error:
            raise LinkError("silent", f"{self.name}: it takes no bytes (write timeout). Check the cable.") from error
        except _PORT_ERRORS as error:
            raise _lost(self.name, error) from error


def open_port(settings: LinkSettings) -> Port:
    """Open a port name or ``socket://`` URL exclusively, line states set before; raises LinkError."""
    lock = _lock(settings.port)
    try:
        wire = serial.serial_for_url(settings.port, do_not_open=True)
        wire.baudrate = settings.baud
        wire.bytesize = settings.data_bits
        wire.parity = settings.parity
        wire.stopbits = settings.stop_bits
        wire.timeout = settings.timeout_s
        wire.write_timeout = max(settings.timeout_s, _WRITE_TIMEOUT_S)
        wire.dtr, wire.rts = settings.dtr, settings.rts
        if sys.platform != "win32":  # there every port is exclusive anyway
            wire.exclusive = True
        wire.open()
    except _PORT_ERRORS as error:
        if lock is not None:
            lock.release()
        raise _not_opened(settings.port, error) from error
    return Port(wire, settings.port, lock)


def lock_path(port: str) -> Path | None:
    """Give the lock file of a port by the place it really is at; None where the system needs or has none."""
    if sys.platform == "win32":
        return None
    real = port if "://" in port else os.path.realpath(port)
    readable = "".join(c if c.isalnum() else "-" for c in real).strip("-")[-40:]
    name = f"soakwitness-{readable}-{zlib.crc32(real.encode()):08x}.lock"
    return next((Path(f, name) for f in _LOCK_FOLDERS if os.access(f, os.W_OK)), None)


def _lock(port: str) -> Lock | None:
    path = lock_path(port)
    try:
        return Lock(path, {"port": port}) if path else None
    except LockHeld as held:
        says = f"{port}: busy, {holder_words(held.holder)} has it. End that one first."
        raise LinkError("busy", says) from held
    except OSError:
        return None  # someone else's lock file, not held by us: the exclusive opening still guards


def _not_opened(port: str, error: Exception) -> LinkError:
    code = _number(error) or _number(error.__context__)
    denied = code in (errno.EACCES, errno.EPERM)
    if code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or (denied and sys.platform == "win32"):
        return _busy(port)  # Windows says "access denied" for a port in use
    if denied:
        return LinkError("no permission", f"{port}: no permission. {_permission_step(port)}")
    if "://" in port:
        reason = _words(error.__context__ or error)
        return LinkError("missing", f"{port}: nobody answers there ({reason}). Check address, port number and cable.")
    if os.path.exists(port):
        says = f"{port}: is no serial port, or it refuses its speed, parity, data or stop bits ({_words(error)})."
        return LinkError("missing", says)
    return LinkError("missing", f"{port}: missing. Plug it in, or see what there is with: soakwitness ports")


def _busy(port: str) -> LinkError:
    path = lock_path(port)
    holder = read_holder(path) if path else {}  # readable where the lock itself is another user's
    who = holder_words(holder) if "pid" in holder else "another program"
    return LinkError("busy", f"{port}: busy, {who} has it. End that one first.")


def _permission_step(port: str) -> str:
    try:
        import grp

        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "Ask whoever looks after this computer for the right to use serial ports."
    return f'It belongs to the group "{group}": sudo usermod -a -G {group} YOUR-NAME, then log in anew.'


def _lost(port: str, error: Exception) -> LinkError:
    return LinkError("missing", f"{port}: gone while in use ({_words(error)}). Check cable and adapter.")


def _number(error: BaseException | None) -> int | None:
    """Give the system's error number; termios.error keeps it in its arguments only."""
    code = getattr(error, "errno", None) or (error.args[0] if error is not None and error.args else None)
    return code if isinstance(code, int) else None


def _words(error: BaseException) -> str:
    code = _number(error)
    text = str(error)
    if code is not None:  # below 0: an error of the address look-up, which has words of its own
        text = os.strerror(code) if code > 0 else str(getattr(error, "strerror", text))
    return (re.split(r"[\n(]", text, maxsplit=1)[0].strip() or text).rstrip(".")[:100].lower()
