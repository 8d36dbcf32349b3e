"""Pages that enter evidence: the evening of ten minutes, refusals at their fields, uploads, two devices, markup.

They are served by a real book and driven through real requests; those marked so by a headless Chromium.
"""

from __future__ import annotations

import html
import http.client
import re
import secrets
import shutil
import subprocess
import sys
import time
import urllib.parse
from collections.abc import Mapping, Sequence
from contextlib import closing
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.logbook.hardness import hardness_of
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.photos import photo_path, photos_of
from soakwitness.analysis.logbook.piece_notes import notes_of
from soakwitness.cli.book.devices import Devices
from soakwitness.cli.book.doors import COOKIE
from soakwitness.cli.book.enter_words import MOST_UPLOAD_BYTES, file_name
from soakwitness.cli.photographs.reencoding import LARGEST_BYTES
from tests.cli.books import ServedBook, served
from tests.entry_shop import exported, run_words
from tests.photographs import WORDS, bomb, opened, with_a_place

MARKUP = "\"><script>window.broken = 1</script>'<img src=x onerror=window.broken=1>"
HERE = "this computer"
RUN = "20260303T070410Z_shed-furnace_0002"


class Page(HTMLParser):
    """A page as a browser without script takes it: its texts, and the fields of its forms by their names."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.alerts: list[str] = []
        self._alert = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if ("role", "alert") in attrs:
            self._alert = True
            self.alerts.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("p", "div"):
            self._alert = False

    def handle_data(self, data: str) -> None:
        if self._alert:
            self.alerts[-1] += data.strip()

    def fields(self, name: str) -> list[dict[str, str | None]]:
        return [attrs for tag, attrs in self.tags if tag in ("input", "textarea") and attrs.get("name") == name]

    @property
    def token(self) -> str:
        return self.fields("form_token")[0]["value"] or ""

    @property
    def seen(self) -> list[str]:
        return [field["value"] or "" for field in self.fields("seen")]


def look(book: ServedBook, path: str, status: int = 200) -> Page:
    got, _, text = book.ask("GET", path)
    assert got == status, (path, got, text[:300])
    return Page(text)


def post(
    book: ServedBook, path: str, values: Mapping[str, str | Sequence[str]], **headers: str
) -> tuple[int, str | None, Page]:
    body = urllib.parse.urlencode(values, doseq=True).encode()
    sent = {"Origin": book.address.rstrip("/"), "Content-Type": "application/x-www-form-urlencoded"} | headers
    status, got, text = book.ask("POST", path, body, **sent)
    return status, got.get("location"), Page(text)


def enter(book: ServedBook, path: str, form_at: str = "", **values: str | Sequence[str]) -> Page:
    """Fill in a form as it stands on its page and send it; return the page that follows."""
    page = look(book, form_at or path)
    status, location, answer = post(book, path, {"form_token": page.token, "seen": page.seen, **values})
    assert status == 303, (status, answer.alerts, answer.text[:200])
    assert location is not None
    return look(book, location)


def upload(book: ServedBook, path: str, name: str, data: bytes, **values: str) -> tuple[int, str | None, str]:
    """Send a file as a browser does."""
    page = look(book, path)
    border = secrets.token_hex(8)
    parts = {"form_token": page.token, "seen": page.seen[0], **values}
    body = b"".join(
        f'--{border}\r\nContent-Disposition: form-data; name="{field}"\r\n\r\n{text}\r\n'.encode()
        for field, text in parts.items()
    )
    head = f'Content-Disposition: form-data; name="file"; filename="{name}"\r\nContent-Type: image/jpeg'
    body += f"--{border}\r\n{head}\r\n\r\n".encode() + data + f"\r\n--{border}--\r\n".encode()
    with closing(http.client.HTTPConnection("127.0.0.1", book.port, timeout=60)) as connection:
        kind = f"multipart/form-data; boundary={border}"
        headers = {"Origin": book.address.rstrip("/"), "Content-Type": kind}
        connection.request("POST", path, body=body, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.getheader("location"), answer.read().decode()


# ---------------------------------------------------------------- entries equal those of the commands

Step = tuple[str, dict[str, str | list[str]], list[str]]
EVENING: list[Step] = [
    (
        "/pieces/B-041/treatment",
        {
            "kind": "cold treatment",
            "names": ["B-041", "B-042"],
            "not_done": "no",
            "unit": "C",
            "lowest": "-78",
            "oven": ["", "dry ice"],
        },
        [
            "piece",
            "treatment",
            "cold treatment",
            "B-041",
            "B-042",
            "--lowest",
            "-78",
            "--unit",
            "C",
            "--oven",
            "dry ice",
        ],
    ),
    (
        "/pieces/B-043/treatment",
        {"kind": "cold treatment", "names": "B-043", "not_done": "yes", "note": "no ice left"},
        ["piece", "treatment", "cold treatment", "B-043", "--not-done", "--note", "no ice left"],
    ),
    (
        "/pieces/B-041/treatment",
        {
            "kind": "temper",
            "names": ["B-041", "B-042", "B-043"],
            "shown": "392",
            "second": "414",
            "unit": "F",
            "start": "2026-03-03T18:00",
        },
        [
            "piece",
            "treatment",
            "temper",
            "B-041",
            "B-042",
            "B-043",
            "--shown",
            "392",
            "--second",
            "414",
            "--unit",
            "F",
            "--start",
            "2026-03-03T18:00",
        ],
    ),
    (
        "/pieces/B-041/hardness",
        {
            "readings": ["60,1", "60,4", "", "59.9"],
            "after": "temper",
            "along": "18.75",
            "across": "50",
            "block": "60,3",
            "block_reading": "60.5",
        },
        [
            "piece",
            "hardness",
            "B-041",
            "60.1",
            "60.4",
            "59.9",
            "--after",
            "temper",
            "--along",
            "18.75",
            "--across",
            "50",
            "--block",
            "60.3",
            "--block-reading",
            "60.5",
        ],
    ),
    (
        "/pieces/B-041/hardness",
        {"readings": "57.0 57.2 56,9", "after": "temper", "along": "93.75", "across": "50", "tester": "bench"},
        [
            "piece",
            "hardness",
            "B-041",
            "57.0",
            "57.2",
            "56.9",
            "--after",
            "temper",
            "--along",
            "93.75",
            "--across",
            "50",
            "--tester",
            "bench",
        ],
    ),
    (
        f"/runs/{RUN}/decide",
        {"decide": "repeat the treatment", "finding": "short soak", "step": "4", "why": "57 HRC at the tip"},
        [
            "disposition",
            RUN,
            "--decide",
            "repeat the treatment",
            "--finding",
            "short soak",
            "--step",
            "4",
            "--why",
            "57 HRC at the tip",
        ],
    ),
    (
        f"/runs/{RUN}/decide",
        {"decide": "hold back", "finding": "", "step": ""},
        ["disposition", RUN, "--decide", "hold back"],
    ),
    (
        "/pieces/B-041/note",
        {"words": "rang dull when tapped"},
        ["piece", "note", "B-041", "--words", "rang dull when tapped"],
    ),
    (
        "/pieces/B-041/strike/note/1",
        {"why": ["wrong piece", ""]},
        ["piece", "strike", "note", "1", "--why", "wrong piece"],
    ),
    (
        f"/runs/{RUN}/decide/strike/2",
        {"why": "decided too soon"},
        ["logbook", "strike", "disposition", "2", "--why", "decided too soon"],
    ),
]
EVENING.append(
    (
        "/pieces/B-041/inspection",
        {"look": "warp", "mm": "0,8", "place": ["tip", ""], "names": "B-041", "after": "temper", "result": ""},
        ["piece", "inspect", "warp", "B-041", "--mm", "0.8", "--place", "tip", "--after", "temper"],
    )
)
CHARGE: list[Step] = [
    (
        "/enter/pieces",
        {"names": "B-045 B-046", "steel": ["S44004", ""], "thickness_mm": ["", "2,6"], "lot": ["7733", ""]},
        ["piece", "add", "B-045", "B-046", "--steel", "S44004", "--thickness-mm", "2.6", "--lot", "7733"],
    ),
    (
        "/enter/charge",
        {"names": ["B-045", "B-046"], "furnace": "shed furnace", "place": ["", "1-2"], "foil": "yes", "kg": "2,4"},
        [
            "piece",
            "charge",
            "next",
            "B-045",
            "B-046",
            "--furnace",
            "shed furnace",
            "--place",
            "1-2",
            "--foil",
            "--kg",
            "2.4",
        ],
    ),
]


def test_entries_equal_those_of_the_commands(book: ServedBook, logbook: Path, shop: Path, tmp_path: Path) -> None:
    words = Path(shutil.copytree(shop, tmp_path / "words"))
    for path, values, command in EVENING:
        enter(book, path, **values)
        run_words(words, *command, "--by", HERE)
    for path, values, command in CHARGE:
        enter(book, path, "/enter/charge", **values)
        run_words(words, *command, "--by", HERE)
    ours, theirs = exported(logbook, tmp_path / "a"), exported(words, tmp_path / "b")
    assert ours == theirs
    assert len(ours["treatments"]) == 6
    assert len([row for row in ours["dispositions"] if row["struck_why"]]) == 1


def test_after_entering_the_page_says_what_the_command_said_once(book: ServedBook) -> None:
    page = look(book, "/pieces/B-041/hardness")
    values = {
        "form_token": page.token,
        "seen": page.seen,
        "readings": "60.1 60.2 60.4",
        "after": "temper",
        "block": "60",
    }
    status, location, _ = post(book, "/pieces/B-041/hardness", values)
    assert status == 303
    shown = book.ask("GET", location or "")[2]
    assert "B-041: 60.2 HRC (about 697 HV), entry 1." in shown
    assert "Note: the test block was not read" in shown
    assert 'value="60"' in shown  # the block's value goes on to the next place
    assert "entry 1." not in book.ask("GET", location or "")[2]


def test_a_mark_that_was_missed_is_entered_by_the_clock_and_struck_out_again(book: ServedBook) -> None:
    """The run began at 07:04:10 in its zone, which is UTC: 08:00 there is 55:50 into it."""
    path = f"/runs/{RUN}/marks"
    before = look(book, path)
    zone = before.fields("zone")[0]["value"] or ""
    page = enter(book, path, act="door", at="08:00", zone=zone, pieces="", note="looked in")
    assert "Door: looked in" in page.text
    listed = "<time>0:55:50</time><span>door {1,2}looked in <em>2026-03-03 08:00:00, entered later</em>"
    assert re.search(listed, page.text)
    (new,) = {a["href"] for t, a in page.tags if "/strike" in (a.get("href") or "")} - {
        a["href"] for t, a in before.tags if "/strike" in (a.get("href") or "")
    }
    token = look(book, new or "").token
    answer = post(book, new or "", {"form_token": token, "why": ""})[2]
    assert answer.alerts == ["“Strike” needs “Why?”: the reason stays with the mark."]
    status, _, answer = post(book, new or "", {"form_token": token, "why": ["", "wrong run"]})
    assert (status, answer.alerts) == (303, [])
    assert "looked in <em>" in look(book, path).text
    assert new not in {a.get("href") for _, a in look(book, path).tags}
    refused = post(book, path, {"form_token": token, "act": "pull", "at": "late"})
    assert (refused[0], refused[2].fields("at")[0]["value"]) == (422, "late")
    assert book.ask("GET", f"{path}/ffffff/strike")[0] == 404


def test_the_first_pieces_make_a_log_book(tmp_path: Path) -> None:
    with served(tmp_path / "new") as book:
        assert "there is no log book here" in look(book, "/enter").text
        enter(book, "/enter/pieces", "/enter/charge", names="B-001..B-003", steel="S44004")
        assert "B-002" in look(book, "/enter").text


def test_slots_are_offered_by_their_numbers(book: ServedBook) -> None:
    offered = [field["value"] for field in look(book, "/enter/charge").fields("place") if field.get("type") == "radio"]
    assert offered == ["", "1", "2", "3"]  # entered as 1-3 for three blades, the third of them last


def test_a_charge_that_waits_is_told_and_can_be_taken_back(book: ServedBook) -> None:
    enter(book, "/enter/charge", names="B-044", furnace="shed furnace")
    page = look(book, "/pieces/B-044/enter")
    assert "Waits for the next run of shed furnace" in page.text
    (way,) = [attrs["href"] or "" for tag, attrs in page.tags if "/strike/" in (attrs.get("href") or "")]
    assert "is struck through" in enter(book, way, why="wrong piece").text
    assert "Waits for" not in look(book, "/pieces/B-044/enter").text


# ---------------------------------------------------------------- refused

REFUSED: list[tuple[str, dict[str, str | list[str]], str, str]] = [
    ("/pieces/B-041/hardness", {"readings": ["5.62", "60"], "after": "temper"}, "readings", "Is 56.2 meant?"),
    ("/pieces/B-041/hardness", {"readings": ["sixty"], "after": "temper"}, "readings", "'sixty' is not a valid number"),
    (
        "/pieces/B-041/hardness",
        {"readings": ["60"]},
        "after",
        "Say after which step it was read: “After which step?”: quench.",
    ),
    ("/pieces/B-041/treatment", {"kind": "temper", "names": "B-041", "shown": "4000"}, "shown", "is not believable"),
    ("/pieces/B-041/treatment", {"kind": "temper"}, "names", "“Pieces” is to be filled in"),
    ("/pieces/B-041/treatment", {"names": "B-041"}, "kind", "“Treatment” is to be filled in"),
    ("/pieces/B-041/inspection", {"look": "warp", "names": "B-041", "mm": "999"}, "mm", "is not believable"),
    ("/pieces/B-041/note", {"words": "   "}, "words", "“Note” is to be filled in"),
    ("/pieces/B-041/strike/hardness/1", {"why": ""}, "why", "“Why?” is to be filled in"),
    (f"/runs/{RUN}/decide", {"finding": "", "step": ""}, "decide", "Pick what was decided"),
    ("/enter/charge", {"names": "B-044", "furnace": "shed furnace", "kg": "4000"}, "kg", "4000 g are 4 kg"),
    ("/enter/charge", {"furnace": "shed furnace"}, "", "Name the pieces, or say what the run held"),
    ("/enter/pieces", {"names": "B-041", "steel": "X"}, "new-names", "there is a piece B-041 already"),
]


@pytest.mark.parametrize(("path", "values", "field", "says"), REFUSED)
def test_a_refusal_stands_at_its_field_and_nothing_that_was_filled_in_is_lost(
    book: ServedBook,
    logbook: Path,
    path: str,
    values: dict[str, str | list[str]],
    field: str,
    says: str,
    tmp_path: Path,
) -> None:
    page = look(book, "/enter/charge" if path.startswith("/enter/") else path)
    status, _, answer = post(book, path, {"form_token": page.token, "seen": page.seen, **values})
    assert status == 422
    (alert,) = answer.alerts
    assert says in alert
    ids = [attrs["id"] for _, attrs in answer.tags if attrs.get("role") == "alert" and attrs.get("id")]
    assert ids == ([f"{field}-refused"] if field and field != "decide" else ids)
    for name, value in values.items():
        for text in [value] if isinstance(value, str) else value:
            if text.strip() and name not in ("finding", "step"):
                stands = [f for f in answer.fields(name) if f.get("value") == text]
                ticked = [f for f in stands if f.get("type") not in ("radio", "checkbox") or "checked" in f]
                assert ticked, (name, text)
    assert exported(logbook, tmp_path / "out", ())["hardness"] == []


def test_a_reading_that_was_so_can_be_said_so(book: ServedBook, logbook: Path) -> None:
    path = "/pieces/B-041/hardness"
    page = look(book, path)
    values = {"form_token": page.token, "seen": page.seen, "readings": "5.62", "after": "delivery"}
    assert post(book, path, values)[2].fields("as_read")
    assert post(book, path, {**values, "as_read": "yes"})[0] == 303
    with open_logbook(logbook) as opened_book:
        assert hardness_of(opened_book, "B-041")[0].test.readings == (5.62,)


def test_forms_need_their_token_and_what_is_not_there_is_not_found(book: ServedBook) -> None:
    assert post(book, "/pieces/B-041/note", {"words": "x"})[0] == 403
    assert post(book, "/pieces/B-041/note", {"words": "x", "form_token": "0" * 64})[0] == 403
    for path in (
        "/pieces/B-999/hardness",
        "/pieces/B-999/enter",
        "/pieces/B-041/strike/hardness/x",
        "/runs/none/decide",
        "/photos/0.jpg",
        f"/photos/{'0' * 64}.jpg",
        "/photos/..%2f..%2flogbook.sqlite.jpg",
    ):
        assert book.ask("GET", path)[0] == 404, path


def test_a_field_that_no_form_has_is_refused(book: ServedBook) -> None:
    page = look(book, "/pieces/B-041/note")
    for extra in ({"by": "Ben"}, {"logbook": "/tmp"}, {"file": "/etc/passwd"}):
        values = {"form_token": page.token, "seen": page.seen, "words": "x", **extra}
        status, _, answer = post(book, "/pieces/B-041/note", values)
        assert status == 422
        assert "is no field of the form note" in answer.alerts[0]


def test_a_device_that_may_look_is_told_so_and_enters_nothing(logbook: Path) -> None:
    token = Devices(logbook).add("visitor", "look")
    with served(logbook) as book:
        page = Page(book.ask("GET", "/pieces/B-041/note", Cookie=f"{COOKIE}={token}")[2])
        assert "This device may look, and mark nothing." in page.text
        assert "This device may look" not in look(book, "/pieces/B-041/note").text
        values = {"form_token": page.token, "seen": page.seen, "words": "x"}
        assert post(book, "/pieces/B-041/note", values, Cookie=f"{COOKIE}={token}")[0] == 403


# ---------------------------------------------------------------- two devices


def test_two_devices_at_one_piece_the_second_is_told_and_nothing_is_lost(book: ServedBook, logbook: Path) -> None:
    path = "/pieces/B-041/note"
    phone, bench = look(book, path), look(book, path)
    assert post(book, path, {"form_token": phone.token, "seen": phone.seen, "words": "by the phone"})[0] == 303
    status, _, answer = post(book, path, {"form_token": bench.token, "seen": bench.seen, "words": "by the bench"})
    assert status == 422
    assert "since then this computer entered note 1" in answer.alerts[0]
    assert "by the bench" in answer.text
    assert "by the phone" in answer.text  # it is shown as it stands now
    again = {"form_token": answer.token, "seen": answer.seen, "words": "by the bench"}
    assert post(book, path, again)[0] == 303
    status, location, _ = post(book, path, again)  # a second tap enters nothing twice, and is told of the first
    assert (status, "entry 2" in look(book, location or "").text) == (303, True)
    with open_logbook(logbook) as opened_book:
        assert [note.words for note in notes_of(opened_book, "B-041")] == ["by the phone", "by the bench"]


def test_who_entered_it_is_the_device(logbook: Path) -> None:
    token = Devices(logbook).add("Ana's phone", "mark")
    with served(logbook) as book:
        phone = Page(book.ask("GET", "/pieces/B-041/note", Cookie=f"{COOKIE}={token}")[2])
        bench = look(book, "/pieces/B-041/note")
        values = {"form_token": phone.token, "seen": phone.seen, "words": "by the phone"}
        assert post(book, "/pieces/B-041/note", values, Cookie=f"{COOKIE}={token}")[0] == 303
        values = {"form_token": bench.token, "seen": bench.seen, "words": "by the bench"}
        assert "since then Ana's phone entered note 1" in post(book, "/pieces/B-041/note", values)[2].alerts[0]
    with open_logbook(logbook) as opened_book:
        assert [note.entered_by for note in notes_of(opened_book, "B-041")] == ["Ana's phone"]


def test_only_the_pieces_that_are_ticked_are_asked_after(book: ServedBook) -> None:
    page = look(book, "/pieces/B-041/treatment")
    enter(book, "/pieces/B-043/note", words="meanwhile")
    values = {"form_token": page.token, "seen": page.seen, "kind": "temper"}
    assert post(book, "/pieces/B-041/treatment", {**values, "names": ["B-041", "B-042"]})[0] == 303
    assert post(book, "/pieces/B-041/treatment", {**values, "names": ["B-043"]})[0] == 422


# ---------------------------------------------------------------- photographs


def test_a_photograph_is_kept_without_its_place_and_shown(book: ServedBook, logbook: Path, tmp_path: Path) -> None:
    data = with_a_place(tmp_path / "a.jpg", size=(3000, 1000), turned=6).read_bytes()
    assert WORDS in data
    status, location, text = upload(book, "/pieces/B-041/photo", "IMG_1.jpg", data, note="the edge")
    assert status == 303, text
    page = book.ask("GET", location or "")[2]
    assert "photograph of 667 x 2000 pixels kept, entry 1" in page
    with open_logbook(logbook) as opened_book:
        (photo,) = photos_of(opened_book, "B-041")
        kept = photo_path(opened_book, photo).read_bytes()
    assert (photo.note, photo.entered_by) == ("the edge", HERE)
    assert not opened(kept).getexif()
    assert WORDS not in kept
    with closing(http.client.HTTPConnection("127.0.0.1", book.port, timeout=10)) as connection:
        connection.request("GET", f"/photos/{photo.digest}.jpg")
        answer = connection.getresponse()
        assert (answer.status, answer.getheader("content-type"), answer.read()) == (200, "image/jpeg", kept)
        assert answer.getheader("x-content-type-options") == "nosniff"
    enter(book, "/pieces/B-041/strike/photo/1", why="another blade")
    assert book.ask("GET", f"/photos/{photo.digest}.jpg")[0] == 404


def memory_kb(pid: int) -> int:
    """The most that a process ever had in memory."""
    text = Path(f"/proc/{pid}/status").read_text()
    return int(re.search(r"VmHWM:\s*(\d+)", text)[1])  # type: ignore[index]


def test_what_is_no_photograph_is_refused_at_the_field(book: ServedBook, tmp_path: Path) -> None:
    path = "/pieces/B-041/photo"
    wrong = {
        "a.jpg": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "a.jpg is no picture known here"),
        "../../../etc/passwd": (b"root:x:0:0", "passwd is no picture"),
        "bomb.png": (bomb(tmp_path / "bomb.png").read_bytes(), "would unpack"),
        "cut.jpg": (with_a_place(tmp_path / "b.jpg").read_bytes()[:3000], "cut.jpg is broken"),
        "": (b"", "Choose a photograph"),
    }
    for name, (data, says) in wrong.items():
        status, _, text = upload(book, path, name, data, note="kept words")
        page = Page(text)
        assert status == 422, name
        assert says in page.alerts[0]
        assert [attrs["id"] for _, attrs in page.tags if attrs.get("role") == "alert"] == ["file-refused"]
        assert page.fields("note")[0]["value"] == "kept words"
    assert not (book.logbook / "photos").exists()


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is told by /proc")
def test_over_50_mb_is_refused_and_never_in_the_servers_memory(book: ServedBook) -> None:
    before = memory_kb(book.child.pid)
    status, _, text = upload(book, "/pieces/B-041/photo", "large.jpg", bytes(LARGEST_BYTES + 1))
    assert status == 422
    assert "large.jpg has 50 MB; a photograph may have 50" in Page(text).alerts[0]
    assert memory_kb(book.child.pid) - before < 20_000
    with closing(http.client.HTTPConnection("127.0.0.1", book.port, timeout=10)) as connection:
        connection.putrequest("POST", "/pieces/B-041/photo")
        for name, value in (
            ("Origin", book.address.rstrip("/")),
            ("Content-Type", "multipart/form-data; boundary=x"),
            ("Content-Length", str(MOST_UPLOAD_BYTES + 1)),
        ):
            connection.putheader(name, value)
        connection.endheaders()
        assert connection.getresponse().status == 413  # before a byte of it is read


def test_names_of_files_are_plain() -> None:
    assert [file_name(name) for name in ("C:\\a\\b c.jpg", "../../x", "..", "é\0.png", "")] == [
        "b-c.jpg", "x", "photograph", "é-.png", "photograph",
    ]  # fmt: skip


# ---------------------------------------------------------------- injected markup


def test_markup_in_every_field_stays_words_on_every_page(book: ServedBook) -> None:
    token = look(book, "/pieces/B-044/note").token
    forms = {
        "/pieces/B-044/hardness": ("readings", "after", "along", "across", "tester", "block", "block_reading", "scale")
        + ("ground_off_mm", "at", "note", "as_read"),
        "/pieces/B-044/treatment": ("kind", "names", "not_done", "start", "end", "lowest", "shown", "second", "oven")
        + ("removed_mm", "note", "unit"),
        "/pieces/B-044/note": ("words", "at"),
        "/pieces/B-044/inspection": ("look", "names", "result", "mm", "place", "after", "at", "note"),
        "/pieces/B-044/strike/note/1": ("why",),
        f"/runs/{RUN}/decide": ("decide", "finding", "step", "why"),
        "/enter/charge": ("names", "furnace", "place", "foil", "heated_faces", "kg", "fixtures", "fixtures_kg", "note"),
        "/enter/pieces": ("names", "steel", "thickness_mm", "lot"),
        f"/runs/{RUN}/marks": ("act", "pieces", "at", "zone", "note", "outside"),
    }
    for path, names in forms.items():
        for name in names:
            _, _, page = post(book, path, {"form_token": token, name: MARKUP})
            harmless(page)
        harmless(post(book, path, {"form_token": token, "seen": "", **dict.fromkeys(names, MARKUP)})[2])
        harmless(post(book, path, {"form_token": token, MARKUP: MARKUP})[2])


def test_markup_that_was_entered_stays_words(book: ServedBook, tmp_path: Path) -> None:
    run_words(book.logbook, "piece", "change", "B-044", "--customer", MARKUP, "--steel", MARKUP, "--why", MARKUP)
    enter(book, "/pieces/B-044/note", words=MARKUP)
    enter(book, "/pieces/B-044/treatment", kind="temper", names="B-044", oven=MARKUP, note=MARKUP)
    enter(book, "/pieces/B-044/hardness", readings="60 60 61", after="temper", tester=MARKUP, note=MARKUP)
    run_words(book.logbook, "piece", "hardness", "B-044", "60", "--after", "temper", "--spot", MARKUP)
    enter(book, f"/runs/{RUN}/decide", decide="scrap", finding="", step="", why=MARKUP)
    data = with_a_place(tmp_path / "a.jpg").read_bytes()
    assert upload(book, "/pieces/B-044/photo", "a.jpg", data, note=MARKUP)[0] == 303
    for path in (
        *(
            f"/pieces/B-044/{what}"
            for what in ("enter", "hardness", "treatment", "inspection", "note", "photo", "strike/note/1")
        ),
        *("/enter", "/enter/charge", f"/runs/{RUN}/decide", f"/enter?find={urllib.parse.quote(MARKUP)}"),
    ):
        harmless(look(book, path))
        shows_nothing = path == "/enter" or path.endswith("/inspection")
        assert shows_nothing or MARKUP in html.unescape(book.ask("GET", path)[2])


def harmless(page: Page) -> None:
    """No element that was not the page's own, and none that does anything by itself."""
    for tag, attrs in page.tags:
        assert tag not in ("iframe", "object", "style"), tag
        assert tag != "script" or (attrs.get("src") or "").startswith("/static/"), attrs
        assert not [name for name in attrs if name.startswith("on") or name == "style"], (tag, attrs)
        if tag == "img":
            assert (attrs.get("src") or "").startswith("/photos/")


