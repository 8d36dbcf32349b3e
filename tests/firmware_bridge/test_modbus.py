"""The Modbus link against published frames and against a port that answers as the test says."""

from __future__ import annotations

import contextlib
import types

import minimalmodbus
import pytest
import serial

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.block_questions import Questions
from soakwitness.firmware_bridge.links.checksums import crc16_modbus
from soakwitness.firmware_bridge.links.frames import Wire
from soakwitness.firmware_bridge.links.modbus import WAIT_S, ModbusLink
from soakwitness.firmware_bridge.links.port import Port
from tests.fake_serial import Answer, FakeClock, FakeSerial

TWO_TABLES = """
[[sensor]]
name = "control"
role = "control"
table = "holding"
register = 0
[[sensor]]
name = "load"
role = "load"
table = "input"
register = 0
"""


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> FakeClock:
    """Give one fake clock to the test, the link and minimalmodbus (which keeps the silence between frames)."""
    fake = FakeClock()
    monkeypatch.setattr(minimalmodbus, "time", types.SimpleNamespace(monotonic=fake.monotonic, sleep=fake.sleep))
    monkeypatch.setattr(minimalmodbus, "_latest_read_times", {})
    return fake


def furnace(parts: str, link: str = "", every_s: float = 1.0) -> Furnace:
    head = f'name = "x"\nunit = "C"\n[sample]\nevery_s = {every_s}\n[link]\nkind = "modbus"\nport = "P"\n'
    return parse_furnace(head + "timeout_s = 0.2\n" + link + parts, "test")


def sensor(name: str, register: int, more: str = 'table = "holding"') -> str:
    return f'\n[[sensor]]\nname = "{name}"\nrole = "control"\nregister = {register}\n{more}\n'


def frame(text: str) -> bytes:
    """Bytes with their checksum behind them."""
    data = bytes.fromhex(text)
    return data + crc16_modbus(data).to_bytes(2, "little")


def opened(found: Furnace, clock: FakeClock, answer: dict[str, Answer]) -> tuple[ModbusLink, FakeSerial]:
    """Open a link to an instrument that knows whole requests as hex digits."""
    wire = FakeSerial(clock, lambda data: answer.get(data.hex(" "), ()), timeout=WAIT_S)
    return ModbusLink(found, Port(wire, "P"), clock), wire


def words(request: bytes, registers: dict[int, int]) -> bytes:
    """Answer a request, whatever its length; a register that is not named holds 9999."""
    start, count = int.from_bytes(request[2:4], "big"), int.from_bytes(request[4:6], "big")
    values = b"".join(registers.get(r, 9999).to_bytes(2, "big") for r in range(start, start + count))
    return frame((bytes([request[0], request[1], 2 * count]) + values).hex())


def length(request: bytes) -> int:
    """How many registers a request asks for."""
    return int.from_bytes(request[4:6], "big")


# CHECKS.md section 3: MODBUS Application Protocol V1.1b3 examples with unit 0x11; CRC computed from Serial Line V1.02
PUBLISHED = [
    ("holding", 107, 3, "11 03 00 6b 00 03 76 87", "11 03 06 02 2b 00 00 00 64 c8 ba", [555.0, 0.0, 100.0]),
    ("input", 8, 1, "11 04 00 08 00 01 b2 98", "11 04 02 00 0a f8 f4", [10.0]),
]


@pytest.mark.parametrize(("table", "first", "count", "request_hex", "reply_hex", "expected"), PUBLISHED)
def test_published_frames_byte_for_byte(
    clock: FakeClock, table: str, first: int, count: int, request_hex: str, reply_hex: str, expected: list[float]
) -> None:
    parts = "".join(sensor(f"s{i}", first + i, f'table = "{table}"') for i in range(count))
    reply: Answer = [(0.01, bytes.fromhex(reply_hex))]
    link, wire = opened(furnace(parts, "unit_id = 17\n"), clock, {request_hex: reply})
    assert list(link.read().values.values()) == expected
    assert {data.hex(" ") for _, data in wire.written} == {request_hex}


@pytest.mark.parametrize(
    ("table", "request_hex", "reply_hex"),
    [  # CHECKS.md section 3: exception 02 to functions 03 and 04
        ("holding", "11 03 00 6b 00 01 f7 46", "11 83 02 c1 34"),
        ("input", "11 04 00 6b 00 01 42 86", "11 84 02 c3 04"),
    ],
)
def test_a_published_exception_is_a_refusal_and_does_not_cost_the_timeout(
    clock: FakeClock, table: str, request_hex: str, reply_hex: str
) -> None:
    found = furnace(sensor("a", 107, f'table = "{table}"'), "unit_id = 17\n")
    link, _ = opened(found, clock, {request_hex: [(0.01, bytes.fromhex(reply_hex))]})
    begin_s = clock.now_s
    with pytest.raises(LinkError, match="refused.*107.*manual") as caught:
        link.read()
    assert caught.value.reason == "refused"
    assert clock.now_s - begin_s < 0.05


