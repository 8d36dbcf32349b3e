"""The Modbus link over pseudo-terminals against pymodbus, an independent server (own framing and numbers)."""

from __future__ import annotations

import os
import random
import socket
from pathlib import Path
from typing import Any

import pytest

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.connecting.opening import open_link
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links import modbus
from soakwitness.firmware_bridge.links.block_questions import Questions
from soakwitness.firmware_bridge.links.blocks import MOST_ALONG
from tests.wires import Wire, pymodbus_server, wire

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")
pymodbus_simulator = pytest.importorskip("pymodbus.simulator", reason="needs pymodbus 3.16 or later")
DataType, SimData = pymodbus_simulator.DataType, pymodbus_simulator.SimData

NUMBERS = {
    "int16": [-32768, -1, 0, 32767],
    "uint16": [0, 40000, 65535],
    "int32": [-2147483648, -70000, 1050321],
    "uint32": [0, 4294967295, 70001],
    "float32": [1050.25, -0.5, 0.0],
}


def furnace(port: str, parts: str, link: str = "") -> Furnace:
    head = f'name = "x"\nunit = "C"\n[link]\nkind = "modbus"\nport = "{port}"\nbaud = 115200\n'
    return parse_furnace(head + link + parts, "test")


def sensor(name: str, table: str, register: int, number_format: str = "int16", order: str = "high first") -> str:
    return (
        f'\n[[sensor]]\nname = "{name}"\nrole = "recording"\ntable = "{table}"\nregister = {register}\n'
        f'format = "{number_format}"\nword_order = "{order}"\n'
    )


def laid_out() -> tuple[str, list[Any], dict[str, float]]:
    """Every format and word order one behind the other: furnace file parts, pymodbus's registers, expected values."""
    from pymodbus.client.mixin import ModbusClientMixin

    parts, data, expected, register = "", [], {}, 3
    for kind, numbers in NUMBERS.items():
        for order, theirs in (("high first", "big"), ("low first", "little")):
            for value in numbers:
                name = f"{kind} {order} {len(expected)}".replace(" first", "")
                their_type = getattr(ModbusClientMixin.DATATYPE, kind.upper())
                words = ModbusClientMixin.convert_to_registers(value, their_type, word_order=theirs)
                data.append(SimData(register, values=words, datatype=DataType.REGISTERS))
                for table in ("input", "holding"):
                    parts += sensor(f"{name} {table}", table, register, kind, order)
                    expected[f"{name} {table}"] = float(value)
                register += len(words)
    return parts, data, expected


@pytest.mark.parametrize("framing", ["rtu", "ascii"])
def test_all_formats_word_orders_and_both_tables(tmp_path: Path, framing: str) -> None:
    parts, data, expected = laid_out()
    with wire(tmp_path) as line, pymodbus_server(line.far, (data, data), ascii_framing=framing == "ascii"):
        link = open_link(furnace(line.near, parts, f'framing = "{framing}"\n'))
        assert link.read().values == expected
        link.close()
    assert len({request for request in line.sent}) == 2  # one block a table


def test_a_serial_to_network_adapter_works_as_a_port() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = f"socket://127.0.0.1:{free.getsockname()[1]}"
    data = [SimData(3, values=[7], datatype=DataType.REGISTERS)]
    with pymodbus_server(port, (data, data)):
        link = open_link(furnace(port, sensor("a", "input", 3) + sensor("b", "holding", 3)))
        assert link.read().values == {"a": 7.0, "b": 7.0}
        assert link.read().values == {"a": 7.0, "b": 7.0}
        link.close()


def test_a_register_that_is_not_there_is_a_refusal(tmp_path: Path) -> None:
    data = [SimData(3, values=[7], datatype=DataType.REGISTERS)]
    with wire(tmp_path) as line, pymodbus_server(line.far, (data, data)):
        link = open_link(furnace(line.near, sensor("a", "holding", 99)))
        with pytest.raises(LinkError) as caught:
            link.read()
        link.close()
    assert caught.value.reason == "refused"


