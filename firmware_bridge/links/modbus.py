"""Modbus RTU and ASCII through minimalmodbus, reading only: function codes 3 and 4 and nothing else, ever.

A late reply carries no transaction number: taken for the answer to the next request it is a wrong value with a right
checksum. So everything is read in one block where the registers allow it, and after any failed read the link waits
past the slowest reply and empties its input before it asks again. An instrument that hung for longer answers all that
it was asked meanwhile, one reply after the other: where two blocks look alike on the wire, the first reply after that
counts only if nothing comes behind it.
"""

from __future__ import annotations

import time
from collections.abc import Mapping

import minimalmodbus

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.errors import LinkError, LinkReason
from soakwitness.firmware_bridge.furnace.model import Contact, Furnace, ModbusSource, Sensor, Signal
from soakwitness.firmware_bridge.links.base import Clock, Reading
from soakwitness.firmware_bridge.links.blocks import FUNCTION, Block, Words, number, plan_blocks
from soakwitness.firmware_bridge.links.frames import Wire
from soakwitness.firmware_bridge.links.numbers import fault_word, is_fault, scaled
from soakwitness.firmware_bridge.links.port import Port, open_port

_SLOWEST_AT_LEAST_S = 1.0
_SLOWEST_TIMEOUTS = 3  # an answer is given up for good after so many timeouts
_LONGEST_LISTEN = 10  # times the slowest answer
_LOOK_EVERY_S = 0.01
_TRY_AGAIN_WITHIN = 0.5  # of the sampling interval


