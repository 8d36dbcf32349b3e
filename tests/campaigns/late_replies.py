"""Late, lone, doubled, reordered and echoed Modbus replies on a fake clock: no reading may be wrong or old.

Long form: python -m tests.campaigns.late_replies 20000 [SEED]
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
from soakwitness.firmware_bridge.links.modbus import ModbusLink
from soakwitness.firmware_bridge.links.port import Port
from soakwitness.firmware_bridge.recording.linking import LinkKeeper
from tests.campaigns.fuzz_links import flipped, frame
from tests.fake_serial import Answer, FakeClock, FakeSerial

EVERY_S = 1.0
TIMEOUT_S = 1.0  # the furnace file's own default
LONGEST_STALL_S = 60.0
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
LEFT = ("all in order", "all mixed up", "first", "third", "last", "none")  # what is left of the questions of a stall


@dataclass
class Score:
    """What came of a campaign; ``stalled`` are slots within a stall, ``missed`` all that were not had."""

    slots: int = 0
    had: int = 0
    wrong: int = 0
    old: int = 0
    stalled: int = 0
    oldest_s: float = 0.0
    troubles: Counter[str] = field(default_factory=Counter)

    def add(self, other: Score) -> None:
        self.slots += other.slots
        self.had += other.had
        self.wrong += other.wrong
        self.old += other.old
        self.stalled += other.stalled
        self.oldest_s = max(self.oldest_s, other.oldest_s)
        self.troubles += other.troubles

    @property
    def missed_percent(self) -> float:
        return 100 * (1 - self.had / self.slots)

    def says(self, what: str) -> str:
        return (
            f"{what}: {self.slots} readings, {self.wrong} wrong, {self.old} old (oldest {self.oldest_s:.1f} s), "
            f"{self.missed_percent:.1f} % not had ({100 * self.stalled / self.slots:.1f} % within stalls)"
        )


def word(table: str, register: int, now_s: float, used: tuple[tuple[str, int], ...]) -> int:
    """Three bits say which register, thirteen when."""
    code = used.index((table, register)) if (table, register) in used else 7
    return code << 13 | int(now_s / TICK_S) % 8192


class Gateway:
    """An instrument behind a gateway that has troubles; ``answer`` is what a FakeSerial asks."""

    def __init__(
        self, chance: random.Random, clock: FakeClock, used: tuple[tuple[str, int], ...], along: int, *, echo: bool
    ) -> None:
        self.chance = chance
        self.clock = clock
        self.used = used
        self.known = {(table, register + i) for table, register in used for i in range(along + 1)}
        self.echo = echo
        self.troubles: Counter[str] = Counter()
        self.next_s = clock.now_s + chance.expovariate(1 / CALM_S)
        self.trouble, self.until_s, self.left, self.asked = "", 0.0, "", 0
        self.free_s = 0.0
        self.stalled_s = 0.0

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
        lasts_s = {"stall": chance.uniform(4, LONGEST_STALL_S), "one late": 0.0, "lost": 0.0}
        self.until_s = now_s + lasts_s.get(self.trouble, chance.uniform(0, 20))
        self.stalled_s += self.until_s - now_s if self.trouble == "stall" else 0.0
        self.next_s = self.until_s + chance.expovariate(1 / CALM_S)
        self.left, self.asked = chance.choice(LEFT), 0

    def replies(self, now_s: float, request: bytes) -> Answer:
        chance, reply = self.chance, self.reply(request, now_s)
        prompt_s = chance.uniform(0.01, 0.05)
        trouble, self.trouble = self.trouble, self.trouble if now_s < self.until_s else ""
        if trouble == "stall" and self.trouble:
            return self.stalled(now_s, reply)
        if now_s + prompt_s < self.free_s:  # the queue of a stall is still being worked off
            self.free_s += 0.05
            return [(self.free_s - now_s, reply)]
        if trouble == "one late" or (trouble == "lost"):
            return [(chance.uniform(1.05, LONGEST_STALL_S), reply)] if trouble == "one late" else []
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
        table = {3: "holding", 4: "input"}[request[1]]
        start, count = int.from_bytes(request[2:4], "big"), int.from_bytes(request[4:6], "big")
        registers = range(start, start + count)
        if any((table, register) not in self.known for register in registers):
            return frame(bytes([request[0], request[1] | 0x80, 2]))
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


def campaign(layout: str, along: int, readings: int, seed: int, *, echo: bool = False, restarts: bool = False) -> Score:
    """Read so many slots through what a recording reads through; judge every value by what it says of itself.

    ``restarts``: somebody takes a silent program for dead and starts it anew, without memory of what it asked.
    """
    clock, score, used = FakeClock(), Score(), LAYOUTS[layout]
    gateway = Gateway(random.Random(seed), clock, used, along, echo=echo)
    wire = FakeSerial(clock, gateway.answer, timeout=TIMEOUT_S)
    keeper = LinkKeeper(furnace(used, echo=echo), clock, lambda f, c: ModbusLink(f, Port(wire, "P"), c))  # type: ignore[arg-type]
    with ticking(clock):
        begin_s, slot, silent = clock.now_s, 0, 0
        while slot < readings:
            clock.now_s = max(clock.now_s, begin_s + slot * EVERY_S)
            reading = keeper.look().reading
            silent = 0 if reading is not None else silent + 1
            if restarts and silent == PATIENCE and gateway.chance.random() < 0.7:
                keeper.close()
                questions._MEMORY.clear()
                gateway.troubles["started anew"] += 1
            if reading is not None:
                judge(score, reading, clock.now_s, {f"s{i}": i for i in range(len(used))})
            passed = max(int((clock.now_s - begin_s) / EVERY_S) - slot, 0)
            slot += passed + 1 if clock.now_s > begin_s + (slot + passed) * EVERY_S else max(passed, 1)
    score.slots, score.troubles, score.stalled = slot, gateway.troubles, round(gateway.stalled_s / EVERY_S)
    return score


def judge(score: Score, reading: Reading, now_s: float, codes: dict[str, int]) -> None:
    """Count a reading as had where every value came."""
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
    score.had += all(reading.values[name] is not None for name in codes)


def main() -> None:
    """Print the long form."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    total = Score()
    for layout in LAYOUTS:
        for says, along in ALONG.items():
            score = campaign(layout, along, readings, seed)
            print(score.says(f"{layout}, {says}"), flush=True)
            total.add(score)
    for layout in LAYOUTS:
        score = campaign(layout, 7, readings, seed, echo=True)
        print(score.says(f"{layout}, 7 along, echo"), flush=True)
        total.add(score)
    for layout in LAYOUTS:
        score = campaign(layout, 7, readings, seed, restarts=True)
        print(score.says(f"{layout}, 7 along, started anew {score.troubles['started anew']} times"), flush=True)
        total.add(score)
    print(total.says(f"all, seed {seed}"), dict(total.troubles))
    for layout in LAYOUTS:
        score = campaign(layout, 0, readings, seed)
        print(score.says(f"{layout}, one length alone"), flush=True)
        total.add(score)
    sys.exit(1 if total.wrong or total.old else 0)


if __name__ == "__main__":
    main()
