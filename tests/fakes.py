"""Stand-ins for time, the instrument, the disk and the person, for tests of the recorder."""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import BinaryIO

from soakwitness.firmware_bridge.errors import LinkError, LinkReason
from soakwitness.firmware_bridge.furnace.sensors_and_links import (
    Alarm,
    Contact,
    Furnace,
    LineSource,
    LinkSettings,
    Sensor,
    Signal,
)
from soakwitness.firmware_bridge.links.base import Link, LinkClock, Reading
from soakwitness.firmware_bridge.runfolder.files import Files

UTC_S = 1_795_590_902.0  # 2026-11-25T07:15:02Z
SOURCE = LineSource(field=1)


class FakeClock:
    """Time that passes only when somebody sleeps. ``step`` sets the wall clock, ``pass_by`` is a suspend."""

    speed = 1.0

    def __init__(self, start_s: float = 1000.0, utc_s: float = UTC_S, boot: str | None = "boot-1") -> None:
        self.now_s = start_s
        self.ahead_s = utc_s - start_s
        self.boot = boot

    def monotonic(self) -> float:
        return self.now_s

    def utc_s(self) -> float:
        return self.now_s + self.ahead_s

    def wall_s(self) -> float:
        return self.utc_s()

    def sleep(self, seconds: float, /) -> None:
        if seconds > 0:
            self.now_s += seconds

    def step(self, seconds: float) -> None:
        self.ahead_s += seconds

    def pass_by(self, seconds: float) -> None:
        self.now_s += seconds


def make_furnace(
    *, every_s: float = 1.0, alarm: Alarm | None = None, contacts: tuple[Contact, ...] = (), unit: str = "C"
) -> Furnace:
    """A furnace with a control and a load sensor and its setpoint."""
    return Furnace(
        name="small furnace",
        unit=unit,  # type: ignore[arg-type]
        link=LinkSettings("lines", "/dev/fake"),
        every_s=every_s,
        sensors=(Sensor("control", "control", SOURCE), Sensor("load", "load", SOURCE)),
        signals=(Signal("setpoint", SOURCE),),
        contacts=contacts,
        alarm=alarm or Alarm(),
        text="# a fake",
    )


class FakeInstrument:
    """What is at the other end: values as a function of steady time; ``gone`` gives the reason it is not there."""

    def __init__(self, clock: FakeClock, values: Callable[[float], Mapping[str, float | None]] | None = None) -> None:
        self.clock = clock
        self.values = values or (lambda t_s: {"control": round(20 + t_s % 1000, 1), "load": 19.5, "setpoint": 1040.0})
        self.gone: LinkReason | None = None
        self.port = "/dev/fake"
        self.faults: dict[str, str] = {}
        self.texts: tuple[str, ...] = ()
        self.read_s = 0.0
        self.opened = 0

    def open(self, furnace: Furnace, clock: LinkClock) -> Link:
        if self.gone is not None or furnace.link.port != self.port:
            raise LinkError(self.gone or "missing", f"{furnace.link.port}: {self.gone or 'missing'}.")
        self.opened += 1
        return FakeLink(self, furnace.link.port)


class FakeLink:
    def __init__(self, instrument: FakeInstrument, port: str) -> None:
        self._instrument = instrument
        self._port = port
        self._closed = False

    def read(self) -> Reading:
        at = self._instrument
        assert not self._closed, "read after close"
        at.clock.sleep(at.read_s)
        if at.gone is not None or at.port != self._port:
            raise LinkError(at.gone or "missing", f"{self._port}: {at.gone or 'missing'}.")
        texts, at.texts = at.texts, ()
        values = {**at.values(at.clock.now_s), **dict.fromkeys(at.faults)}
        return Reading(values=values, faults=dict(at.faults), texts=texts)

    def close(self) -> None:
        self._closed = True

    def describe(self) -> str:
        return f"fake on {self._port}"


