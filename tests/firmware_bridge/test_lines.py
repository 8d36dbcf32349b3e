"""The text-line link: checksums by their published check values, half lines, stale lines, lost lines, faults."""

from __future__ import annotations

import contextlib
import os
import random
import socket
import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.connecting.opening import open_link
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Checksum, Furnace
from soakwitness.firmware_bridge.links.checksums import checksum
from soakwitness.firmware_bridge.links.lines import LinesLink
from soakwitness.firmware_bridge.links.port import Port
from soakwitness.firmware_bridge.links.textlines import LineReader, guess_separator
from tests.fake_serial import FakeClock, FakeSerial
from tests.wires import wire

ONE = '\n[[sensor]]\nname = "work"\nrole = "recording"\nfield = 1\n'
COUNTED = 'checksum = "crc16"\nsequence = 1\n'
COUNTED_PARTS = """
[[sensor]]
name = "work"
role = "recording"
field = 2
fault_field = 3
fault_words = ["open circuit", "short to ground"]
[[contact]]
name = "foot"
means = "next"
field = 4
"""
GPGGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"  # CHECKS.md section 3


def furnace(parts: str = ONE, link: str = "", port: str = "P") -> Furnace:
    head = f'name = "x"\nunit = "C"\n[link]\nkind = "lines"\nport = "{port}"\n'
    return parse_furnace(head + link + parts, "test")


def summed(kind: Checksum, text: str) -> bytes:
    value, digits = checksum(kind, text.encode())
    return f"{text}*{value:0{digits}X}\n".encode()


def counted(number: int, work: float = 800.0, fault: int = 0, foot: int = 0) -> bytes:
    return summed("crc16", f"{number},{work},{fault},{foot}")


class Bench:
    """A link to a fake port, already past the first line end."""

    def __init__(self, found: Furnace) -> None:
        self.clock = FakeClock()
        self.wire = FakeSerial(self.clock, lambda data: (), timeout=0.25)
        self.link = LinesLink(found, Port(self.wire, "P"), self.clock)
        self.wire.arrives(0.0, b"\n")

    def after(self, seconds: float, *pieces: bytes) -> None:
        for piece in pieces:
            self.wire.arrives(seconds, piece)
        self.clock.sleep(seconds)


@pytest.mark.parametrize(
    ("kind", "value"),
    [  # check values for ASCII 123456789, CHECKS.md section 3
        ("crc16-modbus", 0x4B37),
        ("crc16", 0x29B1),
        ("crc16-xmodem", 0x31C3),
        ("crc32", 0xCBF43926),
    ],
)
def test_published_check_values(kind: Checksum, value: int) -> None:
    assert checksum(kind, b"123456789")[0] == value


def test_the_published_nmea_line_is_read() -> None:
    found = furnace('\n[[sensor]]\nname = "work"\nrole = "load"\nfield = 10\n', 'checksum = "xor"\n')
    line = LineReader(found).parse(GPGGA)
    assert line is not None
    assert line.values == {"work": 545.4}
    for at in range(1, len(GPGGA) - 3):
        assert LineReader(found).parse(GPGGA[:at] + bytes([GPGGA[at] ^ 1]) + GPGGA[at + 1 :]) is None


@pytest.mark.parametrize("kind", ["xor", "crc16", "crc16-modbus", "crc16-xmodem", "crc32"])
@given(st.integers(0, 10_000), st.binary(min_size=1, max_size=30))
def test_a_line_with_one_byte_changed_is_never_read(kind: Checksum, at: int, noise: bytes) -> None:
    reader = LineReader(furnace(link=f'checksum = "{kind}"\n'))
    good = summed(kind, "1050.25,7").rstrip()
    parsed = reader.parse(good)
    assert parsed is not None
    assert parsed.values == {"work": 1050.25}
    at %= len(good) - 1
    changed = good[:at] + noise[:1] + good[at + 1 :]
    if changed.upper() != good.upper():
        assert reader.parse(changed) is None


