"""Watching a furnace for ever: every heating becomes a run by itself, with the minutes before it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from soakwitness.firmware_bridge.common.wording import moment
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.claiming import Attendant, claimed, default_opener
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.idling import Idling
from soakwitness.firmware_bridge.recording.linking import Opener
from soakwitness.firmware_bridge.recording.now import hottest_c, shows_heat
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample, SamplingLoop
from soakwitness.firmware_bridge.recording.starting_a_recorder import (
    CutOff,
    RunFacts,
    begin,
    cut_off_runs,
    finish_lost,
    resume,
    same_heating,
    stopped_run,
)
from soakwitness.firmware_bridge.recording.when_heating_begins import WARM_C, Heating, HeatingDecision, HeatingSettings
from soakwitness.firmware_bridge.runfolder.doubtful import DOUBTFUL, SETTLED, doubt_in
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.lock import LockHeld

RECENT_S = 600.0  # kept reading by reading
OLDER_S = 12_000.0  # kept thinned: a hold without a climb is believed late
THINNED_S = 10.0
MOST_RECENT = 6000
KEPT_APART = "It is kept apart: soakwitness runs --doubtful"


@dataclass(frozen=True)
class _Row:
    now_s: float
    utc_s: float
    values: tuple[float | None, ...]


class Before:
    """Readings from before a run, in bounded memory: the last minutes whole, what is older every ten seconds."""

    def __init__(self, columns: tuple[str, ...]) -> None:
        self._columns = columns
        self._recent: deque[_Row] = deque(maxlen=MOST_RECENT)
        self._older: deque[_Row] = deque()

    def add(self, sample: Sample, values: Mapping[str, float | None]) -> None:
        """Keep one reading."""
        self._recent.append(_Row(sample.now_s, sample.utc_s, tuple(values.get(name) for name in self._columns)))
        while self._recent[0].now_s < sample.now_s - RECENT_S:
            row = self._recent.popleft()
            if not self._older or row.now_s - self._older[-1].now_s >= THINNED_S:
                self._older.append(row)
        while self._older and self._older[0].now_s < sample.now_s - OLDER_S:
            self._older.popleft()

    def since(self, from_s: float) -> Iterator[_Row]:
        """Readings from a moment on, oldest first."""
        yield from (row for rows in (self._older, self._recent) for row in rows if row.now_s >= from_s)

    def clear(self) -> None:
        """Forget everything."""
        self._recent.clear()
        self._older.clear()


class WatchAttendant(Attendant, Protocol):
    """The person's side of a watch."""

    def idle(self, sample: Sample, furnace: Furnace) -> None:
        """A slot was taken while no run is open."""
        ...

    def finished(self, run: Path) -> None:
        """A run was sealed that is no doubtful one: time to verify it, in another process."""
        ...


