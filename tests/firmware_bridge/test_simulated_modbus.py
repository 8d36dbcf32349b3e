from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.simulated import served_modbus as modbus

UNIT = 0x11


def reply(request: str, table: dict[int, int] | None = None) -> str | None:
    found = modbus.answer(bytes.fromhex(request), unit_id=UNIT, read=lambda: table or {})
    return None if found is None else found.hex(" ").upper()


def framed(body: str) -> str:
    frame = bytes.fromhex(body)
    return (frame + modbus.crc(frame)).hex()


def test_published_crc():
    # MODBUS over Serial Line V1.02: CRC of 02 07 is 0x1241, sent 41 12; check value 0x4B37 for "123456789"
    assert modbus.crc(bytes.fromhex("0207")).hex() == "4112"
    assert modbus.crc(b"123456789") == bytes.fromhex("374B")


def test_published_frames():
    # MODBUS Application Protocol V1.1b3, examples of functions 3 and 4, with unit 0x11 (CHECKS.md section 3)
    holding = {0x6B: 555, 0x6C: 0, 0x6D: 100}
    assert reply("11 03 00 6B 00 03 76 87", holding) == "11 03 06 02 2B 00 00 00 64 C8 BA"
    assert reply("11 04 00 08 00 01 B2 98", {8: 10}) == "11 04 02 00 0A F8 F4"
    assert reply("11 03 00 6B 00 03 76 87", {}) == "11 83 02 C1 34"
    assert reply("11 04 00 08 00 01 B2 98", {}) == "11 84 02 C3 04"


@pytest.mark.parametrize(
    "body", ["11 06 00 00 00 01", "11 10 00 00 00 01 02 00 05", "11 05 00 00 FF 00", "11 2B 0E 01 00"]
)
def test_everything_but_reading_is_refused(body):
    function = bytes.fromhex(body)[1]
    assert reply(framed(body), {0: 7}) == bytes.fromhex(framed(f"11 {function | 0x80:02X} 01")).hex(" ").upper()


@pytest.mark.parametrize("count", [0, 126, 0xFFFF])
def test_counts_out_of_range_are_exception_3(count):
    assert reply(framed(f"11 03 00 00 {count >> 8:02X} {count & 0xFF:02X}"))[:8] == "11 83 03"


def test_silent_where_a_slave_must_be():
    assert reply(framed("00 03 00 00 00 01"), {0: 1}) is None  # broadcast
    assert reply(framed("12 03 00 00 00 01"), {0: 1}) is None  # another device
    assert reply("11 03 00 6B 00 03 76 86", {0x6B: 1}) is None  # one bit wrong
    assert reply("", {}) is None
