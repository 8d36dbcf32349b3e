"""Late, lone, doubled, reordered and echoed Modbus replies on a fake clock: no reading may be wrong or old.

Long form: python -m tests.campaigns.late_replies 20000 [SEED [SECONDS FROM ONE TROUBLE TO THE NEXT]]

A table tells the readings that were not had by the trouble they fell into, or that was last, and by the rule of the
link that kept them. Those of its first column nobody could have had: within a stall nothing is answered in its time,
within refusals no answer brings a value.

With one length of reply alone some more cannot be had, whatever the strategy. The length that met a trouble is lost for
``late_reply_s``, so the best that can be done is to ask first what brings no value, and for values right after it was
answered. A trouble begins at any moment with equal chance and is met by the next question: that is one for values if it
begins within the time that the answer before takes, once a block. ``least_missed_percent`` works that out.
"""

from __future__ import annotations

import contextlib
import random
import sys
import types
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from unittest import mock

import minimalmodbus

from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links import block_questions as questions
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.links.blocks import plan_blocks
from soakwitness.firmware_bridge.links.modbus import WAIT_S, ModbusLink
from soakwitness.firmware_bridge.links.port import Port
from soakwitness.firmware_bridge.links.register_values import register_sources
from soakwitness.firmware_bridge.recording.linking import LinkKeeper, Look
from soakwitness.firmware_bridge.recording.sampling import Sample, SamplingLoop
from tests.campaigns.fuzz_links import flipped, frame
from tests.fake_serial import Answer, FakeClock, FakeSerial

EVERY_S = 1.0
TIMEOUT_S = 1.0  # the furnace file's own default
SHORTEST_STALL_S, LONGEST_STALL_S = 4.0, 60.0
SHORTEST_LATE_S = 1.05
BRIEF_S = 20.0  # the other troubles last so long at most
PROMPT_S = (0.01, 0.05)
CALM_S = 240.0  # on average between two troubles
PATIENCE = 12  # slots without a reading after which somebody may start the program anew
TICK_S = 0.05  # a register's word says when it was sampled, in 13 bits of these
LAYOUTS = {
    "two blocks of one table": (("holding", 0), ("holding", 100)),
    "two tables": (("holding", 0), ("input", 0)),
    "three blocks": (("holding", 0), ("holding", 100), ("holding", 200), ("holding", 201)),
    "one block": (("input", 4), ("input", 5)),
}
ALONG = {"7 along": 7, "3 along": 3, "1 along": 1}
TROUBLES = {"stall": 6, "one late": 4, "doubled": 2, "refusals": 2, "lost": 2, "flipped": 1, "echoed": 1}
NOTHING_TO_BE_HAD = ("stall", "refusals")  # while these last
LEFT = ("all in order", "all mixed up", "first", "third", "last", "none")  # what is left of the questions of a stall
RULES = {  # columns of the table: what the link says where it has no reading
    "no answer": "no answer within",
    "rest": "it did not answer",
    "no length": "it is asked again in",
    "refused": "refused",
    "garbled": "garbled",
    "echo": "echo",
    "old": "left out",
}
INEVITABLE, PORT_SHUT, OTHER = "inevitable", "port shut", "other"
COLUMNS = (INEVITABLE, *RULES, PORT_SHUT, OTHER)


@dataclass
class Score:
    """What came of a campaign; ``lost`` are the slots that were not had."""

    slots: int = 0
    had: int = 0
    wrong: int = 0
    old: int = 0
    oldest_s: float = 0.0
    troubles: Counter[str] = field(default_factory=Counter)
    lost: Counter[tuple[str, str]] = field(default_factory=Counter)  # by trouble and rule

    def add(self, other: Score) -> None:
        self.slots += other.slots
        self.had += other.had
        self.wrong += other.wrong
        self.old += other.old
        self.oldest_s = max(self.oldest_s, other.oldest_s)
        self.troubles += other.troubles
        self.lost += other.lost

    @property
    def missed_percent(self) -> float:
        return 100 * (1 - self.had / self.slots)

    def says(self, what: str) -> str:
        return (
            f"{what}: {self.slots} readings, {self.wrong} wrong, {self.old} old (oldest {self.oldest_s:.1f} s), "
            f"{self.missed_percent:.1f} % not had ({self.percent(rule=INEVITABLE):.1f} % could not be had)"
        )

    def percent(self, trouble: str | None = None, rule: str | None = None) -> float:
        """Readings lost to a trouble and a rule, to all of them where none is given."""
        counts = (n for (t, r), n in self.lost.items() if trouble in (None, t) and rule in (None, r))
        return 100 * sum(counts) / self.slots

    def table(self) -> str:
        """Per cent of all readings that were lost, a trouble a line."""
        columns = [rule for rule in COLUMNS if self.percent(rule=rule)]
        lines = [" " * 26 + "".join(f"{name:>11}" for name in (*columns, "all"))]
        for trouble in (*sorted({trouble for trouble, _ in self.lost}), None):
            cells = "".join(f"{self.percent(trouble, rule):11.2f}" for rule in (*columns, None))
            lines.append(f"{trouble or 'all':26}{cells}")
        return "\n".join(lines)


