"""The microcontroller's program: on a fake bus, over a pseudo-terminal, and under a real MicroPython."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.connecting.opening import open_link
from soakwitness.firmware_bridge.firmware import furnace_line
from soakwitness.firmware_bridge.firmware.furnace_line import Talker, crc16, decode, header, line
from soakwitness.firmware_bridge.links.checksums import crc16_ccitt
from soakwitness.firmware_bridge.links.textlines import LineReader
from tests.wires import wire

FOLDER = Path(furnace_line.__file__).parent
PAGE = (FOLDER / "LINE.md").read_text(encoding="utf-8")
MICROPYTHON = Path(__file__).resolve().parents[1] / "micropython"


def frame(junction: float, cold: float, faults: int = 0) -> bytes:
    """Build a converter's frame from its bit table: junction 31..18, fault summary 16, cold 15..4, faults 2..0."""
    word = (round(junction * 4) & 0x3FFF) << 18 | bool(faults) << 16 | (round(cold * 16) & 0xFFF) << 4 | faults
    return word.to_bytes(4, "big")


def furnace_text(port: str = "P") -> str:
    """Take the furnace file out of the page."""
    (text,) = re.findall(r"```toml\n(.*?)```", PAGE, re.S)
    return str(text).replace("/dev/ttyACM0", port)


class Board:
    """A board with fake converters; ``lose`` swallows what it says."""

    def __init__(self, *frames: bytes) -> None:
        self.frames = list(frames)
        self.open_door = 0
        self.foot = 0
        self.lose = False
        self.said: list[str] = []
        self.start()

    def start(self) -> None:
        self.talker = Talker(
            len(self.frames), lambda n: self.frames[n], lambda: self.open_door, lambda: self.foot, self.hear
        )

    def hear(self, text: str) -> None:
        if not self.lose:
            self.said.append(text)


def test_the_frame_of_the_page() -> None:
    # by the page's bit table: 1050.25 C is 4201 steps of 0.25, 23.5 C is 376 of 0.0625; -0.25 C and -1 C are negative
    assert decode(frame(1050.25, 23.5)) == (4201, 376, 0)
    assert decode(frame(-0.25, -1.0)) == (-1, -16, 0)
    assert decode(frame(0.0, 20.0, faults=1)) == (0, 320, 1)
    assert decode(bytes(4))[2] == furnace_line.SILENT
    assert decode(b"\xff" * 4)[2] == furnace_line.SILENT


@given(st.integers(-8192, 8191), st.integers(-2048, 2047))
def test_every_frame_gives_its_numbers_back(junction: int, cold: int) -> None:
    assert decode(frame(junction / 4, cold / 16) if junction or cold else frame(0, 0, 4))[:2] == (junction, cold)


def displaced(data: bytes, by: int) -> bytes:
    """Move a frame by bits, as a clock edge too many or too few does; what comes in is 0."""
    word = int.from_bytes(data, "big")
    return ((word >> by if by > 0 else word << -by) & 0xFFFFFFFF).to_bytes(4, "big")


@pytest.mark.parametrize("temp", [525.25, 1050.0, 1049.75, 420.0, 800.5])
@pytest.mark.parametrize("cold", [23.5, 23.0625])
@pytest.mark.parametrize("by", [1, 2, 3, -1, -2])
def test_one_frame_displaced_by_a_bit_is_never_a_reading(temp: float, cold: float, by: int) -> None:
    good, frames = frame(temp, cold), []
    board = Board(good)
    board.talker.read_frame = lambda number: frames.pop()
    for bad_first in (True, False):
        frames[:] = [displaced(good, by), good][:: 1 if bad_first else -1]
        assert board.talker.reading(0)[2] != 0
    frames[:] = [good, good]
    assert board.talker.reading(0) == (round(temp * 4), round(cold * 16), 0)


def test_reserved_bits_and_the_summary_bit_tell_a_damaged_frame() -> None:
    word = int.from_bytes(frame(800.0, 25.0), "big")
    for bit in (3, 16, 17):  # 16 says that there is a fault, and the fault bits say none
        assert decode((word | 1 << bit).to_bytes(4, "big"))[2] == furnace_line.DAMAGED
    assert decode((word | 1).to_bytes(4, "big"))[2] == furnace_line.DAMAGED  # a fault without its summary


def test_a_bus_error_is_a_fault_of_one_converter_and_an_event_and_the_next_line_tries_again() -> None:
    board = Board(frame(800.0, 25.0), frame(20.0, 25.0))
    broken = [True]

    def read(number: int) -> bytes:
        if number == 0 and broken[0]:
            raise OSError(5, "EIO")
        return board.frames[number]

    board.talker.read_frame = read
    reader = LineReader(
        parse_furnace(furnace_text().replace("field = 6", "field = 9").replace("field = 7", "field = 10"), "page")
    )
    for second in (0, 1):
        assert furnace_line.going_on(board.talker, 1000 * second)
    broken[0] = False
    furnace_line.going_on(board.talker, 2000)
    told = [said for text in board.said if (said := reader.event(text.strip().encode()))]
    assert told == [
        "the instrument says: converter 1 cannot be read: [Errno 5] EIO",
        "the instrument says: converter 1 can be read again",
    ]
    lines = [
        found for text in board.said if not text.startswith("#") and (found := reader.parse(text.strip().encode()))
    ]
    assert [found.values["load"] for found in lines] == [None, None, 800.0]
    assert lines[0].faults == {"load": "converter silent"}


