"""Checksums of links, bit by bit from their published parameters (polynomial, start, reflected or not)."""

from __future__ import annotations

import zlib
from functools import reduce

from soakwitness.firmware_bridge.furnace.sensors_and_links import Checksum


def _table_low_first(polynomial: int) -> tuple[int, ...]:
    def entry(value: int) -> int:
        for _ in range(8):
            value = value >> 1 ^ (polynomial if value & 1 else 0)
        return value

    return tuple(entry(value) for value in range(256))


def _table_high_first(polynomial: int) -> tuple[int, ...]:
    def entry(value: int) -> int:
        for _ in range(8):
            value = value << 1 ^ (polynomial if value & 0x8000 else 0)
        return value & 0xFFFF

    return tuple(entry(value << 8) for value in range(256))


_MODBUS = _table_low_first(0xA001)  # 0x8005 reflected
_CCITT = _table_high_first(0x1021)


def crc16_modbus(data: bytes) -> int:
    """CRC-16/MODBUS: start 0xFFFF, reflected; over a whole valid frame it is 0."""
    return reduce(lambda crc, byte: crc >> 8 ^ _MODBUS[(crc ^ byte) & 0xFF], data, 0xFFFF)


def crc16_ccitt(data: bytes, start: int = 0xFFFF) -> int:
    """CRC-16/IBM-3740 ("CCITT-FALSE"); with start 0 CRC-16/XMODEM."""
    return reduce(lambda crc, byte: crc << 8 & 0xFFFF ^ _CCITT[crc >> 8 ^ byte], data, start)


def xor(data: bytes) -> int:
    """Exclusive or of all bytes."""
    return reduce(lambda total, byte: total ^ byte, data, 0)


def checksum(kind: Checksum, data: bytes) -> tuple[int, int]:
    """Give a checksum and its number of hex digits; ``none`` has none."""
    if kind == "xor":
        return xor(data), 2
    if kind == "crc32":
        return zlib.crc32(data), 8
    if kind == "crc16-modbus":
        return crc16_modbus(data), 4
    if kind == "none":
        return 0, 0
    return crc16_ccitt(data, 0 if kind == "crc16-xmodem" else 0xFFFF), 4
