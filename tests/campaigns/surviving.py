"""Fault campaign of the recorder: kills, power cuts, failing disks, pulled cables, stepped clocks, long runs.

The long form, with its numbers as a table::

    python -m tests.campaigns.surviving

Each function raises AssertionError where the pass mark is missed. Tests run them in a short form.
"""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.recording import claiming, keeping, sampling
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.runfolder.contents import RecordCheck
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.listing import look_at, run_folders
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events
from soakwitness.firmware_bridge.runfolder.seal import read_seal
from tests.fakes import (
    Attendant,
    FailingFiles,
    FakeClock,
    FakeInstrument,
    PowerCutFiles,
    Stopped,
    make_furnace,
)
from tests.record_oracle import returned_rows
from tests.slow_disks import SlowFiles, SlowWorker

ROOT = Path(__file__).resolve().parents[2]
SYNC_S = 5.0


class NoSync(Files):
    """A disk whose fsync costs nothing."""

    def sync(self, file: object) -> None:
        pass


def only_run(logbook: Path) -> Path:
    """The one run of a log book."""
    (run,) = (logbook / "runs").iterdir()
    return run


def times(check: RecordCheck) -> list[float]:
    """Times of all rows that came back."""
    found = [float(row.split(b",")[0]) for row in returned_rows(check)]
    assert found == sorted(set(found)), "times must rise and none may come twice"
    return found


# kill -9


def kills(count: int, logbook: Path, *, seed: int = 1) -> str:
    """Kill the recorder again and again at random moments of one heating."""
    chance = random.Random(seed)
    start_s, handed = 1000.0, set()
    for _ in range(count):
        rows = chance.randrange(1, 120)
        seen = _record_and_kill(logbook, start_s, rows)
        handed |= set(seen)
        run = only_run(logbook)
        check = check_record(run)
        assert not check.bad_rows
        assert handed <= set(times(check)), "a row that had been handed to the system is gone"
        start_s = 1000.0 + max(handed) + chance.uniform(1.5, 90.0)
    resumed = sum(event.event == "resumed" for event in read_events(run))
    return f"{count} kills, 1 run, {len(handed)} rows, none lost, resumed {resumed} times"