def test_checksum_values() -> None:
    # CHECKS.md section 3: CRC of 02 07 is 0x1241, check value of CRC-16/MODBUS 0x4B37, a whole valid frame gives 0
    assert crc16_modbus(bytes.fromhex("0207")) == 0x1241
    assert crc16_modbus(b"123456789") == 0x4B37
    assert crc16_modbus(bytes.fromhex("11 03 06 02 2b 00 00 00 64 c8 ba")) == 0


@pytest.mark.parametrize(("baud", "silence_s"), [(9600, 0.004010), (19200, 0.002005), (38400, 0.00175)])
def test_the_silence_between_frames_is_the_standards(clock: FakeClock, baud: int, silence_s: float) -> None:
    # Serial Line V1.02: 3.5 characters of 11 bits up to 19200 baud (CHECKS.md: 4.010 ms at 9600), above it 1.75 ms
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.0, words(data, {0: 1}))]
    wire.baudrate = baud
    link.read()
    ended_s, asked = clock.now_s, len(wire.written)
    link.read()
    assert wire.written[asked][0] - ended_s >= silence_s - 1e-6


def test_a_longer_silence_is_kept_when_asked_for(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0), "silence_s = 0.1\n"), clock, {})
    wire._answer = lambda data: [(0.0, words(data, {0: 1}))]
    link.read()
    ended_s, asked = clock.now_s, len(wire.written)
    link.read()
    assert wire.written[asked][0] - ended_s >= 0.1


def test_a_late_reply_is_never_taken_for_another_register(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 100)), clock, {})
    wire._answer = lambda data: [(30.0, words(data, {0: 99}))]
    with pytest.raises(LinkError, match="silent"):
        link.read()
    wire._answer = lambda data: [(0.01, words(data, {0: 5, 100: 7}))]
    late_s = wire.written[0][0] + 30.0
    while clock.now_s < late_s + 70.0:
        assert link.read().values == {"a": 5.0, "b": 7.0}
        clock.sleep(0.37)
    first, *others = [(when, length(data)) for when, data in wire.written]
    assert all(count != first[1] for when, count in others if when < late_s)  # only another length may be asked
    assert any(count == first[1] for when, count in others if when > late_s)  # it came: its length is free again


def test_a_lost_reply_keeps_its_length_for_as_long_as_it_may_be_late(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0), "late_reply_s = 20\n"), clock, {})
    with pytest.raises(LinkError, match="silent.*unit_id"):
        link.read()
    asked_s, lost = wire.written[0][0], length(wire.written[0][1])
    wire._answer = lambda data: [(0.01, words(data, {0: 5}))]
    while clock.now_s < asked_s + 30.0:
        assert link.read().values == {"a": 5.0}
        clock.sleep(1.0)
    again_s = [when for when, data in wire.written[1:] if length(data) == lost]
    assert 20.0 <= min(again_s) - asked_s < 30.0


def refused(request: bytes) -> bytes:
    """Refuse it: illegal address."""
    return frame(f"01 {request[1] | 0x80:02x} 02")


def one_register(request: bytes, value: int) -> bytes:
    """Answer for one register, refuse more: an instrument that allows one length alone."""
    return words(request, {0: value}) if length(request) == 1 else refused(request)


def test_with_one_length_alone_a_lost_reply_is_waited_for(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0), "late_reply_s = 20\n"), clock, {})
    wire._answer = lambda data: [(0.01, one_register(data, 5))]
    for _ in range(10):
        assert link.read().values == {"a": 5.0}
        clock.sleep(1.0)
    assert link.lengths() == 1
    wire._answer = lambda data: ()
    with pytest.raises(LinkError, match="no answer within"):
        link.read()
    lost_s = wire.written[-1][0]
    wire._answer = lambda data: [(0.01, one_register(data, 6))]
    while clock.now_s < lost_s + 19.0:
        with pytest.raises(LinkError, match="asked again in"):
            link.read()
        clock.sleep(1.0)
    assert wire.written[-1][0] == lost_s
    clock.sleep(1.0)
    assert link.read().values == {"a": 6.0}


