"""Fuzzes both links on a fake port: no wrong value may be accepted beyond those whose checksum is right by chance.

Long form: python -m tests.campaigns.fuzz_links 1000000
"""

from __future__ import annotations

import random
import sys
import types
from collections import Counter
from dataclasses import dataclass, field
from unittest import mock

import minimalmodbus

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.blocks import MOST_ALONG
from soakwitness.firmware_bridge.links.checksums import crc16_ccitt, crc16_modbus
from soakwitness.firmware_bridge.links.lines import LinesLink
from soakwitness.firmware_bridge.links.modbus import WAIT_S, ModbusLink
from soakwitness.firmware_bridge.links.port import Port
from tests.fake_serial import Answer, FakeClock, FakeSerial

TIMEOUT_S = 0.2
REGISTERS = 2  # of each table
SLOWEST_S = 0.9  # late replies come up to so long after the request; the link waits a second
KINDS = ("good", "cut", "glued", "flipped", "noise", "echoed", "late", "wrong unit", "wrong function", "wrong length")


@dataclass
class Score:
    """What came of a campaign. ``wrong`` must stay 0; ``by_chance`` are corrupted frames whose checksum was right."""

    frames: int = 0
    polls: int = 0
    accepted: int = 0
    wrong: int = 0
    by_chance: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)

    def says(self, what: str) -> str:
        kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self.kinds.items()))
        return (
            f"{what}: {self.frames} ({kinds}); {self.accepted} readings accepted, {self.wrong} wrong,"
            f" {self.by_chance} corrupted ones whose checksum was right by chance; {dict(self.refused)}"
        )


class BadInstrument:
    """Answers Modbus requests with registers that no other reply has, often badly."""

    def __init__(self, chance: random.Random, score: Score) -> None:
        self.chance = chance
        self.score = score
        self.requests = 0
        self.by_chance = False
        self.newest = {3: 0, 4: 0}  # what the first register held at the last question for values of each function

    def registers(self, function: int, count: int) -> bytes:
        first = self.requests % 16000 * 4 + (function == 3)
        if count <= REGISTERS + MOST_ALONG:
            self.newest[function] = first
        return (first.to_bytes(2, "big") + b"\x12\x34" * count)[: 2 * count]

    def answer(self, request: bytes) -> Answer:
        assert request[1] in (3, 4)
        assert crc16_modbus(request) == 0
        self.requests += 1
        self.score.frames += 1
        kind = self.chance.choice(KINDS) if self.chance.random() < 0.5 else "good"
        self.score.kinds[kind] += 1
        count = int.from_bytes(request[4:6], "big")
        reply = bytes([request[0], request[1], 2 * count]) + self.registers(request[1], count)
        return self.bad(kind, request, frame(reply))

    def bad(self, kind: str, request: bytes, reply: bytes) -> Answer:
        chance, size = self.chance, len(reply)
        if kind == "cut":
            reply = reply[chance.randrange(2) : chance.randrange(size)]
        elif kind == "glued":
            other = frame(bytes([request[0], chance.choice((3, 4)), 4]) + chance.randbytes(4))
            reply = reply + other if chance.random() < 0.5 else other[chance.randrange(1, 9) :] + reply
            middle = chance.randrange(len(reply) + 1)
            return [(0.01, reply[:middle]), (0.011, reply[middle:])]  # less than the silence that ends a frame
        elif kind == "flipped":
            reply = flipped(reply, chance)
            self.by_chance |= crc16_modbus(reply) == 0
        elif kind == "noise":
            reply = chance.randbytes(chance.randrange(1, 20))
        elif kind == "echoed":
            reply = request + (reply if chance.random() < 0.5 else b"")
        elif kind == "late":
            return [(chance.uniform(TIMEOUT_S, SLOWEST_S), reply)]
        elif kind == "wrong unit":
            reply = frame(bytes([request[0] ^ 1 << chance.randrange(8)]) + reply[1:-2])
        elif kind == "wrong function":
            reply = frame(bytes([request[0], chance.choice([f for f in range(256) if f != request[1]])]) + reply[2:-2])
        elif kind == "wrong length":
            count = chance.choice([n for n in range(0, 24, 2) if n != reply[2]])
            reply = frame(bytes([request[0], request[1], count]) + chance.randbytes(count))
        middle = chance.randrange(len(reply) + 1)
        return [(0.01, reply[:middle]), (0.02, reply[middle:])]


def frame(data: bytes) -> bytes:
    return data + crc16_modbus(data).to_bytes(2, "little")


def flipped(data: bytes, chance: random.Random) -> bytes:
    """Flip one to sixteen bits; never none."""
    bits = int.from_bytes(data, "big")
    for at in chance.sample(range(8 * len(data)), chance.choice((1, 1, 2, 3, 8, 16))):
        bits ^= 1 << at
    return bits.to_bytes(len(data), "big")


def modbus_furnace() -> Furnace:
    sensors = "".join(
        f'[[sensor]]\nname = "{table} {n}"\nrole = "load"\ntable = "{table}"\nregister = {n}\nformat = "uint16"\n'
        for table in ("holding", "input")
        for n in range(REGISTERS)
    )
    head = f'name = "x"\nunit = "C"\n[link]\nkind = "modbus"\nport = "P"\ntimeout_s = {TIMEOUT_S}\nlate_reply_s = 1\n'
    return parse_furnace(head + sensors, "fuzz")


