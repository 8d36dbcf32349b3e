"""The served instrument against pymodbus as an independent client, and as a talker of lines."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import serial
from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace, template
from soakwitness.firmware_bridge.connecting.opening import open_link
from soakwitness.firmware_bridge.recording.clocks import FastClock
from soakwitness.firmware_bridge.simulated import serving
from soakwitness.firmware_bridge.simulated.served_ports import HAS_PSEUDO_TERMINALS
from soakwitness.firmware_bridge.simulated.serving import Serving

needs_pty = pytest.mark.skipif(not HAS_PSEUDO_TERMINALS, reason="this system has no pseudo-terminals")


class HandClock:
    """Time that moves when the test says so."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float, /) -> None:
        self.now_s += seconds


@contextmanager
def served(settings: dict[str, object], unit: str = "C") -> Iterator[tuple[Serving, HandClock]]:
    clock = HandClock()
    found = serving.start(settings, clock=clock, unit=unit)  # type: ignore[arg-type]
    try:
        yield found, clock
    finally:
        found.stop()


@contextmanager
def pymodbus_client(found: Serving) -> Iterator[ModbusSerialClient | ModbusTcpClient]:
    port = found.link.port
    if port.startswith("socket://"):
        host, _, number = port.removeprefix("socket://").partition(":")
        client = ModbusTcpClient(host, port=int(number), framer=FramerType.RTU, timeout=1.0, retries=0)
    else:
        client = ModbusSerialClient(port, baudrate=found.link.baud, timeout=1.0, retries=0)
    assert client.connect()
    try:
        yield client
    finally:
        client.close()


def until(found: Serving, met: Callable[[], bool], looks: int = 2000) -> None:
    """Let the serving thread go on until it has done something; a test that waits in vain fails."""
    for _ in range(looks):
        if met():
            return
        found._stopping.wait(0.002)
    pytest.fail("waited in vain")


OVER = [pytest.param("pseudo-terminal", marks=needs_pty), "network"]


@pytest.mark.parametrize("over", OVER)
def test_pymodbus_reads_both_tables(over):
    with served({"over": over, "seed": 3}) as (found, clock):
        clock.now_s += 600.0
        with pymodbus_client(found) as client:
            holding = client.read_holding_registers(0, count=14, device_id=1).registers
            inputs = client.read_input_registers(0, count=14, device_id=1).registers
            floats = client.read_input_registers(20, count=2, device_id=1).registers
    shown = found.furnace.shown()
    control_c = shown.temp_c["control"]
    assert control_c is not None
    assert holding == inputs
    assert holding[0] == round(control_c * 10)
    assert holding[4] == 7800
    assert (holding[12] << 16) + holding[13] == 600
    value = client.convert_from_registers(floats, client.DATATYPE.FLOAT32, "big")
    assert value == pytest.approx(control_c, rel=1e-6)


def test_pymodbus_hears_the_exceptions():
    with served({}) as (found, _), pymodbus_client(found) as client:
        beyond = client.read_input_registers(100, count=1, device_id=1)
        written = client.write_register(0, 5, device_id=1)
        written_many = client.write_registers(4, [1, 2], device_id=1)
        assert (beyond.isError(), beyond.exception_code) == (True, 2)
        assert (written.isError(), written.exception_code) == (True, 1)
        assert (written_many.isError(), written_many.exception_code) == (True, 1)
        assert not client.read_input_registers(0, count=1, device_id=1).isError()


def test_half_a_request_is_forgotten():
    with served({}) as (found, _), serial.serial_for_url(found.link.port, timeout=0.3) as port:
        port.write(bytes.fromhex("01 03 00 00"))
        assert port.read(1) == b""
        port.write(bytes.fromhex("01 04 00 04 00 01 70 0B"))
        assert port.read(7)[:3] == bytes.fromhex("01 04 02")


PULLED = {"what": "cable pulled", "minutes": 1, "for_minutes": 1}


def pull_cable(found: Serving, clock: HandClock) -> None:
    """The scenario pulls it at 60 s, and plugs it in again at 120 s."""
    clock.now_s += 61.0
    until(found, lambda: found._pulled)


def plug_in(found: Serving, clock: HandClock) -> None:
    clock.now_s += 60.0
    until(found, lambda: not found._pulled)


@needs_pty
def test_the_name_stays_while_the_cable_is_out():
    with served({"over": "pseudo-terminal", "fault": [PULLED]}) as (found, clock):
        name = found.link.port
        with serial.serial_for_url(name, timeout=1.0) as port:
            pull_cable(found, clock)
            assert not os.path.lexists(name)
            with pytest.raises(serial.SerialException):
                port.read(1)
        plug_in(found, clock)
        with pymodbus_client(found) as client:
            assert not client.read_input_registers(0, count=1, device_id=1).isError()
    assert not os.path.lexists(os.path.dirname(name))


