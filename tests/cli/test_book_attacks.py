"""The book's own server under attack: guesses, slow and many connections, uploads, forged requests, withdrawn devices.

Strangers ask from the address in the network, as this computer itself needs no link.
"""

from __future__ import annotations

import http.client
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from soakwitness.cli.book import patience
from soakwitness.cli.book.devices import Devices, Rights
from soakwitness.cli.book.doors import COOKIE, MOST_AT_ONCE, MOST_GUESSES
from soakwitness.cli.book.listening import in_url, network_addresses
from tests.cli.books import INJECTED, ServedBook, a_state, served, until

MOST_MB = 60.0  # of the server, as the benchmark's bound
FORM = "application/x-www-form-urlencoded"


@dataclass(frozen=True)
class Lan:
    """A book open to the network, and how it is reached from there."""

    book: ServedBook
    host: str

    def let_in(self, name: str, rights: Rights = "mark") -> str:
        """A cookie of a new device."""
        return f"{COOKIE}={Devices(self.book.logbook).add(name, rights)}"

    def ask(self, path: str, cookie: str = "", *, method: str = "GET", body: bytes = b"", **more: str) -> Answer:
        """Ask as a device in the network."""
        headers = {"Cookie": cookie} if cookie else {}
        headers |= {name.replace("_", "-"): value for name, value in more.items()}
        with closing(http.client.HTTPConnection(self.host, self.book.port, timeout=20)) as connection:
            connection.request(method, path, body=body or None, headers=headers)
            answer = connection.getresponse()
            said = {k.lower(): v for k, v in answer.getheaders()}
            return Answer(answer.status, said, answer.read().decode())

    @property
    def origin(self) -> str:
        """Where its own forms are sent from."""
        return f"http://{in_url(self.host)}:{self.book.port}"

    def raw(self, data: bytes, *, from_host: str | None = None) -> socket.socket:
        """A connection on which something was sent."""
        source = None if from_host is None else (from_host, 0)
        made = socket.create_connection((self.host, self.book.port), timeout=20, source_address=source)
        made.sendall(data)
        return made


@dataclass(frozen=True)
class Answer:
    """What was answered."""

    status: int
    headers: dict[str, str]
    body: str


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Lan]:
    host = next(iter(network_addresses()), None)
    if host is None:
        pytest.skip("this computer is in no network")
    with served(tmp_path / "book", "--lan") as book:
        yield Lan(book, host)


def memory_mb(book: ServedBook) -> float:
    """Resident memory of the server [MB]."""
    status = Path(f"/proc/{book.child.pid}/status")
    if not status.exists():
        pytest.skip("this system does not tell the memory of another process")
    return int(re.findall(r"VmRSS:\s+(\d+)", status.read_text())[0]) / 1024


def form_token(page: str) -> str:
    """The token that a page's forms carry."""
    return str(re.findall(r'name="form-token" content="([0-9a-f]{64})"', page)[0])


# ---------------------------------------------------------------- devices


def stream_of(lan: Lan, cookie: str) -> socket.socket:
    """A stream that has begun."""
    stream = lan.raw(f"GET /states HTTP/1.1\r\nHost: {lan.host}\r\nCookie: {cookie}\r\n\r\n".encode())
    assert b" 200 " in stream.recv(100)
    return stream


def test_a_withdrawn_device_is_shut_out_at_once_and_its_stream_ends(lan: Lan) -> None:
    gone, stays = lan.let_in("goes"), lan.let_in("stays", "look")
    with stream_of(lan, gone) as stream, stream_of(lan, stays) as other:
        began = time.monotonic()
        Devices(lan.book.logbook).withdraw("goes")
        assert lan.ask("/", gone).status == 403
        while stream.recv(65_536):
            pass
        assert time.monotonic() - began < 2.0  # before the next beat of the stream, which is after 5 s
        lan.book.tell(a_state(60.0))
        other.settimeout(5.0)
        until(lambda: b"event: state" in other.recv(65_536))
    assert lan.ask("/", stays).status == 200


