"""Which registers are read in one go, and how their words become numbers. No port, no waiting."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from soakwitness.firmware_bridge.furnace.sensors_and_links import ModbusSource, Table

LARGEST_BLOCK = 125  # MODBUS Application Protocol V1.1b3, 6.3 and 6.4: quantity of registers 1 to 125
LAST_REGISTER = 65535
MOST_ALONG = 7  # registers read along at most, for other lengths of reply
LARGEST_GAP = 16  # registers read along and thrown away: cheaper than a second transaction
FUNCTION = {"holding": 3, "input": 4}
_PACKED = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}

Words = Mapping[tuple[str, int], int]  # (table, register) -> word
Form = tuple[int, int]  # function code, number of registers


@dataclass(frozen=True)
class Block:
    """Registers ``start`` to ``start + count - 1`` of one table; ``used`` are those that are asked for."""

    table: Table
    start: int
    count: int
    used: frozenset[int]

    @property
    def has_gaps(self) -> bool:
        """Whether registers are read that nobody asked for: an instrument may refuse those."""
        return len(self.used) < self.count

    def words(self, registers: Sequence[int]) -> dict[tuple[str, int], int]:
        """Name the words of a reply."""
        return {(self.table, self.start + i): word for i, word in enumerate(registers)}


@dataclass(frozen=True)
class BlockQuestion:
    """Registers ``start`` to ``start + count - 1`` by one function code."""

    function: int
    start: int
    count: int

    @property
    def form(self) -> Form:
        """What its reply shows of it."""
        return self.function, self.count


def registers_of(source: ModbusSource) -> range:
    """Registers that hold a number."""
    return range(source.register, source.register + (2 if source.format.endswith("32") else 1))


def plan_blocks(sources: Iterable[ModbusSource], largest_gap: int = LARGEST_GAP) -> tuple[Block, ...]:
    """Group registers into as few blocks as gaps and the largest block allow; a number is never cut in two."""
    spans: dict[Table, list[range]] = {}
    for source in sources:
        spans.setdefault(source.table, []).append(registers_of(source))
    blocks: list[Block] = []
    for table in sorted(spans):
        group: list[range] = []
        for span in sorted(spans[table], key=lambda r: (r.start, r.stop)):
            end = max((r.stop for r in group), default=span.start)
            start = group[0].start if group else span.start
            if group and (span.start - end > largest_gap or max(span.stop, end) - start > LARGEST_BLOCK):
                blocks.append(_block(table, group))
                group = []
            group.append(span)
        blocks.append(_block(table, group))
    return tuple(blocks)


def _block(table: Table, spans: Sequence[range]) -> Block:
    start, stop = spans[0].start, max(span.stop for span in spans)
    return Block(table, start, stop - start, frozenset(register for span in spans for register in span))


def number(source: ModbusSource, words: Words) -> float | None:
    """Give the raw number at a source, None where one of its words is missing; a float may be NaN."""
    found = [words.get((source.table, register)) for register in registers_of(source)]
    parts = [word for word in found if word is not None]
    if len(parts) < len(found):
        return None
    if source.word_order == "low first":
        parts.reverse()
    if source.bit is not None:
        return float(parts[0] >> source.bit & 1)
    return float(struct.unpack(_PACKED[source.format], struct.pack(f">{len(parts)}H", *parts))[0])
