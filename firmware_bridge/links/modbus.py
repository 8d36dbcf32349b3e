"""Modbus RTU and ASCII through minimalmodbus, reading only: function codes 3 and 4 and nothing else, ever.

A late reply carries no transaction number: taken for the answer to the next request it is a wrong value with a right
checksum, and an old value with a new time. So everything is read in one block where the registers allow it, no question
is asked whose answer could be mistaken for an older one (``links.questions``), and a refusal counts where it comes
twice while nothing else is under way.
"""

from __future__ import annotations

import time
from dataclasses import replace
from statistics import median

import minimalmodbus

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.errors import LinkError, LinkReason
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.base import LinkClock, Reading
from soakwitness.firmware_bridge.links.block_questions import questions_asked
from soakwitness.firmware_bridge.links.blocks import FUNCTION, Block, BlockQuestion, Words, plan_blocks
from soakwitness.firmware_bridge.links.frames import Wire
from soakwitness.firmware_bridge.links.port import Port, open_port
from soakwitness.firmware_bridge.links.probing import TRY_AGAIN_S
from soakwitness.firmware_bridge.links.register_values import register_sources, values_read

_TRY_AGAIN_WITHIN = 0.5  # of the sampling interval
_PATIENCE = 0.4  # of the sampling interval, at least, where answers are known to take less
_TIMES_THE_SLOWEST = 4  # so many times what the slowest of the last answers took
WAIT_S = 0.05  # one wait for bytes; how long an answer is waited for is counted by the clock
_LISTEN = 0.25  # of the sampling interval, at most, for what follows the answers
_TIME_TO_PROBE = 0.5  # of the sampling interval, for all questions together
_SILENT_TRIALS = 2  # a trial that is not answered so often is a refusal
_MOST_TRIALS = 20
_MOST_PROBES = 5


