"""A Modbus RTU slave that can only be read: request bytes in, reply bytes out. It knows no port.

MODBUS Application Protocol V1.1b3, functions 3 and 4, and MODBUS over Serial Line V1.02 for frame and CRC.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping

READ_HOLDING, READ_INPUT = 3, 4
MOST_REGISTERS = 125
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
SHORTEST_FRAME = 4


def crc(frame: bytes) -> bytes:
    """CRC-16/MODBUS as sent, low byte first."""
    register = 0xFFFF
    for byte in frame:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ 0xA001 if register & 1 else register >> 1
    return struct.pack("<H", register)


def is_whole(frame: bytes) -> bool:
    """Whether these bytes are a frame with a valid CRC."""
    return len(frame) >= SHORTEST_FRAME and crc(frame[:-2]) == frame[-2:]


def answer(frame: bytes, *, unit_id: int, read: Callable[[], Mapping[int, int]]) -> bytes | None:
    """Reply to a whole request; None where the device stays silent (broadcast, or meant for another one)."""
    if not is_whole(frame) or frame[0] != unit_id:
        return None
    function, body = frame[1], frame[2:-2]
    reply = _reply(function, body, read)
    head = bytes([unit_id, function if isinstance(reply, bytes) else function | 0x80])
    whole = head + (reply if isinstance(reply, bytes) else bytes([reply]))
    return whole + crc(whole)


def _reply(function: int, body: bytes, read: Callable[[], Mapping[int, int]]) -> bytes | int:
    """Data of a good reply, or an exception's number."""
    if function not in (READ_HOLDING, READ_INPUT):
        return ILLEGAL_FUNCTION
    if len(body) != 4:
        return ILLEGAL_VALUE
    start, count = struct.unpack(">HH", body)
    if not 1 <= count <= MOST_REGISTERS:
        return ILLEGAL_VALUE
    table = read()
    wanted = range(start, start + count)
    if any(number not in table for number in wanted):
        return ILLEGAL_ADDRESS
    return bytes([2 * count]) + struct.pack(f">{count}H", *(table[number] for number in wanted))
