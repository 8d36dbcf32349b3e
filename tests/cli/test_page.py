"""The live page: who may look, what is answered, and what a browser shows (headless Chromium where there is one)."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import urllib.parse
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.page.process import PageProcess
from soakwitness.cli.page.server import Doorkeeper
from soakwitness.cli.page.state import MOST_POINTS, PageState
from tests.cli.browsers import chromium

WIDTH = "line => line.x2.baseVal.value - line.x1.baseVal.value"
INJECTED = "<script>window.broken = 1</script>"


def a_state(t_s: float, **more: Any) -> dict[str, Any]:
    return {
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
        "read_ms": 1_700_000_000_000,
        "sent_ms": 1_700_000_002_000,
        "recipe": [{"target": 1040, "lower": 1034, "upper": 1046, "required_s": 1500, "enter_s": None}],
        "alarm": f"Over temperature {INJECTED}",
        **more,
    }


@pytest.fixture
def page() -> Iterator[PageProcess]:
    process = PageProcess(port=0)
    yield process
    process.stop()


def port_of(page: PageProcess) -> int:
    port = urllib.parse.urlsplit(page.address).port
    assert port
    return port


def ask(page: PageProcess, method: str, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
    with closing(http.client.HTTPConnection("127.0.0.1", port_of(page), timeout=10)) as connection:
        connection.request(method, path, headers=headers)
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode()


def test_the_page_forbids_itself_every_outside_resource(page: PageProcess) -> None:
    status, headers, body = ask(page, "GET", "/")
    assert status == 200
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert "unsafe" not in headers["content-security-policy"]
    assert "http" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "HEAD"])
def test_nothing_but_get_is_answered(page: PageProcess, method: str) -> None:
    status, headers, body = ask(page, method, "/")
    assert status == 501
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert body == ("" if method == "HEAD" else "Only GET of the page is answered here.\n")


def test_an_endless_request_line_is_refused_under_the_same_policy(page: PageProcess) -> None:
    status, headers, body = ask(page, "GET", "/" + 70_000 * "a")
    assert status == 414
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert "<" not in body


def test_what_follows_a_get_as_its_body_is_no_request(page: PageProcess) -> None:
    inner = b"GET /page.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    outer = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: %d\r\n\r\n" % len(inner)
    with socket.create_connection(("127.0.0.1", port_of(page)), timeout=10) as connection:
        connection.sendall(outer + inner)
        with connection.makefile("rb") as answers:
            try:
                said = answers.read()
            except ConnectionResetError:  # closed with the body unread
                said = b""
    assert said.count(b"HTTP/1.1 ") <= 1


@pytest.mark.parametrize("path", ["/..%2fserver.py", "/../server.py", "/state.py", "/page.html"])
def test_no_other_file_is_served(page: PageProcess, path: str) -> None:
    assert ask(page, "GET", path)[0] == 404


def test_a_foreign_host_name_is_refused(page: PageProcess) -> None:
    assert ask(page, "GET", "/", Host="elsewhere.example")[0] == 403


def test_on_the_network_the_key_is_needed_and_opens_one_browser() -> None:
    page = PageProcess(port=0, lan=True)
    try:
        link = urllib.parse.urlsplit(page.address)
        assert ask(page, "GET", "/")[0] == 403
        assert ask(page, "GET", "/states")[0] == 403
        assert ask(page, "GET", "/?key=guess")[0] == 403
        status, headers, _ = ask(page, "GET", f"/?{link.query}")
        assert status == 303
        cookie = headers["set-cookie"].split(";")[0]
        assert "HttpOnly" in headers["set-cookie"]
        assert ask(page, "GET", "/", Cookie=cookie)[0] == 200
        assert ask(page, "GET", f"/?{link.query}", Cookie=cookie)[0] == 200  # the same browser, by the same link again
        assert ask(page, "GET", f"/?{link.query}")[0] == 403
        assert ask(page, "GET", "/", Cookie="soakwitness=guess")[0] == 403
    finally:
        page.stop()


def test_wrong_keys_never_lock_the_right_one_out() -> None:
    keeper = Doorkeeper(lan=True)
    for wrong in (*("wrong",) * 1000, "", "ü", keeper.key[:-1]):
        assert keeper.spend(wrong) is None
    assert keeper.spend(keeper.key)


def test_the_history_is_thinned_and_a_new_run_starts_it_again() -> None:
    state = PageState()
    for t_s in range(3 * MOST_POINTS):
        state.add(a_state(t_s))
    history = json.loads(state.whole()[1])["history"]
    assert len(history) <= MOST_POINTS
    assert history[0][0] == 0
    assert history[-1][0] >= 3 * MOST_POINTS - 10
    state.add(a_state(0, run="another"))
    assert len(json.loads(state.whole()[1])["history"]) == 1


def test_a_recorder_is_never_made_to_wait_by_a_browser_that_does_not_read(page: PageProcess) -> None:
    with closing(http.client.HTTPConnection("127.0.0.1", port_of(page), timeout=10)) as connection:
        connection.request("GET", "/states")
        connection.getresponse()
        long_words = "x" * 20_000
        for t_s in range(500):
            page.send(a_state(t_s, detail=long_words))
        assert page.running


def test_a_page_that_runs_out_of_memory_costs_the_recorder_nothing(page: PageProcess) -> None:
    resource = pytest.importorskip("resource")
    if not hasattr(resource, "prlimit"):
        pytest.skip("this system sets no limits of another process")
    resource.prlimit(page._child.pid, resource.RLIMIT_AS, (1 << 20, 1 << 20))  # less than it has already
    for t_s in range(2000):
        page.send(a_state(t_s, detail="x" * 100_000))
    # Whether it is still there or has ended, the recorder came through; what it could not take is counted or dropped.
    page.send(a_state(2000.0))
    page.stop()
    assert not page.running


@pytest.mark.parametrize("name", ["SIGINT", "SIGHUP"])
def test_ctrl_c_and_a_closed_terminal_are_the_recorders_business(page: PageProcess, name: str) -> None:
    if not hasattr(signal, name):
        pytest.skip(f"this system has no {name}")
    os.kill(page._child.pid, getattr(signal, name))
    page.send(a_state(1.0))
    assert ask(page, "GET", "/")[0] == 200
    assert page.running


@pytest.fixture
def browser() -> Iterator[Any]:
    with chromium() as browser:
        yield browser


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1400])
def test_a_browser_shows_the_sentence_and_goes_stale(
    browser: Any, page: PageProcess, width: int, tmp_path: Path
) -> None:
    tab = browser.new_page(viewport={"width": width, "height": 800})
    problems: list[str] = []
    asked: list[str] = []
    tab.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    tab.on("pageerror", lambda error: problems.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url))
    for t_s in range(0, 1200, 60):
        page.send(a_state(t_s))
    tab.goto(page.address)
    tab.locator("#sentence", has_text="Step 4").wait_for()
    assert INJECTED in tab.text_content("#sentence")
    for place in ("#detail", "#alarm", "#readings", "#record", "#legend"):
        assert INJECTED in tab.text_content(place)
    assert tab.evaluate("window.broken") is None
    assert tab.locator("#chart path.line").count() == 2
    assert "Last reading" in tab.text_content("#record")
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    tab.screenshot(path=str(tmp_path / "page.png"), full_page=True)
    page.stop()
    tab.locator("body.stale").wait_for()
    assert "The recorder has ended" in tab.text_content("#record")
    assert all(url.startswith(page.address) for url in asked)
    # the stream that ends with the recorder is itself reported by the browser as an incomplete load
    assert not [problem for problem in problems if "ERR_INCOMPLETE_CHUNKED" not in problem]


@pytest.mark.browser
def test_a_time_without_readings_stays_blank_and_is_hatched(browser: Any, page: PageProcess) -> None:
    tab = browser.new_page(viewport={"width": 900, "height": 800})
    for t_s in range(0, 1260, 60):
        temp = None if 600 <= t_s <= 840 else 1040.0
        page.send(a_state(t_s, readings=[{"name": "chamber", "role": "control", "temp": temp}]))
    tab.goto(page.address)
    tab.locator("#sentence", has_text="Step 4").wait_for()
    line = tab.locator("#chart path.line")
    assert line.get_attribute("d").count("M") == 2
    hatched = tab.locator("#chart rect.unread")
    assert hatched.count() == 1
    # from the last reading at 540 s to the next at 900 s, of 1,200 s
    share = float(hatched.get_attribute("width")) / float(tab.locator("#chart line.grid").first.evaluate(WIDTH))
    assert share == pytest.approx(360 / 1200, abs=0.01)
    assert "hatched: nothing was read" in tab.text_content("#legend")
