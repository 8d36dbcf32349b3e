"""Which questions may still be answered. No port, no waiting; times are those of a steady clock [s].

A reply shows the function code and the number of registers of its question and nothing else: its *form*. A reply that
comes late may belong to any question of its form, so no form is asked again while one of it may be under way: until it
came, or until ``late_reply_s`` after it was asked. Reading a few registers along gives a block more than one form.

Whether a line lives is asked by a *probe* (``links.probing``), which uses up none of the forms that bring values.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from weakref import WeakKeyDictionary

from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.links.base import LinkClock
from soakwitness.firmware_bridge.links.blocks import (
    FUNCTION,
    LARGEST_BLOCK,
    LAST_REGISTER,
    MOST_ALONG,
    Block,
    BlockQuestion,
    Form,
)
from soakwitness.firmware_bridge.links.probing import TRY_AGAIN_S, Probing

_PROBE_SHARE = 0.1  # of the silence, from one probe to the next: a gateway may keep them all
_PROBES_AT_MOST = 65  # in the longest time that an answer may take
_FEW = 3  # so many forms are few
_ANSWERS_KEPT = 50  # the longest of so many says how long answers take
_RESTLESS_S = 600.0  # so long after anything odd the forms are changed with every question


class Questions:
    """What was asked of one instrument in this process, over any number of openings of its port."""

    def __init__(self, late_reply_s: float, since_s: float) -> None:
        self.late_reply_s = late_reply_s
        self.silences = 0  # questions in a row without any answer
        self.disturbances = 0
        self.lateness_s: float | None = None  # of the last reply that came after its time
        self.took_s: deque[float] = deque(maxlen=_ANSWERS_KEPT)
        self.lengths: dict[Block, Lengths] = {}
        self.refused: set[BlockQuestion] = set()  # what is known to be refused
        self.silent_trials: Counter[BlockQuestion] = Counter()
        self.probing = Probing()
        self.time_to_probe = True  # before and behind each block
        self._silent_s = -float("inf")
        self._unclear = False
        self._rested = False  # whether nothing was asked for the time of a rest before the last probe
        self._since_s = since_s
        self._sure: set[Block] = set()
        self._seen: dict[bytes, tuple[float, Block | None]] = {}  # frames of the last minute, and of which block
        self._doubling_until_s = -float("inf")
        self._under_way: dict[Form, list[float]] = {}  # when they were asked; only a probe more than once
        self._asked: dict[Form, tuple[float, Block | None]] = {}
        self._restless_until_s = -float("inf")
        self._block: Block | None = None

    def ask(self, form: Form, now_s: float) -> None:
        """Note a question as it is sent."""
        if self._is_probe(form):
            self._rested = max(self.probing.asked_s, self._asked_last_s) + self.late_reply_s / 2 <= now_s
            self.probing.asked_s = now_s
            self._under_way[form] = [*self._still_open(form, now_s), now_s]
        else:
            self._asked[form] = (now_s, self._block)
            self._under_way[form] = [now_s]

    def answered(self, form: Form) -> None:
        """Note that its answer is here, whole or damaged. Of a probe an older one may be under way yet."""
        self.silences, self._unclear = 0, False
        if times_s := self._under_way.get(form):
            times_s.pop()

    def unanswered(self, form: Form, now_s: float, *, refused: bool = False, trial: bool = False) -> None:
        """Note that nothing came within the time; ``refused``: but a refusal that may be another question's.

        What is asked for ``trial`` may be what the instrument never answers: that is no silence of the line.
        """
        self.disturbed(now_s)
        if trial:
            return
        probe = self._is_probe(form)
        self._silent_s = now_s if self.silences == 0 or (probe and self._rested) else self._silent_s
        if not probe:
            self.silences, self._unclear = self.silences + 1, refused
        elif self.probing.answers:
            self.silences = max(self.silences, 1)
            self.probing.unanswered()

    def late(self, form: Form, now_s: float) -> None:
        """Note an answer that came after its time: of several probes the oldest one's."""
        oldest_s, *others_s = self._still_open(form, now_s)
        self.lateness_s = now_s - oldest_s
        self._under_way[form] = [*others_s, oldest_s]
        self.answered(form)
        self.disturbed(now_s)

    def may_come(self, form: Form, now_s: float) -> bool:
        """Whether a reply of that form may be under way."""
        return bool(self._still_open(form, now_s))

    def _still_open(self, form: Form, now_s: float) -> list[float]:
        return [asked_s for asked_s in self._under_way.get(form, ()) if now_s - asked_s < self.late_reply_s]

    def under_way(self, function: int | None, now_s: float) -> list[Form]:
        """Forms of a function, or of all, whose reply may be under way."""
        return [form for form in self._under_way if function in (None, form[0]) and self.may_come(form, now_s)]

    def disturbed(self, now_s: float) -> None:
        """Note that something was late, lost, damaged, doubled or never asked for."""
        self.disturbances += 1
        self._restless_until_s = now_s + _RESTLESS_S
        self._sure.clear()

    def doubled(self, now_s: float) -> None:
        """Note that something came twice, or that nobody had asked for."""
        self._doubling_until_s = now_s + _RESTLESS_S
        self.disturbed(now_s)

    def saw(self, frame: bytes, now_s: float) -> bool:
        """Note what came; say whether it may be what came before, once more: then it answers nothing for sure."""
        again = now_s < self._doubling_until_s and frame in self._seen
        self._seen = {known: seen for known, seen in self._seen.items() if now_s - seen[0] < self.late_reply_s}
        self._seen[frame] = (now_s, self._block)
        return again

    def was_of_another(self, frame: bytes, now_s: float) -> bool:
        """Whether the same was said of another block not long ago: it may be that, once more."""
        at_s, block = self._seen.get(frame, (-float("inf"), None))
        return now_s - at_s < self.late_reply_s and block != self._block

    def sure(self, block: Block, now_s: float) -> bool:
        """Whether nothing that was asked before this process began can pass for an answer to this block."""
        return block in self._sure or now_s - self._since_s >= self.late_reply_s

    def make_sure(self, block: Block) -> None:
        """Note that a block was answered twice in a row with nothing odd between."""
        self._sure.add(block)

    def choose(self, block: Block, now_s: float) -> BlockQuestion | None:
        """Give a question for a block whose answer cannot be mistaken; None where there is none at the moment.

        On a calm line a block keeps its shortest question that no other block shares. On a restless one it asks what
        was not asked for longest. Before its lengths were tried, the shortest is taken.
        """
        self._block = block
        free = self._free(block, now_s)
        restless, tried = now_s < self._restless_until_s, self.lengths[block].tried

        def used_s(question: BlockQuestion) -> float:
            if not tried:
                return 0.0
            asked_s, by = self._asked.get(question.form, (-float("inf"), None))
            return asked_s if restless or (by != block and now_s - asked_s < self.late_reply_s) else -float("inf")

        return min(free, key=lambda question: (used_s(question), question.count), default=None)

    def free_s(self, block: Block) -> float:
        """When the next question for a block may be asked where none may be now."""
        newest_s = (max(self._under_way.get(q.form, ()), default=-float("inf")) for q in self._of(block))
        return min(newest_s) + self.late_reply_s

    def rest_s(self, block: Block, now_s: float) -> float:
        """How long a silent line is left alone before it is asked again: its forms last as long as its silence may."""
        forms = len(self._of(block))
        probes = self.probing.answers and not self._is_unclear(now_s)
        at_once = 1 if probes else max(1, forms // 2 - 1)
        times = max(1, min(2, len(self._free(block, now_s)))) if probes else forms - at_once + 1
        last_s = max(self._asked_last_s, self._silent_s) if probes else self._asked_last_s
        return 0.0 if self.silences < at_once else last_s + self.late_reply_s / times - now_s

    def new_probe(self, now_s: float) -> BlockQuestion | None:
        """Give the probe to be tried, where the one that there is does not do."""
        return self.probing.new(list(self.lengths), now_s, lambda function: bool(self.under_way(function, now_s)))

    def probe_due(self, block: Block, now_s: float) -> BlockQuestion | None:
        """Give the probe where it is time to ask whether the line lives.

        That is where it is silent; and on a restless one before one of the last forms of a block is spent, unless
        something was answered just now: what begins between two readings, or in the rest, then costs the probe.
        """
        if not self.probing.answers or self._is_unclear(now_s):
            return None
        if not self.silences:
            few = len(self._free(block, now_s)) <= max(_FEW, len(self._of(block)) // 2)
            wanted = self._has_time(now_s) and (few or not self.probing.proved) and not self.probing.lives(now_s)
            return self.probing.question if wanted else None
        if self.rest_s(block, now_s) <= 0:
            rested = self._has_time(now_s) and self.probing.asked_s < self._asked_last_s
            return self.probing.question if rested else None
        due_s = self.probing.asked_s + max(self.late_reply_s / _PROBES_AT_MOST, _PROBE_SHARE * (now_s - self._silent_s))
        return self.probing.question if self.probing.asked_s < self._silent_s or now_s >= due_s else None

    def confirms(self, now_s: float, *, doubtful: bool) -> BlockQuestion | None:
        """Give the probe where something came twice not long ago, or the answer is ``doubtful``."""
        wanted = self.time_to_probe and self.probing.answers and (doubtful or now_s < self._doubling_until_s)
        return self.probing.question if wanted else None

    @property
    def _asked_last_s(self) -> float:
        """When a question for values was asked last."""
        return max((asked_s for asked_s, _ in self._asked.values()), default=-float("inf"))

    def _is_unclear(self, now_s: float) -> bool:
        """Whether a refusal came that may be another question's, while one is under way."""
        return self._unclear and bool(self.under_way(None, now_s))

    def _has_time(self, now_s: float) -> bool:
        """Whether the line is restless, and there is the time for a probe."""
        return self.time_to_probe and self.probing.answers and now_s < self._restless_until_s

    def _is_probe(self, form: Form) -> bool:
        return self.probing.question is not None and form == self.probing.question.form

    def _free(self, block: Block, now_s: float) -> list[BlockQuestion]:
        return [question for question in self._of(block) if not self.may_come(question.form, now_s)]

    def _of(self, block: Block) -> Sequence[BlockQuestion]:
        return self.lengths.setdefault(block, Lengths(block)).questions()


@dataclass
class Lengths:
    """How many registers an instrument lets one read along behind and before a block; first all are thought possible.

    ``trial`` names the question that would tell more, ``tell`` takes what came of it.
    """

    block: Block
    up: int = field(init=False)
    down: int = 0
    tried: bool = False
    _upwards: bool = True
    _again_s: float = -float("inf")

    def __post_init__(self) -> None:
        """Begin with all that the tables and the largest block allow."""
        self.up = self._most_up

    @property
    def _most(self) -> int:
        return min(MOST_ALONG, LARGEST_BLOCK - self.block.count)

    @property
    def _most_up(self) -> int:
        return min(self._most, LAST_REGISTER + 1 - self.block.start - self.block.count)

    def questions(self) -> list[BlockQuestion]:
        """Give the questions that bring this block, the shortest first."""
        return [
            self._question(min(along, self.up), max(along - self.up, 0)) for along in range(self.up + self.down + 1)
        ]

    def trial(self, now_s: float) -> BlockQuestion | None:
        """Give the question that tells whether there is more to be had; None where nothing is to be tried."""
        if now_s < self._again_s:
            return None
        if not self.tried:
            return self._question(self._most_up, 0) if self._most_up else None
        if self.up + self.down >= self._most:
            return None
        if self._upwards and self.up < self._most_up:
            return self._question(self.up + 1, self.down)
        return self._question(self.up, self.down + 1) if self.down < self.block.start else None

    def tell(self, allowed: bool, now_s: float) -> None:
        """Take what came of the trial."""
        if not self.tried:
            self.tried, self.up = True, self._most_up if allowed else 0
            return
        if self._upwards and self.up < self._most_up:
            self.up += allowed
            self._upwards, done = allowed, not allowed and self.down >= self.block.start
        else:
            self.down += allowed
            done = not allowed or self.down >= self.block.start
        if done:
            self._upwards, self._again_s = True, now_s + TRY_AGAIN_S

    def none(self) -> None:
        """Take it that nothing is allowed beyond the block itself, and try anew."""
        self.up = self.down = 0
        self.tried, self._upwards, self._again_s = True, True, -float("inf")

    def _question(self, up: int, down: int) -> BlockQuestion:
        block = self.block
        return BlockQuestion(FUNCTION[block.table], block.start - down, block.count + up + down)


_MEMORY: WeakKeyDictionary[LinkClock, dict[tuple[str, int], Questions]] = WeakKeyDictionary()


def questions_asked(settings: LinkSettings, clock: LinkClock) -> Questions:
    """Give what this process has asked of an instrument: a port that is opened anew brings old answers too."""
    at = _MEMORY.setdefault(clock, {})
    return at.setdefault((settings.port, settings.unit_id), Questions(settings.late_reply_s, clock.monotonic()))
