"""Alarms that are told to an address: what is sent, what is refused, and that the recorder does not wait."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import threading
import time
from collections.abc import Iterator, Mapping
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace, template
from soakwitness.firmware_bridge.errors import FurnaceFileError
from soakwitness.firmware_bridge.furnace.post_address import why_no_address
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.recording.alarms import Alarms, Command, start_command
from soakwitness.firmware_bridge.recording.clocks import RealClock
from soakwitness.firmware_bridge.recording.posting import ADDRESS, NOT_REACHED, POSTING, REFUSED, post

FACTS = {"furnace": "shed", "run": "/home/anna/book/runs/20260101T070000Z_shed_0001", "reading control": "1200"}
SAYS = "control 1200 °C, over 1150 °C"


class Server:
    """A server of this computer that keeps what it was sent."""

    def __init__(self) -> None:
        self.got: list[tuple[str, str | None, bytes]] = []
        self.status = 200
        self.wait_s = 0.0
        server = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                data = self.rfile.read(int(self.headers["content-length"]))
                server.got.append((self.path, self.headers["content-type"], data))
                time.sleep(server.wait_s)
                self.send_response(server.status)
                if server.status in (301, 302, 303, 307, 308):
                    self.send_header("location", "/elsewhere")
                self.end_headers()

            do_GET = do_POST

            def log_message(self, *args: object) -> None:
                pass

        self._server = HTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self._server.server_port}/alarms"
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


def wait(true: object, alarms: Alarms, within_s: float = 20.0) -> None:
    end = time.monotonic() + within_s
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end
        alarms.tend()
        time.sleep(0.02)


def test_one_short_message_goes_to_the_address_and_tells_no_path(server: Server) -> None:
    alarms = Alarms(Alarm(post=server.address), RealClock(), bell=lambda: None)
    assert alarms.set("over-temperature", SAYS, FACTS)
    alarms.set("over-temperature", SAYS, FACTS)  # it lasts: told once
    wait(lambda: server.got, alarms)
    alarms.close()
    ((path, kind, data),) = server.got
    assert (path, kind) == ("/alarms", "application/json; charset=utf-8")
    assert json.loads(data) == {
        "alarm": "over-temperature",
        "says": SAYS,
        "furnace": "shed",
        "run": "20260101T070000Z_shed_0001",
    }
    assert alarms.failed is None


def test_nothing_is_sent_without_an_address(server: Server) -> None:
    started = []
    alarms = Alarms(Alarm(), RealClock(), bell=lambda: None, starter=lambda *words: started.append(words))  # type: ignore[arg-type, return-value, func-returns-value]
    assert alarms.set("link lost", SAYS, FACTS)
    assert started == []


def test_the_recorder_does_not_wait_for_an_address_that_does_not_answer(server: Server) -> None:
    server.wait_s = 3.0
    children: list[Command] = []

    def starter(words: tuple[str, ...], facts: Mapping[str, str]) -> Command:
        children.append(start_command(words, facts))
        return children[-1]

    alarms = Alarms(Alarm(post=server.address), RealClock(), bell=lambda: None, starter=starter)
    began_s = time.monotonic()
    alarms.set("link lost", SAYS, FACTS)
    alarms.tend()
    assert time.monotonic() - began_s < 1.0
    alarms.close()  # what still runs is ended
    children[0].wait(5.0)
    assert time.monotonic() - began_s < 10.0


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(server: Server, status: int) -> None:
    server.status = status
    assert post(server.address, {"alarm": "link lost"}) == REFUSED
    assert [path for path, *_ in server.got] == ["/alarms"]


def test_a_message_that_was_not_taken_is_told(server: Server) -> None:
    server.status = 500
    alarms = Alarms(Alarm(post=server.address), RealClock(), bell=lambda: None)
    alarms.set("link lost", SAYS, FACTS)
    wait(lambda: alarms.failed, alarms)
    assert alarms.failed == "the alarm was not told to the address of post: it did not take it"
    assert len(server.got) == 1


def test_an_address_where_nobody_listens_is_tried_twice_and_no_longer() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{taken.getsockname()[1]}/"
        began_s = time.monotonic()
        done = subprocess.run(POSTING, env={**os.environ, ADDRESS: address}, check=False)
    assert done.returncode == NOT_REACHED
    assert time.monotonic() - began_s < 25.0


@pytest.mark.parametrize(
    "odd",
    ["file:///etc/passwd", "ftp://shed.example/", "shed.example", "http://", "http://a:b@shed.example/", "http://x y/"],
)
def test_what_is_no_address_is_refused_in_the_furnace_file(odd: str) -> None:
    assert why_no_address(odd) is not None
    text = template("simulated").replace("[alarm]\n", f'[alarm]\npost = "{odd}"\n')
    with pytest.raises(FurnaceFileError, match=r"\[alarm\].*post|post.*must be an address"):
        parse_furnace(text, "shed.toml")


def test_an_address_of_the_furnace_file_reaches_the_alarm() -> None:
    text = template("simulated").replace("[alarm]\n", '[alarm]\npost = "https://shed.example/alarms?to=anna"\n')
    assert parse_furnace(text, "shed.toml").alarm.post == "https://shed.example/alarms?to=anna"