# ---------------------------------------------------------------- in a browser


def tap(tab: Any, what: str) -> None:
    """Tap on what a person would: it must be there to be hit, and large enough."""
    target = tab.locator(what).first
    box = target.bounding_box()
    assert box is not None, what
    assert box["height"] >= 16, (what, box)
    target.click()


@pytest.mark.browser
@pytest.mark.parametrize(
    ("width", "height", "script", "scheme"),
    [(390, 844, True, "light"), (360, 640, False, "dark"), (1280, 800, True, "light")],
)
def test_the_evening_of_ten_minutes(
    browser: Any, book: ServedBook, shop: Path, width: int, height: int, script: bool, scheme: str, tmp_path: Path
) -> None:
    """Decide on the finding, cold treatment, a temper, hardness at two places, a photograph, tomorrow's charge."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, java_script_enabled=script
    )
    tab, problems = context.new_page(), list[str]()
    tab.set_default_timeout(15_000)
    tab.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
    began = time.monotonic()

    def fits() -> None:
        tab.wait_for_load_state()
        if script:
            assert tab.evaluate("document.documentElement.scrollWidth") <= width, tab.url

    tab.goto(f"{book.address}enter")
    fits()
    tap(tab, "section.entry:has-text('Too short') a:has-text('Decide')")
    fits()
    short = tab.locator("section.entry:has(h2:text('Short soak'))")
    short.locator("label:has-text('hold back')").click()
    short.locator("input[name=why]").fill("57 HRC at the tip")
    short.locator("button").click()
    assert tab.locator(".said").inner_text().startswith("short soak, step 4: hold back (57 HRC at the tip)")

    tab.goto(f"{book.address}enter")
    tap(tab, "a:text-is('B-041')")
    fits()
    tap(tab, "a.tile:has-text('Cold treatment')")
    fits()
    tap(tab, "label:has-text('B-042')")
    tab.get_by_label("Lowest temperature").fill("-78")
    tap(tab, "button.act")
    assert "cold treatment entered (2 pieces)" in tab.locator(".said").inner_text()
    tap(tab, "a.tile:has-text('Temper')")
    tab.get_by_label("Oven, bath or plates showed").fill("200,5")
    tap(tab, "button.act")
    assert "temper entered (1 piece)" in tab.locator(".said").inner_text()

    tap(tab, "a.tile:has-text('Hardness')")
    fits()
    tap(tab, "a[aria-label^='heel, edge, 6 %']")
    for box, text in enumerate(("5.62", "60,4", "59,9")):
        tab.locator("input[name=readings]").nth(box).fill(text)
    tap(tab, "label:has(span:text-is('temper'))")
    tap(tab, "button.act")
    assert "Is 56.2 meant?" in tab.locator("#readings-refused").inner_text()
    fits()
    tab.locator("input[name=readings]").first.fill("60,2")
    tap(tab, "button.act")
    assert "B-041: 60.2 HRC" in tab.locator(".said").inner_text()
    tap(tab, "a[aria-label^='tip, flat, 94 %']")
    for box, text in enumerate(("57", "57.2", "56.9")):
        tab.locator("input[name=readings]").nth(box).fill(text)
    tap(tab, "button.act")  # the step is known from the last one
    assert "at 2 places, 3.5 apart" in tab.locator("h1").inner_text()
    assert tab.locator(".blade-map .read").count() == 2

    tap(tab, ".where a")
    tap(tab, "a.tile:has-text('Photograph')")
    fits()
    tab.locator("input[type=file]").set_input_files(with_a_place(tmp_path / "tip.jpg"))
    tap(tab, "button.act")
    assert "photograph of 640 x 400 pixels kept" in tab.locator(".said").inner_text()

    tab.goto(f"{book.address}enter")
    tap(tab, "a:has-text('The charge of the next run')")
    fits()
    tab.locator("#new-names").fill("B-045..B-046")
    for word in ("S44004", "2.6 mm", "7733"):
        tab.locator(f"#new ~ form label:has(span:text-is('{word}'))").click()
    tab.locator("button:has-text('Enter the pieces')").click()
    assert "2 pieces entered: B-045, B-046." in tab.locator(".said").inner_text()
    tab.locator("label:has-text('B-045')").click()
    tab.locator("label:has-text('B-046')").click()
    tab.locator("label:has(span:text-is('foil packet'))").click()
    tab.locator("button:has-text('Enter the charge')").click()
    assert "charge 1 of the next run of shed furnace" in tab.locator(".said").inner_text()
    fits()
    assert time.monotonic() - began < 120
    assert [p for p in problems if "422" not in p] == []
    context.close()

    words = tmp_path / "words"
    shutil.copytree(shop, words)
    for command in (
        [
            "disposition",
            RUN,
            "--decide",
            "hold back",
            "--finding",
            "short soak",
            "--step",
            "4",
            "--why",
            "57 HRC at the tip",
        ],
        ["piece", "treatment", "cold treatment", "B-041", "B-042", "--lowest", "-78", "--unit", "C"],
        ["piece", "treatment", "temper", "B-041", "--shown", "200.5"],
        [
            "piece",
            "hardness",
            "B-041",
            "60.2",
            "60.4",
            "59.9",
            "--after",
            "temper",
            "--along",
            "6.25",
            "--across",
            "16.6667",
        ],
        ["piece", "hardness", "B-041", "57", "57.2", "56.9", "--after", "temper", "--along", "93.75", "--across", "50"],
        ["piece", "photo", "B-041", str(tmp_path / "tip.jpg")],
        ["piece", "add", "B-045..B-046", "--steel", "S44004", "--thickness-mm", "2.6", "--lot", "7733"],
        ["piece", "charge", "next", "B-045", "B-046", "--furnace", "shed furnace", "--foil"],
    ):
        run_words(words, *command, "--by", HERE)
    ours, theirs = exported(book.logbook, tmp_path / "a"), exported(words, tmp_path / "b")
    for judged in ("verdicts", "figures"):  # nobody entered these: *Enter* has its runs judged while one looks
        ours.pop(judged)
        theirs.pop(judged)
    assert ours == theirs


def test_the_server_stays_light_while_it_shows_what_is_to_be_entered(logbook: Path) -> None:
    code = (
        "import sys\nfrom pathlib import Path\n"
        "from soakwitness.cli.book import enter_pages as e, enter_charge as c, enter_decision as d\n"
        "from soakwitness.cli.book.sent_forms import Filled\n"
        "from soakwitness.cli.book.desk import Desk\nfrom soakwitness.cli.book.devices import Devices\n"
        "from soakwitness.cli.book.states import States\nfrom soakwitness.cli.book.working import WorkerProcess\n"
        "b = Path(sys.argv[1])\ndesk = Desk(b, States(b / 'runs'), Devices(b), WorkerProcess(b))\n"
        "class R: path_params = {'piece': 'B-041', 'run': sys.argv[2]}\n"
        "e._beginning(desk, ''), e._piece(desk, R), c._context(desk, Filled()), d._context(desk, R, Filled())\n"
        "print([name for name in ('numpy', 'pandas', 'scipy', 'matplotlib', 'PIL') if name in sys.modules])"
    )
    answer = subprocess.run([sys.executable, "-c", code, str(logbook), RUN], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
