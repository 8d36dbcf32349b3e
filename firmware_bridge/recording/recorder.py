"""One run being recorded: every slot becomes a row, everything that happens an event."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import cast

from soakwitness.firmware_bridge.common.wording import counted, duration
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.marks.expecting import Practice
from soakwitness.firmware_bridge.recording.acts import Contacts
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.believing import Believing
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.doubts import PlausibilityChecks
from soakwitness.firmware_bridge.recording.keeping import WAIT_SHARE, Keeper
from soakwitness.firmware_bridge.recording.linking import LinkChange
from soakwitness.firmware_bridge.recording.marking import MarkIntake
from soakwitness.firmware_bridge.recording.now import Now, chamber_c, facts, over_limit
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.runfolder.contents import Act, Event, Mark
from soakwitness.firmware_bridge.runfolder.doubtful import DOUBTFUL, SETTLED, doubt_left
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.lock import Lock
from soakwitness.firmware_bridge.runfolder.mending import RECORD_CHANGED
from soakwitness.firmware_bridge.runfolder.origins import Origin

COLLECT_EVERY_S = 0.5
FAULT_EVERY_S = 10.0  # a flapping sensor does not fill the events
TEXT_EVERY_S = 60.0
SILENT_S = 10.0  # a disk that takes nothing for so long is one that the record is not written to
PROMPT_S = 60.0


class Recording:
    """Takes samples of one furnace into one run folder.

    ``heard``: told each event as (event, detail), for the terminal.
    """

    def __init__(
        self,
        furnace: Furnace,
        clock: Clock,
        keeper: Keeper,
        started_s: float,
        *,
        alarms: Alarms,
        practice: Practice = Practice(),  # noqa: B008 (frozen)
        known: Sequence[Event] = (),
        heard: Callable[[str, str], None] | None = None,
        locks: list[Lock] | None = None,
    ) -> None:
        self.furnace = furnace
        self.keeper = keeper
        self.started_s = started_s
        self.alarms = alarms
        self.missed = 0
        self.lost_answers = 0
        self._locks = [] if locks is None else locks
        self._clock = clock
        self._heard = heard
        self.desk = MarkIntake(keeper, self.event, known, practice)
        self._contacts = Contacts(furnace.contacts)
        self._doubts = PlausibilityChecks(furnace)
        self._whether_heated = [event for event in known if event.event in (DOUBTFUL, SETTLED)]
        self._believing = Believing(furnace)
        self._faults: dict[str, tuple[str, float]] = {}  # sensor: what was last said of it, and when
        self._texts: dict[str, float] = {}
        self._last: Sample | None = None  # the last one with a reading
        self._link_lost: str | None = None
        self._collected_s = -float("inf")
        self._trouble_told = False
        self._slow_s: float | None = None  # when rows last waited for the disk
        self._most_waiting = 0

    def t_s(self, now_s: float) -> float:
        """Time in the run of a moment on the steady clock [s]."""
        return now_s - self.started_s

    def event(self, event: str, detail: str = "", *, now_s: float | None = None, utc_s: float | None = None) -> Event:
        """Enter an event, now or at a given moment."""
        now_s = self._clock.monotonic() if now_s is None else now_s
        utc_s = self._clock.utc_s() if utc_s is None else utc_s
        t_s = round(self.t_s(now_s), 3)
        self.keeper.event(t_s, utc_s, event, detail)
        if self._heard is not None:
            self._heard(event, detail)
        entered = Event(t_s, utc_text(utc_s), event, detail)
        self._whether_heated += [entered] if event in (DOUBTFUL, SETTLED) else []
        return entered

    @property
    def doubtful(self) -> str | None:
        """Why this may be no heating, as long as nothing settled that."""
        return doubt_left(self._whether_heated, self.desk.marks)

    def take(self, sample: Sample) -> None:
        """Write what one slot brought."""
        if sample.step_s:
            self._say(
                sample, "clock step", f"{sample.step_s:+.3f} s: the computer's clock was set; t_s goes on as before"
            )
        self._mark_missed(sample)
        change, reading = sample.look.change, sample.look.reading
        if change is not None:
            self._link_changed(sample, change)
        if reading is not None:
            self.keeper.row(self.t_s(sample.now_s), sample.utc_s, reading.values)
            shown, doubts = self._believing.look(self.t_s(sample.now_s), reading.values)
            for doubt in doubts:
                self._say(sample, "doubt", doubt)
            sample = replace(sample, look=replace(sample.look, reading=replace(reading, values=shown)))
            self._last = sample
            self.lost_answers += reading.missed
            self._read(sample, reading.values, reading.faults, reading.texts)
        elif self._link_lost is None:
            self.missed += 1
            self.keeper.row(self.t_s(sample.now_s), sample.utc_s, {})
        self._raise_alarms(sample)
        self.keeper.wait()

    def _say(self, sample: Sample, event: str, detail: str) -> None:
        self.event(event, detail, now_s=sample.now_s, utc_s=sample.utc_s)

    def _mark_missed(self, sample: Sample) -> None:
        """An empty row for each slot that was passed over; one event where they are many."""
        if self._link_lost is not None:
            return
        self.missed += sample.missed_count
        for due_s in sample.missed:
            self.keeper.row(self.t_s(due_s), sample.utc_s - (sample.now_s - due_s), {})
        if sample.missed_count > len(sample.missed):
            missed, until = counted(sample.missed_count, "reading"), f"{self.t_s(sample.now_s):.3f} s"
            self._say(sample, "not recorded", f"{missed} up to {until}: the computer slept or was busy")

    def _link_changed(self, sample: Sample, change: LinkChange) -> None:
        now_t_s = self.t_s(sample.now_s)
        since = None if change.since_s is None else self.t_s(change.since_s)
        if change.back:
            self._link_lost = None
            gap = "" if since is None else f"gap {now_t_s - since:.3f} s, from {since:.3f} to {now_t_s:.3f} s; "
            self._say(sample, "link back", gap + change.says)
        else:
            self._link_lost = change.says
            last = "no reading before" if since is None else f"last reading at {since:.3f} s"
            self._say(sample, "link lost", f"{change.says} ({last})")
            if self.keeper.trouble is None:
                self.keeper.save_soon()  # opening it again may block for longer than rows may wait for the disk

    def _read(
        self, sample: Sample, values: Mapping[str, float | None], faults: Mapping[str, str], texts: Sequence[str]
    ) -> None:
        for name in {*faults, *self._faults}:
            self._fault(sample, name, faults.get(name))
        for text in texts:
            if sample.now_s - self._texts.get(text, -TEXT_EVERY_S) >= TEXT_EVERY_S:
                self._texts = {**dict(list(self._texts.items())[-20:]), text: sample.now_s}
                self._say(sample, "instrument", text)
        shown = sample.look.reading.values if sample.look.reading is not None else values
        for doubt in self._doubts.look(self.t_s(sample.now_s), shown):
            self._say(sample, "doubt", doubt)
        for press in self._contacts.look(values):
            self.press(press.means, "contact", by=press.contact, now_s=sample.now_s)

    def _fault(self, sample: Sample, name: str, word: str | None) -> None:
        said, at_s = self._faults.get(name, ("", -FAULT_EVERY_S))
        if (word or "") == said or sample.now_s - at_s < FAULT_EVERY_S:
            return
        self._faults[name] = (word or "", sample.now_s)
        self._say(sample, "sensor fault", f"{name}: {word or 'reads again'}")

    def _raise_alarms(self, sample: Sample) -> None:
        reading = sample.look.reading
        if reading is not None:
            says = over_limit(self.furnace, reading.values)
            if says is not None or not self._believing.holding:  # what is held back ends no alarm either
                self._alarm("over-temperature", says)
            for sensor in self.furnace.sensors:
                word = reading.faults.get(sensor.name)
                says = None if word is None else f"{sensor.name}: {word}"
                self._alarm(f"sensor fault {sensor.name}", says, kind="sensor fault")
            self._alarm("link lost", None)
        else:
            since_s = self._last.now_s if self._last is not None else self.started_s
            if sample.now_s - since_s >= self.furnace.alarm.silent_s:
                self._alarm("link lost", f"no reading for {duration(sample.now_s - since_s)}: {sample.look.error}")

    def _alarm(self, key: str, says: str | None, *, kind: str = "") -> None:
        if says is None:
            self.alarms.set(key, None)
        elif self.alarms.set(key, says, self._facts(), kind=kind):
            self.event("alarm", f"{kind or key}: {says}")
            self._tell_failed_command()

    def _tell_failed_command(self) -> None:
        if self.alarms.failed:
            says, self.alarms.failed = self.alarms.failed, None
            self.event("alarm", says)

    def _facts(self) -> dict[str, str]:
        now = self.now()
        return facts(self.furnace, now.run, now.values)

    def doubt(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Enter who does not show the heat that another shows."""
        for still, shows in pairs:
            self.event("doubt", f"{still}: stays as it was while {shows} shows heat; shorted, or not in the furnace?")

    def alarm(self, kind: str, says: str | None) -> None:
        """Say how it stands with an alarm that is told from outside: soak complete, soak overdue, not to recipe."""
        self._alarm(kind, says)

    def tend(self) -> None:
        """Sync, collect marks, watch over the record itself. To be called several times a second."""
        now_s = self._clock.monotonic()
        self.keeper.tend()
        if now_s - self._collected_s >= COLLECT_EVERY_S:
            self._collected_s = now_s
            self._collect()
            self.alarms.tend()
            self._tell_failed_command()
            self._watch_record(now_s)

    def _collect(self) -> None:
        self.desk.collect(self.t_s(self._clock.monotonic()), self._clock.wall_s(), self._clock.speed)

    def _watch_record(self, now_s: float) -> None:
        self._tell_changes()
        trouble, since_s = self.keeper.trouble, self.keeper.trouble_since_s
        if trouble is None and self.keeper.silent_s >= SILENT_S:
            trouble = f"the disk has not answered for {duration(self.keeper.silent_s)}"
        self._watch_pace(now_s)
        if trouble is not None:
            self._alarm(
                "record not being written", f"{trouble}; only in memory: {counted(self.keeper.held_rows, 'row')}"
            )
            self._trouble_told = True
        elif self._trouble_told and since_s is None:
            self._trouble_told = False
            self._alarm("record not being written", None)
            lost = f"; lost: up to {counted(self.keeper.lost_rows, 'row')}" if self.keeper.lost_rows else ""
            self.event("not recorded" if lost else "record written again", f"the disk takes rows again{lost}")

    def _tell_changes(self) -> None:
        """Say what another program did to the files."""
        for says in self.keeper.changes():
            self.event(RECORD_CHANGED, says)
            self._alarm(RECORD_CHANGED, None)  # each is told anew
            self._alarm(RECORD_CHANGED, says)
            for lock in self._locks:
                lock.renew()

    def _watch_pace(self, now_s: float) -> None:
        """Name a slow disk: what waits for it in memory is what a kill of the program costs."""
        since_s = self.keeper.behind_since_s
        if since_s is None or self.keeper.folder is None:  # a run begins once its folder is there
            if self._slow_s is not None and now_s - self._slow_s >= PROMPT_S:
                self._slow_s = None
                self.event("disk prompt again", f"at most {counted(self._most_waiting, 'row')} waited for it")
            return
        if self._slow_s is None:
            self._most_waiting = 0
            says = f"it takes longer than {duration(WAIT_SHARE * self.furnace.every_s)} for a row"
            self.event("slow disk", f"{says}; readings go on and wait in memory, where a crash would lose them")
        self._slow_s = now_s
        self._most_waiting = max(self._most_waiting, self.keeper.waiting_rows)

    def mark(
        self,
        act: Act,
        pieces: Sequence[str] = (),
        *,
        note: str = "",
        by: str | None = None,
        origin: Origin | None = None,
        now_s: float | None = None,
    ) -> Mark:
        """Enter a mark of this moment, from a key or a contact."""
        t_s = self.t_s(self._clock.monotonic() if now_s is None else now_s)
        mark = Mark(t_s=t_s, act=act, pieces=tuple(pieces), note=note, entered_t_s=t_s, by=by, origin=origin)
        return self.desk.put(mark)

    def press(self, means: str, origin: Origin, *, by: str | None = None, now_s: float | None = None) -> Mark:
        """Enter what a contact or a key means; ``next`` is the next expected act."""
        if means == "next":
            expected = self.desk.expected(self.now().chamber_c)
            return self.mark(expected.act, expected.names, by=by, origin=origin, now_s=now_s)
        return self.mark(cast(Act, means), self.desk.names_meant(means), by=by, origin=origin, now_s=now_s)

    def undo(self, *, by: str | None = None) -> Mark | None:
        """Take the newest entry back, where that needs no reason yet."""
        return self.desk.undo(self.t_s(self._clock.monotonic()), by)

    def now(self) -> Now:
        """How the run stands at this moment."""
        now_s = self._clock.monotonic()
        reading = self._last.look.reading if self._last is not None else None
        values = reading.values if reading is not None else {}
        return Now(
            furnace=self.furnace,
            run=self.keeper.folder.path if self.keeper.folder else None,
            t_s=self.t_s(now_s),
            utc_s=self._clock.utc_s(),
            values=values,
            faults=reading.faults if reading is not None else {},
            reading_age_s=None if self._last is None else now_s - self._last.now_s,
            rows=self.keeper.rows,
            missed=self.missed,
            lost_answers=self.lost_answers,
            link_lost=self._link_lost,
            trouble=self.keeper.trouble,
            held_rows=self.keeper.held_rows,
            marks=self.desk.marks,
            pieces=self.desk.pieces,
            expected=self.desk.expected(chamber_c(self.furnace, values)),
            alarms=self.alarms.now,
        )

    def end(self, why: str) -> str:
        """Enter the end, bring everything to the disk and seal; return the seal's digest.

        Raises RunFolderError if the run cannot be written or sealed; its folder stays as it is and can be resumed.
        """
        self._collect()
        self.keeper.save()
        self._tell_changes()
        self.event("end", why)
        try:
            return self._seal()
        finally:
            self.release()

    def _seal(self) -> str:
        if not self.keeper.save() or self.keeper.folder is None:
            raise RunFolderError(
                f"the run could not be written ({self.keeper.trouble}): only in memory: "
                f"{counted(self.keeper.held_rows, 'row')}. What is on the disk stays and can be resumed."
            )
        return self.keeper.folder.seal(sealed_utc=self._clock.utc_s())

    def release(self) -> None:
        """Close the files and let go of the run folder."""
        self.alarms.close()
        self.keeper.close()
        while self._locks:
            lock = self._locks.pop()
            lock.release()
            with contextlib.suppress(OSError):
                lock.path.unlink()
