"""A whole working day at the book's page, from loading to the second temper: taps, keys and a simulated contact."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from soakwitness.cli.telling.book_file import running_book, stop_book
from soakwitness.firmware_bridge.connecting.furnace_file import template
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.reader import read_events, read_marks
from tests.cli.axe import broken_rules
from tests.cli.books import until
from tests.cli.test_book_pages import Watched

PROGRAM = [sys.executable, "-c", "from soakwitness.cli.main import main; main()"]
NAMES = ("B-1", "B-2", "B-3")
CUT_S = 40.0
SPEED = 10

HARDEN = """\
name = "Chef's blades, harden"
unit = "C"
steel = "S44004"
load_at = 1040
[[step]]
ramp = "full power"
to = 1040
[[step]]
hold_minutes = 2
at_most_minutes = 60
tolerance = 12
max_overshoot = 12
dip_seconds = 120
[quench]
medium = "plates"
within_s = 30
"""
TEMPER = """\
name = "Chef's blades, temper"
unit = "C"
steel = "S44004"
load_at = 200
[[step]]
ramp = "full power"
to = 200
[[step]]
hold_minutes = 2
tolerance = 10
max_overshoot = 10
dip_seconds = 120
"""
# The furnace holds from the start; its own switch is pressed when a piece goes in, after one and a half minutes.
FURNACE = """\
speaks = "modbus"
start = {temp_c}
after_program = "stay"
[[link.program]]
ramp = "full power"
to = {temp_c}
[[link.program]]
hold_minutes = 600
[[link.piece]]
name = "first"
thickness_mm = 1.0
foil = false
sensor = true
load_minutes = {load_minutes}
"""
SWITCH = """\
[[contact]]
name = "foot switch"
means = "next"
table = "input"
register = 6
bit = 1

