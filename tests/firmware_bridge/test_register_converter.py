"""The driver for converters with registers, against a model of one made from its register table."""

from __future__ import annotations

import sys
import time
from types import SimpleNamespace

import pytest

from soakwitness.firmware_bridge.firmware import furnace_line, register_converter
from soakwitness.firmware_bridge.firmware.furnace_line import Kind, Talker
from soakwitness.firmware_bridge.firmware.register_converter import RegisterConverter, decode

KIND = Kind(
    decode,
    (register_converter.JUNCTION_STEP, register_converter.COLD_STEP),
    register_converter.FAULT_WORDS,
    (register_converter.AGREE_JUNCTION, register_converter.AGREE_COLD),
)

# Register table: 0 and 1 set-up (00 and 03 after power on), 0A and 0B cold junction (14 bits from the top, 2^-6 C),
# 0C to 0E junction (19 bits from the top, 2^-7 C), 0F status; an address with 80 added writes.


class Chip:
    """A converter that converts only while it is set up to."""

    def __init__(self) -> None:
        self.registers = bytearray(16)
        self.registers[1] = 0x03
        self.writes = 0
        self.junction_c, self.cold_c, self.status = 1000.0, 25.0, 0
        self.fails = False

    def power_dips(self) -> None:
        self.registers[:] = bytes(16)
        self.registers[1] = 0x03

    def transfer(self, data: bytes) -> bytes:
        if self.fails:
            raise OSError(5)
        if data[0] & 0x80:
            self.writes += 1
            self.registers[data[0] & 0x7F] = data[1]
            return bytes(len(data))
        if self.registers[0] & 0x80:
            self.registers[12:15] = (round(self.junction_c * 128) << 5 & 0xFFFFFF).to_bytes(3, "big")
            self.registers[10:12] = (round(self.cold_c * 64) << 2 & 0xFFFF).to_bytes(2, "big")
            self.registers[15] = self.status
        return b"\0" + bytes(self.registers[data[0] : data[0] + len(data) - 1])


class Bench:
    """A board with one such converter."""

    def __init__(self) -> None:
        self.chip = Chip()
        self.said: list[str] = []
        driver = RegisterConverter(self.chip.transfer)
        self.talker = Talker(1, lambda number: driver.read(), lambda: 0, lambda: 0, self.said.append, KIND)
        self.second = 0

    def line(self) -> tuple[float, float, int]:
        """Give temperatures and fault bits of the next line."""
        self.talker.step(1000 * self.second)
        self.second += 1
        junction, cold, faults = self.said[-1].split("*")[0].split(",")[2:5]
        return int(junction) * 0.0078125, int(cold) * 0.015625, int(faults)


@pytest.mark.parametrize(
    ("junction", "temp_c"),  # printed: 1600 C is 640000, 1000 C 3E8000, 0.0625 C 000100, -1 C FFF000, -250 C F06000
    [("640000", 1600.0), ("3e8000", 1000.0), ("000100", 0.0625), ("fff000", -1.0), ("f06000", -250.0)],
)
@pytest.mark.parametrize(("cold", "cold_c"), [("7ffc", 127.984375), ("1900", 25.0), ("c900", -55.0)])
def test_printed_register_values(junction: str, temp_c: float, cold: str, cold_c: float) -> None:
    registers = bytes((*register_converter.SETUP, *bytes(8))) + bytes.fromhex(cold + junction + "00")
    raw_junction, raw_cold, faults = decode(registers)
    assert (raw_junction * 0.0078125, raw_cold * 0.015625, faults) == (temp_c, cold_c, 0)


def test_it_is_set_up_once_and_read() -> None:
    bench = Bench()
    assert bench.line() == (1000.0, 25.0, 0)
    bench.chip.junction_c = 1001.5
    assert bench.line() == (1001.5, 25.0, 0)
    assert bench.chip.writes == 2
    assert bench.chip.registers[0] == 0x91  # converting all the time, open circuits looked for, 50 Hz
    assert bench.chip.registers[1] == 0x23  # mean of four, type K