def _record_and_kill(logbook: Path, start_s: float, rows: int) -> list[float]:
    command = [sys.executable, "-m", "tests.campaigns.recording_child", str(logbook), str(start_s)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        seen = [float(child.stdout.readline()) for _ in range(rows)]
        child.kill()
        rest = child.stdout.read().split("\n")
    return seen + [float(line) for line in rest[:-1]]


# power cuts


class CutPower(PowerCutFiles):
    """Stops the program at the ``at``-th call; every later call stops it too."""

    def __init__(self, chance: random.Random, at: int) -> None:
        super().__init__(chance)
        self.at = at
        self.calls = 0

    def write(self, file: object, data: bytes) -> None:
        self.calls += 1
        if self.calls >= self.at:
            raise Stopped
        super().write(file, data)  # type: ignore[arg-type]


def power_cuts(count: int, folder: Path, *, seed: int = 2) -> str:
    """Cut the power at random moments; what was written and not synced is kept, lost or cut."""
    chance = random.Random(seed)
    worst_s = 0.0
    for number in range(count):
        logbook = folder / f"cut {number}"
        clock = FakeClock()
        files = CutPower(chance, chance.randrange(8, 300))
        person = Attendant(10**6)
        with contextlib.suppress(Stopped):
            record_run(make_furnace(), clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open, files=files)
        files.cut()
        last_s = max(0.0, person.shown - 1.0)
        got = times(check_record(only_run(logbook)))
        lost_s = last_s - (got[-1] if got else -1.0)
        whole = _unbroken(got)
        worst_s = max(worst_s, last_s - whole)
        assert last_s - whole <= SYNC_S, f"{last_s - whole} s lost"
        assert lost_s <= SYNC_S
        _goes_on(logbook, clock)
    return f"{count} power cuts, at most {worst_s:.1f} s lost, all resumed as the same run"


def _unbroken(got: list[float]) -> float:
    """Up to which second no row is missing."""
    return next((float(k - 1) for k, t_s in enumerate(got) if t_s != k), float(len(got) - 1))


def _goes_on(logbook: Path, clock: FakeClock) -> None:
    """After the reboot: another boot, a minute later, the same run."""
    after = FakeClock(start_s=30.0, utc_s=clock.utc_s() + 60.0, boot="boot-2")
    record_run(make_furnace(), after, RunFacts(logbook), Attendant(5), opener=FakeInstrument(after).open)
    run = only_run(logbook)
    check = check_record(run)
    assert check.sealed
    (resumed,) = (event for event in read_events(run) if event.event == "resumed")
    assert "uncertain" in resumed.detail
    times(check)


# a crash at every call


class CrashFiles(FailingFiles):
    """The program is gone at the ``at``-th call that reaches the disk."""

    def __init__(self, at: int) -> None:
        super().__init__("any", at, for_ever=True)

    def _check(self, call: str) -> None:
        if self._count(call):
            raise Stopped

    def write(self, file: BinaryIO, data: bytes) -> None:
        if self._count("write"):
            Files.write(self, file, data[: len(data) // 2])
            raise Stopped
        Files.write(self, file, data)


def crashes(folder: Path) -> str:
    """Crash at every call in turn, creation and seal included; the next recorder goes on or begins anew."""
    whole = FailingFiles("any", 0)
    clock = FakeClock()
    furnace = make_furnace()
    record_run(
        furnace, clock, RunFacts(folder / "whole"), Attendant(12), opener=FakeInstrument(clock).open, files=whole
    )
    for at in range(1, whole.calls + 1):
        logbook, clock, person = folder / f"crash {at}", FakeClock(), Attendant(12)
        with contextlib.suppress(Stopped):
            record_run(
                furnace, clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open, files=CrashFiles(at)
            )
        clock.sleep(20.0)
        again = record_run(furnace, clock, RunFacts(logbook), Attendant(5), opener=FakeInstrument(clock).open)
        listed = {run.path: run for run in (look_at(path, compare=True) for path in run_folders(logbook))}
        assert listed[again].intact
        assert listed[again].state == "sealed"
        kept = max(run.rows or 0 for run in listed.values())
        assert kept >= person.shown, "a row that had been handed to the system is gone"
        whole_ones = [run for run in listed.values() if run.state != "unreadable"]
        assert all(run.intact and run.state == "sealed" for run in whole_ones), (at, whole_ones)
        assert all("no run.json" in run.says for run in listed.values() if run.state == "unreadable")
        _chain_holds(logbook)
    return f"{whole.calls} crashes, one at each call; nothing lost, nothing unreadable, the chain of seals unbroken"


def _chain_holds(logbook: Path) -> None:
    """Every seal names one that is there, and no two name the same."""
    seals = [seal for path in run_folders(logbook) if (seal := read_seal(path)) is not None]
    named = [seal.previous for seal in seals if seal.previous is not None]
    known = {digest for seal in seals for digest in seal.known_as}
    assert set(named) <= known
    assert len(set(named)) == len(named)
    assert len({seal.chain_number for seal in seals}) == len(seals)


# a failing disk


def failing_calls(folder: Path, *, every: int = 1) -> str:
    """Let each call that reaches the disk fail in turn, once or for ever, then heal and end the run."""
    tried = 0
    for call in ("write", "fsync", "open", "rename", "remove", "any"):
        for for_ever in (False, True):
            most = _calls_of(call, folder / f"count {call} {for_ever}")
            for at in range(1, most + 1, every):
                for error in (28, 5, 30):  # no space, I/O error, read-only
                    tried += 1
                    _one_failure(folder / f"{tried}", FailingFiles(call, at, for_ever=for_ever, error=error))
    return f"{tried} failures, no crash, nothing lost that memory held, no duplicates"


SLOTS = 40
HEALED_AT = 30


def _calls_of(call: str, logbook: Path) -> int:
    files = FailingFiles(call, 0)
    clock = FakeClock()
    record_run(
        make_furnace(), clock, RunFacts(logbook), Attendant(SLOTS), opener=FakeInstrument(clock).open, files=files
    )
    return min(files.calls, 70)


def _one_failure(logbook: Path, files: FailingFiles) -> None:
    clock = FakeClock()
    alarmed_s: list[float] = []
    failed_s: list[float] = []

    def look(slot: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        if recording.keeper.trouble is not None and not failed_s:
            failed_s.append(clock.now_s)
        if "record not being written" in recording.alarms.now and not alarmed_s:
            alarmed_s.append(clock.now_s)
        files.healed = files.healed or slot >= HEALED_AT

    person = Attendant(SLOTS, act=look)
    try:
        run = record_run(
            make_furnace(), clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open, files=files
        )
    except RunFolderError:
        # It could not even begin, or not be sealed; nothing was shown as recorded that is not there.
        assert person.shown == 0 or _all_rows(logbook, person.shown)
        return
    if failed_s and failed_s[0] + 10 < clock.now_s and files.for_ever:
        assert alarmed_s, "no alarm"
        assert alarmed_s[0] - failed_s[0] <= 10
    assert _all_rows(logbook, person.shown)
    check = check_record(run)
    assert check.sealed
    assert check.intact
    events = read_events(run)
    assert len(set(events)) == len(events), "an event stands twice"
    assert [event.event for event in events][0] == "start"


def _all_rows(logbook: Path, count: int) -> bool:
    got = times(check_record(only_run(logbook)))
    assert got == [float(second) for second in range(count)], "rows are missing"
    return True


# the cable


def pulled_cables(count: int, logbook: Path, *, seed: int = 3) -> str:
    """Pull the cable for 1 s to 30 min; every third time it comes back under another port name."""
    chance = random.Random(seed)
    clock = FakeClock()
    instrument = FakeInstrument(clock)
    plan = _cable_plan(count, chance)
    pulls: list[tuple[float, float]] = []

    def values(now_s: float) -> dict[str, float | None]:
        return {"control": round(now_s % 900, 1), "load": round(now_s % 700, 1), "setpoint": 1.0}

    instrument.values = values
    world = _Cable(clock, instrument, plan, pulls)
    person = _Watching(world)
    furnace = make_furnace()
    with _adapters(instrument):
        run = record_run(furnace, clock, RunFacts(logbook), person, opener=instrument.open)
    events = read_events(run)
    backs = [event for event in events if event.event == "link back"]
    assert len(backs) == len(pulls) == count
    late = [back.t_s - (plugged - 1000.0) for back, (_, plugged) in zip(backs, pulls, strict=True)]
    assert max(late) <= 10.0, max(late)
    got = times(check_record(run))
    for back, (pulled, _) in zip(backs, pulls, strict=True):
        gap, first, last = _gap(back.detail)
        real = max(t_s for t_s in got if t_s < back.t_s and t_s <= pulled - 1000.0 + 1.0)
        assert abs(first - real) <= 1.0
        assert abs(gap - (last - first)) < 0.0015
        assert abs(last - back.t_s) < 0.0015
    return f"{count} pulls, back after at most {max(late):.1f} s, gaps exact to one sample"


def _gap(detail: str) -> tuple[float, float, float]:
    words = detail.split()
    return float(words[1]), float(words[4]), float(words[6])


def _cable_plan(count: int, chance: random.Random) -> Iterator[tuple[float, float, bool]]:
    for number in range(count):
        yield chance.uniform(20, 60), 10 ** chance.uniform(0, 3.2553), number % 3 == 2


class _Cable:
    """Pulls and plugs as the time comes."""

    def __init__(
        self,
        clock: FakeClock,
        instrument: FakeInstrument,
        plan: Iterator[tuple[float, float, bool]],
        pulls: list[tuple[float, float]],
    ) -> None:
        self._clock = clock
        self._instrument = instrument
        self._plan = plan
        self._pulls = pulls
        self._next = next(plan, None)
        self._pull_s = clock.now_s + (self._next[0] if self._next else 0.0)
        self._out_s = 0.0
        self.done = False

    def follow(self) -> None:
        """Set the cable as it is now."""
        if self._next is None:
            self.done = self._instrument.gone is None and self._clock.now_s > self._pull_s
            return
        _, length_s, new_name = self._next
        now_s = self._clock.now_s
        if self._instrument.gone is None and now_s >= self._pull_s:
            self._instrument.gone = "missing"
            if new_name:
                self._instrument.port = f"/dev/fake{len(self._pulls)}"
            self._out_s = now_s
        elif self._instrument.gone is not None and now_s >= self._out_s + length_s:
            self._instrument.gone = None
            self._pulls.append((self._out_s, now_s))
            self._next = next(self._plan, None)
            self._pull_s = now_s + (self._next[0] if self._next else 30.0)


class _Watching(Attendant):
    def __init__(self, cable: _Cable) -> None:
        super().__init__(10**9)
        self._cable = cable

    def tend(self, recording: object) -> None:
        self._cable.follow()

    def why_end(self) -> str | None:
        return "enough" if self._cable.done else None


@contextlib.contextmanager
def _adapters(instrument: FakeInstrument) -> Iterator[None]:
    """The system's list of ports shows the adapter under the name it has now."""
    before = claiming.adapters
    claiming.adapters = lambda: [] if instrument.gone else [(instrument.port, "0403:6001 A1")]
    try:
        yield
    finally:
        claiming.adapters = before


# clocks


STEPS_S = (3600.0, -3600.0, 10 * 365.25 * 86400, -10 * 365.25 * 86400, 7200.0, -7200.0)


def clock_steps(logbook: Path) -> str:
    """Step the wall clock by an hour, ten years and back in a run; the run's own time must not notice."""
    clock = FakeClock()
    steps = list(STEPS_S)

    def step(slot: int, _: object) -> None:
        if slot % 60 == 30 and steps:
            clock.step(steps.pop(0))

    person = Attendant(60 * (len(STEPS_S) + 1), act=step)
    run = record_run(make_furnace(), clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open)
    got = times(check_record(run))
    worst = max(abs(t_s - k) for k, t_s in enumerate(got))
    assert len(got) == person.shown
    assert worst < 0.1
    said = [event for event in read_events(run) if event.event == "clock step"]
    assert [round(float(event.detail.split()[0])) for event in said] == [round(step_s) for step_s in STEPS_S]
    return f"{len(STEPS_S)} steps, each one said, t_s off by at most {worst:.3f} s"


# long runs


def days(count: float, logbook: Path, *, seed: int = 4) -> str:
    """Record for days at 1 Hz; now and then the computer is busy for some seconds."""
    chance = random.Random(seed)
    clock = FakeClock()
    busy: list[float] = []

    def sometimes_busy(slot: int, _: object) -> None:
        if slot % 50_000 == 25_000:
            busy.append(chance.uniform(1.0, 4.0))
            clock.pass_by(busy[-1])
        if slot % 20_000 == 0:
            sizes.append(sys.getallocatedblocks())

    sizes: list[int] = []
    slots = round(count * 86_400)
    person = Attendant(slots, act=sometimes_busy)
    with _looks_once_a_second():
        instrument = FakeInstrument(clock)
        run = record_run(make_furnace(), clock, RunFacts(logbook), person, opener=instrument.open, files=NoSync())
    half = len(sizes) // 2
    grown = max(sizes[half:]) - max(sizes[:half])
    rows = [row.split(b",") for row in returned_rows(check_record(run))]
    missed = [row for row in rows if row[2] == b""]
    share = len(missed) / len(rows)
    assert share < 1e-4, share
    steps = {round(float(b[0]) - float(a[0])) for a, b in zip(rows, rows[1:], strict=False)}
    assert steps == {1}, "every missed slot has its empty row"
    assert grown < 2_000, grown
    return f"{count:g} days, {len(rows)} rows, {len(missed)} missed ({share:.2e}), {grown} objects more in memory"


@contextlib.contextmanager
def _looks_once_a_second() -> Iterator[None]:
    before, sampling.PAUSE_S = sampling.PAUSE_S, 1.0
    try:
        yield
    finally:
        sampling.PAUSE_S = before


# slow disks


def slow_disks(count: int, folder: Path, *, seed: int = 6) -> str:
    """Disks that take up to 20 s a sync, at 1 Hz, and a power cut at a random moment."""
    chance = random.Random(seed)
    slots, worst_s, before = 0, 0.0, keeping.worker_for
    try:
        for number in range(count):
            clock = FakeClock()
            files = SlowFiles(clock, chance.choice((0.05, 0.3, 1.5, 5.0, 20.0)), chance)
            keeping.worker_for = lambda _, c=clock, f=files: SlowWorker(c, f)
            last = chance.randrange(200, 400)

            def cut(slot: int, _: object, last: int = last) -> None:
                if slot == last:
                    raise Stopped

            logbook = folder / f"slow {number}"
            person, opener = Attendant(10**6, act=cut), FakeInstrument(clock).open
            with contextlib.suppress(Stopped):
                record_run(make_furnace(), clock, RunFacts(logbook), person, opener=opener, files=files)
            files.cut()
            check = check_record(only_run(logbook))
            lost_s = last - 1 - _unbroken(times(check))
            assert lost_s <= SYNC_S + files.sync_s, (files.sync_s, lost_s)
            assert all(row.split(b",")[2] for row in returned_rows(check)), "a slot was missed"
            slots, worst_s = slots + last, max(worst_s, lost_s - files.sync_s)
    finally:
        keeping.worker_for = before
    return f"{count} slow disks, {slots} slots, none missed, at most {worst_s:.1f} s lost beside the sync under way"


def main() -> None:
    """Run the long form."""
    parts: list[tuple[str, Callable[[Path], str]]] = [
        ("kill -9", lambda folder: kills(200, folder)),
        ("power loss", lambda folder: power_cuts(200, folder)),
        ("crash", crashes),
        ("failing disk", failing_calls),
        ("slow disk", lambda folder: slow_disks(100, folder)),
        ("cable pulled", lambda folder: pulled_cables(50, folder)),
        ("clock stepped", clock_steps),
        ("30 days at 1 Hz", lambda folder: days(30, folder)),
    ]
    wanted = sys.argv[1:]
    for name, work in parts:
        if wanted and name not in wanted:
            continue
        began = time.perf_counter()
        with tempfile.TemporaryDirectory() as folder:
            says = work(Path(folder))
        print(f"{name:16} {says}  ({time.perf_counter() - began:.0f} s)", flush=True)


if __name__ == "__main__":
    os.chdir(ROOT)
    main()