def word(table: str, register: int, now_s: float, used: tuple[tuple[str, int], ...]) -> int:
    """Three bits say which register, thirteen when."""
    code = used.index((table, register)) if (table, register) in used else 7
    return code << 13 | int(now_s / TICK_S) % 8192


class Gateway:
    """An instrument behind a gateway that has troubles; ``answer`` is what a FakeSerial asks."""

    def __init__(
        self,
        chance: random.Random,
        clock: FakeClock,
        used: tuple[tuple[str, int], ...],
        along: int,
        calm_s: float,
        *,
        echo: bool,
        mute: bool = False,
    ) -> None:
        self.mute = mute
        self.chance = chance
        self.clock = clock
        self.used = used
        self.known = {(table, register + i) for table, register in used for i in range(along + 1)}
        self.echo = echo
        self.troubles: Counter[str] = Counter()
        self.calm_s = calm_s
        self.next_s = clock.now_s + chance.expovariate(1 / calm_s)
        self.trouble, self.until_s, self.left, self.asked = "", 0.0, "", 0
        self.free_s = 0.0
        self.last = "none yet"

    def answer(self, request: bytes) -> Answer:
        now_s = self.clock.now_s
        if now_s >= max(self.next_s, self.until_s):
            self.begin(now_s)
        sent: list[tuple[float, bytes]] = [(0.001, request)] if self.echo else []
        return sent + list(self.replies(now_s, request))

    def begin(self, now_s: float) -> None:
        chance = self.chance
        self.trouble = chance.choices(list(TROUBLES), list(TROUBLES.values()))[0]
        self.troubles[self.trouble] += 1
        lasts_s = {"stall": chance.uniform(SHORTEST_STALL_S, LONGEST_STALL_S), "one late": 0.0, "lost": 0.0}
        self.until_s = now_s + lasts_s.get(self.trouble, chance.uniform(0, BRIEF_S))
        self.next_s = self.until_s + chance.expovariate(1 / self.calm_s)
        self.left, self.asked = chance.choice(LEFT), 0
        self.last = f"stall, left: {self.left}" if self.trouble == "stall" else self.trouble

    def gives_nothing(self, at_s: float) -> bool:
        """Whether nobody could have had a reading then."""
        return at_s < self.until_s and self.last.startswith(NOTHING_TO_BE_HAD)

    def replies(self, now_s: float, request: bytes) -> Answer:
        chance, reply = self.chance, self.reply(request, now_s)
        if not reply:
            return []
        prompt_s = chance.uniform(*PROMPT_S)
        trouble, self.trouble = self.trouble, self.trouble if now_s < self.until_s else ""
        if trouble == "stall" and self.trouble:
            return self.stalled(now_s, reply)
        if now_s + prompt_s < self.free_s:  # the queue of a stall is still being worked off
            self.free_s += 0.05
            return [(self.free_s - now_s, reply)]
        if trouble == "one late" or (trouble == "lost"):
            return [(chance.uniform(SHORTEST_LATE_S, LONGEST_STALL_S), reply)] if trouble == "one late" else []
        if trouble == "refusals":
            refusal = frame(bytes([request[0], request[1] | 0x80, chance.choice((1, 2, 4, 6, 11))]))
            late_s = prompt_s if chance.random() < 0.7 else chance.uniform(0.5, 10)
            return [(late_s, refusal)] * chance.choice((1, 1, 2))
        if trouble == "doubled":
            return [(prompt_s, reply), (prompt_s + chance.choice((0.0, 0.001, chance.uniform(0, 3))), reply)]
        if trouble == "flipped" and chance.random() < 0.3:
            return [(prompt_s, flipped(reply, chance))]
        if trouble == "echoed":
            return [(0.001, request), (prompt_s, reply)]
        return [(prompt_s, reply)]

    def stalled(self, now_s: float, reply: bytes) -> Answer:
        """The reply to the n-th question of a stall, if it is left, after its end."""
        self.asked += 1
        wait_s = self.until_s - now_s
        if self.left == "all mixed up":
            return [(wait_s + self.chance.uniform(0, 2), reply)]
        if self.left == "all in order":
            self.free_s = max(self.free_s, self.until_s) + self.chance.choice((0.004, 0.05, 0.3))
            return [(self.free_s - now_s, reply)]
        last = wait_s < EVERY_S
        keep = {"first": self.asked == 1, "third": self.asked == 3, "last": last, "none": False}[self.left]
        return [(wait_s + 0.01, reply)] if keep else []

    def reply(self, request: bytes, now_s: float) -> bytes:
        """Answer, or refuse what is not there; a ``mute`` instrument says nothing to that."""
        table = {3: "holding", 4: "input"}[request[1]]
        start, count = int.from_bytes(request[2:4], "big"), int.from_bytes(request[4:6], "big")
        registers = range(start, start + count)
        if any((table, register) not in self.known for register in registers):
            return b"" if self.mute else frame(bytes([request[0], request[1] | 0x80, 2]))
        words = b"".join(word(table, r, now_s, self.used).to_bytes(2, "big") for r in registers)
        return frame(bytes([request[0], request[1], 2 * count]) + words)


