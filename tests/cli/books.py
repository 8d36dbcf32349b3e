"""A book that serves an empty log book for tests, states told to it, and questions asked of it."""

from __future__ import annotations

import http.client
import json
import signal
import subprocess
import sys
import time
import urllib.parse
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from soakwitness.cli.telling.present import Present

INJECTED = "<script>window.broken = 1</script>"


def a_state(t_s: float, **more: Any) -> dict[str, Any]:
    """One state, markup in every text of it."""
    return {
        "furnace": f"Shed {INJECTED}",
        "recipe": f"Blades {INJECTED}",
        "every_s": 60.0,
        "run": "20260101T070000Z_shed_0001",
        "t_s": t_s,
        "unit": "C",
        "sentence": f"Step 4: blade in band 18:40 of 25:00, take out in 6:20 {INJECTED}",
        "detail": f"Charge 1: {INJECTED}",
        "readings": [
            {"name": f"chamber {INJECTED}", "role": "control", "temp": 1040.0},
            {"name": "blade", "role": "load", "temp": None},
        ],
        "record": f"{int(t_s)} rows written. {INJECTED}",
        "reading_age_s": 2.0,
        "holds": [{"target": 1040, "lower": 1034, "upper": 1046}],
        "alarm": f"Over temperature {INJECTED}",
        **more,
    }


@dataclass
class ServedBook:
    """A serving process and one recorder that tells it."""

    logbook: Path
    child: subprocess.Popen[str]
    address: str
    link: str | None
    present: Present = field(init=False)

    def __post_init__(self) -> None:
        self.present = Present(self.logbook)

    @property
    def port(self) -> int:
        """Where it listens."""
        port = urllib.parse.urlsplit(self.address).port
        assert port
        return port

    @property
    def running(self) -> bool:
        """Whether it is there."""
        return self.child.poll() is None

    def tell(self, state: dict[str, Any]) -> None:
        """Tell a state as a recorder does, again while the book is busy: tests want all of them."""
        for _ in range(200):
            told = self.present.told
            self.present.tell(lambda: state)
            if self.present.told > told or not self.running:
                return
            time.sleep(0.01)

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, dict[str, str], str]:
        """Ask for a page: status, headers, text."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)) as connection:
            sent = {name.replace("_", "-"): value for name, value in headers.items()}
            connection.request(method, path, body=body, headers=sent)
            answer = connection.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode()

    def whole(self) -> dict[str, Any]:
        """The furnaces as a browser that comes now is told of them, by name."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)) as connection:
            connection.request("GET", "/states")
            answer = connection.getresponse()
            assert answer.readline() == b"event: whole\n"
            said = json.loads(answer.readline().removeprefix(b"data: "))
        return {furnace["furnace"]: furnace for furnace in said["furnaces"]}

    def stop(self) -> None:
        """End it."""
        self.present.leave()
        if self.running:
            self.child.send_signal(signal.SIGTERM)
        try:
            self.child.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self.child.kill()
            self.child.wait()


@contextmanager
def served(logbook: Path, *words: str) -> Iterator[ServedBook]:
    """Serve a log book while the block runs."""
    command = [sys.executable, "-m", "soakwitness.cli.book.serving", "--logbook", str(logbook), "--port", "0", *words]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    with child.stdout as pipe:
        said = json.loads(pipe.readline())
    book = ServedBook(logbook, child, said["address"], said.get("link"))
    try:
        yield book
    finally:
        book.stop()


def until(true: Callable[[], object], within_s: float = 20.0) -> Any:
    """Wait until something is so; return it."""
    end = time.monotonic() + within_s
    while not (found := true()):
        assert time.monotonic() < end, "it did not come to that"
        time.sleep(0.05)
    return found