def test_no_error_ends_the_program() -> None:
    board = Board(frame(800.0, 25.0))
    board.talker.door = lambda: 1 // 0
    assert not furnace_line.going_on(board.talker, 0)
    assert "# event; error: ZeroDivisionError" in board.said[-1]
    board.talker.write = lambda text: 1 // 0
    assert not furnace_line.going_on(board.talker, 1000)
    board.talker.door, board.talker.write = (lambda: 0), board.hear
    assert furnace_line.going_on(board.talker, 2000)


def test_events_of_the_board_are_events_of_the_link_and_garbled_ones_are_not() -> None:
    reader = LineReader(parse_furnace(furnace_text(), "page"))
    said = furnace_line.event("started by the watchdog: the program hung").strip().encode()
    assert reader.event(said) == "the instrument says: started by the watchdog: the program hung"
    assert reader.event(said.replace(b"hung", b"hang")) is None
    assert reader.event(header(1).strip().encode()) is None


def test_the_checksum_is_the_published_one_and_the_links() -> None:
    assert crc16(b"123456789") == 0x29B1  # CHECKS.md section 3, CRC-16/IBM-3740
    assert crc16(b"4711,1") == crc16_ccitt(b"4711,1")


def test_the_line_of_the_page() -> None:
    says = line(4711, 4711003, [(4200, 376, 0), (-1, -1, 8)], 1, 0)
    assert says.endswith("\r\n")
    assert f"    {says.strip()}\n" in PAGE
    assert header(1).split(", c x")[0] in PAGE


def test_every_word_of_a_fault_is_in_the_page_and_its_furnace_file() -> None:
    words = parse_furnace(furnace_text(), "page").sensors[0].fault_words
    assert words == furnace_line.FAULT_WORDS
    for bit, word in enumerate(words):
        assert re.search(rf"bit {bit}\s(the )?{word.replace('converter', 'converter is')}", PAGE)


def test_lines_are_due_once_an_interval_without_bursts() -> None:
    board = Board(frame(20, 20))
    for ms in (0, 5, 999, 1000, 1005, 9000, 9005, 9999, 10000):
        board.talker.step(ms)
    times = [int(text.split(",")[1]) for text in board.said if not text.startswith("#")]
    assert times == [0, 1000, 9000, 10000]


def test_the_header_comes_first_and_again() -> None:
    board = Board(frame(20, 20))
    for second in range(61):
        board.talker.step(1000 * second)
    assert [i for i, text in enumerate(board.said) if text.startswith("#")] == [0, 61]


def test_a_short_press_is_kept_for_the_next_line_and_no_longer() -> None:
    board = Board(frame(20, 20))
    board.talker.step(0)
    board.foot = 1
    board.talker.step(400)
    board.foot = 0
    board.open_door = 1
    for ms in (500, 1000, 2000):
        board.talker.step(ms)
    assert [text.split("*")[0][-3:] for text in board.said[1:]] == ["0,0", "1,1", "1,0"]


def test_the_link_reads_what_the_board_says() -> None:
    board = Board(frame(1050.25, 23.5))
    reader = LineReader(parse_furnace(furnace_text(), "page"))
    board.talker.step(0)
    found = reader.parse(board.said[1].strip().encode())
    assert found is not None
    assert found.values == {"load": 1050.25, "terminals": 23.5, "door": 0.0, "foot switch": 0.0}
    board.frames[0] = frame(0, 23.5, faults=1)
    board.talker.step(1000)
    found = reader.parse(board.said[2].strip().encode())
    assert found is not None
    assert found.values["load"] is None
    assert found.faults == {"load": "open circuit"}
    assert found.sequence == 1


class TalkingBoard(Board):
    """A board that talks into a file, in a thread, until it is stopped.

    ``each`` is told the number of every line, counted from when somebody is ``heard`` to listen.
    """

    def __init__(
        self, path: str, each: Callable[[TalkingBoard, int], None], heard: Callable[[], bool] = lambda: True
    ) -> None:
        super().__init__(frame(800.0, 25.0))
        self.out = open(path, "wb", buffering=0)  # noqa: SIM115 (closed by stop)
        self.each = each
        self.heard = heard
        self.lines = 0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.talk)
        self.thread.start()

    def hear(self, text: str) -> None:
        if text.startswith("#"):
            self.out.write(text.encode())
            return
        self.lines += self.lines > 0 or self.heard()
        self.each(self, self.lines)
        if not self.lose:
            self.out.write(text.encode())

    def talk(self) -> None:
        ms = 0
        while not self.over.wait(0.01):
            ms += 10
            self.talker.step(ms)

    def stop(self) -> None:
        self.over.set()
        self.thread.join()
        self.out.close()