def test_the_address_stays_while_the_cable_is_out():
    with served({"over": "network", "fault": [PULLED]}) as (found, clock):
        pull_cable(found, clock)
        with pytest.raises(serial.SerialException):
            serial.serial_for_url(found.link.port, timeout=1.0)
        plug_in(found, clock)
        with pymodbus_client(found) as client:
            assert not client.read_input_registers(0, count=1, device_id=1).isError()


def test_garbled_replies_do_not_pass_as_good_ones():
    fault = {"what": "garbled replies", "share": 1.0}
    with served({"fault": [fault]}) as (found, _), serial.serial_for_url(found.link.port, timeout=0.5) as port:
        port.write(bytes.fromhex("01 04 00 04 00 01 70 0B"))
        reply = port.read(7)
    from soakwitness.firmware_bridge.simulated.served_modbus import is_whole

    assert len(reply) == 7
    assert not is_whole(reply)


def test_a_late_reply_still_comes():
    fault = {"what": "late replies", "share": 1.0, "size": 0.2}
    with served({"fault": [fault]}) as (found, _), serial.serial_for_url(found.link.port, timeout=0.05) as port:
        port.write(bytes.fromhex("01 04 00 04 00 01 70 0B"))
        assert port.read(7) == b""
        port.timeout = 5.0
        assert len(port.read(7)) == 7


@pytest.mark.parametrize("over", OVER)
def test_lines_come_at_the_pace_of_the_clock(over):
    with (
        served({"over": over, "speaks": "lines", "line_every_s": 2.0}, "F") as (found, clock),
        serial.serial_for_url(found.link.port, timeout=5.0) as port,
    ):
        until(found, lambda: clock.sleep(2.0) or port.in_waiting > 0)  # the caller is heard
        port.timeout = 0.1
        while port.readline():
            pass
        port.timeout = 5.0
        lines = []
        for _ in range(3):
            clock.now_s += 2.0
            lines.append(port.readline().decode())
    first = int(lines[0].split(",")[1])
    assert [line.split(",")[:2] for line in lines] == [["$FURNACE", str(first + i)] for i in range(3)]
    assert all(line.endswith("\r\n") and line.count(",") == 12 for line in lines)
    assert float(lines[0].split(",")[5]) == pytest.approx(68.0, abs=1.0)  # the room, 20 degC
    assert found.link.kind == "lines"


@needs_pty
def test_lines_that_nobody_reads_are_lost():
    with served({"over": "pseudo-terminal", "speaks": "lines"}) as (found, clock):
        for i in range(1, 100):
            clock.now_s += 1.0
            until(found, lambda i=i: found._lines == i)
        end = os.open(found.link.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)  # pyserial throws away what waits
        old = os.read(end, 8192)
        os.close(end)
        assert 0 < old.count(b"\n") < 40


LINES = """
name = "talker"
unit = "F"
[link]
kind = "simulated"
speaks = "lines"
[sample]
every_s = 1.0
[[sensor]]
name = "control"
role = "control"
field = 3
[[signal]]
name = "setpoint"
field = 7
"""


@pytest.mark.parametrize("text", [template("simulated"), LINES])
def test_the_links_read_what_the_instrument_shows(text):
    furnace = parse_furnace(text, "simulated.toml")
    clock = FastClock(50.0)
    found = serving.find(furnace, clock=clock)
    link = open_link(furnace, clock=clock)
    try:
        until(found, lambda: found.furnace.t_s > 10.0)
        values = link.read().values
        shown_c = found.furnace.shown().temp_c["control"]
    finally:
        link.close()
        found.stop()
    assert shown_c is not None
    shown, setpoint = (shown_c, 780.0) if furnace.unit == "C" else (shown_c * 1.8 + 32, 1436.0)
    assert values["setpoint"] == setpoint
    assert values["control"] == pytest.approx(shown, abs=5.0)  # it heats meanwhile


def test_reach_gives_the_same_furnace_again():
    furnace = parse_furnace(template("simulated"), "template")
    clock, other = HandClock(), HandClock()
    link = serving.reach(furnace, clock=clock)
    try:
        assert link.kind == "modbus"
        assert serving.reach(furnace, clock=clock).port == link.port
        assert serving.reach(furnace, clock=other).port != link.port
    finally:
        for one in (clock, other):
            serving.find(furnace, clock=one).stop()