@pytest.mark.parametrize(
    ("text", "value", "fault"),
    [
        ("1050.25", 1050.25, None),
        ("-3", -3.0, None),
        (" 20 ", 20.0, None),
        ("1.05e3", 1050.0, None),
        ("OPEN", None, 'the line says "OPEN"'),
        ("", None, "the field is empty"),
        ("nan", None, 'the line says "nan"'),
        ("inf", None, 'the line says "inf"'),
        ("1_000", None, 'the line says "1_000"'),
        ("0x20", None, 'the line says "0x20"'),
        ("9999", None, "fault value 9999"),
    ],
)
def test_what_is_no_number_is_a_fault_and_never_a_value(text: str, value: float | None, fault: str | None) -> None:
    line = LineReader(furnace(ONE + "fault_values = [9999]\n")).parse(f"{text},5,0".encode())
    assert line is not None
    assert line.values == {"work": value}
    assert line.faults.get("work") == fault


def test_separators_patterns_scales_and_decimal_commas() -> None:
    blanks = LineReader(furnace('\n[[sensor]]\nname = "a"\nrole = "load"\nfield = 2\n', 'separator = " "\n'))
    assert blanks.parse(b"x   12,5  y").values == {"a": 12.5}  # type: ignore[union-attr]
    parts = '\n[[sensor]]\nname = "a"\nrole = "load"\ngroup = "t"\nscale = 0.1\noffset = -2\n'
    named = LineReader(furnace(parts, "pattern = 'T1=(?P<t>-?[0-9]+)'\n"))
    assert named.parse(b"..T1=10503 C").values == {"a": 1048.3}  # type: ignore[union-attr]
    assert named.parse(b"T2=10503 C") is None


@pytest.mark.parametrize("coding", ["utf-8", "latin-1"])
def test_a_degree_sign_is_the_one_sign_beyond_ascii_that_a_line_may_hold(coding: str) -> None:
    found = furnace('\n[[sensor]]\nname = "a"\nrole = "load"\ngroup = "t"\n', "pattern = 'T1: (?P<t>[0-9.]+) ?°C'\n")
    line = LineReader(found).parse("T1: 812.5 °C".encode(coding))
    assert line is not None
    assert line.values == {"a": 812.5}
    assert LineReader(found).parse("T1: 812.5 °C é".encode(coding)) is None
    assert LineReader(found).parse(b"T1: 8\xb02.5 \xb0C") is None  # a digit with one bit changed is no degree sign


@pytest.mark.parametrize(
    ("line", "separator"),
    [
        ("23,5;812,5;20,1", ";"),
        ("23.5,812.5,20.1", ","),
        ("812.5", ","),
        ("12:01:05\t812.5\t20.1", "\t"),
        ("T1: 812.5 C T2: 20.1 C", " "),
        ("1|812.5|20.1", "|"),
    ],
)
def test_the_separator_that_gives_most_numbers_is_guessed(line: str, separator: str) -> None:
    assert guess_separator(line) == separator


def test_half_a_line_after_opening_is_thrown_away() -> None:
    bench = Bench(furnace())
    bench.wire.reset_input_buffer()
    bench.after(0.1, b"50.2\n", b"1051.0\n", b"1052.0\n", b"10")
    assert bench.link.read().values == {"work": 1052.0}
    bench.after(0.1, b"53.0\r\n")
    assert bench.link.read().values == {"work": 1053.0}


def test_a_fresh_line_in_the_buffer_is_read_and_says_how_old_it_may_be() -> None:
    bench = Bench(furnace())
    bench.after(1.0, b"800\n")
    reading = bench.link.read()
    assert reading.values == {"work": 800.0}
    assert reading.age_s == pytest.approx(1.0)
    assert bench.clock.now_s == pytest.approx(1001.0)  # it did not wait


def test_a_stale_line_is_not_read_as_now() -> None:
    bench = Bench(furnace())
    bench.wire.arrives(1.0, b"700\n")
    bench.wire.arrives(60.4, b"800\n")
    bench.clock.sleep(60.0)
    reading = bench.link.read()
    assert reading.values == {"work": 800.0}
    assert reading.age_s == 0.0
    bench.wire.arrives(1.0, b"900\n")  # the last line of an instrument that then died
    bench.clock.sleep(60.0)
    with pytest.raises(LinkError) as caught:
        bench.link.read()
    assert caught.value.reason == "silent"


def test_after_a_silence_the_next_line_is_fresh_again() -> None:
    bench = Bench(furnace())
    with pytest.raises(LinkError):
        bench.link.read()  # waits three seconds for nothing
    bench.after(1.0, b"800\n")
    reading = bench.link.read()
    assert (reading.values, reading.age_s) == ({"work": 800.0}, pytest.approx(1.0))


