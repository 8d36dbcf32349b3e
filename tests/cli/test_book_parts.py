"""Parts of the book without its server: who is let in, what is kept of the past, how states are told and heard."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from soakwitness.cli.book import app as pages
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.devices import DEVICES_FILE, Devices
from soakwitness.cli.book.doors import Doors, FormTokens, entry_route
from soakwitness.cli.book.hearing import Ear
from soakwitness.cli.book.past import MOST_POINTS, past_readings, thinned
from soakwitness.cli.book.states import States
from soakwitness.cli.book.working import JobRefused, WorkerProcess
from soakwitness.cli.telling.book_file import claim_book
from soakwitness.cli.telling.present import LOOKED_FOR_EVERY_S, Present
from soakwitness.firmware_bridge.runfolder.line_format import header_crc, header_line, row_bytes, sample_body
from tests.cli.books import a_state, until

ROOT = Path(__file__).resolve().parents[2]
PHONE = ("192.0.2.7", 40000)  # TEST-NET-1
HERE = ("127.0.0.1", 40000)
HOSTS = ("127.0.0.1", "192.0.2.1")


class Asked:
    """One request to an application, and what it answered."""

    def __init__(
        self,
        app: Any,
        path: str,
        *,
        client: tuple[str, int] = HERE,
        method: str = "GET",
        body: bytes = b"",
        **headers: str,
    ) -> None:
        self.status = 0
        self.headers: dict[str, str] = {}
        self.body = b""
        named = {"host": "127.0.0.1:8431", "content_length": str(len(body)), **headers}
        path, _, query = path.partition("?")
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(name.replace("_", "-").encode(), text.encode("latin-1")) for name, text in named.items()],
            "client": client,
            "server": ("127.0.0.1", 8431),
        }

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                self.status = message["status"]
                self.headers = {k.decode().lower(): v.decode() for k, v in message["headers"]}
            else:
                self.body += message.get("body", b"")

        asyncio.run(app(scope, receive, send))


def doors(logbook: Path) -> tuple[Doors, Devices, FormTokens, list[dict[str, Any]]]:
    """Doors before a page that takes a form."""
    tokens, devices, entered = FormTokens(), Devices(logbook), list[dict[str, Any]]()

    async def enter(request: Request, form: FormData) -> Response:
        entered.append(dict(form))
        return PlainTextResponse("entered")

    async def look(request: Request) -> Response:
        return PlainTextResponse(tokens.of(request))

    app = Starlette(routes=[entry_route("/enter", enter, tokens, name="enter")])
    app.add_route("/", look)
    return Doors(app, hosts=HOSTS, devices=devices), devices, tokens, entered


def test_on_the_network_a_device_needs_its_link_once(tmp_path: Path) -> None:
    app, devices, _, _ = doors(tmp_path)
    assert Asked(app, "/").status == 200  # this computer needs none
    assert Asked(app, "/", client=PHONE).status == 403
    token = devices.add("tablet at the furnace")
    assert Asked(app, "/?token=guess", client=PHONE).status == 403
    assert Asked(app, f"/enter?token={token}", client=PHONE).status == 403
    first = Asked(app, f"/?token={token}", client=PHONE)
    assert (first.status, first.headers["location"]) == (303, "/")
    assert "HttpOnly" in first.headers["set-cookie"]
    cookie = first.headers["set-cookie"].split(";")[0]
    assert Asked(app, "/", client=PHONE, cookie=cookie).status == 200
    assert Asked(app, f"/?token={token}", client=PHONE, cookie=cookie).status == 200
    assert Asked(app, "/", client=PHONE, cookie="soakwitness=guess").status == 403
    assert Asked(app, "/", client=PHONE, cookie='soakwitness="; ,=\\').status == 403
    (tmp_path / DEVICES_FILE).unlink()  # withdrawn
    assert Asked(app, "/", client=PHONE, cookie=cookie).status == 403


def test_wrong_tokens_never_lock_the_right_one_out(tmp_path: Path) -> None:
    devices = Devices(tmp_path)
    token = devices.add("phone")
    for wrong in (*("wrong",) * 1000, "", "ü", token[:-1], "\udc80"):
        assert devices.known_by(wrong) is None
    found = Devices(tmp_path).known_by(token)
    assert found is not None
    assert (found.name, found.rights) == ("phone", "look")


def test_tokens_are_kept_as_digests_for_the_owner_alone(tmp_path: Path) -> None:
    token = Devices(tmp_path).add("phone", "mark")
    file = tmp_path / DEVICES_FILE
    assert token not in file.read_text()
    if os.name != "nt":
        assert file.stat().st_mode & 0o777 == 0o600
    for odd in ("", "[]", '{"devices": 3}', '{"devices": [{}]}', "\xff"):
        file.write_text(odd)
        assert Devices(tmp_path).all() == ()


def test_a_form_needs_its_origin_its_token_and_the_right(tmp_path: Path) -> None:
    app, devices, _, entered = doors(tmp_path)
    origin, kind = "http://127.0.0.1:8431", "application/x-www-form-urlencoded"
    token = Asked(app, "/").body.decode()

    def sent(body: str, **more: Any) -> int:
        asked = {"origin": origin, "content_type": kind, **more}
        return Asked(app, "/enter", method="POST", body=body.encode(), **asked).status

    assert sent(f"form_token={token}&piece=B-1") == 200
    assert entered == [{"form_token": token, "piece": "B-1"}]
    assert sent(f"form_token={token}", origin="http://elsewhere.example") == 403
    assert sent("piece=B-1") == 403
    assert sent("form_token=guess&piece=B-1") == 403
    assert sent(f"form_token={token}&piece={'x' * 70_000}") == 413
    assert sent(f"form_token={token}", content_length="much") == 413
    assert Asked(app, "/enter").status == 405
    cookie = f"soakwitness={devices.add('looks only')}"
    own = Asked(app, "/", client=PHONE, cookie=cookie).body.decode()
    assert own != token
    assert sent(f"form_token={own}", client=PHONE, cookie=cookie) == 403
    cookie = f"soakwitness={devices.add('marks', 'mark')}"
    own = Asked(app, "/", client=PHONE, cookie=cookie).body.decode()
    assert sent(f"form_token={own}", client=PHONE, cookie=cookie) == 200
    assert sent(f"form_token={token}", client=PHONE, cookie=cookie) == 403  # another device's


def test_every_page_that_takes_a_form_takes_it_by_the_one_way(tmp_path: Path) -> None:
    desk = Desk(tmp_path, States(tmp_path), Devices(tmp_path), WorkerProcess(tmp_path))
    for page in pages.PAGES:
        for route in page.routes(desk):
            if route.methods and not route.methods <= {"GET", "HEAD"}:
                assert route.endpoint.__qualname__.startswith("entry_route."), route.path


# ---------------------------------------------------------------- the past


def test_thinned_rows_keep_peaks_and_gaps() -> None:
    rows: list[list[float | None]] = [[float(t), 100.0, 50.0] for t in range(3 * MOST_POINTS)]
    rows[1001][1], rows[2002][2], rows[3003] = 900.0, 1.0, [3003.0, None, None]
    kept = thinned(rows)
    assert len(kept) <= len(rows) // 2
    assert rows[1001] in kept
    assert rows[2002] in kept
    assert rows[3003] in kept
    assert [row[0] for row in kept] == sorted(row[0] for row in kept)
    assert thinned(rows[:MOST_POINTS]) == rows[:MOST_POINTS]


def test_past_readings_come_from_the_run_folder_in_the_unit_asked() -> None:
    run = ROOT / "sample_logs" / "good"
    celsius, fahrenheit = (past_readings(run, ["load", "nobody", "control"], unit) for unit in ("C", "F"))
    assert 500 < len(celsius) <= MOST_POINTS
    assert all(row[2] is None for row in celsius)
    # 1 degC is 1.8 degF, 0 degC is 32 degF
    assert fahrenheit[-1][1] == pytest.approx(celsius[-1][1] * 1.8 + 32, abs=0.2)  # type: ignore[operator]
    assert past_readings(run.parent, ["load"], "C") == []


def test_a_slot_without_a_reading_is_no_gap_and_a_gap_is_one_row(tmp_path: Path) -> None:
    run = tmp_path / "run"
    shutil.copytree(ROOT / "sample_logs" / "good", run)
    header = json.loads((run / "run.json").read_text())
    header["sample"] = {"every_s": 1.0}
    (run / "run.json").write_text(json.dumps(header))
    for odd in ("seal.json", "events.csv"):
        (run / odd).unlink()
    names = [column["name"] for column in header["columns"]]
    line = header_line(names)
    crc, data = header_crc(line), line
    for t_s in range(60):
        read = t_s != 10 and not 30 <= t_s < 40 and t_s < 55
        body = sample_body(t_s, "2026-01-01T00:00:00Z", names, {names[0]: 20.0 + t_s} if read else {})
        row, crc = row_bytes(body, crc)
        data += row
    (run / "samples.csv").write_bytes(data)
    rows = past_readings(run, names[:1], "C")
    assert [row[0] for row in rows if row[1] is None] == [30.0, 55.0]
    assert len(rows) == 55 - 1 - 10 + 2


def test_a_new_run_begins_a_new_past(tmp_path: Path) -> None:
    async def told() -> None:
        states = States(tmp_path)
        for t_s in range(0, 600, 60):
            states.take(a_state(t_s))
        (furnace,) = states.whole()["furnaces"]
        assert [row[0] for row in furnace["past"]] == list(range(0, 600, 60))
        assert len(states.recording()) == 1
        states.take(a_state(0, run="another"))
        (furnace,) = states.whole()["furnaces"]
        assert len(furnace["past"]) == 1

    asyncio.run(told())


def test_a_run_that_is_over_is_judged_once_and_its_verdict_stays_while_the_watch_idles(tmp_path: Path) -> None:
    async def told() -> None:
        states = States(tmp_path)
        judged: list[tuple[str, str]] = []

        async def over(furnace: str, run: str) -> None:
            judged.append((furnace, run))
            states.set_last(furnace, run, {"run": run, "verdict": "pass", "says": "Pass."})
            states.set_last(furnace, "another", {"says": "of another run"})

        states.when_over = over
        states.take(a_state(0, furnace="shed", run="one"))
        states.take({"furnace": "shed", "run": "two", "ended": True})
        states.take({"furnace": "nobody", "run": "one", "ended": True})
        assert not judged
        for _ in range(2):
            states.take({"furnace": "shed", "run": "one", "ended": True})
            await asyncio.sleep(0)
        states.take(a_state(0, furnace="shed", run=None))
        await asyncio.sleep(0)
        assert judged == [("shed", "one")]
        (furnace,) = states.whole()["furnaces"]
        assert (furnace["last_run"], furnace["last"]["says"], furnace["ended"]) == ("one", "Pass.", False)
        states.take(a_state(0, furnace="shed", run=None))
        (furnace,) = states.whole()["furnaces"]
        assert len(furnace["past"]) == 1  # the picture of the run that is over
        states.take(a_state(0, furnace="shed", run="two"))
        states.take(a_state(60, furnace="shed", run="two"))
        assert [row[0] for row in states.whole()["furnaces"][0]["past"]] == [0.0, 60.0]

    asyncio.run(told())


def test_a_recorder_whose_last_word_was_lost_has_ended_when_its_run_is_sealed(tmp_path: Path) -> None:
    async def told() -> None:
        now_s = 0.0
        states = States(tmp_path, clock=lambda: now_s)
        states.take(a_state(0, furnace="shed", run="one", every_s=10.0))
        (tmp_path / "one").mkdir()
        (tmp_path / "one" / "seal.json").write_text("{}")
        now_s = 30.0  # three periods are allowed
        states.look_for_ends()
        assert not states.whole()["furnaces"][0]["ended"]
        now_s = 30.1
        assert states.whole()["furnaces"][0]["silent"]
        states.look_for_ends()
        assert states.whole()["furnaces"][0]["ended"]

    asyncio.run(told())


# ---------------------------------------------------------------- telling and hearing


@pytest.mark.parametrize("unix", [True, False])
def test_either_may_begin_first_and_a_book_that_was_killed_is_found_again(tmp_path: Path, unix: bool) -> None:
    if unix and not hasattr(socket, "AF_UNIX"):
        pytest.skip("this system has no Unix sockets")
    now_s = 0.0
    present = Present(tmp_path / "book", clock=lambda: now_s)
    made = 0

    def state() -> dict[str, Any]:
        nonlocal made
        made += 1
        return a_state(made)

    present.tell(state)
    assert (made, present.told, present.dropped) == (0, 0, 0)  # no book: not even made
    for begun in range(2):
        ear = Ear(unix=unix)
        lock = claim_book(tmp_path / "book", {"address": "a", "version": str(begun), "lan": False, "hears": ear.where})
        before = present.told
        now_s += LOOKED_FOR_EVERY_S - 0.1
        present.tell(state)
        assert present.told == before
        now_s += 0.2
        present.tell(state)
        assert present.told == before + 1
        heard: list[Any] = []

        async def listen(ear: Ear = ear, heard: list[Any] = heard) -> None:
            await ear.listen(heard.append)
            if not unix:
                stranger = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
                stranger.sendto(b'{"furnace": "x"}', ("127.0.0.1", ear.where["udp"]))
                stranger.sendto(b"x" * 24 + b'{"furnace": "x"}', ("127.0.0.1", ear.where["udp"]))
                stranger.close()
            for _ in range(50):
                await asyncio.sleep(0.01)
            ear.stop()
            await asyncio.sleep(0.02)

        asyncio.run(listen())
        assert [one["furnace"] for one in heard] == [a_state(0)["furnace"]]
        if begun:
            lock.release()
        else:  # as after a kill: the file still tells of it
            said = (tmp_path / "book" / "book.json").read_bytes()
            lock.release()
            (tmp_path / "book" / "book.json").write_bytes(said)
        ear.close()
        for _ in range(3):
            present.tell(state)  # nobody hears it, and nothing is raised
    present.leave()


def test_a_book_that_does_not_read_is_not_waited_for(tmp_path: Path) -> None:
    ear = Ear()
    lock = claim_book(tmp_path, {"address": "a", "version": "1", "lan": False, "hears": ear.where})
    present = Present(tmp_path)
    began = time.perf_counter()
    for t_s in range(5000):
        present.tell(lambda t_s=t_s: a_state(t_s))  # type: ignore[misc]
    assert time.perf_counter() - began < 2.0
    assert present.dropped > 1000
    present.leave()
    lock.release()
    ear.close()


# ---------------------------------------------------------------- the worker


def test_the_worker_does_what_verify_does_and_refuses_in_its_words(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "sample_logs" / "short-soak", tmp_path / "runs" / "short-soak")

    async def work() -> None:
        worker = WorkerProcess(tmp_path)
        try:
            short = await worker.ask("verdict", run="short-soak")
            assert short["verdict"] == "fail"
            assert short["says"].startswith("Too short: P-01 and P-02 were at 1040")
            printed = Path((await worker.ask("sheet", run="short-soak"))["file"])
            assert printed.read_bytes().startswith(b"%PDF-")
            printed.unlink()
            printed.parent.rmdir()
            with pytest.raises(JobRefused, match="no such run"):
                await worker.ask("verdict", run="../../etc")
            with pytest.raises(JobRefused, match="no such job"):
                await worker.ask("shell", run="short-soak")
            with pytest.raises(JobRefused, match="TypeError"):
                await worker.ask("verdict", walk="short-soak")
            worker.stop()
            assert (await worker.ask("verdict", run="short-soak"))["verdict"] == "fail"  # started anew
        finally:
            await worker.leave()

    asyncio.run(work())
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.logbook.opening import open_logbook

    run = json.loads((tmp_path / "runs" / "short-soak" / "run.json").read_text())["run"]
    with open_logbook(tmp_path) as book:
        kept = last_verdict(book, run)
    assert kept is not None
    assert kept.verdict == "fail"


def test_the_worker_ends_by_itself(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "soakwitness.cli.book_work.worker", "--logbook", str(tmp_path), "--idle", "0.3"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        until(lambda: child.poll() is not None)
        assert child.returncode == 0