def test_another_right_is_another_device(lan: Lan) -> None:
    file = lan.book.logbook / "book-devices.json"
    cookie = lan.let_in("marks")
    with stream_of(lan, cookie) as stream:
        file.write_text(file.read_text().replace('"rights": "mark"', '"rights": "look"'))
        while stream.recv(65_536):
            pass
    assert lan.ask("/", cookie).status == 200


def test_devices_are_for_this_computer_itself(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    page = lan.ask("/", cookie, Accept="text/html").body
    assert "Devices" not in page
    refused = lan.ask("/devices", cookie, Accept="text/html,*/*;q=0.8")
    assert refused.status == 403
    assert "<nav" in refused.body
    form = f"form_token={form_token(page)}&name=thief&rights=mark".encode()
    more = {"Origin": lan.origin, "Content_Type": FORM}
    assert lan.ask("/devices", cookie, method="POST", body=form, **more).status == 403
    assert lan.ask("/devices/withdraw", cookie, method="POST", body=form, **more).status == 403
    assert [d.name for d in Devices(lan.book.logbook).all()] == ["first device", "phone"]
    assert lan.book.ask("GET", "/devices")[0] == 200


def test_a_form_of_another_device_or_of_this_computer_is_refused(lan: Lan) -> None:
    own, other = lan.let_in("own"), lan.let_in("other")
    here = form_token(lan.book.ask("GET", "/")[2])
    tokens = {form_token(lan.ask("/", cookie).body) for cookie in (own, other)}
    assert len(tokens | {here}) == 3
    body = f"form_token={form_token(lan.ask('/', other).body)}&name=x&rights=mark".encode()
    assert lan.ask("/devices", own, method="POST", body=body, Origin=lan.origin, Content_Type=FORM).status == 403
    address = lan.book.address.rstrip("/")
    _, _, said = lan.book.ask("POST", "/devices", body, Origin=address, Content_Type=FORM)
    assert "page is of before" in said


def test_an_open_page_outlives_a_restart_of_the_book(tmp_path: Path) -> None:
    with served(tmp_path / "book") as book:
        before = form_token(book.ask("GET", "/")[2])
    with served(tmp_path / "book") as book:
        body = f"form_token={before}&name=phone&rights=look".encode()
        assert book.ask("POST", "/devices", body, Origin=book.address.rstrip("/"), Content_Type=FORM)[0] == 200
    assert [d.name for d in Devices(tmp_path / "book").all()] == ["phone"]


def test_a_link_stays_nowhere_and_lets_in_again(lan: Lan) -> None:
    assert lan.book.link is not None
    way = "/" + lan.book.link.rpartition("/")[2]
    for _ in range(2):
        answer = lan.ask(way)
        assert (answer.status, answer.headers["location"]) == (303, "/")
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
        assert "HttpOnly" in answer.headers["set-cookie"]
        assert "SameSite=lax" in answer.headers["set-cookie"]
    cookie = answer.headers["set-cookie"].split(";")[0]
    assert lan.ask(way, cookie).status == 303
    assert lan.ask("/", f"other={7 * 'x'}; {COOKIE}-1={16 * 'x'}; {cookie}").status == 200  # of another book, too
    here = lan.book.ask("GET", way)
    assert (here[0], "set-cookie" in here[1]) == (303, False)  # this computer stays itself


# ---------------------------------------------------------------- guesses and crowds


def test_ten_thousand_guesses_let_nobody_in_and_lock_nobody_out(lan: Lan) -> None:
    right = lan.let_in("right")
    seen: set[int] = set()
    with lan.raw(b"") as guesser, guesser.makefile("rb") as answers:
        for number in range(10_000):
            asked = f"GET /?token=guess{number} HTTP/1.1\r\nHost: {lan.host}\r\nCookie: {COOKIE}=g{number}\r\n\r\n"
            guesser.sendall(asked.encode())
            seen.add(int(answers.readline().split()[1]))
            length = 0
            while (line := answers.readline()) != b"\r\n":
                if line.lower().startswith(b"content-length:"):
                    length = int(line.split(b":")[1])
            answers.read(length)
            if number % 1000 == MOST_GUESSES * 2:
                assert lan.ask("/", right).status == 200  # from the very address of the guesser
    assert seen == {403, 429}
    assert lan.ask("/", right).status == 200
    assert memory_mb(lan.book) < MOST_MB


def test_twelve_hundred_slow_connections_do_not_keep_the_right_device_out(lan: Lan) -> None:
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard < 2000:
        pytest.skip("this system lets a process open too few connections")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 2000), hard))
    right = lan.let_in("right")
    took_s: list[float] = []
    with ExitStack() as slow:
        for number in range(1200):
            slow.enter_context(lan.raw(b"GET / HTTP/1.1\r\nHost: "))
            if number % 100 == 99:
                began = time.monotonic()
                assert lan.ask("/", right).status == 200
                took_s.append(time.monotonic() - began)
        assert max(took_s) < 2.0
        assert memory_mb(lan.book) < MOST_MB
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def drip(slow: socket.socket, *, until_s: float) -> None:
    """Send a request's first part a line at a time, without an end."""
    while time.monotonic() < until_s:
        slow.sendall(b"X-Slow: 1\r\n")
        time.sleep(0.5)