class Attendant:
    """A person who notes everything and ends after so many slots."""

    def __init__(self, slots: int, *, act: Callable[[int, object], None] | None = None) -> None:
        self.slots = slots
        self.told: list[str] = []
        self.events: list[tuple[str, str]] = []
        self.bells = 0
        self.shown = 0
        self._act = act

    def tell(self, words: str) -> None:
        self.told.append(words)

    def heard(self, event: str, detail: str) -> None:
        self.events.append((event, detail))

    def bell(self) -> None:
        self.bells += 1

    def show(self, recording: object) -> None:
        self.shown += 1
        if self._act is not None:
            self._act(self.shown, recording)

    def tend(self, recording: object) -> None:
        pass

    def why_end(self) -> str | None:
        return "enough" if self.shown >= self.slots else None


class Stopped(BaseException):
    """The program was killed."""


class FailingFiles(Files):
    """The disk, failing at the ``at``-th call of ``call`` ("any": of all), once or for ever, with ``error``.

    ``calls`` counts them; ``at`` 0 never fails. A failing write leaves half of its bytes.
    """

    def __init__(self, call: str, at: int, *, for_ever: bool = False, error: int = 28) -> None:
        self.call = call
        self.at = at
        self.for_ever = for_ever
        self.error = error
        self.calls = 0
        self.healed = False

    def _count(self, call: str) -> bool:
        if self.call not in (call, "any"):
            return False
        self.calls += 1
        return not self.healed and (self.calls == self.at or (self.for_ever and 0 < self.at <= self.calls))

    def _check(self, call: str) -> None:
        if self._count(call):
            raise OSError(self.error, os.strerror(self.error))

    def make_folder(self, path: Path) -> None:
        self._check("open")
        super().make_folder(path)

    def open_new(self, path: Path) -> BinaryIO:
        self._check("open")
        return super().open_new(path)

    def open_end(self, path: Path) -> BinaryIO:
        self._check("open")
        return super().open_end(path)

    def write(self, file: BinaryIO, data: bytes) -> None:
        if self._count("write"):
            super().write(file, data[: len(data) // 2])
            raise OSError(self.error, os.strerror(self.error))
        super().write(file, data)

    def sync(self, file: BinaryIO) -> None:
        self._check("fsync")
        super().sync(file)

    def sync_folder(self, path: Path) -> None:
        self._check("fsync")
        super().sync_folder(path)

    def replace(self, source: Path, target: Path) -> None:
        self._check("rename")
        super().replace(source, target)

    def remove(self, path: Path) -> None:
        self._check("remove")
        super().remove(path)


class PowerCutFiles(Files):
    """A disk that loses what was not synced: ``cut`` leaves each file with its synced bytes and some of the rest.

    Of the blocks written since the last sync each is kept, lost (zeros) or cut off at the end, as ``chance`` has it.
    """

    BLOCK = 512

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._synced: dict[Path, int] = {}
        self._paths: dict[int, Path] = {}

    def open_new(self, path: Path) -> BinaryIO:
        file = super().open_new(path)
        self._paths[id(file)] = path
        self._synced[path] = 0
        return file

    def open_end(self, path: Path) -> BinaryIO:
        file = super().open_end(path)
        self._paths[id(file)] = path
        self._synced.setdefault(path, path.stat().st_size)
        return file

    def sync(self, file: BinaryIO) -> None:
        super().sync(file)
        path = self._paths[id(file)]
        self._synced[path] = path.stat().st_size

    def replace(self, source: Path, target: Path) -> None:
        super().replace(source, target)
        self._synced[target] = self._synced.pop(source, 0)
        self._paths = {key: target if path == source else path for key, path in self._paths.items()}

    def cut(self) -> None:
        """The power is gone."""
        for path, synced in self._synced.items():
            if path.exists():
                path.write_bytes(self._left(path.read_bytes(), synced))

    def _left(self, data: bytes, synced: int) -> bytes:
        tail = data[synced:]
        kept = tail[: self._chance.randrange(len(tail) + 1)]
        blocks = [kept[i : i + self.BLOCK] for i in range(0, len(kept), self.BLOCK)]
        blocks = [block if self._chance.random() < 0.7 else bytes(len(block)) for block in blocks]
        return data[:synced] + b"".join(blocks)