def furnace(used: tuple[tuple[str, int], ...], *, echo: bool) -> Furnace:
    sensors = "".join(
        f'[[sensor]]\nname = "s{i}"\nrole = "load"\ntable = "{table}"\nregister = {register}\nformat = "uint16"\n'
        for i, (table, register) in enumerate(used)
    )
    head = f'name = "x"\nunit = "C"\n[sample]\nevery_s = {EVERY_S}\n[link]\nkind = "modbus"\nport = "P"\n'
    return parse_furnace(f"{head}timeout_s = {TIMEOUT_S}\necho = {str(echo).lower()}\n{sensors}", "late")


@contextlib.contextmanager
def ticking(clock: FakeClock) -> Iterator[None]:
    """Give minimalmodbus the same clock."""
    fake_time = types.SimpleNamespace(monotonic=clock.monotonic, sleep=clock.sleep)
    with mock.patch.object(minimalmodbus, "time", fake_time), mock.patch.dict(minimalmodbus._latest_read_times):
        minimalmodbus._latest_read_times.clear()
        yield


class RecorderClock(FakeClock):
    """What the sampling loop needs beside."""

    boot = None
    speed = 1.0

    def utc_s(self) -> float:
        return self.now_s

    wall_s = utc_s


class Judge:
    """Takes the samples of a sampling loop and counts."""

    def __init__(self, score: Score, gateway: Gateway, keeper: LinkKeeper, parts: int, *, restarts: bool) -> None:
        self.score = score
        self.gateway = gateway
        self.keeper = keeper
        self.codes = {f"s{i}": i for i in range(parts)}
        self.restarts = restarts
        self.begin_s = gateway.clock.now_s
        self.silent = 0
        self.before: object = None

    def take(self, sample: Sample) -> None:
        """Judge every value by what it says of itself."""
        score, look = self.score, sample.look
        had = look.reading is not None and judge(score, look.reading, sample.now_s, self.codes)
        rule = PORT_SHUT if look.error is not None and look.error is self.before else rule_of(look)
        for slot in range(score.slots + had, score.slots + 1 + sample.missed_count):
            nothing = self.gateway.gives_nothing(self.begin_s + EVERY_S * slot)
            score.lost[self.gateway.last, INEVITABLE if nothing else rule] += 1
        score.slots += 1 + sample.missed_count
        self.before = look.error
        self.silent = 0 if look.reading is not None else self.silent + 1
        if self.restarts and self.silent == PATIENCE and self.gateway.chance.random() < 0.7:
            self.keeper.close()
            questions._MEMORY.clear()
            self.gateway.troubles["started anew"] += 1


def rule_of(look: Look) -> str:
    """Name the column of the table."""
    says = str(look.error) if look.error is not None else " ".join(look.reading.texts if look.reading else ())
    return next((rule for rule, words in RULES.items() if words in says), OTHER)


