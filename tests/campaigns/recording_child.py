"""A recorder to be killed: records as fast as it can on a fake clock and prints the time of each row it was handed.

It writes in a thread, as on a real clock; at a row a minute the sampler has 12 s for each, also on a busy computer.
"""

from __future__ import annotations

import sys
from pathlib import Path

from soakwitness.firmware_bridge.recording import keeping
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.session import record_run
from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
from soakwitness.firmware_bridge.recording.working import OneThread
from tests.fakes import Attendant, FakeClock, FakeInstrument, make_furnace


def main() -> None:
    logbook, start_s = Path(sys.argv[1]), float(sys.argv[2])
    clock = FakeClock(start_s=start_s)
    clock.ahead_s = FakeClock().ahead_s  # the same wall clock for every child

    def note(_: int, recording: object) -> None:
        assert isinstance(recording, Recording)
        print(f"{recording.t_s(clock.now_s):.3f}", flush=True)

    person = Attendant(10**9, act=note)
    keeping.worker_for = lambda _: OneThread()
    record_run(make_furnace(every_s=60.0), clock, RunFacts(logbook), person, opener=FakeInstrument(clock).open)


if __name__ == "__main__":
    main()