def test_with_one_length_alone_a_restless_line_is_asked_whether_it_lives_before_the_length_is_spent(
    clock: FakeClock,
) -> None:
    """What begins between two readings then costs the question that brings no value: no waiting for 65 s."""
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.01, one_register(data, 5))]
    for _ in range(10):
        link.read()
        clock.sleep(1.0)
    wire._answer = lambda data: ()
    with pytest.raises(LinkError):
        link.read()
    wire._answer = lambda data: [(0.01, one_register(data, 6))]
    clock.sleep(66.0)
    assert link.read().values == {"a": 6.0}  # all is well again, but it was not long ago
    for silent_s in (1.0, 20.0, 50.0):
        wire._answer = lambda data: ()
        asked = len(wire.written)
        until_s = clock.now_s + silent_s
        while clock.now_s < until_s:
            clock.sleep(1.0)
            with pytest.raises(LinkError):
                link.read()
        assert all(length(data) > 1 for _, data in wire.written[asked:])
        wire._answer = lambda data: [(0.01, one_register(data, 7))]
        back_s = clock.now_s
        while clock.now_s < back_s + silent_s / 10 + 1.0:
            clock.sleep(1.0)
            with contextlib.suppress(LinkError):
                assert link.read().values == {"a": 7.0}
                break
        else:
            pytest.fail("not read again")


def calm(link: ModbusLink, clock: FakeClock, slots: int = 10) -> None:
    """Read for a while where all is well."""
    for _ in range(slots):
        link.read()
        clock.sleep(1.0)


def test_with_one_length_alone_what_begins_while_the_length_rests_costs_no_second_rest(clock: FakeClock) -> None:
    """A lost answer; 60 s later the line is silent for 20 s: asked for values at 65 s, it would rest until 130."""
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.01, one_register(data, 5))]
    calm(link, clock)
    wire._answer = lambda data: ()
    with pytest.raises(LinkError):
        link.read()
    lost_s = clock.now_s
    wire._answer = lambda data: [(0.01, one_register(data, 6))] if not 60 <= clock.now_s - lost_s < 80 else ()
    while clock.now_s < lost_s + 80.0:
        clock.sleep(1.0)
        with pytest.raises(LinkError):
            link.read()
    clock.sleep(3.0)
    assert link.read().values == {"a": 6.0}


def test_what_begins_while_the_link_listens_behind_an_answer_does_not_cost_the_next_block_its_length(
    clock: FakeClock,
) -> None:
    """On a restless line of two blocks the first is answered; within the next tenth of a second all falls silent."""
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 100)), clock, {})
    silent_from_s = float("inf")

    def answer(data: bytes) -> Answer:
        return [(0.04, one_register(data, 5))] if clock.now_s < silent_from_s else ()

    wire._answer = answer
    calm(link, clock)
    wire.arrives(0.01, b"\0\0")  # something odd
    clock.sleep(1.0)
    calm(link, clock, 2)
    asked = len(wire.written)

    def last_answer(data: bytes) -> Answer:
        nonlocal silent_from_s
        if length(data) == 1 and data[2:4] == b"\0\0":
            silent_from_s = clock.now_s + 0.05
        return answer(data)

    wire._answer = last_answer
    with pytest.raises(LinkError):
        link.read()
    assert [data[3] for _, data in wire.written[asked:] if length(data) == 1] == [0]
    silent_from_s = float("inf")
    wire._answer = answer
    clock.sleep(1.0)
    assert link.read().values["a"] == 5.0


def three_registers(request: bytes, value: int) -> bytes:
    """Answer for up to three registers from 0 on, refuse more."""
    return words(request, {0: value}) if length(request) <= 3 else frame(f"01 {request[1] | 0x80:02x} 02")


@pytest.mark.parametrize("silent_s", [10.0, 40.0, 60.0])
def test_a_line_that_was_silent_is_read_again_soon_and_its_silence_uses_up_few_lengths(
    clock: FakeClock, silent_s: float
) -> None:
    """What it refuses is asked until it is refused again: within a tenth of the silence, and two slots."""
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.01, three_registers(data, 5))]
    for _ in range(20):
        assert link.read().values == {"a": 5.0}
        clock.sleep(1.0)
    wire._answer = lambda data: ()
    begins_s = clock.now_s
    while clock.now_s < begins_s + silent_s:
        with contextlib.suppress(LinkError):
            link.read()
        clock.sleep(1.0)
    asked = [data for when, data in wire.written if when >= begins_s]
    assert sum(length(data) <= 3 for data in asked) <= 2
    assert len(asked) <= 25
    wire._answer = lambda data: [(0.01, three_registers(data, 6))]
    back_s = clock.now_s
    while clock.now_s <= back_s + silent_s / 10 + 2.0:
        with contextlib.suppress(LinkError):
            assert link.read().values == {"a": 6.0}
            return
        clock.sleep(1.0)
    pytest.fail("not read again")