def test_a_buffer_that_ran_over_glues_no_lines() -> None:
    bench = Bench(furnace())
    bench.wire.arrives(0.0, b"700\n" * 1000 + b"70")
    bench.clock.sleep(1.0)
    bench.wire.arrives(0.2, b"9\n")  # with the bytes lost between, 70 and 9 would make 709
    bench.wire.arrives(0.4, b"800\n")
    assert bench.link.read().values == {"work": 800.0}


def test_a_checksum_tells_glued_lines_so_the_others_are_kept() -> None:
    bench = Bench(furnace(COUNTED_PARTS, COUNTED))
    bench.after(1.0, *(counted(number, foot=int(number == 5)) for number in range(400)))
    reading = bench.link.read()
    assert (reading.values["foot"], reading.missed) == (1.0, 0)


def test_silence_and_garbling_are_told_apart() -> None:
    bench = Bench(furnace())
    with pytest.raises(LinkError, match="silent, no line within 3 s") as caught:
        bench.link.read()
    assert caught.value.reason == "silent"
    assert bench.clock.now_s < 1000.0 + 2 * 3.3
    bench = Bench(furnace(link='checksum = "crc32"\n'))
    bench.after(0.1, b"800*00000000\n", b"\xff\xfe\n")
    with pytest.raises(LinkError, match="2 lines within 3 s and none is good") as caught:
        bench.link.read()
    assert caught.value.reason == "garbled"
    bench = Bench(furnace())
    bench.wire.reset_input_buffer()
    bench.after(0.1, b"\x81\x92\xa3" * 50)
    with pytest.raises(LinkError, match="no end of a line") as caught:
        bench.link.read()
    assert caught.value.reason == "garbled"


def test_a_flood_of_garbage_does_not_hold_the_reading_up() -> None:
    bench = Bench(furnace())
    for half_seconds in range(100):
        bench.wire.arrives(0.5 * half_seconds, b"\x81" * 1500 + b"\n")
    with pytest.raises(LinkError) as caught:
        bench.link.read()
    assert caught.value.reason == "garbled"
    assert bench.clock.now_s < 1000.0 + 2 * 3.0 + 1.0


def test_garbled_lines_are_counted_and_the_good_one_is_read() -> None:
    bench = Bench(furnace(link='checksum = "xor"\n'))
    bench.after(0.5, b"12*00\n", summed("xor", "800"), b"gar\n")
    reading = bench.link.read()
    assert reading.values == {"work": 800.0}
    assert reading.missed == 2


def test_lost_lines_and_a_restart_are_said() -> None:
    bench = Bench(furnace(COUNTED_PARTS, COUNTED))
    bench.after(0.5, counted(7))
    assert bench.link.read().missed == 0
    bench.after(0.5, counted(8), counted(8), b"9,80garbage\n", counted(10), counted(13))
    reading = bench.link.read()
    assert reading.missed == 3
    assert reading.texts == ("lines lost: 9", "lines lost: 11 to 12")
    bench.after(0.5, counted(0))
    reading = bench.link.read()
    assert reading.missed == 0
    assert reading.texts == ("the instrument started again (its line count went from 13 to 0)",)


def test_a_line_count_that_is_full_begins_anew_without_a_word() -> None:
    bench = Bench(furnace(COUNTED_PARTS, COUNTED))
    bench.after(0.5, counted(65535), counted(0))
    assert bench.link.read().texts == ()


def test_fault_bits_are_put_into_words() -> None:
    bench = Bench(furnace(COUNTED_PARTS, COUNTED))
    bench.after(0.5, counted(1, fault=3))
    reading = bench.link.read()
    assert reading.values["work"] is None
    assert reading.faults == {"work": "open circuit, short to ground"}
    bench.after(0.5, counted(2, fault=4))  # a bit without a word is no fault
    assert bench.link.read().values["work"] == 800.0


def test_a_short_press_between_two_readings_counts_once() -> None:
    bench = Bench(furnace(COUNTED_PARTS, COUNTED))
    bench.after(0.9, counted(1), counted(2, foot=1), counted(3))
    assert bench.link.read().values["foot"] == 1.0
    bench.after(0.9, counted(4))
    assert bench.link.read().values["foot"] == 0.0