class Watcher:
    """Takes every slot; opens and closes runs. ``recording`` is the open run, None between runs."""

    def __init__(
        self,
        furnace: Furnace,
        clock: Clock,
        about: RunFacts,
        attendant: WatchAttendant,
        *,
        settings: HeatingSettings | None = None,
        files: Files | None = None,
    ) -> None:
        self.furnace = furnace
        self.recording: Recording | None = None
        self._clock = clock
        self._about = about
        self._attendant = attendant
        self._settings = settings
        self._files = files
        self._heating = Heating(settings)
        self._before = Before(furnace.columns)
        self._idling = self._new_idling()
        self._looked_back = False
        self._ending: str | None = None

    def take(self, sample: Sample) -> None:
        """Take one slot."""
        reading = sample.look.reading
        values = reading.values if reading is not None else {}
        if reading is not None and not self._looked_back:
            self._look_back(hottest_c(self.furnace, values))
        decision = self._heating.look(sample.now_s, *shows_heat(self.furnace, values))
        if self.recording is not None:
            self.recording.take(sample)
            self._attendant.show(self.recording)
        else:
            self._attendant.idle(self._idling.look(sample), self.furnace)
        if reading is not None and (self.recording is None or self._heating.doubtful):
            self._before.add(sample, values)  # a heating may begin in mid-doubt
        self._follow(decision)
        if self.recording is not None:
            self.recording.doubt(self._heating.take_doubts())
            if self._heating.doubtful and self.recording.doubtful is None:
                self._heating.doubtful = False
                self._before.clear()
                self._attendant.tell("The doubtful run is a heating: it is marked.")

    def tend(self) -> None:
        """To be called several times a second."""
        if self.recording is not None:
            self.recording.tend()
            self._attendant.tend(self.recording)
        else:
            self._idling.tend()

    def close(self, why: str) -> None:
        """End the watch; an open run is left unsealed on the disk, to be gone on with, unless it can be sealed."""
        self._idling.close()
        if self.recording is not None:
            self._end(why)

    def _follow(self, decision: HeatingDecision | None) -> None:
        if decision is not None and decision.act == "begin" and self.recording is None:
            self._begin(decision)
        elif decision is not None and decision.act == "begin":
            self._ending = None  # the disk would not take the end of the run before
            if not decision.doubtful:
                self._settle(decision)
        elif decision is not None and decision.act == "settle":
            self._settle(decision)
        elif decision is not None:
            self._ending = decision.why.text(self.furnace.unit)
        if self._ending is not None and self.recording is not None and self.recording.keeper.trouble is None:
            why, self._ending = self._ending, None
            self._end(why)

    def _new_idling(self) -> Idling:
        return Idling(self.furnace, self._alarms(), self._clock.monotonic(), self._attendant.heard)

    def _begin(self, decision: HeatingDecision) -> None:
        self._idling.close()
        rows = list(self._before.since(decision.from_s))
        started_s = rows[0].now_s if rows else self._clock.monotonic()
        self.recording = begin(
            self.furnace,
            self._clock,
            self._about,
            alarms=self._alarms(),
            started_s=started_s,
            files=self._files,
            heard=self._attendant.heard,
        )
        for row in rows:
            values = dict(zip(self.furnace.columns, row.values, strict=True))
            self.recording.keeper.row(row.now_s - started_s, row.utc_s, values)
        self._before.clear()
        why = decision.why.text(self.furnace.unit)
        if decision.doubtful:
            self.recording.event(DOUBTFUL, why)
        self._attendant.tell(f"A {'doubtful ' if decision.doubtful else ''}run begins: {why}.")

    def _settle(self, decision: HeatingDecision) -> None:
        """The open run is a heating after all."""
        why = decision.why.text(self.furnace.unit)
        self._before.clear()
        if self.recording is not None and self.recording.doubtful is not None:
            self.recording.event(SETTLED, why)
            self._attendant.tell(f"The doubtful run is a heating: {why}.")

    def _end(self, why: str) -> None:
        assert self.recording is not None
        recording, self.recording = self.recording, None
        self._idling = self._new_idling()
        try:
            recording.end(why)
        except RunFolderError as error:
            self._attendant.tell(f"{error}")
            return
        if recording.keeper.folder is not None:
            path = recording.keeper.folder.path
            if recording.doubtful is not None:
                self._attendant.tell(f"The doubtful run is over ({why}) and sealed: {path}. {KEPT_APART}")
                return
            self._attendant.tell(f"The run is over ({why}) and sealed: {path}")
            self._attendant.finished(path)

    def _alarms(self) -> Alarms:
        return Alarms(self.furnace.alarm, self._clock, bell=self._attendant.bell)

    def _look_back(self, temp_c: float | None) -> None:
        """Go on with a run that was cut off, if this is the same heating; seal the others."""
        self._looked_back = True
        lost = cut_off_runs(self._about.logbook, self.furnace)
        if lost and same_heating(lost[-1], self.furnace, self._clock, temp_c=temp_c):
            self._go_on(lost.pop())
        elif temp_c is not None and temp_c >= WARM_C:
            self._go_on_from_stopped(temp_c)
        for run in lost:
            try:
                finish_lost(run, utc_s=self._clock.utc_s(), files=self._files)
            except RunFolderError as error:
                self._attendant.tell(str(error))
            else:
                doubt = doubt_in(run.path)
                kept = "" if doubt is None else f" {KEPT_APART}"
                self._attendant.tell(f"{run.path.name} had been cut off and is sealed now.{kept}")
                if doubt is None:
                    self._attendant.finished(run.path)

    def _go_on(self, run: CutOff) -> None:
        try:
            self.recording = resume(
                run,
                self.furnace,
                self._clock,
                self._about,
                alarms=self._alarms(),
                files=self._files,
                heard=self._attendant.heard,
            )
        except LockHeld:
            raise
        except RunFolderError as error:
            self._attendant.tell(str(error))
            return
        self._heating = self._as_heated(self.recording)
        self._attendant.tell(f"Going on with {run.path.name}, which was cut off at {moment(run.last_t_s)}.")

    def _as_heated(self, recording: Recording) -> Heating:
        """Follow a run whose beginning was not seen."""
        since_s, doubtful = self._clock.monotonic(), recording.doubtful is not None
        return Heating(self._settings, heating_since_s=since_s, doubtful=doubtful)

    def _go_on_from_stopped(self, temp_c: float) -> None:
        """A restart sealed the run of this very heating: what follows is a run of its own that names it."""
        run = stopped_run(self._about.logbook, self.furnace)
        if run is None or not same_heating(run, self.furnace, self._clock, temp_c=temp_c):
            return
        self.recording = begin(
            self.furnace,
            self._clock,
            replace(self._about, continues=run.path.name),
            alarms=self._alarms(),
            files=self._files,
            heard=self._attendant.heard,
        )
        doubt = doubt_in(run.path)
        if doubt is not None:
            self.recording.event(DOUBTFUL, doubt)
        self._heating = self._as_heated(self.recording)
        self._attendant.tell(f"The heating of {run.path.name} goes on, in a run of its own.")


def watch_furnace(
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    attendant: WatchAttendant,
    *,
    opener: Opener = default_opener,
    settings: HeatingSettings | None = None,
    for_s: float | None = None,
    files: Files | None = None,
    tend: Callable[[], None] = lambda: None,
) -> None:
    """Watch until the attendant ends it, or for ``for_s`` seconds; an open run is sealed then.

    Raises LockHeld if this furnace is being recorded in this log book already; RunFolderError if the log book cannot be
    written.
    """
    with claimed(furnace, clock, about.logbook, attendant, who="watch", opener=opener) as link:
        watcher = Watcher(furnace, clock, about, attendant, settings=settings, files=files)
        until_s = None if for_s is None else clock.monotonic() + for_s

        def stopped() -> bool:
            return attendant.why_end() is not None or (until_s is not None and clock.monotonic() >= until_s)

        def tend_both() -> None:
            watcher.tend()
            tend()

        try:
            SamplingLoop(clock, link, furnace.every_s).run(watcher.take, tend_both, stopped)
            watcher.close(attendant.why_end() or "the watch was over, as asked")
        finally:
            if watcher.recording is not None:
                watcher.recording.release()
