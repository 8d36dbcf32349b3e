"""What ``watch`` tells systemd: that it is ready, that its sampling loop goes on, that it ends."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from soakwitness.cli.terminal.notifying import Watchdog
from soakwitness.cli.terminal.service import WATCHDOG_S, unit_text
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.recording.watching import watch_furnace
from tests.fakes import Attendant, FakeClock, FakeInstrument, make_furnace
from tests.recorders import recorder, simulated_furnace

pytestmark = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="needs sockets of Unix")


class Manager:
    """The other end: what systemd hears (sd_notify(3): one datagram a message, lines of NAME=value)."""

    def __init__(self, name: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + name[1:] if name.startswith("@") else name)
        self.socket.settimeout(60.0)
        self.name = name

    def heard(self) -> list[str]:
        """Everything that was told so far."""
        found = []
        self.socket.setblocking(False)
        try:
            while True:
                found += self.socket.recv(4096).decode().splitlines()
        except BlockingIOError:
            return found
        finally:
            self.socket.settimeout(60.0)

    def wait_for(self, word: str) -> None:
        while word not in self.socket.recv(4096).decode().splitlines():
            pass


@pytest.fixture(params=["a path", "an abstract name"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    if request.param != "a path" and not os.path.exists("/proc"):
        pytest.skip("abstract names are Linux's own")
    made = Manager(str(tmp_path / "n") if request.param == "a path" else f"@soakwitness-{os.getpid()}")
    yield made
    made.socket.close()


def test_ready_is_told_once_and_the_watchdog_is_fed_in_good_time(manager: Manager) -> None:
    now = [0.0]
    environment = {"NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}
    watchdog = Watchdog(environment, now=lambda: now[0])
    assert manager.heard() == []
    for tenth in range(1200):  # two minutes
        now[0] = tenth / 10
        watchdog.feed()
    told = manager.heard()
    assert told[:2] == ["READY=1", "WATCHDOG=1"]
    assert set(told[1:]) == {"WATCHDOG=1"}
    assert 4 <= len(told[1:]) <= 12  # sd_watchdog_enabled(3): feed at half of the time at the latest
    watchdog.stopping()
    assert manager.heard() == ["STOPPING=1"]


@pytest.mark.parametrize(
    "environment",
    [
        {},
        {"NOTIFY_SOCKET": ""},
        {"NOTIFY_SOCKET": "/nowhere/at/all"},
        {"NOTIFY_SOCKET": "relative"},
        {"NOTIFY_SOCKET": "/tmp", "WATCHDOG_USEC": "soon"},
        {"NOTIFY_SOCKET": "/" + "x" * 300, "WATCHDOG_USEC": "1000000"},
    ],
)
def test_where_nobody_listens_nothing_happens(environment: dict[str, str]) -> None:
    watchdog = Watchdog(environment)
    watchdog.feed()
    watchdog.feed()
    watchdog.stopping()


def test_another_process_is_not_asked_to_be_fed(manager: Manager) -> None:
    now = [0.0]
    environment = {"NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}
    watchdog = Watchdog(environment, now=lambda: now[0])
    for second in range(60):
        now[0] = float(second)
        watchdog.feed()
    assert manager.heard() == ["READY=1"]


class Watched(Attendant):
    def idle(self, sample: object, furnace: object) -> None:
        self.shown += 1

    def finished(self, run: Path) -> None:
        pass


def test_a_sampling_loop_that_hangs_does_not_feed(tmp_path: Path) -> None:
    clock = FakeClock()
    instrument = FakeInstrument(clock)
    fed: list[float] = []
    person = Watched(60)

    def feed() -> None:
        fed.append(clock.now_s)
        instrument.read_s = 2 * WATCHDOG_S if person.shown == 30 else 0.0

    watch_furnace(make_furnace(), clock, RunFacts(tmp_path), person, opener=instrument.open, tend=feed)
    gaps = sorted(b - a for a, b in zip(fed, fed[1:], strict=False))
    assert gaps[-1] >= 2 * WATCHDOG_S
    assert gaps[-2] <= 1.0


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")
def test_watch_tells_systemd_of_its_life(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    simulated_furnace(tmp_path)
    manager = Manager(str(tmp_path / "n"))
    monkeypatch.setenv("NOTIFY_SOCKET", manager.name)
    monkeypatch.setenv("WATCHDOG_USEC", "2000000")
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    with recorder("watch", "furnace.toml", cwd=tmp_path) as running:
        manager.wait_for("READY=1")
        manager.wait_for("WATCHDOG=1")
        manager.wait_for("WATCHDOG=1")
        status, _, _ = running.end(signal.SIGTERM)
    assert status == 0
    assert manager.heard()[-1] == "STOPPING=1"
    manager.socket.close()


def test_the_unit_waits_for_ready_and_is_watched() -> None:
    lines = unit_text("shed", ["watch", "shed.toml"], Path("/home/anna")).splitlines()
    assert {"Type=notify", "NotifyAccess=main", f"WatchdogSec={WATCHDOG_S:.0f}"} <= set(lines)


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze")
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    unit = tmp_path / "soakwitness-shed.service"
    unit.write_text(unit_text("shed", ["watch", "shed.toml"], tmp_path))
    words = ["systemd-analyze", "--user", "verify", str(unit)]
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)}
    done = subprocess.run(words, capture_output=True, text=True, check=False, env=environment)
    if "Failed to initialize manager" in done.stderr:
        pytest.skip(done.stderr.strip())
    assert (done.returncode, done.stderr) == (0, "")