def test_registers_with_others_between_that_are_not_there_are_read_all_the_same(tmp_path: Path) -> None:
    data = [SimData(n, values=[n], datatype=DataType.REGISTERS) for n in (3, 9)]
    with wire(tmp_path) as line, pymodbus_server(line.far, (data, data)):
        link = open_link(furnace(line.near, sensor("a", "input", 3) + sensor("b", "input", 9)))
        assert link.read().values == {"a": 3.0, "b": 9.0}
        link.close()


def test_another_unit_is_silent(tmp_path: Path) -> None:
    data = [SimData(3, values=[7], datatype=DataType.REGISTERS)]
    with wire(tmp_path) as line, pymodbus_server(line.far, (data, data), unit=2):
        line.change = lambda reply: b""  # pymodbus answers for units it does not have
        link = open_link(furnace(line.near, sensor("a", "input", 3), "timeout_s = 0.05\n"))
        with pytest.raises(LinkError) as caught:
            link.read()
        link.close()
    assert caught.value.reason == "silent"


class Counting:
    """Makes each reply of the server unlike every other: registers hold the number of the request it answers."""

    def __init__(self) -> None:
        self.requests = 0
        self.newest: dict[int, int] = {}

    def trace(self, sending: bool, pdu: Any) -> Any:
        if sending and getattr(pdu, "registers", None):
            first = self.requests * 4 + (pdu.function_code == 3)
            if len(pdu.registers) <= 2 + MOST_ALONG:  # two are read; more are asked for to see that the line lives
                self.newest[pdu.function_code] = first
            pdu.registers = [first, first + 2, *[9999] * len(pdu.registers)][: len(pdu.registers)]
        elif not sending:
            self.requests += 1
        return pdu


def poll(line: Wire, polls: int) -> tuple[int, int]:
    """Poll two tables with one reply in five late; give the numbers of readings accepted and of wrong ones."""
    chance = random.Random(20261125)
    counting = Counting()
    data = [SimData(0, values=[0] * 10, datatype=DataType.REGISTERS)]
    parts = sensor("in", "input", 0, "uint16") + sensor("in 2", "input", 1, "uint16")
    parts += sensor("hold", "holding", 0, "uint16") + sensor("hold 2", "holding", 1, "uint16")
    accepted = wrong = 0
    with pymodbus_server(line.far, (data, data), trace=counting.trace):
        link = open_link(furnace(line.near, parts, "timeout_s = 0.03\nlate_reply_s = 1\n"))
        line.delay_s = lambda: chance.uniform(0.035, 0.09) if chance.random() < 0.2 else 0.0
        for _ in range(polls):
            try:
                values = link.read().values
            except LinkError:
                continue
            accepted += 1
            hold, read = counting.newest[3], counting.newest[4]
            right = {"hold": hold, "hold 2": hold + 2, "in": read, "in 2": read + 2}
            wrong += values != right
        link.close()
    return accepted, wrong


def test_no_wrong_value_is_accepted_in_120_polls_with_one_late_reply_in_five(tmp_path: Path) -> None:
    with wire(tmp_path) as line:
        accepted, wrong = poll(line, 120)
    assert wrong == 0
    assert accepted > 60  # 0.8 x 0.8 of 120 is 77
    requests = b"".join(line.sent)
    assert len(requests) % 8 == 0
    assert {requests[at + 1] for at in range(0, len(requests), 8)} == {3, 4}


def test_with_one_length_for_all_questions_wrong_values_would_come(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Questions, "choose", lambda self, block, now_s: self._of(block)[0])
    monkeypatch.setattr(modbus, "_LISTEN", 0.0)
    monkeypatch.setattr(Questions, "confirms", lambda self, now_s, *, doubtful: None)
    monkeypatch.setattr(Questions, "probe_due", lambda self, block, now_s: None)
    monkeypatch.setattr(Questions, "rest_s", lambda self, block, now_s: 0.0)
    with wire(tmp_path) as line:
        _, wrong = poll(line, 60)
    assert wrong > 0
