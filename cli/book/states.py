"""What the book was told of runs being recorded: the newest state of each furnace, and its past for the picture."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from soakwitness.cli.book.past import Row, past_readings, thinned
from soakwitness.firmware_bridge.common.units import Unit

BEAT_S = 5.0  # so often the age of the last reading is told where nothing new is
LOOK_S = 0.5
LEAST_APART_S = 0.25  # no browser draws oftener
SILENT_PERIODS = 3.0
SHORTEST_SILENCE_S = 2.0
MOST_FURNACES = 50
READ_AGAIN_S = 30.0

Told = dict[str, Any]


@dataclass
class HeardRun:
    """One furnace: the state told last, when that was, the past, and the verdict on the run that ended last."""

    state: Told
    heard_s: float
    number: int = 0  # other when it was told anew
    past: list[Row] = field(default_factory=list)
    past_number: int = 0  # other when the past was read anew
    ended: bool = False
    last_run: str | None = None  # the run that ended last, and the verdict on it
    last: Told | None = None
    read_s: float = -float("inf")

    def silent(self, now_s: float) -> bool:
        """Whether its recorder is no longer heard."""
        limit_s = max(SILENT_PERIODS * _number(self.state.get("every_s")), SHORTEST_SILENCE_S)
        return not self.ended and now_s - self.heard_s > limit_s


class States:
    """Every furnace that was told of. All calls come from the server's own loop.

    ``when_over`` is called with furnace and run when a run is over.
    """

    def __init__(self, runs: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self.when_over: Callable[[str, str], Awaitable[None]] | None = None
        self.browsers = 0
        self._runs = runs
        self._clock = clock
        self._heard: dict[str, HeardRun] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._closing = False
        self._numbers = 0

    @property
    def busy(self) -> bool:
        """Whether something records, or someone looks at it."""
        now_s = self._clock()
        return self.browsers > 0 or any(not h.ended and not h.silent(now_s) for h in self._heard.values())

    def furnaces(self) -> tuple[str, ...]:
        """Names of the furnaces that were told of."""
        return tuple(self._heard)

    def recording(self) -> tuple[Told, ...]:
        """The newest states of runs that are open now."""
        return tuple(h.state for h in self._heard.values() if h.state.get("run") and not h.ended)

    def take(self, state: Any) -> None:
        """Take a state that a recorder told; what is none is left."""
        if not isinstance(state, dict) or not isinstance(state.get("furnace"), str):
            return
        furnace: str = state["furnace"]
        state["readings"] = _readings(state)
        heard = self._heard.get(furnace)
        if state.get("ended"):
            if heard is not None and heard.state.get("run") and heard.state["run"] == state.get("run"):
                self._over(furnace, heard)
            return
        if heard is None:
            if len(self._heard) >= MOST_FURNACES:
                return
            heard = self._heard[furnace] = HeardRun({}, self._clock())
        run, before = state.get("run"), heard.state.get("run")
        if before and run != before:
            self._over(furnace, heard)
        other = bool(run) and run != before
        if other:
            heard.past, heard.past_number = [], heard.past_number + 1
        elif not run:  # the picture of the run that is over stays beside its sentence
            state["holds"] = heard.state.get("holds")
        missing = other or _jumped(heard.past, state)
        heard.state, heard.heard_s, heard.ended = state, self._clock(), False
        if run:
            heard.past.append(_row(state))
            heard.past = thinned(heard.past)
        self._changed(heard)
        if missing and run and self._clock() - heard.read_s > (0 if other else READ_AGAIN_S):
            heard.read_s = self._clock()
            self.begin(self._read_past(heard, str(run)))

    def set_last(self, furnace: str, run: str, last: Told) -> None:
        """Keep the verdict on the run of a furnace that ended last."""
        heard = self._heard.get(furnace)
        if heard is not None and heard.last_run == run:
            heard.last = last
            self._changed(heard)

    def judge_again(self, run: str) -> None:
        """Something was entered into a run that is over: its verdict is asked for anew."""
        for furnace, heard in self._heard.items():
            if heard.ended and heard.last_run is not None and Path(heard.last_run).name == run and self.when_over:
                self.begin(self.when_over(furnace, run))

    def begin(self, work: Any) -> None:
        """Have work done beside."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def close(self) -> None:
        """End every stream."""
        self._closing = True

    def look_for_ends(self) -> None:
        """A recorder that fell silent and whose run is sealed has ended; its last word was lost."""
        now_s = self._clock()
        for furnace, heard in self._heard.items():
            run = heard.state.get("run")
            if run and heard.silent(now_s) and (self._runs / Path(str(run)).name / "seal.json").exists():
                self._over(furnace, heard)

    def _over(self, furnace: str, heard: HeardRun) -> None:
        if heard.ended:
            return
        run = str(heard.state.get("run"))
        heard.ended, heard.last_run, heard.last = True, run, None
        self._changed(heard)
        if self.when_over is not None:
            self.begin(self.when_over(furnace, Path(run).name))

    def _changed(self, heard: HeardRun) -> None:
        self._numbers += 1
        heard.number = self._numbers

    async def _read_past(self, heard: HeardRun, run: str) -> None:
        names = [str(reading.get("name")) for reading in _readings(heard.state)]
        unit: Unit = "F" if heard.state.get("unit") == "F" else "C"
        rows = await asyncio.to_thread(past_readings, self._runs / Path(run).name, names, unit)
        if rows and heard.state.get("run") == run:
            until_s = _number(rows[-1][0])
            heard.past = [*rows, *(row for row in heard.past if _number(row[0]) > until_s)]
            heard.past_number += 1
            self._changed(heard)

    def _shown(self, heard: HeardRun, *, whole: bool) -> Told:
        now_s = self._clock()
        age_s = heard.state.get("reading_age_s")
        return {
            **heard.state,
            "age_s": None if age_s is None else round(_number(age_s) + now_s - heard.heard_s, 1),
            "silent": heard.silent(now_s),
            "ended": heard.ended,
            "last": heard.last,
            "last_run": heard.last_run,
            **({"past": heard.past} if whole else {}),
        }

    def whole(self) -> Told:
        """Everything, for a browser that has just come."""
        return {"furnaces": [self._shown(heard, whole=True) for heard in self._heard.values()]}

    async def stream(self) -> AsyncIterator[bytes]:
        """Server-sent events: everything once, then what is new, and the ages again and again.

        A browser that does not read is waited for here alone: it gets the newest when it reads on.
        """
        self.browsers += 1
        try:
            yield _event("whole", self.whole())
            seen = {furnace: (heard.number, heard.past_number) for furnace, heard in self._heard.items()}
            silent = self._silent()
            beaten_s = self._clock()
            while not self._closing:
                await asyncio.sleep(LEAST_APART_S)
                for furnace, heard in list(self._heard.items()):
                    before, now = seen.get(furnace, (-1, -1)), (heard.number, heard.past_number)
                    if now != before:
                        seen[furnace] = now
                        yield _event("state", self._shown(heard, whole=now[1] != before[1]))
                now_silent = self._silent()
                if now_silent != silent or self._clock() - beaten_s > BEAT_S:
                    silent, beaten_s = now_silent, self._clock()
                    yield _event("beat", {"furnaces": [self._beat(f) for f in self._heard]})
        finally:
            self.browsers -= 1

    def _silent(self) -> list[str]:
        now_s = self._clock()
        return [furnace for furnace, heard in self._heard.items() if heard.silent(now_s)]

    def _beat(self, furnace: str) -> Told:
        shown = self._shown(self._heard[furnace], whole=False)
        return {name: shown.get(name) for name in ("furnace", "age_s", "silent", "ended")}


def _event(name: str, said: Told) -> bytes:
    return f"event: {name}\ndata: {json.dumps(said)}\n\n".encode()


def _row(state: Told) -> Row:
    return [_number(state.get("t_s")), *(_temp(reading.get("temp")) for reading in _readings(state))]


def _readings(state: Told) -> list[Told]:
    said = state.get("readings")
    return [reading for reading in said if isinstance(reading, dict)] if isinstance(said, list) else []


def _temp(value: Any) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None


def _jumped(past: list[Row], state: Told) -> bool:
    """Whether states were lost since the last one."""
    apart_s = _number(state.get("t_s")) - (_number(past[-1][0]) if past else 0.0)
    return bool(past) and apart_s > SILENT_PERIODS * _number(state.get("every_s"))


def _number(value: Any) -> float:
    return float(value) if isinstance(value, (int, float)) else 0.0