def test_a_set_up_that_was_lost_is_a_damaged_frame_and_is_written_again() -> None:
    bench = Bench()
    bench.line()
    bench.chip.power_dips()
    assert bench.line()[2] == register_converter.DAMAGED  # a reading of 0 degrees would look like one
    assert bench.line() == (1000.0, 25.0, 0)


@pytest.mark.parametrize(("status", "bits"), [(0x01, 1), (0x02, 2), (0x40, 32), (0x80, 64), (0x3C, 0), (0x41, 33)])
def test_the_status_in_the_bits_of_the_line(status: int, bits: int) -> None:
    bench = Bench()
    bench.chip.status = status  # 3C: thresholds that nobody sets
    assert bench.line()[2] == bits


def test_a_failing_bus_is_silent_and_comes_back() -> None:
    bench = Bench()
    bench.chip.fails = True
    assert bench.line()[2] == register_converter.SILENT
    bench.chip.fails = False
    assert bench.line() == (1000.0, 25.0, 0)
    assert decode(bytes(16))[2] == decode(b"\xff" * 16)[2] == register_converter.SILENT


def test_two_readings_that_differ_are_damage_and_the_header_says_the_steps() -> None:
    bench = Bench()
    chip, frames = bench.chip, iter((1000.0, 500.0))

    def leaping(data: bytes) -> bytes:
        if not data[0] & 0x80:
            chip.junction_c = next(frames)
        return Chip.transfer(chip, data)

    driver = RegisterConverter(leaping)
    bench.talker.read_frame = lambda number: driver.read()
    assert bench.line()[2] == register_converter.DAMAGED
    assert "j x 0.0078125 C, c x 0.015625 C; f bits: 0 open circuit, 1 voltage out of range, 3 " in bench.said[0]


class Stopped(BaseException):
    """The board was switched off."""


@pytest.mark.parametrize(("kind", "phase", "fields"), [("registers", 1, "128000,1600,0"), ("frame", 0, "1050,376,0")])
def test_the_program_on_a_board(
    kind: str, phase: int, fields: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    chip, now_ms, phases, fed = Chip(), [0], [], []

    class Spi:
        def __init__(self, number: int, **settings: int) -> None:
            phases.append(settings["phase"])

        def write_readinto(self, data: bytes, came: bytearray) -> None:
            # 262.5 and 23.5 C by the frame's bit table: 1050 << 18 | 376 << 4
            came[:] = chip.transfer(data) if kind == "registers" else (1050 << 18 | 376 << 4).to_bytes(4, "big")

    def sleep_ms(ms: int) -> None:
        now_ms[0] += ms
        if now_ms[0] > 1500:
            raise Stopped

    watchdog = SimpleNamespace(feed=lambda: fed.append(now_ms[0]))
    pin = type("Pin", (), {"OUT": 1, "__init__": lambda *_, **__: None, "__call__": lambda *_: 0})
    machine = SimpleNamespace(
        SPI=Spi, Pin=pin, WDT=lambda timeout: watchdog, reset_cause=lambda: 3, WDT_RESET=3, PWRON_RESET=1
    )
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "register_converter", register_converter)
    monkeypatch.setattr(furnace_line, "CONVERTER", kind)
    for name, work in (("ticks_ms", lambda: now_ms[0]), ("ticks_diff", lambda a, b: a - b), ("sleep_ms", sleep_ms)):
        monkeypatch.setattr(time, name, work, raising=False)
    with pytest.raises(Stopped):
        furnace_line.run()
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("# event; started by the watchdog")
    assert [line.split("*")[0] for line in said if not line.startswith("#")] == [
        f"0,0,{fields},0,0",
        f"1,1000,{fields},0,0",
    ]
    assert phases == [phase]
    assert len(fed) > 100