def test_refusals_of_a_gateway_that_kept_all_questions_are_no_answers_to_the_one_that_is_asked(
    clock: FakeClock,
) -> None:
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.01, three_registers(data, 5))]
    for _ in range(20):
        link.read()
        clock.sleep(1.0)
    wakes_s = clock.now_s + 30.0
    queue: list[bytes] = []

    def kept(request: bytes) -> Answer:
        if clock.now_s < wakes_s:
            queue.append(request)
            return []
        old, queue[:] = list(queue), []
        behind = [(0.02 * i, three_registers(data, 5)) for i, data in enumerate(old)]
        return [*behind, (0.02 * len(old), three_registers(request, 6))]

    wire._answer = kept
    values = []
    while clock.now_s < wakes_s + 20.0:
        with contextlib.suppress(LinkError):
            values.append(link.read().values)
        clock.sleep(1.0)
    assert values
    assert all(reading == {"a": 6.0} for reading in values)


def test_the_lengths_an_instrument_allows_are_tried_behind_and_before(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 10)), clock, {})

    def answer(data: bytes) -> Answer:
        start, count = int.from_bytes(data[2:4], "big"), length(data)
        there = start >= 6 and start + count <= 13  # registers 6 to 12: two behind, four before
        if data[1] == 4:
            return []  # silent, where others would refuse
        return [(0.01, words(data, {10: 5}) if there else frame("01 83 02"))]

    wire._answer = answer
    for _ in range(20):
        assert link.read().values == {"a": 5.0}
        clock.sleep(1.0)
    assert link.lengths() == 7


@pytest.mark.parametrize("apart_s", [0.03, 0.3])
@pytest.mark.parametrize("opened_anew", [False, True])
def test_an_instrument_that_hung_answers_all_its_old_questions_and_no_value_is_mixed_up(
    clock: FakeClock, apart_s: float, opened_anew: bool
) -> None:
    found = furnace(sensor("a", 0) + sensor("b", 100))
    wakes_s = clock.now_s + 20.0
    free_s = [wakes_s]

    def queued(request: bytes) -> Answer:
        free_s[0] = max(free_s[0], clock.now_s) + (apart_s if clock.now_s < wakes_s + 5.0 else 0.01)
        return [(free_s[0] - clock.now_s, words(request, {0: 10, 100: 100}))]

    link, wire = opened(found, clock, {})
    wire._answer = queued
    values = []
    for _ in range(60):
        if opened_anew and 19.0 < clock.now_s - wakes_s + 20.0 < 21.0:
            link = ModbusLink(found, Port(wire, "P"), clock)
        clock.sleep(0.5)
        with contextlib.suppress(LinkError):
            values.append(link.read().values)
    assert len(values) > 10
    assert all(reading == {"a": 10.0, "b": 100.0} for reading in values)


def test_blocks_that_cannot_be_mixed_up_cost_no_waiting(clock: FakeClock) -> None:
    link, wire = opened(furnace(TWO_TABLES), clock, {})
    wire._answer = lambda data: [(0.01, words(data, {}))]
    for _ in range(3):
        link.read()
    begin_s = clock.now_s
    link.read()
    assert clock.now_s - begin_s < 0.1


