"""Which registers are read together, and what their words mean."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.firmware_bridge.furnace.sensors_and_links import LineSource, ModbusSource
from soakwitness.firmware_bridge.links.blocks import LARGEST_BLOCK, number, plan_blocks, registers_of
from soakwitness.firmware_bridge.links.numbers import fault_word, is_fault, scaled

SOURCES = st.builds(
    ModbusSource,
    table=st.sampled_from(["input", "holding"]),
    register=st.integers(0, 400),
    format=st.sampled_from(["int16", "uint16", "int32", "uint32", "float32"]),
    word_order=st.sampled_from(["high first", "low first"]),
)


@given(st.lists(SOURCES, min_size=1, max_size=40), st.sampled_from([0, 16]))
def test_every_number_is_whole_in_one_block_of_its_table(sources: list[ModbusSource], gap: int) -> None:
    blocks = plan_blocks(sources, gap)
    for source in sources:
        mine = set(registers_of(source))
        assert any(b.table == source.table and mine <= set(range(b.start, b.start + b.count)) for b in blocks)
    for block in blocks:
        assert 1 <= block.count <= LARGEST_BLOCK
        assert block.start in block.used
        assert block.start + block.count - 1 in block.used
        unused = [r for r in range(block.start, block.start + block.count) if r not in block.used]
        assert gap or not unused


def test_one_block_where_the_registers_allow_it() -> None:
    near = [ModbusSource("holding", r) for r in (0, 2, 18)]
    assert [(b.start, b.count, b.has_gaps) for b in plan_blocks(near)] == [(0, 19, True)]
    far = [ModbusSource("holding", r) for r in (0, 18)]
    assert [(b.start, b.count) for b in plan_blocks(far)] == [(0, 1), (18, 1)]
    long = [ModbusSource("input", r) for r in range(126)]
    assert [(b.start, b.count) for b in plan_blocks(long)] == [(0, 125), (125, 1)]


@pytest.mark.parametrize(
    ("kind", "packed"),
    # IEEE 754 binary32 of 1050.5: sign 0, exponent 127 + 10 = 0x89, fraction 1050.5/1024 - 1: 0x44835000
    [("float32", (0x4483, 0x5000)), ("int32", (0xFFFF, 0xFFFE)), ("uint32", (0x0001, 0x0000))],
)
def test_two_words_in_both_orders(kind: str, packed: tuple[int, int]) -> None:
    expected = {"float32": 1050.5, "int32": -2.0, "uint32": 65536.0}[kind]
    high = ModbusSource("input", 5, kind, "high first")  # type: ignore[arg-type]
    low = ModbusSource("input", 5, kind, "low first")  # type: ignore[arg-type]
    assert number(high, {("input", 5): packed[0], ("input", 6): packed[1]}) == expected
    assert number(low, {("input", 5): packed[1], ("input", 6): packed[0]}) == expected
    assert number(high, {("input", 5): packed[0]}) is None
    assert number(high, {("holding", 5): packed[0], ("holding", 6): packed[1]}) is None


def test_a_float_that_is_no_number_is_a_fault() -> None:
    words = struct.unpack(">2H", struct.pack(">f", float("nan")))
    raw = number(ModbusSource("input", 0, "float32"), {("input", 0): words[0], ("input", 1): words[1]})
    assert raw is not None
    source = ModbusSource("input", 0, "float32")
    assert is_fault(raw, (), source)
    assert is_fault(float("inf"), (), source)
    assert not is_fault(0.0, (), source)


@pytest.mark.parametrize("value", [9999.9, -999.9, 3276.7, 1e20])
def test_a_fault_value_with_a_fraction_is_known_in_32_bits(value: float) -> None:
    # IEEE 754 binary32 has 24 bits: none of these is a binary32 number, 9999.9 becomes 9999.900390625
    source = ModbusSource("input", 0, "float32")
    for step in (-1, 0, 1):  # an instrument that computed it may be off by one in the last place
        bits = struct.unpack(">I", struct.pack(">f", value))[0] + step
        raw = number(source, {("input", 0): bits >> 16, ("input", 1): bits & 0xFFFF})
        assert raw is not None
        assert raw != value
        assert is_fault(raw, (value,), source)
        assert not is_fault(raw * 1.00001, (value,), source)
    assert not is_fault(9999.9004, (9999.9,), LineSource(field=1))


def test_fault_words() -> None:
    assert fault_word(0, ()) is None
    assert fault_word(0x12, ()) == "fault 0x12"
    assert fault_word(0b101, ("open", "", "over")) == "open, over"
    assert fault_word(0b1010, ("open", "", "over")) is None


def test_a_scale_leaves_no_dust() -> None:
    from soakwitness.firmware_bridge.furnace.sensors_and_links import Signal

    part = Signal("a", ModbusSource("input", 0), scale=0.1)
    assert 3 * 0.1 != 0.3  # what binary fractions make of it
    assert scaled(part, 3) == 0.3