def test_a_request_that_does_not_come_is_waited_for_so_long_only(lan: Lan) -> None:
    assert patience.HEADERS_S <= 15.0
    began = time.monotonic()
    with (
        lan.raw(f"GET / HTTP/1.1\r\nHost: {lan.host}\r\n".encode()) as slow,
        pytest.raises((ConnectionError, TimeoutError)),  # drip by drip, and still cut off
    ):
        drip(slow, until_s=began + 20.0)
    assert patience.HEADERS_S - 1 < time.monotonic() - began < patience.HEADERS_S + 3


@pytest.mark.parametrize("told", [True, False])
def test_an_upload_of_50_mb_is_refused_without_being_kept(lan: Lan, told: bool) -> None:
    cookie, chunk = lan.let_in("phone"), bytes(100_000)
    head = f"POST /devices HTTP/1.1\r\nHost: {lan.host}:{lan.book.port}\r\nOrigin: {lan.origin}\r\nCookie: {cookie}\r\n"
    head += "Content-Length: 50000000\r\n\r\n" if told else "Transfer-Encoding: chunked\r\n\r\n"
    before = memory_mb(lan.book)
    most = before
    with lan.raw(head.encode()) as upload, suppress(ConnectionError):  # it may be cut off before the answer is read
        for number in range(500):
            upload.sendall(chunk if told else b"%x\r\n%b\r\n" % (len(chunk), chunk))
            if number % 50 == 0:
                most = max(most, memory_mb(lan.book))
        assert upload.recv(100).startswith(b"HTTP/1.1 413")
    assert most - before < 5.0
    assert lan.ask("/", cookie).status == 200
    refused = lan.ask(
        "/devices", cookie, method="POST", body=bytes(70_000), Origin=lan.origin, Content_Type=FORM, Accept="text/html"
    )
    assert refused.status == 413
    assert "<nav" in refused.body
    assert "send less" in refused.body


def test_many_at_once_from_elsewhere_leave_the_recorder_unharmed(lan: Lan) -> None:
    stop = threading.Event()

    def crowd() -> None:
        while not stop.is_set():
            with suppress(OSError):
                lan.ask("/", "x=1")

    threads = [threading.Thread(target=crowd) for _ in range(4)]
    for thread in threads:
        thread.start()
    longest_s = 0.0
    lan.book.tell(a_state(0.0))
    for t_s in range(200):
        began = time.perf_counter()
        lan.book.present.tell(lambda t_s=t_s: a_state(t_s))  # type: ignore[misc]
        longest_s = max(longest_s, time.perf_counter() - began)
        time.sleep(0.005)
    stop.set()
    for thread in threads:
        thread.join()
    assert longest_s < 0.5