def test_a_line_that_never_falls_quiet_is_garbled(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    babble = [(0.005 * i, b"\0") for i in range(1, 400)]
    wire._answer = lambda data: [(0.01, words(data, {})), *babble]
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.reason == "garbled"


def test_a_failed_read_is_tried_again_where_the_interval_leaves_the_time(clock: FakeClock) -> None:
    found = furnace(sensor("a", 0), every_s=10.0)
    link, wire = opened(found, clock, {})
    wire._answer = lambda data: [(0.01, words(data, {0: 5}))] if len(wire.written) > 1 else ()
    reading = link.read()
    assert reading.values == {"a": 5.0}
    assert reading.missed == 1


def test_a_lost_answer_leaves_the_time_to_ask_again_where_the_timeout_is_as_long_as_the_interval(
    clock: FakeClock,
) -> None:
    link, wire = opened(furnace(sensor("a", 0), every_s=0.2), clock, {})
    wire._answer = lambda data: [(0.01, words(data, {0: 5}))]
    for _ in range(3):
        link.read()
        clock.sleep(0.2)
    lost = [True]
    wire._answer = lambda data: () if lost and lost.pop() else [(0.01, words(data, {0: 6}))]
    begin_s = clock.now_s
    reading = link.read()
    assert (reading.values, reading.missed) == ({"a": 6.0}, 1)
    assert clock.now_s - begin_s <= 0.2


def test_an_instrument_that_takes_its_time_is_waited_for(clock: FakeClock) -> None:
    """Answers at 0.1 of 0.2 s: one that comes after 0.14 s is no lost one."""
    link, wire = opened(furnace(sensor("a", 0), "late_reply_s = 1\n", every_s=0.2), clock, {})
    wire._answer = lambda data: [(0.1, words(data, {0: 5}))]
    for _ in range(10):
        link.read()
        clock.sleep(0.2)
    wire._answer = lambda data: [(0.14, words(data, {0: 6}))]
    reading = link.read()
    assert (reading.values, reading.missed) == ({"a": 6.0}, 0)


@pytest.mark.parametrize(
    ("reply", "reason"),
    [
        (b"", "silent"),
        (frame("01 03 02 00 05")[:-1] + b"\0", "garbled"),  # wrong checksum
        (frame("01 03 02 00 05")[:4], "garbled"),  # cut
        (frame("02 03 02 00 05"), "garbled"),  # another unit's
        (frame("01 04 02 00 05"), "garbled"),  # another function's
        (frame("01 03 04 00 05 00 06"), "garbled"),  # more registers than asked for
        (frame("01 03 00 00 00 01"), "echo"),
        (frame("01 85 02"), "garbled"),  # a refusal, but not of what was asked
        (frame("01 83 02 00"), "garbled"),  # longer than any refusal
        (frame("01 03 02 00 05") + frame("01 03 02 00 06"), "garbled"),  # two replies glued together
    ],
)
def test_reasons_are_told_apart(clock: FakeClock, reply: bytes, reason: str) -> None:
    request = frame("01 03 00 00 00 01").hex(" ")
    link, _ = opened(furnace(sensor("a", 0)), clock, {request: [(0.01, reply)]})
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.reason == reason
    assert caught.value.exit_code == 1
    assert str(caught.value).startswith("P: ")


def test_bytes_that_come_unasked_between_two_blocks_stop_the_reading(clock: FakeClock) -> None:
    holding, inputs = frame("01 03 00 00 00 01").hex(" "), frame("01 04 00 00 00 01").hex(" ")
    twice: Answer = [(0.01, frame("01 03 02 00 05")), (0.011, frame("01 04 02 00 63"))]
    link, wire = opened(furnace(TWO_TABLES), clock, {holding: twice, inputs: [(0.01, frame("01 04 02 00 07"))]})
    with pytest.raises(LinkError, match="more bytes came") as caught:
        link.read()
    assert caught.value.reason == "garbled"
    assert {data[1] for _, data in wire.written} == {3}


def test_an_echoing_adapter_can_be_declared(clock: FakeClock) -> None:
    request = frame("01 03 00 00 00 01")
    reply: Answer = [(0.001, request), (0.01, frame("01 03 02 00 05"))]
    link, _ = opened(furnace(sensor("a", 0), "echo = true\n"), clock, {request.hex(" "): reply})
    assert link.read().values == {"a": 5.0}


def test_an_echo_that_nobody_declared_hides_no_answer_behind_it(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire._answer = lambda data: [(0.001, data), (0.01, words(data, {0: 5}))]
    assert link.read().values == {"a": 5.0}


@pytest.mark.parametrize("register", [0x0200, 0x1000])  # as the request goes on, so does a reply
def test_a_reply_that_begins_as_its_question_is_no_echo(clock: FakeClock, register: int) -> None:
    """Unit, function and the first byte of the register number stand where unit, function and size of a reply do."""
    link, wire = opened(furnace(sensor("a", register)), clock, {})
    wire._answer = lambda data: [(0.01, words(data, {register: 0}))]
    begin_s = clock.now_s
    assert link.read().values == {"a": 0.0}
    assert clock.now_s - begin_s < 0.3


def test_an_adapter_that_hands_nothing_back_is_not_an_echoing_one(clock: FakeClock) -> None:
    request = frame("01 03 00 00 00 01").hex(" ")
    reply: Answer = [(0.01, frame("01 03 02 00 05"))]
    link, _ = opened(furnace(sensor("a", 0), "echo = true\n"), clock, {request: reply})
    with pytest.raises(LinkError, match=r"did not come back first\. Is echo = true right"):
        link.read()


@pytest.mark.parametrize(
    "error",
    [serial.SerialException("gone"), OSError(5, "Input/output error"), TypeError("fd"), ValueError("closed")],
)
def test_a_port_that_goes_away_is_missing(clock: FakeClock, error: Exception) -> None:
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire.failing = error
    with pytest.raises(LinkError, match="P: gone while in use") as caught:
        link.read()
    assert caught.value.reason == "missing"


def test_a_terminal_error_is_no_oserror_and_is_caught(clock: FakeClock) -> None:
    termios = pytest.importorskip("termios")
    assert not issubclass(termios.error, OSError)
    link, wire = opened(furnace(sensor("a", 0)), clock, {})
    wire.failing = termios.error(5, "Input/output error")
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.reason == "missing"
    link.close()
    assert wire.closed


def test_a_block_whose_gaps_are_refused_is_read_in_pieces_from_then_on(clock: FakeClock) -> None:
    answers: dict[str, Answer] = {
        frame("01 03 00 00 00 05").hex(" "): [(0.01, frame("01 83 02"))],
        frame("01 03 00 00 00 01").hex(" "): [(0.01, frame("01 03 02 00 05"))],
        frame("01 03 00 04 00 01").hex(" "): [(0.01, frame("01 03 02 00 06"))],
    }
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 4)), clock, answers)
    assert link.read().values == {"a": 5.0, "b": 6.0}
    assert [data[2:6].hex() for _, data in wire.written[:3]] == ["00000005", "00000005", "00000001"]  # twice: it counts
    asked = len(wire.written)
    assert link.read().values == {"a": 5.0, "b": 6.0}
    assert "00000005" not in {data[2:6].hex() for _, data in wire.written[asked:]}
    answers[frame("01 03 00 00 00 05").hex(" ")] = [(0.01, frame("01 03 0a 00 05 00 00 00 00 00 00 00 07"))]
    clock.sleep(60.0)  # it was a passing refusal: the block is whole again
    assert link.read().values == {"a": 5.0, "b": 7.0}