def campaign(
    layout: str,
    along: int,
    readings: int,
    seed: int,
    *,
    echo: bool = False,
    restarts: bool = False,
    mute: bool = False,
    calm_s: float = CALM_S,
) -> Score:
    """Read so many slots through what a recording reads through.

    ``mute``: the instrument leaves unanswered what it would refuse.
    ``restarts``: somebody takes a silent program for dead and starts it anew, without memory of what it asked.
    """
    clock, score, used = RecorderClock(), Score(), LAYOUTS[layout]
    gateway = Gateway(random.Random(seed), clock, used, along, calm_s, echo=echo, mute=mute)
    wire = FakeSerial(clock, gateway.answer, timeout=WAIT_S)
    keeper = LinkKeeper(furnace(used, echo=echo), clock, lambda f, c: ModbusLink(f, Port(wire, "P"), c))  # type: ignore[arg-type]
    taker = Judge(score, gateway, keeper, len(used), restarts=restarts)
    with ticking(clock):
        SamplingLoop(clock, keeper, EVERY_S).run(taker.take, lambda: None, lambda: score.slots >= readings)
    score.troubles = gateway.troubles
    return score


def judge(score: Score, reading: Reading, now_s: float, codes: dict[str, int]) -> bool:
    """Count wrong and old values; say whether every value came."""
    wrong = old = False
    for name, code in codes.items():
        value = reading.values[name]
        if value is None:
            continue
        wrong = wrong or int(value) >> 13 != code
        age_s = ((int(now_s / TICK_S) - (int(value) & 8191)) % 8192) * TICK_S
        if int(value) >> 13 == code:
            old = old or age_s > EVERY_S + TICK_S
            score.oldest_s = max(score.oldest_s, age_s)
    score.wrong += wrong
    score.old += old
    had = all(reading.values[name] is not None for name in codes)
    score.had += had
    return had


def least_missed_percent(layout: str, calm_s: float) -> float:
    """What the best strategy has to miss with one length of reply alone, on average [% of the readings]."""
    share = {trouble: weight / sum(TROUBLES.values()) for trouble, weight in TROUBLES.items()}
    stall_s = (SHORTEST_STALL_S + LONGEST_STALL_S) / 2
    nothing_s = share["stall"] * stall_s + share["refusals"] * BRIEF_S / 2
    brief_s = (share["refusals"] + share["doubled"] + share["flipped"] + share["echoed"]) * BRIEF_S / 2
    of = furnace(LAYOUTS[layout], echo=False)
    late_reply_s, blocks = of.link.late_reply_s, len(plan_blocks(register_sources(of)))
    never_s = share["lost"] * late_reply_s + share["stall"] / 2 * (late_reply_s - stall_s)  # third, last and none left
    lost_s = never_s + share["one late"] * (SHORTEST_LATE_S + LONGEST_STALL_S) / 2
    met = blocks * sum(PROMPT_S) / 2 / EVERY_S
    return 100 * (nothing_s + met * lost_s) / (calm_s + share["stall"] * stall_s + brief_s)


def main() -> None:
    """Print the long form."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    calm_s = float(sys.argv[3]) if len(sys.argv) > 3 else CALM_S
    total, lone, mute = Score(), Score(), Score()

    def run(layout: str, along: int, says: str, into: Score, **more: bool) -> None:
        score = campaign(layout, along, readings, seed, calm_s=calm_s, **more)
        anew = f", started anew {score.troubles['started anew']} times" if "restarts" in more else ""
        print(score.says(f"{layout}, {says}{anew}"), flush=True)
        into.add(score)

    for layout in LAYOUTS:
        for says, along in ALONG.items():
            run(layout, along, says, total)
    for layout in LAYOUTS:
        run(layout, 7, "7 along, echo", total, echo=True)
    for layout in LAYOUTS:
        run(layout, 7, "7 along", total, restarts=True)
    print(total.says(f"all, seed {seed}, a trouble every {calm_s:g} s"), dict(total.troubles))
    print(total.table(), flush=True)
    for layout in LAYOUTS:
        run(layout, 0, "one length alone", lone)
    print(lone.says("all with one length alone"))
    least = [least_missed_percent(layout, calm_s) for layout in LAYOUTS]
    print(f"the best strategy with one length misses {sum(least) / len(least):.1f} % on average")
    print(lone.table())
    for layout in LAYOUTS:
        run(layout, 0, "one length alone, others not answered", mute, mute=True)
    print(mute.says("all with others not answered"))
    print(mute.table())
    sys.exit(1 if any(score.wrong or score.old for score in (total, lone, mute)) else 0)


if __name__ == "__main__":
    main()