def trouble(board: TalkingBoard, number: int) -> None:
    """Lose lines 11 and 12, restart at 20, have an open circuit from 25 to 29, a press at 31."""
    board.lose = number in (11, 12)
    if number == 20:
        board.start()
    board.frames[0] = frame(0, 25.0, 1) if 25 <= number < 30 else frame(800.0, 25.0)
    board.foot = int(number == 31)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(furnace_line, "EVERY_MS", 50)


@pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")
@pytest.mark.usefixtures("quick")
def test_gaps_restarts_and_faults_come_over_a_real_link(tmp_path: Path) -> None:
    with wire(tmp_path) as joined:
        board = TalkingBoard(joined.far, trouble)
        link = open_link(parse_furnace(furnace_text(joined.near), "page"))
        texts: list[str] = []
        faults: set[str] = set()
        pressed = 0.0
        while board.lines < 40:
            reading = link.read()
            texts += reading.texts
            faults |= set(reading.faults.values())
            pressed = max(pressed, reading.values["foot switch"] or 0.0)
        link.close()
        board.stop()
    assert [text for text in texts if re.fullmatch(r"lines lost: (\d+) to (\d+)", text)]
    assert any(text.startswith("the instrument started again") for text in texts)
    assert faults == {"open circuit"}
    assert pressed == 1.0
    assert joined.sent == []  # nothing was written to the board


@pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")
@pytest.mark.usefixtures("quick")
def test_record_writes_gaps_restarts_and_faults_of_the_board_as_events(tmp_path: Path) -> None:
    from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_marks

    path = tmp_path / "furnace.toml"
    with wire(tmp_path) as joined:
        path.write_text(furnace_text(joined.near).replace("[link]", "[sample]\nevery_s = 0.1\n[link]", 1))
        book = tmp_path / "book"
        board = TalkingBoard(joined.far, trouble, heard=lambda: any(book.glob("runs/*/samples.csv")))
        command = [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "record", str(path)]
        command += ["--for", "4s", "--logbook", str(book)]
        ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
        board.stop()
    assert ran.returncode == 0, ran.stderr
    run = Path(ran.stdout.strip().splitlines()[-1])
    details = [f"{event.event}: {event.detail}" for event in read_events(run)]
    for words in ("lines lost: ", "the instrument started again", "open circuit"):
        assert any(words in detail for detail in details), details
    assert [mark.act for mark in read_marks(run)] == ["load"]  # one press: the next expected act
    assert check_record(run).rows > 10
    assert joined.sent == []


def micropython() -> list[str]:
    """Find a command that runs a file under a real MicroPython, or skip with the reason."""
    if shutil.which("micropython"):
        return ["micropython"]
    if shutil.which("node") and (MICROPYTHON / "node_modules").is_dir():
        return ["node", str(MICROPYTHON / "run.mjs")]
    pytest.skip("no MicroPython: install one, or node and then npm install in tests/micropython")


def test_a_real_micropython_says_the_same(tmp_path: Path) -> None:
    command = micropython()
    program = (FOLDER / "furnace_line.py").read_text(encoding="utf-8")
    frames = [frame(1050.25, 23.5), frame(-0.25, -1.0), frame(0, 20.0, 5), bytes(4)]
    script = tmp_path / "script.py"
    script.write_text(
        program.replace('if __name__ == "__main__":\n    run()\n', "")
        + f"""
import sys
frames = {frames!r}
presses = [0, 1, 0, 0]
said = []
talker = Talker(len(frames), lambda n: frames[n], lambda: 1, lambda: presses.pop(0), said.append)
for ms in (0, 500, 1000, 123456789):
    talker.step(ms)
print(sys.implementation[0] if isinstance(sys.implementation, tuple) else sys.implementation.name)
print(crc16(b"123456789"))
def fails(number):
    raise OSError(5)
told = []
bad = Talker(1, fails, lambda: 0, lambda: 0, told.append)
print(going_on(bad, 0), len(told), told[2].split(",")[2:5])
bad.foot = lambda: 1 // 0
print(going_on(bad, 1000), len(told), told[-1].split("*")[0][:16])
for text in said:
    print(text.strip())
"""
    )
    ran = subprocess.run([*command, str(script)], capture_output=True, text=True, check=True, timeout=60)
    theirs = ran.stdout.splitlines()
    ours = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=True).stdout.splitlines()
    assert (theirs[0], ours[0]) == ("micropython", "cpython")
    assert theirs[1:] == ours[1:]
    assert len(theirs) == 8
    assert theirs[2:4] == ["True 3 ['0', '0', '8']", "False 4 # event; error: "]
    assert theirs[1] == str(0x29B1)


def test_the_program_itself_is_what_a_board_runs() -> None:
    package = json.loads((MICROPYTHON / "package.json").read_text(encoding="utf-8"))
    assert list(package["dependencies"]) == ["@micropython/micropython-webassembly-pyscript"]
    source = (FOLDER / "furnace_line.py").read_text(encoding="utf-8")
    imports = set(re.findall(r"^\s*(?:from|import) ([a-z.]+)", source, re.M))
    assert imports <= {"collections.abc", "sys", "time", "machine"}