def test_one_refusal_alone_splits_nothing(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 4)), clock, {})
    once = [frame("01 83 02")]
    wire._answer = lambda data: [(0.01, once.pop() if once else words(data, {0: 5, 4: 6}))]
    for _ in range(3):
        assert link.read().values == {"a": 5.0, "b": 6.0}
        clock.sleep(1.0)
    assert all(length(data) >= 5 for _, data in wire.written)


def test_a_late_refusal_is_no_refusal_of_the_next_question(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 4)), clock, {})
    wire._answer = lambda data: [(0.2 + 0.1 * len(wire.written), frame("01 83 02"))]
    with pytest.raises(LinkError):
        link.read()
    wire._answer = lambda data: [(0.15, words(data, {0: 5, 4: 6}))]
    for _ in range(3):
        with contextlib.suppress(LinkError):
            assert link.read().values == {"a": 5.0, "b": 6.0}
    assert all(length(data) >= 5 for _, data in wire.written)


def test_one_register_that_is_not_there_leaves_its_neighbours_readings(clock: FakeClock) -> None:
    answers: dict[str, Answer] = {
        frame("01 03 00 00 00 02").hex(" "): [(0.01, frame("01 83 02"))],
        frame("01 03 00 00 00 01").hex(" "): [(0.01, frame("01 03 02 00 05"))],
        frame("01 03 00 01 00 01").hex(" "): [(0.01, frame("01 83 02"))],
    }
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 1)), clock, answers)
    for _ in range(2):
        reading = link.read()
        assert reading.values == {"a": 5.0, "b": None}
        assert reading.faults == {"b": "refused"}
    asked = [data[2:6].hex() for _, data in wire.written]
    assert asked.count("00010001") == 3  # twice to know it, then once with each reading


def test_a_busy_instrument_is_refused_and_its_block_stays_whole(clock: FakeClock) -> None:
    request = frame("01 03 00 00 00 02").hex(" ")
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 1)), clock, {request: [(0.01, frame("01 83 06"))]})
    for _ in range(2):
        with pytest.raises(LinkError, match=r"busy\. Look at the instrument") as caught:
            link.read()
        assert caught.value.reason == "refused"
    assert {data.hex(" ") for _, data in wire.written} == {request}


def test_one_refused_table_leaves_the_other_ones_readings(clock: FakeClock) -> None:
    answers: dict[str, Answer] = {
        frame("01 03 00 00 00 01").hex(" "): [(0.01, frame("01 83 02"))],
        frame("01 04 00 00 00 01").hex(" "): [(0.01, frame("01 04 02 00 07"))],
    }
    link, _ = opened(furnace(TWO_TABLES), clock, answers)
    reading = link.read()
    assert reading.values == {"control": None, "load": 7.0}
    assert reading.faults == {"control": "refused"}
    assert len(reading.texts) == 1