def fuzz_modbus(frames: int, seed: int) -> Score:
    """Poll two tables until so many replies were sent."""
    clock, score = FakeClock(), Score()
    instrument = BadInstrument(random.Random(seed), score)
    wire = FakeSerial(clock, instrument.answer, timeout=WAIT_S)
    link = ModbusLink(modbus_furnace(), Port(wire, "P"), clock)
    fake_time = types.SimpleNamespace(monotonic=clock.monotonic, sleep=clock.sleep)
    with (
        mock.patch.object(minimalmodbus, "time", fake_time),
        mock.patch.dict(minimalmodbus._latest_read_times, clear=True),
    ):
        while score.frames < frames:
            wire.written.clear()
            clock.sleep(0.1)
            instrument.by_chance = False
            score.polls += 1
            try:
                values = link.read().values
            except LinkError as error:
                score.refused[error.reason] += 1
                continue
            first, last = instrument.newest[3], instrument.newest[4]
            right = {"holding 0": first, "holding 1": 0x1234, "input 0": last, "input 1": 0x1234}
            score.accepted += 1
            if any(value is not None and value != right[name] for name, value in values.items()):
                score.by_chance += instrument.by_chance
                score.wrong += not instrument.by_chance
    return score


class BadTalker:
    """Sends counted lines, often badly. The temperature says which line it came from."""

    def __init__(self, chance: random.Random, score: Score) -> None:
        self.chance = chance
        self.score = score
        self.count = 0
        self.late: list[bytes] = []
        self.by_chance: set[bytes] = set()

    def line(self, number: int) -> bytes:
        body = f"{number},{number / 100:.2f},0".encode()
        return b"%s*%04X" % (body, crc16_ccitt(body))

    def next(self) -> bytes:
        self.score.frames += 1
        self.count += 1
        kind = self.chance.choice(KINDS) if self.chance.random() < 0.5 else "good"
        self.score.kinds[kind] += 1
        return self.bad(kind, self.line(self.count))

    def bad(self, kind: str, line: bytes) -> bytes:
        chance = self.chance
        if kind == "cut":
            line = line[chance.randrange(3) : chance.randrange(len(line))]
        elif kind == "glued":
            self.count += 1
            line += self.line(self.count)  # the end of the first is lost: the next one follows at once
        elif kind == "flipped":
            line = flipped(line, chance)
            self.note(line)
        elif kind in ("noise", "wrong function"):
            line = chance.randbytes(chance.randrange(1, 60))
        elif kind == "echoed":
            line += b"\n" + line
        elif kind == "late":
            line = line[: chance.randrange(len(line))] + chance.randbytes(2) + b"\n" + line
        elif kind == "wrong unit":
            line = line.swapcase()
        elif kind == "wrong length":
            body = line.rpartition(b"*")[0].rpartition(b",")[0]  # a field less, with the right checksum
            line = b"%s*%04X" % (body, crc16_ccitt(body))
        return line + b"\n"

    def note(self, changed: bytes) -> None:
        for line in changed.split(b"\n"):
            body, _, digits = line.removeprefix(b"$").rpartition(b"*")
            if digits.strip().upper() == b"%04X" % crc16_ccitt(body):
                self.by_chance.add(body)


def lines_furnace() -> Furnace:
    return parse_furnace(
        'name = "x"\nunit = "C"\n[link]\nkind = "lines"\nport = "P"\nchecksum = "crc16"\nsequence = 1\n'
        '[[sensor]]\nname = "work"\nrole = "load"\nfield = 2\nfault_field = 3\n',
        "fuzz",
    )


def fuzz_lines(lines: int, seed: int) -> Score:
    """Read until so many lines were sent; a reading is right if its line was sent since the reading before."""
    clock, score = FakeClock(), Score()
    talker = BadTalker(random.Random(seed), score)
    wire = FakeSerial(clock, lambda data: (), timeout=0.25)
    link = LinesLink(lines_furnace(), Port(wire, "P"), clock)
    since = talker.count
    while score.frames < lines:
        for _ in range(talker.chance.randrange(1, 4)):
            wire.arrives(talker.chance.uniform(0.0, 0.9), talker.next())
        clock.sleep(1.0)
        try:
            value = link.read().values["work"]
        except LinkError as error:
            score.refused[error.reason] += 1
            continue
        finally:
            before, since = since, talker.count
        score.accepted += 1
        if value is not None and not before < round(value * 100) <= talker.count:
            chance = any(f",{value:.2f}".encode() in body for body in talker.by_chance)
            score.by_chance += chance
            score.wrong += not chance
    return score


def main() -> None:
    """Print the long form."""
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    modbus, lines = fuzz_modbus(frames // 2, seed=7), fuzz_lines(frames // 2, seed=7)
    print(modbus.says("Modbus replies"))
    print(lines.says("text lines"))
    sys.exit(1 if modbus.wrong or lines.wrong else 0)


if __name__ == "__main__":
    main()