class ModbusLink:
    """Reads all columns of a furnace file; see ``links.base.Link``."""

    def __init__(self, furnace: Furnace, port: Port, clock: Clock | None = None) -> None:
        self._furnace = furnace
        self._settings = furnace.link
        self._clock: Clock = clock or time
        self._port = port
        self._wire = Wire(port, furnace.link, self._clock)
        self._instrument = minimalmodbus.Instrument(self._wire, furnace.link.unit_id, mode=furnace.link.framing)
        self._instrument.handle_local_echo = furnace.link.echo
        self._blocks = plan_blocks(_sources(furnace))
        self._asked_s: float | None = None  # when the read that failed asked; None: nothing can come late
        self._in_doubt = True  # what was asked before this link was opened may still be answered

    def read(self) -> Reading:
        """Read all blocks; a failed read is tried once more where the sampling interval leaves the time."""
        until_s = self._clock.monotonic() + _TRY_AGAIN_WITHIN * self._furnace.every_s
        try:
            return self._read_once(missed=0)
        except LinkError as error:
            again_s = (self._asked_s or 0.0) + self._slowest_s()
            if error.reason not in ("silent", "garbled") or again_s > until_s:
                raise
        return self._read_once(missed=1)

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def describe(self) -> str:
        """Port, settings and protocol in one phrase."""
        s = self._settings
        line = f"{s.baud} baud, {s.data_bits}{s.parity}{s.stop_bits}"
        return f"Modbus {s.framing.upper()}, unit {s.unit_id}, on {s.port} ({line})"

    def _read_once(self, missed: int) -> Reading:
        words: dict[tuple[str, int], int] = {}
        refused: dict[tuple[str, int], str] = {}
        error: LinkError | None = None
        waiting = list(self._blocks)
        while waiting:
            block = waiting.pop(0)
            try:
                words.update(block.words(self._ask(block)))
            except LinkError as failed:
                if failed.reason != "refused":
                    raise
                pieces = self._split(block, failed)
                if pieces:
                    waiting[:0] = pieces
                    continue
                error = failed
                refused.update(dict.fromkeys(((block.table, r) for r in block.used), str(failed)))
        if error is not None and not words:
            raise error
        return self._reading(words, refused, missed)

    def _ask(self, block: Block) -> list[int]:
        words = self._ask_once(block)
        if not self._in_doubt or not self._has_twin(block):
            return words
        alone = self._nothing_follows(block)
        self._in_doubt = False
        return words if alone else self._ask_once(block)

    def _has_twin(self, block: Block) -> bool:
        """Whether a reply to another block would pass for one to this block."""
        return any(b != block and (b.table, b.count) == (block.table, block.count) for b in self._blocks)

    def _nothing_follows(self, block: Block) -> bool:
        """Listen until it was quiet for as long as the slowest answer takes; say whether it was quiet all along."""
        begin_s = quiet_s = self._clock.monotonic()
        while (now_s := self._clock.monotonic()) - quiet_s < self._slowest_s():
            if now_s - begin_s > _LONGEST_LISTEN * self._slowest_s():
                raise self._failed("garbled", block, "answers to older questions keep coming")
            self._clock.sleep(_LOOK_EVERY_S)
            if self._port.read_waiting():
                quiet_s = self._clock.monotonic()
        return quiet_s == begin_s

    def _ask_once(self, block: Block) -> list[int]:
        self._settle()
        self._asked_s = self._clock.monotonic()
        try:
            reply = self._instrument.read_registers(block.start, block.count, functioncode=FUNCTION[block.table])
            if self._wire.has_more():
                raise self._failed("garbled", block, "more bytes came than were asked for")
        except minimalmodbus.NoResponseError as error:
            raise self._failed("silent", block, f"no answer within {duration(self._settings.timeout_s)}") from error
        except minimalmodbus.SlaveReportedException as error:
            if not self._wire.refused():  # minimalmodbus takes any function code above 0x7F for a refusal
                raise self._failed("garbled", block, str(error)) from error
            self._asked_s = None  # it did answer, so nothing is on its way
            raise self._failed("refused", block, str(error)) from error
        except (minimalmodbus.ModbusException, ValueError, TypeError) as error:
            reason: LinkReason = "echo" if self._wire.echoed() else "garbled"
            raise self._failed(reason, block, str(error)) from error
        self._asked_s = None
        return [int(word) for word in reply]

    def _settle(self) -> None:
        """After a failed read wait past the slowest reply, or until it has come, and empty the input."""
        if self._asked_s is None:
            return
        until_s = self._asked_s + self._slowest_s()
        late = self._port.read_waiting()
        while not self._wire.is_answer(late) and (left_s := until_s - self._clock.monotonic()) > 0:
            self._clock.sleep(min(_LOOK_EVERY_S, left_s))
            late += self._port.read_waiting()
        self._in_doubt = self._in_doubt or not self._wire.is_answer(late)
        self._port.empty()
        self._asked_s = None

    def _slowest_s(self) -> float:
        return max(_SLOWEST_TIMEOUTS * self._settings.timeout_s, _SLOWEST_AT_LEAST_S)

    def _split(self, block: Block, refusal: LinkError) -> tuple[Block, ...]:
        """After a refused address read this block in smaller pieces from now on: the rest of it may be there."""
        if not isinstance(refusal.__cause__, minimalmodbus.IllegalRequestError):
            return ()
        mine = [s for s in _sources(self._furnace) if s.table == block.table and s.register in block.used]
        pieces = plan_blocks(mine, largest_gap=0 if block.has_gaps else -1)
        if len(pieces) == 1 and not block.has_gaps:
            return ()
        at = self._blocks.index(block)
        self._blocks = (*self._blocks[:at], *pieces, *self._blocks[at + 1 :])
        return pieces

    def _failed(self, reason: LinkReason, block: Block, says: str) -> LinkError:
        last = block.start + block.count - 1
        what = f"{block.table} register{f's {block.start} to' if block.count > 1 else ''} {last}"
        step = {
            "silent": "Check power, wiring (A and B swapped?), baud, parity and unit_id.",
            "garbled": "Check baud, parity, framing and the cable's screen and termination.",
            "refused": "Check table and register in the furnace file against the instrument's manual.",
            "echo": "The adapter hands back what is sent: set echo = true in [link], or check that A and B are wired.",
        }
        if self._settings.echo and reason == "garbled" and "local echo" in says:
            says, step[reason] = "what was sent did not come back first", "Is echo = true right for this adapter?"
        if reason == "refused" and "illegal" not in says:  # busy, or broken within
            step[reason] = "Look at the instrument; it is asked again with the next reading."
        says = says.replace("Slave reported", "it says").rstrip(". ")[:120]
        return LinkError(reason, f"{self._port.name}: {reason}, {what}: {says}. {step.get(reason, '')}".rstrip())

    def _reading(self, words: Words, refused: Mapping[tuple[str, int], str], missed: int) -> Reading:
        values: dict[str, float | None] = {}
        faults: dict[str, str] = {}
        for part in self._furnace.parts:
            assert isinstance(part.source, ModbusSource)
            raw = number(part.source, words)
            if isinstance(part, Contact):
                values[part.name] = None if raw is None else float(raw == part.closed_is)
                continue
            fault = self._fault(part, raw, words)
            if fault:
                faults[part.name] = fault
            values[part.name] = None if fault or raw is None else scaled(part, raw)
        texts = tuple(dict.fromkeys(refused.values()))
        return Reading(values=values, faults=faults, texts=texts, missed=missed)

    def _fault(self, part: Sensor | Signal, raw: float | None, words: Words) -> str | None:
        if raw is None:
            return "refused"
        if isinstance(part, Sensor) and isinstance(part.fault_source, ModbusSource):
            bits = number(part.fault_source, words)
            fault = "fault bits not had" if bits is None else fault_word(bits, part.fault_words)
            if fault:
                return fault
        return f"fault value {raw:g}" if is_fault(raw, part.fault_values, part.source) else None


def open_modbus(furnace: Furnace, clock: Clock | None = None) -> ModbusLink:
    """Open the port of a furnace file; raises LinkError."""
    return ModbusLink(furnace, open_port(furnace.link), clock)


def _sources(furnace: Furnace) -> list[ModbusSource]:
    faults = [sensor.fault_source for sensor in furnace.sensors]
    return [s for s in (*(part.source for part in furnace.parts), *faults) if isinstance(s, ModbusSource)]