def test_faults_and_contacts(clock: FakeClock) -> None:
    parts = (
        sensor("a", 0, 'table = "holding"\nscale = 0.1\noffset = 2\nfault_values = [32767, -32768]')
        + sensor("b", 1, 'table = "holding"\nfault_values = [32767]')
        + sensor("c", 2, 'table = "holding"\nfault_register = 3\nfault_words = ["open circuit", "", "over range"]')
        + '[[contact]]\nname = "door"\ntable = "holding"\nregister = 4\nbit = 3\n'
        + '[[contact]]\nname = "foot"\ntable = "holding"\nregister = 4\nbit = 0\nclosed_is = 0\nmeans = "next"\n'
    )
    request = frame("01 03 00 00 00 05").hex(" ")
    words = "28 97 7f ff 00 14 00 06 00 09"  # 10391, 32767, 20, bits 1 and 2, bits 0 and 3
    link, _ = opened(furnace(parts), clock, {request: [(0.01, frame("01 03 0a " + words))]})
    reading = link.read()
    assert reading.values == {"a": 1041.1, "b": None, "c": None, "door": 1.0, "foot": 0.0}
    assert reading.faults == {"b": "fault value 32767", "c": "over range"}


def ascii_frame(text: str) -> bytes:
    """Colon, hex digits, LRC (two's complement of the sum of the bytes, Serial Line V1.02), CR LF."""
    data = bytes.fromhex(text)
    return b":" + (data + bytes([-sum(data) & 0xFF])).hex().upper().encode() + b"\r\n"


@pytest.mark.parametrize(
    ("reply", "reason"),
    [
        (ascii_frame("01 83 02"), "refused"),
        (ascii_frame("01 03 02 00 05")[:-1], "garbled"),
        (ascii_frame("01 03 02 00 05").replace(b"5", b"6", 1), "garbled"),
        (ascii_frame("02 03 02 00 05"), "garbled"),
        (ascii_frame("01 03 00 00 00 01"), "echo"),
        (b"", "silent"),
    ],
)
def test_ascii_framing_tells_the_reasons_apart_too(clock: FakeClock, reply: bytes, reason: str) -> None:
    found = furnace(sensor("a", 0), 'framing = "ascii"\n')
    request = ascii_frame("01 03 00 00 00 01")
    assert request == b":010300000001FB\r\n"  # by hand: 01 + 03 + 01 = 05, 100 - 05 = FB
    link, wire = opened(found, clock, {request.hex(" "): [(0.01, reply)]})
    begin_s = clock.now_s
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.reason == reason
    assert reason != "refused" or clock.now_s - begin_s < 0.05
    wire._answer = lambda data: [(0.01, ascii_frame("01 03 02 00 05"))]
    assert link.read().values == {"a": 5.0}


def test_a_late_ascii_reply_is_recognised(clock: FakeClock) -> None:
    link, wire = opened(furnace(sensor("a", 0), 'framing = "ascii"\n'), clock, {})
    wire._answer = lambda data: [(0.3, ascii_frame("01 03 02 00 09"))] if len(wire.written) == 1 else ()
    with pytest.raises(LinkError):
        link.read()
    clock.sleep(1.0)
    wire._answer = lambda data: [(0.01, ascii_frame("01 03 02 00 05"))]
    assert link.read().values == {"a": 5.0}  # the late one came: its length may be asked again
    assert wire.written[-1][1] == wire.written[0][1]


def test_nothing_but_functions_3_and_4_leaves_the_wire(clock: FakeClock) -> None:
    found = furnace(sensor("a", 0))
    port = FakeSerial(clock, lambda data: ())
    wire = Wire(Port(port, "P"), found.link, clock, Questions(65.0, 0.0))
    for function in range(256):
        request = frame(f"01 {function:02x} 00 00 00 01")
        if function in (3, 4):
            wire.write(request)
        else:
            with pytest.raises(LinkError, match="never sent"):
                wire.write(request)
    assert {data[1] for _, data in port.written} == {3, 4}


def test_a_probe_that_is_answered_no_more_costs_no_more_than_a_few_readings(clock: FakeClock) -> None:
    """An instrument that stays silent to what it used to refuse, after something odd."""
    link, wire = opened(furnace(sensor("a", 0), "late_reply_s = 10\n"), clock, {})
    wire._answer = lambda data: [(0.01, one_register(data, 5))]
    for _ in range(20):
        link.read()
        clock.sleep(1.0)
    wire._answer = lambda data: ()
    with pytest.raises(LinkError):
        link.read()
    wire._answer = lambda data: [(0.01, words(data, {0: 6}))] if length(data) == 1 else []
    had = 0
    for _ in range(120):
        clock.sleep(1.0)
        with contextlib.suppress(LinkError):
            had += link.read().values == {"a": 6.0}
    assert had > 60


