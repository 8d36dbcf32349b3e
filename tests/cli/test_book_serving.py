"""The book as a process: what is answered, hostile requests, slow browsers, signals, one book a log book."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.parse
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.book.listening import in_url, network_addresses
from soakwitness.cli.book.serving import Idle
from soakwitness.cli.telling import joining
from soakwitness.cli.telling.book_file import BOOK_FILE, claim_book, running_book, stop_book
from soakwitness.cli.telling.joining import BookRefused, join_or_start
from soakwitness.firmware_bridge.version import VERSION
from tests.cli.books import ServedBook, a_state, served, until

HEAVY = ("numpy", "pandas", "scipy", "matplotlib")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ServedBook]:
    with served(tmp_path / "book") as book:
        yield book


def test_the_pages_forbid_themselves_every_outside_resource(book: ServedBook) -> None:
    for path in ("/", "/runs", "/guide", "/guide/marks"):
        status, headers, body = book.ask("GET", path)
        assert status == 200
        assert headers["content-security-policy"].startswith("default-src 'none'")
        assert "unsafe" not in headers["content-security-policy"]
        assert 'src="http' not in body
        assert 'href="http' not in body
        assert " style=" not in body
        assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_nothing_but_looking_and_forms_is_answered(book: ServedBook, method: str) -> None:
    status, headers, body = book.ask(method, "/")
    assert status == 405
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert body.startswith("Only looking")


def test_a_form_from_elsewhere_is_refused(book: ServedBook) -> None:
    own = book.address.rstrip("/")
    assert book.ask("POST", "/")[0] == 403  # no word of where it comes from
    for origin in ("http://elsewhere.example", "null", own.replace("http:", "https:"), own + "1", ""):
        assert book.ask("POST", "/", Origin=origin)[0] == 403
    assert book.ask("POST", "/", Origin=own)[0] == 405  # may pass, and this page takes no form


def test_an_endless_request_line_is_refused_without_markup(book: ServedBook) -> None:
    status, headers, body = book.ask("GET", "/" + 70_000 * "a")
    assert 400 <= status < 500
    assert headers["content-type"].startswith("text/plain")
    assert "<" not in body


def test_what_follows_a_get_as_its_body_is_no_request(book: ServedBook) -> None:
    inner = b"GET /static/book.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    outer = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: %d\r\n\r\n" % len(inner)
    with socket.create_connection(("127.0.0.1", book.port), timeout=10) as connection:
        connection.sendall(outer + inner)
        connection.shutdown(socket.SHUT_WR)
        with connection.makefile("rb") as answers:
            try:
                said = answers.read()
            except ConnectionResetError:  # closed with the body unread
                said = b""
    assert said.count(b"HTTP/1.1 ") <= 1


@pytest.mark.parametrize(
    "path",
    ["/..%2fapp.py", "/../app.py", "/app.py", "/static/..%2fapp.py", "/static/%2e%2e/app.py", "/static/base.html"],
)
def test_no_other_file_is_served(book: ServedBook, path: str) -> None:
    assert book.ask("GET", path)[0] == 404
    assert book.ask("GET", "/guide/..%2f..%2fmain")[0] == 404
    assert book.ask("GET", "/runs/..%2f..%2fbook.json/thumbnail.svg")[0] == 404


def test_on_the_network_it_asks_for_the_link_and_this_computer_needs_none(tmp_path: Path) -> None:
    host = next(iter(network_addresses()), None)
    if host is None:
        pytest.skip("this computer is in no network")
    cookie = ""
    for begun in range(2):
        with served(tmp_path / "book", "--lan") as book:
            assert book.address.startswith("http://127.0.0.1:")
            assert book.ask("GET", "/")[0] == 200
            assert (book.link is None) == bool(begun)  # it is for one device, and printed once
            link = urllib.parse.urlsplit(book.link or "")
            assert begun or link.hostname == host
            assert asked(book, host, "/") == (403, "")
            assert asked(book, host, "/states") == (403, "")
            if not begun:
                status, cookie = asked(book, host, f"/?{link.query}")
                assert status == 303
            assert asked(book, host, "/", cookie)[0] == 200  # also after the book began anew


def asked(book: ServedBook, host: str, path: str, cookie: str = "") -> tuple[int, str]:
    """What a device in the network is answered: the status, and the cookie it is given."""
    with closing(http.client.HTTPConnection(host, book.port, timeout=10)) as connection:
        connection.request("GET", path, headers={"Cookie": cookie} if cookie else {})
        answer = connection.getresponse()
        return answer.status, (answer.getheader("set-cookie") or "").split(";")[0]


def test_a_foreign_host_name_is_refused(book: ServedBook) -> None:
    for host in ("elsewhere.example", "127.0.0.1.elsewhere.example", "", "[::1", "127.0.0.1@elsewhere.example"):
        assert book.ask("GET", "/", Host=host)[0] in (400, 403)
    assert book.ask("GET", "/", Host="localhost")[0] == 200


def test_a_recorder_is_never_made_to_wait_by_a_browser_that_does_not_read(book: ServedBook) -> None:
    with socket.create_connection(("127.0.0.1", book.port), timeout=10) as connection:
        connection.sendall(b"GET /states HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        long_words = "x" * 20_000
        book.tell(a_state(0))
        longest_s = 0.0
        for t_s in range(2000):
            began = time.perf_counter()
            book.present.tell(lambda t_s=t_s: a_state(t_s, detail=long_words))  # type: ignore[misc]
            longest_s = max(longest_s, time.perf_counter() - began)
        assert longest_s < 0.5
        assert book.ask("GET", "/")[0] == 200


def test_a_book_that_runs_out_of_memory_costs_the_recorder_nothing(book: ServedBook) -> None:
    resource = pytest.importorskip("resource")
    if not hasattr(resource, "prlimit"):
        pytest.skip("this system sets no limits of another process")
    book.tell(a_state(0))
    resource.prlimit(book.child.pid, resource.RLIMIT_AS, (1 << 20, 1 << 20))  # less than it has already
    for t_s in range(2000):
        book.present.tell(lambda t_s=t_s: a_state(t_s, detail="x" * 50_000))  # type: ignore[misc]
    book.stop()
    book.present.tell(lambda: a_state(2000.0))
    assert not book.running


def test_a_state_that_is_none_harms_nothing(book: ServedBook) -> None:
    book.tell(a_state(0))
    for odd in ([], 7, "x", {}, {"furnace": 1}, {"furnace": "a"}, {"furnace": "b", "run": "../../x", "t_s": "no"}):
        book.tell(odd)  # type: ignore[arg-type]
    book.tell(a_state(60, readings=None, every_s=None))
    book.tell(a_state(120))
    until(lambda: book.whole()[a_state(0)["furnace"]]["t_s"] == 120)


def test_two_furnaces_are_told_apart_and_a_silent_one_is_called_so(book: ServedBook) -> None:
    book.tell(a_state(0, furnace="first", every_s=1.0))
    book.tell(a_state(0, furnace="second", run="20260101T070000Z_other_0001"))
    until(lambda: set(book.whole()) == {"first", "second"})
    until(lambda: book.whole()["first"]["silent"])  # three seconds, its periods
    whole = book.whole()
    assert not whole["second"]["silent"]  # its period is a minute
    assert whole["first"]["age_s"] >= 2.0 + 3.0 - 0.2  # it was 2 s old when it was told


def test_an_end_is_quick_with_ten_browsers_on_the_stream(book: ServedBook) -> None:
    browsers = []
    for _ in range(10):
        connection = socket.create_connection(("127.0.0.1", book.port), timeout=10)
        connection.sendall(b"GET /states HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert connection.recv(10)
        browsers.append(connection)
    began = time.monotonic()
    book.child.send_signal(signal.SIGTERM)
    assert book.child.wait(timeout=10) == 0
    assert time.monotonic() - began < 3.0
    for connection in browsers:
        connection.close()


@pytest.mark.parametrize("name", ["SIGINT", "SIGHUP"])
def test_ctrl_c_and_a_closed_terminal_are_the_recorders_business(book: ServedBook, name: str) -> None:
    if not hasattr(signal, name):
        pytest.skip(f"this system has no {name}")
    os.kill(book.child.pid, getattr(signal, name))
    book.tell(a_state(1.0))
    assert book.ask("GET", "/")[0] == 200
    assert book.running


def test_its_file_is_for_the_owner_alone_and_empty_when_it_ended(book: ServedBook) -> None:
    file = book.logbook / BOOK_FILE
    hears = Path(json.loads(file.read_text())["hears"]["unix"])
    if os.name != "nt":
        assert file.stat().st_mode & 0o777 == 0o600
        assert hears.parent.stat().st_mode & 0o777 == 0o700
    found = running_book(book.logbook)
    assert found is not None
    assert (found.pid, found.address, found.version) == (book.child.pid, book.address, VERSION)
    assert stop_book(book.logbook) == found
    assert book.child.wait(timeout=5) == 0
    assert running_book(book.logbook) is None
    assert not hears.parent.exists()
    assert stop_book(book.logbook) is None


def test_a_second_book_of_a_log_book_is_refused_with_the_address_of_the_first(book: ServedBook) -> None:
    assert join_or_start(book.logbook).address == book.address
    answer = refusal(book.logbook, 0)
    assert book.address in answer
    assert "--stop" in answer


def test_a_port_that_another_book_has_is_refused_with_its_log_book(book: ServedBook, tmp_path: Path) -> None:
    answer = refusal(tmp_path / "other", book.port)
    assert str(book.logbook) in answer
    assert book.address in answer
    assert "--port" in answer
    with socket.create_server(("127.0.0.1", 0)) as taken:
        taken.listen()
        assert "another program" in refusal(tmp_path / "other", taken.getsockname()[1])
    with pytest.raises(BookRefused, match="is used by the book of"):
        join_or_start(tmp_path / "other", port=book.port)


def refusal(logbook: Path, port: int) -> str:
    words = [sys.executable, "-m", "soakwitness.cli.book.serving", "--logbook", str(logbook), "--port", str(port)]
    answer = subprocess.run(words, capture_output=True, text=True, check=False, timeout=30)
    assert answer.returncode == 2
    return str(json.loads(answer.stdout)["refused"])


def test_a_book_of_another_version_or_a_closed_one_is_not_joined(tmp_path: Path) -> None:
    about: dict[str, Any] = {"address": "http://127.0.0.1:1/", "version": "0.0.9", "lan": False, "hears": {}}
    lock = claim_book(tmp_path, about)
    try:
        with pytest.raises(BookRefused, match=r"127\.0\.0\.1:1/ is of version 0\.0\.9"):
            join_or_start(tmp_path)
    finally:
        lock.release()
    lock = claim_book(tmp_path, {**about, "version": VERSION})
    try:
        assert join_or_start(tmp_path).address == "http://127.0.0.1:1/"
        with pytest.raises(BookRefused, match="not open to the workshop network"):
            join_or_start(tmp_path, lan=True)
    finally:
        lock.release()


def test_one_that_a_recording_started_ends_when_nothing_records_and_nobody_looks(tmp_path: Path) -> None:
    joined = join_or_start(tmp_path / "book", port=0, idle_s=2.0)
    found = running_book(tmp_path / "book")
    assert found is not None
    assert found.address == joined.address
    port = int(joined.address.rsplit(":", 1)[1].rstrip("/"))
    with socket.create_connection(("127.0.0.1", port), timeout=10) as browser:
        browser.sendall(b"GET /states HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        time.sleep(4.0)
        assert running_book(tmp_path / "book") is not None
    until(lambda: running_book(tmp_path / "book") is None)
    assert joining.IDLE_S == 1800.0  # 30 min


def test_the_serving_process_loads_nothing_heavy() -> None:
    code = (
        "import sys, soakwitness.cli.book.serving, soakwitness.analysis.logbook.runs;"
        "import soakwitness.analysis.logbook.kept, soakwitness.analysis.logbook.striking;"
        "import soakwitness.analysis.waiting.what_waits, soakwitness.analysis.logbook.plans;"
        "import soakwitness.analysis.logbook.kept_recipes, soakwitness.cli.terminal.after_run;"
        "import soakwitness.analysis.recipes.recipe_file, soakwitness.analysis.waiting.waiting_first_runs;"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_one_that_nobody_needs_ends_after_half_an_hour_of_its_clock() -> None:
    now_s = [1000.0]
    idle = Idle(joining.IDLE_S, lambda: now_s[0])

    def after(more_s: float, *, busy: bool = False, requests: int = 0) -> bool:
        now_s[0] += more_s
        return idle.over(busy=busy, requests=requests)

    assert not after(1799.0)
    assert not after(0.0, busy=True)  # a run, or a browser on the stream
    assert not after(1799.0)
    assert not after(0.0, requests=7)  # a page was looked at
    assert not after(1799.0, requests=7)
    assert after(2.0, requests=7)
    never = Idle(None, lambda: now_s[0])
    now_s[0] += 1e9
    assert not never.over(busy=False, requests=0)  # one that a person or a service began


def test_the_lock_of_a_killed_book_is_taken_over(tmp_path: Path) -> None:
    with served(tmp_path / "book") as first:
        first.child.kill()
        first.child.wait()
        assert (tmp_path / "book" / BOOK_FILE).read_text()  # what it said of itself is still there
        assert running_book(tmp_path / "book") is None
        assert stop_book(tmp_path / "book") is None
        with served(tmp_path / "book") as second:
            found = running_book(tmp_path / "book")
            assert found is not None
            assert found.pid == second.child.pid
            second.tell(a_state(1.0))
            until(lambda: second.whole())


def test_both_kinds_of_loopback_are_listened_on_and_nothing_else(book: ServedBook) -> None:
    for address in network_addresses():
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((address, book.port), timeout=5).close()
    found = running_book(book.logbook)
    assert found is not None
    assert found.network == ()


def test_an_open_book_says_each_address_of_this_computer(tmp_path: Path) -> None:
    with served(tmp_path / "book", "--lan") as book:
        found = running_book(book.logbook)
        assert found is not None
        assert list(found.network) == [f"http://{in_url(a)}:{book.port}/" for a in network_addresses()]
        assert join_or_start(book.logbook, lan=True).network == found.network
    assert in_url("2001:db8::7") == "[2001:db8::7]"
