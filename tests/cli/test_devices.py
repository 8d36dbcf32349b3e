"""Devices: links by command and in the book, their square codes and labels, withdrawing, the unit of the book."""

from __future__ import annotations

import io
import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.book.devices import DEVICES_FILE, MOST_DEVICES, DeviceRefused, Devices, checked_name
from soakwitness.cli.charts.device_label import CODE_IN, HIGH_IN, MARGIN_IN, write_label
from soakwitness.cli.main import soakwitness
from soakwitness.cli.terminal.attending import Screen
from soakwitness.cli.terminal.square_code import HALVES, INK, PLAIN, code_lines, code_rows
from soakwitness.cli.words.device_words import device_link

LINK = "http://192.0.2.7:8431/?token=8X1PcrzbVKwZvzRrAOnrZ4F_iCEhlTOy"


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    (tmp_path / "book").mkdir()
    return tmp_path / "book"


@pytest.fixture(autouse=True)
def in_a_network(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("soakwitness.cli.book.listening.network_addresses", lambda: ["192.0.2.7", "2001:db8::7"])


def book(logbook: Path, *words: str) -> Result:
    return CliRunner().invoke(soakwitness, ["book", *words, "--logbook", str(logbook)])


def refusal(result: Result) -> str:
    """Words of a refusal, as the program's entry prints them."""
    assert getattr(result.exception, "exit_code", result.exit_code) == 2
    return f"{result.stderr}{result.exception}"


# ---------------------------------------------------------------- the command


def test_a_device_is_let_in_listed_and_withdrawn(logbook: Path) -> None:
    assert "No device has a link" in book(logbook, "--devices").stdout
    made = book(logbook, "--device", "tablet at the furnace")
    assert made.exit_code == 0
    link = made.stdout.strip()
    assert link.startswith("http://192.0.2.7:8431/?token=")
    assert "soakwitness book --lan" in made.stderr  # no book runs: it leads nowhere yet
    known = Devices(logbook).known_by(link.split("token=")[1])
    assert known is not None
    assert (known.name, known.rights) == ("tablet at the furnace", "mark")
    assert book(logbook, "--device", "phone", "--look-only").exit_code == 0
    listed = book(logbook, "--devices").stdout.splitlines()
    since = r"link since 20\d\d-\d\d-\d\d \d\d:\d\d"
    assert re.fullmatch(rf"tablet at the furnace: looks and marks, {since}, never here", listed[0])
    assert re.fullmatch(rf"phone: looks, {since}, never here", listed[1])
    assert book(logbook, "--withdraw", "Tablet at the furnace").exit_code == 0
    assert Devices(logbook).known_by(link.split("token=")[1]) is None
    assert len(book(logbook, "--devices").stdout.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--device", "PHONE"], '"phone" has its link since'),
        (["--device", "This Computer"], "Give another name"),
        (["--device", "a\x1b[31mb"], "cannot be shown"),
        (["--device", " "], "1 to 60 letters"),
        (["--device", 61 * "a"], "1 to 60 letters"),
        (["--withdraw", "nobody"], 'There are: "phone"'),
        (["--device", "x", "--stop"], "one at a time"),
        (["--devices", "--port", "0"], "begin a book, --devices does not"),
        (["--devices", "--recipes", "."], "begin a book, --devices does not"),
        (["--recipes", "nowhere"], "Directory 'nowhere' does not exist."),
        (["--look-only"], "belong to --device"),
        (["--label", "x.png"], "belong to --device"),
        (["--certificate", "x.crt"], "belong together"),
        (["--write"], "--write belongs to --install"),
        (["--device", "x", "--label", "x.txt"], "the ending must be one of"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(logbook: Path, words: list[str], says: str) -> None:
    Devices(logbook).add("phone")
    before = (logbook / DEVICES_FILE).read_bytes()
    assert says in refusal(book(logbook, *words))
    assert (logbook / DEVICES_FILE).read_bytes() == before


def test_a_list_that_cannot_be_read_is_not_written_over(logbook: Path) -> None:
    (logbook / DEVICES_FILE).write_text("{")
    assert "Move it away" in refusal(book(logbook, "--device", "phone"))
    assert (logbook / DEVICES_FILE).read_text() == "{"


def test_the_book_has_a_unit_beside_that_of_watch(
    logbook: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    shown = book(logbook, "--install", "--lan", "--port", "8500")
    assert re.search(rf"^ExecStart=.* book --logbook {logbook} --lan --port 8500$", shown.stdout, re.M)
    assert "Type=exec" in shown.stdout
    assert "WatchdogSec" not in shown.stdout
    assert "enable --now soakwitness-book.service" in shown.stderr
    assert "seal" not in shown.stderr
    written = book(logbook, "--install", "--write")
    unit = tmp_path / "config" / "systemd" / "user" / "soakwitness-book.service"
    assert written.stdout.strip() == str(unit)
    assert unit.is_file()
    assert "--force" in book(logbook, "--install", "--write").stderr


# ---------------------------------------------------------------- the list


def test_two_processes_that_change_the_list_lose_nothing_of_each_other(logbook: Path) -> None:
    one, other = Devices(logbook), Devices(logbook)
    secret, token = one.secret(), one.add("a")
    other.add("b")
    one.noticed(one.all()[0])
    other.withdraw("a")
    one.keep_seen()  # what it saw of a device that is gone
    assert [d.name for d in one.all()] == ["b"]
    assert one.known_by(token) is None
    assert other.secret() == secret


def test_when_a_device_was_here_last_is_kept(logbook: Path) -> None:
    devices = Devices(logbook)
    devices.add("a")
    (device,) = devices.all()
    assert device.seen_utc is None
    devices.noticed(device)
    assert devices.all()[0].seen_utc is not None
    assert Devices(logbook).all()[0].seen_utc is None
    devices.keep_seen()
    assert Devices(logbook).all() == devices.all()


def test_devices_are_limited_and_their_file_is_the_owners(logbook: Path) -> None:
    devices = Devices(logbook)
    for number in range(MOST_DEVICES):
        devices.add(f"device {number}")
    with pytest.raises(DeviceRefused, match="Withdraw one"):
        devices.add("one more")
    if os.name != "nt":
        assert (logbook / DEVICES_FILE).stat().st_mode & 0o777 == 0o600


def test_names_are_kept_as_one_line() -> None:
    assert checked_name("  tablet \n at\tthe furnace ") == "tablet at the furnace"
    assert checked_name("Werkstatt-Tablet Öfen <b>") == "Werkstatt-Tablet Öfen <b>"
    for odd in ("\u202eenohp", "a\u200bb", "\x7f", "\ud800"):
        with pytest.raises(DeviceRefused):
            checked_name(odd)


# ---------------------------------------------------------------- the square code


class Terminal(io.StringIO):
    """A terminal that takes what is written to it."""

    encoding = "utf-8"  # type: ignore[assignment]

    def isatty(self) -> bool:
        return True


def test_the_code_in_the_terminal_is_the_link_on_dark_and_bright_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    lines = code_lines(LINK, Terminal(), columns=80)
    of_letter = {letter: pair for pair, letter in HALVES.items()}
    rows: list[tuple[bool, ...]] = []
    for line in lines:
        assert line.startswith(INK)  # its own black and white, whatever the terminal's
        assert line.endswith(PLAIN)
        rows += zip(*(of_letter[letter] for letter in line[len(INK) : -len(PLAIN)]), strict=True)
    expected = code_rows(LINK)
    assert rows[: len(expected)] == expected
    assert not any(cell for row in rows[len(expected) :] for cell in row)
    assert all(not any(row) for row in (*expected[:4], *expected[-4:]))  # the quiet zone


def test_the_code_is_left_out_where_it_cannot_be_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    wide = len(code_rows(LINK))
    assert code_lines(LINK, Terminal(), columns=wide)
    assert code_lines(LINK, Terminal(), columns=wide - 1) == []
    assert code_lines(LINK, io.StringIO(), columns=80) == []
    assert code_lines(LINK, None) == []
    plain = Terminal()
    plain.encoding = "latin-1"  # type: ignore[misc]
    assert code_lines(LINK, plain, columns=80) == []
    monkeypatch.setenv("TERM", "dumb")
    assert code_lines(LINK, Terminal(), columns=80) == []


def test_a_link_beside_a_recording_is_never_broken_into_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Screen, "_width", lambda _: 40)
    for link in (LINK, LINK.replace("zB", "-z-B-")):
        shown = Terminal()
        Screen(out=io.StringIO(), err=shown).message(f"Link of the first phone or tablet: {link}")
        assert link in shown.getvalue()


def test_the_label_carries_the_code_the_name_and_what_it_does_not(tmp_path: Path) -> None:
    from matplotlib import image

    drawn = tmp_path / "label.png"
    write_label(drawn, name="tablet at the furnace", rights="mark", link=LINK)
    pixels = image.imread(drawn)[:, :, :3].mean(axis=2)
    expected = code_rows(LINK)
    per_in = pixels.shape[0] / HIGH_IN
    size, top = CODE_IN / len(expected), (HIGH_IN - CODE_IN) / 2

    def dark(row: int, column: int) -> bool:
        """Whether the middle of a module is dark."""
        y, x = (top + (row + 0.5) * size) * per_in, (MARGIN_IN + (column + 0.5) * size) * per_in
        return bool(pixels[int(y), int(x)] < 0.5)

    assert [tuple(dark(r, c) for c in range(len(expected))) for r in range(len(expected))] == expected
    for ending in (".svg", ".pdf"):
        write_label(tmp_path / f"label{ending}", name="$a_1$ <b> & " + 60 * "x", rights="look", link=LINK)
        assert (tmp_path / f"label{ending}").stat().st_size > 1000


def test_a_label_is_for_the_owner_alone(logbook: Path, tmp_path: Path) -> None:
    made = book(logbook, "--device", "phone", "--label", str(tmp_path / "l.svg"))
    assert made.exit_code == 0
    if os.name != "nt":
        assert (tmp_path / "l.svg").stat().st_mode & 0o777 == 0o600
    assert "exists" in book(logbook, "--device", "other", "--label", str(tmp_path / "l.svg")).stderr
    assert [d.name for d in Devices(logbook).all()] == ["phone"]


def test_a_link_is_written_once() -> None:
    assert device_link("http://[2001:db8::7]:8431/", "abc") == "http://[2001:db8::7]:8431/?token=abc"


def said_of_devices(logbook: Path) -> Any:
    """The file as it is."""
    return json.loads((logbook / DEVICES_FILE).read_text())


def test_the_secret_of_forms_is_made_once_and_kept(logbook: Path) -> None:
    first = Devices(logbook).secret()
    assert len(first) == 32
    Devices(logbook).add("a")
    assert Devices(logbook).secret() == first == bytes.fromhex(said_of_devices(logbook)["secret"])
    (logbook / DEVICES_FILE).write_text('{"devices": [], "secret": "' + 64 * "z" + '"}')
    assert Devices(logbook).secret() != Devices(logbook).secret()  # not sound: each process its own