"""


def shop(folder: Path) -> None:
    """Two furnace files, two recipes, three blades."""
    for name, temp_c, load_minutes in (("furnace", 1040, 1.5), ("oven", 200, 600), ("other oven", 200, 600)):
        text = template("simulated").replace("simulated furnace", f"small {name}")
        link = FURNACE.format(temp_c=temp_c, load_minutes=load_minutes)
        text = re.sub(r"speaks = .*\n", lambda _, link=link: link, text, count=1)
        at = text.index("[[contact]]")
        text = text[:at] + (SWITCH if name == "furnace" else "") + text[at:].split("bit = 0\n", 1)[1]
        (folder / f"{name.replace(' ', '-')}.toml").write_text(text, encoding="utf-8")
    (folder / "harden.toml").write_text(HARDEN, encoding="utf-8")
    (folder / "temper.toml").write_text(TEMPER, encoding="utf-8")
    command(folder, "piece", "add", "B-1..B-3", "--steel", "S44004", "--thickness-mm", "3")


def command(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [*PROGRAM, *words, "--logbook", "book"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done


@contextmanager
def recording(folder: Path, furnace: str, recipe: str, speed: int) -> Iterator[tuple[Any, Path]]:
    """A recording with its book: the book, and the run's folder."""
    command(folder, "piece", "charge", "next", "B-1..B-3", "--place", "1-3", "--furnace", f"{furnace}.toml")
    before = set((folder / "book" / "runs").glob("*"))
    words = ["record", f"{furnace}.toml", "--recipe", f"{recipe}.toml", "--speed", str(speed), "--logbook", "book"]
    child = subprocess.Popen(
        [*PROGRAM, *words, "--page", "--port", "0"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        book = until(lambda: running_book(folder / "book"))
        run = until(lambda: next(iter(set((folder / "book" / "runs").glob("*")) - before), None))
        yield book, run
    finally:
        child.terminate()
        child.wait(timeout=30)


class Bench:
    """A device at the furnace: what its large target says, and what is done to it."""

    def __init__(self, browser: Any, address: str, width: int, height: int, scheme: str) -> None:
        self.seen = Watched(browser, width, height, scheme)
        self.tab, self.width = self.seen.tab, width
        self.tab.goto(address)

    def target(self) -> str:
        """What the large target says."""
        return str(self.tab.text_content("article:not(.over) .act b")).replace("\u2060", "")

    def waits_for(self, says: str, within_s: float = 60.0) -> None:
        """Wait until the large target says so."""
        until(lambda: self.target() == says, within_s)
        self.tab.wait_for_timeout(1100)  # a second press within one second is a trembling glove

    def touch(self, says: str) -> float:
        """Touch the large target; return the moment."""
        self.waits_for(says)
        box = self.tab.locator("article:not(.over) .act").bounding_box()
        assert box["height"] >= 120  # 20 mm where a phone's 390 px are 65 mm
        self.tab.click("article:not(.over) .act")
        return time.time()

    def press(self, says: str, key: str) -> float:
        """Press a key while nothing is touched; return the moment."""
        self.waits_for(says)
        self.tab.keyboard.press(key)
        return time.time()


def said(marks: tuple[Mark, ...]) -> list[tuple[str, tuple[str, ...]]]:
    return [(mark.act, mark.pieces) for mark in marks if not mark.struck]


@pytest.mark.browser
def test_a_working_day_by_taps_keys_and_a_contact(browser: Any, tmp_path: Path) -> None:
    shop(tmp_path)
    try:
        with recording(tmp_path, "furnace", "harden", SPEED) as (book, run):
            phone = Bench(browser, book.address, 390, 844, "light")
            desk = Bench(browser, book.address, 1280, 800, "dark")
            harden(phone, desk, run)
        hardened = read_marks(run)
        assert said(hardened) == [
            ("load", ()),
            ("pull", ("B-1",)),
            ("plates", ("B-1",)),
            ("pull", ("B-2",)),
            ("plates", ("B-2",)),
            ("pull", ("B-3",)),
            ("plates", ("B-3",)),
        ]
        assert [mark.origin for mark in hardened if not mark.struck] == ["contact"] + ["tapped"] * 6
        for device in (phone, desk):
            assert device.seen.fits(device.width)
            offline = [words for words in device.seen.problems if "ERR_INTERNET_DISCONNECTED" in words]
            assert device.seen.problems == offline
            assert all(url.startswith(book.address) for url in device.seen.asked)
            device.tab.close()
        for oven, scheme in (("oven", "dark"), ("other-oven", "light")):  # the first temper and the second
            with recording(tmp_path, oven, "temper", 60) as (book, tempered):
                temper(Bench(browser, book.address, 390, 844, scheme))
                until(lambda: len(read_marks(tempered)) == 3)  # noqa: B023 (asked at once)
            assert said(read_marks(tempered)) == [("load", ()), ("pull", ()), ("hand-warm", ("B-2",))]
        same_as_by_commands(tmp_path, run)
    finally:
        stop_book(tmp_path / "book")


def harden(phone: Bench, desk: Bench, run: Path) -> None:
    """The switch loads; B-1 and half of B-2 while the network is away; then a reload, an undo, keys at the desk."""
    phone.waits_for("B-1 is out")  # the switch was pressed: the charge is in
    phone.tab.locator("article.due.at-hand").wait_for(timeout=90_000)
    assert not phone.tab.locator(".pictures").is_visible()
    assert broken_rules(phone.tab) == broken_rules(desk.tab) == []
    phone.tab.context.set_offline(True)
    cut_s = time.time()
    tapped = [phone.touch("B-1 is out"), phone.press("B-1 is on the plates", " "), phone.touch("B-2 is out")]
    assert phone.tab.locator("#unsent li", has_text="Waiting to be sent").count() == 3
    assert len(read_marks(run)) == 1
    phone.tab.wait_for_timeout(1000.0 * max(CUT_S - (time.time() - cut_s), 0.0))
    phone.tab.context.set_offline(False)
    phone.tab.reload()
    until(lambda: len(read_marks(run)) == 4)
    there = [mark.t_s for mark in read_marks(run)[1:]]
    for k in (0, 1):  # their own moments, not those of their coming: to a quarter of a second
        assert there[k + 1] - there[k] == pytest.approx(SPEED * (tapped[k + 1] - tapped[k]), abs=SPEED * 0.25)
    until(lambda: phone.tab.locator("#unsent li").count() == 0)
    phone.touch("B-2 is on the plates")
    desk.press("B-3 is out", "k")
    desk.waits_for("B-3 is on the plates")
    desk.tab.click(".undo")  # it was no pull yet
    until(lambda: read_marks(run)[-1].struck)
    desk.press("B-3 is out", "Enter")
    phone.touch("B-3 is on the plates")
    until(lambda: len(said(read_marks(run))) == 7)
    phone.tab.locator(".sentence", has_text="All pieces are out").wait_for()
    assert broken_rules(phone.tab) == broken_rules(desk.tab) == []


def temper(phone: Bench) -> None:
    """All go in and come out together; that B-2 is hand-warm is said by choosing it."""
    phone.touch("B-1, B-2 and B-3 are in")
    phone.tab.locator("article.due:not(.over)").wait_for(timeout=60_000)
    phone.touch("B-1, B-2 and B-3 are out")
    phone.tab.wait_for_timeout(1500)
    phone.tab.click("article:not(.over) .pieces .tile:has-text('B-2')")
    phone.touch("B-2 is hand-warm")


def same_as_by_commands(folder: Path, run: Path) -> None:
    """The same acts by the command, into another recording: the same entries but for who, how and when."""
    with recording(folder, "furnace", "harden", 1) as (_, other):
        for act, pieces in said(read_marks(run)):
            command(folder, "mark", act, *pieces, "--run", other.name)
        until(lambda: len(read_marks(other)) == 7)
    assert entries(run) == entries(other)


def entries(run: Path) -> list[str]:
    """What stands in the events for each mark that stands, without its id, who, how and when."""
    struck = {mark.mark_id for mark in read_marks(run) if mark.struck}
    events = [event for event in read_events(run) if event.event == "mark" and not event.detail.startswith("strike")]
    kept = sorted((e for e in events if not any(f"id {each};" in e.detail + ";" for each in struck)), key=_spoken_s)
    return [re.sub(r"; (id|by|origin|at) [^;]*", "", event.detail) for event in kept]


def _spoken_s(event: Any) -> float:
    found = re.search(r"; at ([\d.]+) s", event.detail)
    return float(found[1]) if found else float(event.t_s)