def test_where_the_interval_is_short_for_it_the_questions_that_bring_no_value_are_left_out(clock: FakeClock) -> None:
    """Five questions of 0.05 s and two times of listening do not fit into 0.25 s; two do."""
    found = furnace(sensor("a", 0) + sensor("b", 100), "late_reply_s = 5\n", every_s=0.25)
    link, wire = opened(found, clock, {})
    wire._answer = lambda data: [(0.05, words(data, {0: 5, 100: 7}))]
    begin_s = clock.now_s
    for slot in range(200):
        clock.now_s = max(clock.now_s, begin_s + 0.25 * slot)
        with contextlib.suppress(LinkError):
            reading = link.read()
        if slot == 100:
            wire.arrives(0.01, b"\0\0")  # something odd
        if slot > 101:
            assert (reading.values, reading.texts) == ({"a": 5.0, "b": 7.0}, ())


LONE_AND_PAIR = sensor("a", 0) + sensor("b", 100) + sensor("c", 101)


@pytest.mark.parametrize("parts", [sensor("a", 0), sensor("a", 0) + sensor("b", 100), TWO_TABLES, LONE_AND_PAIR])
def test_an_instrument_that_leaves_longer_questions_unanswered_is_read_all_the_time(
    clock: FakeClock, parts: str
) -> None:
    """Instead of refusing them, as the standard has it: that they are not answered is no sign of a silent line.

    A length by which one block is read is tried for another twice, and is missing there for 65 s each time.
    """
    link, wire = opened(furnace(parts), clock, {})
    there = {0, 100, 101} if parts == LONE_AND_PAIR else {0, 100}

    def answer(data: bytes) -> Answer:
        start = int.from_bytes(data[2:4], "big")
        known = there.issuperset(range(start, start + length(data)))
        return [(0.01, words(data, {0: 5, 100: 7}))] if known else ()

    wire._answer = answer
    had, begin_s = 0, clock.now_s
    for slot in range(1000):
        clock.now_s = max(clock.now_s, begin_s + slot)
        with contextlib.suppress(LinkError):
            had += None not in link.read().values.values() and slot >= 400
    assert had >= 594


@pytest.mark.parametrize("times", [1, 2])
def test_an_old_answer_that_comes_again_as_the_line_falls_silent_is_no_answer(clock: FakeClock, times: int) -> None:
    """Two registers and one length: the answer about one comes again 2 s late, as the question about the other is lost.

    A line that lives would have sent the true one behind it. Answers came twice before, or this is the first one.
    """
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 100)), clock, {})
    alone = {(0,): 5, (100,): 7}

    def answer(data: bytes) -> Answer:
        start = int.from_bytes(data[2:4], "big")
        refusal = frame(f"01 {data[1] | 0x80:02x} 02")
        return [(0.01, words(data, {0: 5, 100: 7}) if length(data) == 1 and (start,) in alone else refusal)] * times

    wire._answer = answer
    for _ in range(80):
        with contextlib.suppress(LinkError):
            assert link.read().values == {"a": 5.0, "b": 7.0}
        clock.sleep(1.0)

    def falls_silent(data: bytes) -> Answer:
        if data[1] == 3 and data[2:4] == b"\0\x64":
            wire._answer = lambda data: ()
            return [(0.02, frame("01 03 02 00 05"))]  # what was said of the other
        return answer(data)

    wire._answer = falls_silent
    with pytest.raises(LinkError):
        link.read()


def test_two_registers_that_hold_the_same_are_read_all_the_time(clock: FakeClock) -> None:
    """One length, so that the answers are the same byte for byte."""
    link, wire = opened(furnace(sensor("a", 0) + sensor("b", 100)), clock, {})
    wire._answer = lambda data: [(0.01, words(data, {0: 5, 100: 5}) if length(data) == 1 else refused(data))]
    for _ in range(160):
        assert link.read().values == {"a": 5.0, "b": 5.0}
        clock.sleep(1.0)


def test_a_refusal_that_comes_again_frees_no_length_whose_answer_may_come(clock: FakeClock) -> None:
    """Two tables, so that the probe is refused by the function of a block; a refusal came twice before."""
    asked = Questions(65.0, 0.0)
    found = furnace(TWO_TABLES)
    port = FakeSerial(clock, lambda data: (), timeout=WAIT_S)
    wire = Wire(Port(port, "P"), found.link, clock, asked)
    refusal = frame("01 83 02")
    for _ in range(2):  # nobody had asked, twice: what comes may come again
        port.arrives(0.0, refusal)
        wire.reset_input_buffer()
    wire.write(frame("01 03 00 00 00 01"))
    port.arrives(0.01, refusal)
    clock.sleep(0.1)
    wire.reset_input_buffer()
    assert asked.may_come((3, 1), clock.now_s)
    port.arrives(0.01, frame("01 83 06"))  # this one is new: the length is free
    clock.sleep(0.1)
    wire.reset_input_buffer()
    assert not asked.may_come((3, 1), clock.now_s)