def test_one_device_with_many_streams_leaves_room_for_the_others(lan: Lan) -> None:
    greedy, other = lan.let_in("greedy", "look"), lan.let_in("other", "look")
    with ExitStack() as streams:
        for _ in range(MOST_AT_ONCE):
            streams.enter_context(stream_of(lan, greedy))
        assert lan.ask("/", greedy).status == 429
        assert lan.ask("/", other).status == 200
    until(lambda: lan.ask("/", greedy).status == 200)


# ---------------------------------------------------------------- forged requests


def test_names_are_checked_and_the_address_that_was_asked_is_one(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    for host in (lan.host, f"{lan.host}:{lan.book.port}", f"{socket.gethostname()}:{lan.book.port}", "LOCALHOST:1"):
        assert lan.ask("/", cookie, Host=host).status == 200
    for host in ("192.0.2.250", f"{lan.host}.elsewhere.example", "elsewhere.example", "127.0.0.1", "0.0.0.0", ""):
        assert lan.ask("/", cookie, Host=host).status in (400, 403)


def test_loopback_of_both_kinds_is_this_computer(lan: Lan) -> None:
    try:
        with closing(http.client.HTTPConnection("::1", lan.book.port, timeout=10)) as connection:
            connection.request("GET", "/devices", headers={"Host": f"[::1]:{lan.book.port}"})
            assert connection.getresponse().status == 200
    except OSError:
        pytest.skip("this computer has no IPv6")
    for address in network_addresses():
        if ":" in address:
            with closing(http.client.HTTPConnection(address, lan.book.port, timeout=10)) as connection:
                connection.request("GET", "/", headers={"Host": f"[{address}]:{lan.book.port}"})
                assert connection.getresponse().status == 403  # needs its link


def test_a_form_from_elsewhere_changes_nothing(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    body = f"form_token={form_token(lan.ask('/', cookie).body)}&name=first+device".encode()
    origins = ("", "null", "http://elsewhere.example", lan.origin + "0", lan.origin.replace("http:", "https:"))
    for origin in (*origins, f"{lan.origin}/", f"http://{lan.host}"):
        more = {"Origin": origin} if origin else {}
        sent = lan.ask("/devices/withdraw", cookie, method="POST", body=body, Content_Type=FORM, **more)
        assert sent.status == 403
        assert "another page" in sent.body
    assert lan.ask("/", cookie, method="POST").status == 403
    assert len(Devices(lan.book.logbook).all()) == 2


@pytest.mark.parametrize(
    "head",
    [
        "Content-Length: 5\r\nTransfer-Encoding: chunked\r\n",
        "Content-Length: 5\r\nContent-Length: 6\r\n",
        "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n",
        "Transfer-Encoding: xchunked\r\n",
        "Transfer-Encoding : chunked\r\n",
        "Content-Length: -1\r\n",
        "Content-Length: 0x5\r\n",
        "Host: elsewhere.example\r\n",
        " folded: line\r\n",
    ],
)
def test_a_request_of_two_readings_is_refused(lan: Lan, head: str) -> None:
    inner = f"GET /devices HTTP/1.1\r\nHost: {lan.host}\r\n\r\n"
    text = f"POST /devices HTTP/1.1\r\nHost: {lan.host}\r\nOrigin: {lan.origin}\r\n{head}\r\n0\r\n\r\n{inner}"
    with lan.raw(text.encode()) as connection:
        connection.shutdown(socket.SHUT_WR)
        said = b""
        with suppress(ConnectionError):
            while more := connection.recv(65_536):
                said += more
    first = said.split(b"\r\n", 1)[0]
    assert first.split()[1:2] in ([b"400"], [b"403"], [b"501"]), first
    assert b" 200 " not in said


def test_a_websocket_is_refused(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    more = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13"}
    answer = lan.ask("/states", cookie, Sec_WebSocket_Key="dGhlIHNhbXBsZSBub25jZQ==", **more)
    assert answer.status == 400


@pytest.mark.parametrize(
    "path",
    [
        "/../book-devices.json",
        "/static/../../devices.py",
        "/static/%2e%2e/%2e%2e/devices.py",
        "/static/..%5c..%5cdevices.py",
        "/static//etc/passwd",
        "/static/%00",
        "//etc/passwd",
        "/certificate/../devices",
        "/certificate%2f..%2fdevices",
    ],
)
def test_no_way_leads_out_of_the_book(lan: Lan, path: str) -> None:
    for cookie in ("", lan.let_in("phone")):
        answer = lan.ask(path, cookie)
        assert answer.status in (403, 404)
        assert "token_sha256" not in answer.body
        assert "import" not in answer.body


def test_markup_in_names_stays_text(lan: Lan) -> None:
    lan.let_in(f"a {INJECTED}"[:60])
    lan.book.tell(a_state(0.0))
    page = lan.book.ask("GET", "/devices")[2]
    assert INJECTED not in page
    assert "&lt;script&gt;window.broken" in page
    form = {"form_token": form_token(page), "name": '"><img src=x onerror=alert(1)>', "rights": "mark"}
    body = "&".join(f"{k}={v.replace('=', '%3D')}" for k, v in form.items()).encode()
    made = lan.book.ask("POST", "/devices", body, Origin=lan.book.address.rstrip("/"), Content_Type=FORM)
    assert made[0] == 200
    assert "<img" not in made[2]
    cookie = lan.let_in("look", "look")
    for path in ("/", f"/guide/{INJECTED.replace(' ', '%20')}", "/runs?before=%3Cscript%3E"):
        answer = lan.ask(path, cookie, Accept="text/html")
        assert "<script>window" not in answer.body
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def test_a_stranger_is_told_the_next_step_and_nothing_of_the_log_book(lan: Lan) -> None:
    lan.book.tell(a_state(0.0))
    for path in ("/", "/runs", "/states", "/about", "/guide", "/devices", "/nothing"):
        answer = lan.ask(path, Accept="text/html")
        assert answer.status == 403
        assert "soakwitness book --device" in answer.body
        assert str(lan.book.logbook) not in answer.body
        assert "<nav" not in answer.body
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert lan.ask("/static/book.css").status == 200  # what comes with the program


def test_what_is_not_there_is_a_page_with_the_way_on(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    page = lan.ask("/nothing", cookie, Accept="text/html")
    assert page.status == 404
    assert "<nav" in page.body
    assert "look for it in the lists" in page.body
    assert lan.ask("/nothing", cookie).body == "There is no such page in the book.\n"
    assert lan.ask("/", cookie, method="POST", Origin=lan.origin, Accept="text/html").status == 405


def test_an_answer_is_not_held_back(lan: Lan) -> None:
    with closing(http.client.HTTPConnection(lan.host, lan.book.port, timeout=10)) as connection:
        took_s = []
        for _ in range(20):
            began = time.perf_counter()
            connection.request("GET", "/static/mark.svg")
            connection.getresponse().read()
            took_s.append(time.perf_counter() - began)
    assert sorted(took_s)[10] < 0.03  # 40 ms where the last packet waits for the receipt of the one before


def test_what_the_file_says_of_devices_is_no_secret(lan: Lan) -> None:
    cookie = lan.let_in("phone")
    said = json.loads((lan.book.logbook / "book-devices.json").read_text())
    assert cookie.partition("=")[2] not in json.dumps(said)
    until(lambda: lan.ask("/", cookie).status == 200)