def test_remarks_of_the_instrument_are_no_lines() -> None:
    bench = Bench(furnace())
    bench.after(0.5, b"# fields: work\n", b"800\n")
    assert bench.link.read().missed == 0


def test_nothing_is_ever_written() -> None:
    bench = Bench(furnace())
    bench.after(0.5, b"800\n")
    bench.link.read()
    with pytest.raises(LinkError):
        bench.link.read()
    assert bench.wire.written == []
    bench.link.close()
    assert bench.wire.closed


@pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")
def test_lines_over_a_pseudo_terminal(tmp_path: Path) -> None:
    with wire(tmp_path) as line, open(line.far, "wb", buffering=0) as instrument:
        link = open_link(furnace(COUNTED_PARTS, COUNTED, line.near))
        instrument.write(b"lf\r\n" + counted(1) + counted(2, 801.5))
        values = link.read().values
        while values["work"] != 801.5:  # the wire may bring the second line a moment after the first
            values = link.read().values
        link.close()
        assert line.sent == []


def test_lines_over_a_network_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ready = threading.Event()

        def serve() -> None:
            connection, _ = listener.accept()
            with connection:
                ready.wait(10)
                connection.sendall(b"half\n800.5\n")
                connection.recv(1)  # until the other end closes

        thread = threading.Thread(target=serve)
        thread.start()
        link = open_link(furnace(port=f"socket://127.0.0.1:{listener.getsockname()[1]}"))
        ready.set()
        assert link.read().values == {"work": 800.5}
        link.close()
        thread.join()


@pytest.mark.parametrize(
    ("text", "link", "value"),
    [
        (b"1,012 C", 'separator = " "\n', None),
        (b"1,012 C", 'separator = " "\ndecimal = ","\n', 1.012),
        (b"1,012 C", 'separator = " "\ndecimal = "."\n', 1012.0),
        (b"1,012.5 C", 'separator = " "\ndecimal = "."\n', 1012.5),
        (b"1.012,5;7", 'separator = ";"\ndecimal = ","\n', 1012.5),
        (b"1.5;7", 'separator = ";"\ndecimal = ","\n', None),
        (b"100,3;7", 'separator = ";"\n', 100.3),
        (b"0,125;7", 'separator = ";"\n', 0.125),  # no thousands begin with 0
        (b"100,3", "", None),
        (b"100,3", 'decimal = "."\n', 100.0),  # said: the comma is the separator
        (b"100,3,0", "", 100.0),
        (b"100.5,3", "", 100.5),
    ],
)
def test_a_comma_that_may_mean_two_things_is_asked_for_and_not_guessed(
    text: bytes, link: str, value: float | None
) -> None:
    line = LineReader(furnace(link=link)).parse(text)
    assert line is not None
    assert line.values == {"work": value}
    if value is None and "decimal" not in link:
        assert "set decimal in [link]" in line.faults["work"]


def test_a_second_field_that_is_read_says_that_the_comma_is_the_separator() -> None:
    two = ONE + '[[signal]]\nname = "setpoint"\nfield = 2\n'
    line = LineReader(furnace(two)).parse(b"1040,99")
    assert line is not None
    assert line.values == {"work": 1040.0, "setpoint": 99.0}


def test_of_lines_without_checksum_two_that_agree_can_be_asked_for() -> None:
    bench = Bench(furnace(link="agree_within = 1\n"))
    bench.after(0.5, b"1040.0\n", b"1040.4\n", b"1140.8\n")
    assert bench.link.read().values == {"work": 1040.4}
    bench.after(0.5, b"1041.0\n")
    with pytest.raises(LinkError, match="garbled"):
        bench.link.read()
    bench.after(0.5, b"1041.3\n")
    assert bench.link.read().values == {"work": 1041.3}


def test_no_line_with_a_bit_flipped_is_read_wrongly_where_two_must_agree() -> None:
    chance, wrong = random.Random(20261126), 0
    bench = Bench(furnace(link="agree_within = 1\n"))
    had = 0
    for _ in range(3000):
        line = bytearray(b"1040.2\n")
        if chance.random() < 0.1:
            line[chance.randrange(6)] ^= 1 << chance.randrange(7)
        bench.after(0.5, bytes(line))
        with contextlib.suppress(LinkError):
            value = bench.link.read().values["work"]
            had += value is not None
            wrong += value is not None and abs(value - 1040.2) > 1.0
    assert had > 2000
    assert wrong == 0