class ModbusLink:
    """Reads all columns of a furnace file; see ``links.base.Link``."""

    def __init__(self, furnace: Furnace, port: Port, clock: LinkClock | None = None) -> None:
        self._furnace = furnace
        self._settings = furnace.link
        self._clock: LinkClock = clock or time
        self._port = port
        self._questions = questions_asked(furnace.link, self._clock)
        self._wire = Wire(port, furnace.link, self._clock, self._questions)
        self._instrument = minimalmodbus.Instrument(self._wire, furnace.link.unit_id, mode=furnace.link.framing)
        self._plan = self._blocks = plan_blocks(register_sources(furnace))
        self._split_s = 0.0
        self._heard = False

    def read(self) -> Reading:
        """Read all blocks; a failed read is tried once more where the sampling interval leaves the time."""
        until_s = self._clock.monotonic() + _TRY_AGAIN_WITHIN * self._furnace.every_s
        all_s = (2 * len(self._blocks) + 1) * median(self._questions.took_s or [0.0])
        self._questions.time_to_probe = all_s <= _TIME_TO_PROBE * self._furnace.every_s
        if self._heard:
            self._try_lengths()
        try:
            return self._read_once(missed=0)
        except LinkError as error:
            if error.reason not in ("silent", "garbled") or self._clock.monotonic() > until_s:
                raise
            first = error
        try:
            return self._read_once(missed=1)
        except LinkError as error:
            raise (error if error.reason not in ("silent", "garbled") else first) from error

    def lengths(self) -> int:
        """Try how many lengths of reply the instrument allows for every block; to be asked after a reading."""
        for _ in range(_MOST_TRIALS):
            if not self._try_lengths():
                break
        return min(len(self._questions.lengths[block].questions()) for block in self._blocks)

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def describe(self) -> str:
        """Port, settings and protocol in one phrase."""
        s = self._settings
        line = f"{s.baud} baud, {s.data_bits}{s.parity}{s.stop_bits}"
        return f"Modbus {s.framing.upper()}, unit {s.unit_id}, on {s.port} ({line})"

    def _read_once(self, missed: int) -> Reading:
        got: dict[Block, tuple[float, Words]] = {}
        refused: dict[tuple[str, int], str] = {}
        error: LinkError | None = None
        if self._clock.monotonic() - self._split_s >= TRY_AGAIN_S:
            self._blocks = self._plan
        waiting = list(self._blocks)
        while waiting:
            block = waiting.pop(0)
            try:
                got[block] = self._ask(block)
            except LinkError as failed:
                if failed.reason != "refused" or not self._questions.probing.proved:
                    raise
                pieces = self._split(block, failed)
                if pieces:
                    waiting[:0] = pieces
                    continue
                error = failed
                refused.update(dict.fromkeys(((block.table, r) for r in block.used), str(failed)))
        if error is not None and not got:
            raise error
        self._heard = True
        texts = tuple(dict.fromkeys(refused.values())) + self._leave_out_old(got)
        read = {at: word for _, words in got.values() for at, word in words.items()}
        return values_read(self._furnace, read, refused, texts, missed)

    def _leave_out_old(self, got: dict[Block, tuple[float, Words]]) -> tuple[str, ...]:
        """Ask again what was asked longer ago than a reading may be old; leave out what is old even then."""
        texts = []
        for again in (True, False):
            for block, (asked_s, _) in list(got.items()):
                took_s = self._clock.monotonic() - asked_s
                if took_s <= max(self._furnace.every_s, self._settings.timeout_s):
                    continue
                if again:
                    got[block] = self._ask(block)
                    continue
                del got[block]
                texts.append(
                    f"{_named(block)}: {duration(took_s)} old before all answers were here, longer than from one"
                    " reading to the next, and left out: set a longer every_s, or name fewer registers"
                )
        return tuple(texts)

    def _ask(self, block: Block) -> tuple[float, Words]:
        """Give the words of a block and when they were asked for."""
        words = self._ask_once(block)
        if self._questions.sure(block, self._clock.monotonic()):
            return words
        disturbances = self._questions.disturbances
        words = self._ask_once(block)  # the first may have been the answer to a question of an earlier process
        if self._questions.disturbances > disturbances:
            raise self._failed("garbled", block, "answers to older questions keep coming")
        self._questions.make_sure(block)
        return words

    def _ask_once(self, block: Block) -> tuple[float, Words]:
        question = self._next(block)
        asked_s = self._clock.monotonic()
        try:
            registers = self._exchange(block, question)
        except LinkError as refusal:
            if refusal.reason != "refused":
                raise
            asked_s = self._clock.monotonic()
            registers = self._insist(block, question, refusal)
            if not registers:  # only reading along is refused
                return self._ask_once(block)
        self._confirm(block)
        words = dict(enumerate(registers, question.start))
        return asked_s, {(block.table, r): words[r] for r in range(block.start, block.start + block.count)}

    def _confirm(self, block: Block) -> None:
        """Where an answer may be an older one, see that the line lives: then the true one would have followed it.

        Of a line that fell silent with the question, an old answer that comes again is all that is ever seen.
        """
        probe = self._questions.confirms(self._clock.monotonic(), doubtful=self._wire.anothers)
        self._wire.stray = False
        for again in (True, False):
            failed = self._probe_fails(block, probe, strict=True) if probe is not None else None
            if failed is None or failed.reason == "refused":
                return
            if failed.reason != "silent" or self._wire.stray or not again:
                says = "whether the answer is its own, or an older one that came again, is not to be told"
                raise self._failed("garbled", block, says) from failed

    def _next(self, block: Block) -> BlockQuestion:
        """Choose a question whose answer cannot be mistaken."""
        self._wire.reset_input_buffer()
        now_s = self._clock.monotonic()
        question = self._questions.choose(block, now_s)
        wait_s = self._questions.rest_s(block, now_s) if question else self._questions.free_s(block) - now_s
        if question is not None and (probe := self._questions.probe_due(block, now_s)) is not None:
            failed = self._probe_fails(block, probe)
            if failed is not None and failed.reason == "refused":
                raise failed
            wait_s = 0.0 if failed is None else max(wait_s, 1.0)
        if question is None or wait_s > 0:
            again = f"it is asked again in {duration(max(wait_s, 1.0))}"
            if question is not None:
                again = f"it did not answer; {'it is asked again soon' if self._questions.probing.answers else again}"
            else:
                again += ", when no older answer can be mistaken for its own"
            raise self._failed("silent", block, again)
        return question

    def _insist(self, block: Block, question: BlockQuestion, refusal: LinkError) -> list[int]:
        """Ask once more what was refused: the refusal counts if it comes twice and nothing else is under way.

        Gives the answer, or nothing where only reading registers along is refused; raises the refusal that counts.
        """
        illegal = isinstance(refusal.__cause__, minimalmodbus.IllegalRequestError)
        if question not in self._questions.refused:
            if self._questions.under_way(question.function, self._clock.monotonic()):
                raise self._failed("garbled", block, "a refusal that may belong to an older question") from refusal
            probe = self._questions.probe_due(block, self._clock.monotonic())
            if probe is not None and self._probe_fails(block, probe) is not None:
                raise refusal
            try:
                return self._exchange(block, question)
            except LinkError as again:
                if again.reason != "refused":
                    raise
                refusal = again
                illegal = illegal and isinstance(again.__cause__, minimalmodbus.IllegalRequestError)
        if illegal:
            self._questions.refused.add(question)
        if illegal and question.count > block.count:
            self._questions.lengths[block].none()
            return []
        raise refusal

    def _exchange(
        self, block: Block, question: BlockQuestion, listen_s: float | None = None, *, trial: bool = False
    ) -> list[int]:
        """Send a question and give the registers of its answer; note what became of it."""
        asked, form = self._questions, question.form
        self._wire.timeout = self._patience_s()
        older = asked.under_way(form[0], self._clock.monotonic())
        self._wire.takes_refusals = not older or question == asked.probing.question or question in asked.refused
        try:
            reply = self._instrument.read_registers(question.start, question.count, functioncode=question.function)
        except minimalmodbus.NoResponseError as error:
            asked.unanswered(form, self._clock.monotonic(), refused=self._wire.passed_refusals, trial=trial)
            raise self._failed("silent", block, f"no answer within {duration(self._wire.timeout)}") from error
        except minimalmodbus.SlaveReportedException as error:
            if not self._wire.refused():  # minimalmodbus takes any function code above 0x7F for a refusal
                raise self._damaged(block, question, error) from error
            alone = asked.under_way(form[0], self._clock.monotonic()) == [form]
            if (alone and not self._wire.again) or question == asked.probing.question or question in asked.refused:
                asked.answered(form)
            raise self._failed("refused", block, str(error)) from error
        except (minimalmodbus.ModbusException, ValueError, TypeError) as error:
            raise self._damaged(block, question, error) from error
        asked.answered(form)
        here_s = self._clock.monotonic()
        listen_s = _LISTEN * self._furnace.every_s / len(self._blocks) if listen_s is None else listen_s
        if not self._wire.alone(listen_s):
            asked.disturbed(self._clock.monotonic())
            raise self._failed("garbled", block, "more bytes came than were asked for")
        if self._wire.echo_missing():
            raise self._failed("garbled", block, "what was sent did not come back first")
        if question != asked.probing.question:
            asked.probing.gave(here_s)  # what begins while it listens is not known yet
        asked.refused.discard(question)
        return [int(word) for word in reply]

    def _patience_s(self) -> float:
        """How long to wait for an answer: so that one that is lost leaves the time to ask again in the same interval.

        An answer that comes later is a late one, and told from all others as such.
        """
        longest_s, took_s = self._settings.timeout_s, self._questions.took_s
        if not took_s:
            return longest_s
        return min(longest_s, max(_PATIENCE * self._furnace.every_s, _TIMES_THE_SLOWEST * max(took_s)))

    def _damaged(self, block: Block, question: BlockQuestion, error: Exception) -> LinkError:
        """Note what came instead of an answer: as long as the answer it is that, damaged on its way."""
        now_s, other = self._clock.monotonic(), sum(FUNCTION.values()) - question.function
        if self._wire.damaged() and not self._questions.may_come((other, question.count), now_s):
            self._questions.answered(question.form)
        self._questions.disturbed(now_s)
        return self._failed("echo" if self._wire.echoed() else "garbled", block, str(error))

    def _try_lengths(self) -> bool:
        """On a quiet line try what may be read along for one block; say whether anything was left to be tried."""
        now_s = self._clock.monotonic()
        if self._questions.silences or not self._lives():
            return False
        for block in self._blocks:
            lengths = self._questions.lengths[block]
            question = lengths.trial(now_s)
            if question is None or self._questions.under_way(question.function, now_s):
                continue
            if self._questions.silent_trials[question] >= _SILENT_TRIALS and self._is_needed(question):
                lengths.tell(False, now_s)
                continue
            try:
                self._exchange(block, question, trial=True)
            except LinkError as failed:
                if failed.reason == "refused" and not self._refused_again(block, question):
                    return True
                if failed.reason == "silent":
                    self._questions.silent_trials[question] += 1
                if failed.reason != "refused" and self._questions.silent_trials[question] < _SILENT_TRIALS:
                    return True
                lengths.tell(False, now_s)
            else:
                lengths.tell(True, now_s)
            return True
        return self._try_probe()

    def _is_needed(self, question: BlockQuestion) -> bool:
        """Whether a block is read by that length: unanswered, it would be kept from the block for as long."""
        return any((FUNCTION[block.table], block.count) == question.form for block in self._blocks)

    def _lives(self) -> bool:
        """Whether a line that was odd not long ago answers as ever."""
        probe = self._questions.probe_due(self._blocks[0], self._clock.monotonic())
        return probe is None or self._probe_fails(self._blocks[0], probe) is None

    def _try_probe(self) -> bool:
        """Try whether the question that only shows a living line is answered; say whether it was new."""
        probe = self._questions.new_probe(self._clock.monotonic())
        if probe is not None and self._probe_fails(self._blocks[0], probe) is not None:
            self._questions.probing.no_use(self._clock.monotonic())
        return probe is not None

    def _probe_fails(self, block: Block, probe: BlockQuestion, *, strict: bool = False) -> LinkError | None:
        """Ask what brings no value: None where an answer, good or refused as ever, shows that the line lives."""
        garbled = False
        for _ in range(_MOST_PROBES):
            says = "good"
            try:
                self._exchange(block, probe, listen_s=0.0)
            except LinkError as failed:
                if failed.reason == "garbled" and not garbled and not (strict and self._wire.stray):
                    garbled = True
                    continue
                if failed.reason != "refused":
                    return failed
                says = str(failed.__cause__)
            self._questions.probing.answered(says)
            if self._questions.probing.otherwise:
                return self._failed("refused", block, f"it refuses what it answers else: {says}")
            if self._questions.probing.proved:
                break
        self._questions.probing.alive(self._clock.monotonic())
        return None

    def _refused_again(self, block: Block, question: BlockQuestion) -> bool:
        if question in self._questions.refused:
            return True
        try:
            self._exchange(block, question)
        except LinkError as again:
            if again.reason == "refused":
                self._questions.refused.add(question)
                return True
        return False

    def _split(self, block: Block, refusal: LinkError) -> tuple[Block, ...]:
        """After a refused address read this block in smaller pieces from now on: the rest of it may be there."""
        if not isinstance(refusal.__cause__, minimalmodbus.IllegalRequestError):
            return ()
        mine = [s for s in register_sources(self._furnace) if s.table == block.table and s.register in block.used]
        pieces = plan_blocks(mine, largest_gap=0 if block.has_gaps else -1)
        if len(pieces) == 1 and not block.has_gaps:
            return ()
        self._split_s = self._clock.monotonic()
        at = self._blocks.index(block)
        self._blocks = (*self._blocks[:at], *pieces, *self._blocks[at + 1 :])
        return pieces

    def _failed(self, reason: LinkReason, block: Block, says: str) -> LinkError:
        step = {
            "silent": "Check power, wiring (A and B swapped?), baud, parity and unit_id.",
            "garbled": "Check baud, parity, framing and the cable's screen and termination.",
            "refused": "Check table and register in the furnace file against the instrument's manual.",
            "echo": "The adapter hands back what is sent: set echo = true in [link], or check that A and B are wired.",
        }
        if reason == "garbled" and self._wire.echo_missing():
            says, step[reason] = "what was sent did not come back first", "Is echo = true right for this adapter?"
        late_s = self._questions.lateness_s
        if reason == "silent" and late_s is not None and late_s > self._settings.timeout_s:
            step[reason] = f"An answer came {duration(late_s)} after its question: is timeout_s too short?"
        if reason == "refused" and "illegal" not in says:  # busy, or broken within
            step[reason] = "Look at the instrument; it is asked again with the next reading."
        says = says.replace("Slave reported", "it says").rstrip(". ")[:120]
        return LinkError(
            reason, f"{self._port.name}: {reason}, {_named(block)}: {says}. {step.get(reason, '')}".rstrip()
        )


def open_modbus(furnace: Furnace, clock: LinkClock | None = None) -> ModbusLink:
    """Open the port of a furnace file; raises LinkError."""
    settings = replace(furnace.link, timeout_s=min(furnace.link.timeout_s, WAIT_S))
    return ModbusLink(furnace, open_port(settings), clock)


def _named(block: Block) -> str:
    last = block.start + block.count - 1
    return f"{block.table} register{f's {block.start} to' if block.count > 1 else ''} {last}"
