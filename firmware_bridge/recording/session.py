"""Recording one run from the first look at the instrument to the seal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.claiming import Attendant, claimed, default_opener
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.linking import LinkKeeper, Opener
from soakwitness.firmware_bridge.recording.now import hottest_c, shows_heat
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample, SamplingLoop
from soakwitness.firmware_bridge.recording.starting_a_recorder import (
    RunFacts,
    begin_or_resume,
    check_begun,
)
from soakwitness.firmware_bridge.recording.when_heating_begins import Heating
from soakwitness.firmware_bridge.runfolder.files import Files

BETWEEN_TRIES_S = 1.0
PATIENCE_S = 60.0  # so long an end waits for a disk that takes nothing


def record_run(
    furnace: Furnace,
    clock: Clock,
    about: RunFacts,
    attendant: Attendant,
    *,
    opener: Opener = default_opener,
    for_s: float | None = None,
    fresh: bool = False,
    orphaned: Callable[[], bool] = lambda: False,
    files: Files | None = None,
) -> Path:
    """Record until the attendant ends it, or for ``for_s`` seconds; return the sealed run folder.

    ``orphaned`` says whether nobody can end the run by hand any more: then it ends when the furnace is cold.

    Raises LockHeld if this furnace is being recorded in this log book already; LinkError if the instrument cannot be
    reached at the start; RunFolderError if the run cannot be made, written or sealed.
    """
    with claimed(furnace, clock, about.logbook, attendant, who="record", opener=opener) as link:
        attendant.tell(f"Link: {link.open()}.")
        station = SamplingLoop(clock, link, furnace.every_s)
        first = _first_reading(station, link, clock, attendant)
        reading = first.look.reading
        recording, says = begin_or_resume(
            furnace,
            clock,
            about,
            alarms=Alarms(furnace.alarm, clock, bell=attendant.bell),
            temp_c=None if reading is None else hottest_c(furnace, reading.values),
            started_s=first.now_s,
            fresh=fresh,
            files=files,
            heard=attendant.heard,
        )
        for words in says:
            attendant.tell(words)
        return _OneRun(recording, clock, attendant, for_s, orphaned).record(station, first)


def _first_reading(station: SamplingLoop, link: LinkKeeper, clock: Clock, attendant: Attendant) -> Sample:
    """The first good reading; a person waits, so after three tries the reason is better than an empty run."""
    first = station.first()
    while first.look.error is not None:
        if link.lost or attendant.why_end() is not None:
            raise first.look.error
        clock.sleep(BETWEEN_TRIES_S)
        first = station.first()
    return first


class _OneRun:
    """Goes on with one recording until there is a reason to end it."""

    def __init__(
        self,
        recording: Recording,
        clock: Clock,
        attendant: Attendant,
        for_s: float | None,
        orphaned: Callable[[], bool],
    ) -> None:
        self._recording = recording
        self._clock = clock
        self._attendant = attendant
        self._for_s = for_s
        self._orphaned = orphaned
        self._began_s = clock.monotonic()
        self._heating = Heating(heating_since_s=self._began_s)
        self._why: str | None = None

    def record(self, station: SamplingLoop, first: Sample) -> Path:
        """Record and seal."""
        try:
            self._take(first)
            station.run(self._take, self._tend, self._stopped)
            return finish(self._recording, self._clock, self._attendant.tell, self._why or "")
        finally:
            self._recording.release()

    def _stopped(self) -> bool:
        self._why = self._why or self._attendant.why_end()
        over = self._for_s is not None and self._clock.monotonic() - self._began_s >= self._for_s
        if self._why is None and over:
            self._why = f"after {duration(self._for_s)}, as asked"
        return self._why is not None

    def _take(self, sample: Sample) -> None:
        self._recording.take(sample)
        self._attendant.show(self._recording)
        values = sample.look.reading.values if sample.look.reading else {}
        furnace = self._recording.furnace
        self._heating.look(sample.now_s, *shows_heat(furnace, values))
        self._recording.doubt(self._heating.take_doubts())
        if not self._heating.running and self._orphaned():
            self._why = "the furnace does not heat, and the terminal is gone"

    def _tend(self) -> None:
        check_begun(self._recording)
        self._recording.tend()
        self._attendant.tend(self._recording)


def finish(recording: Recording, clock: Clock, tell: Callable[[str], None], why: str) -> Path:
    """Seal a run, waiting a while for a disk that takes nothing. Raises RunFolderError."""
    until_s = clock.monotonic() + PATIENCE_S
    if recording.keeper.trouble is not None:
        tell(
            f"The record cannot be written ({recording.keeper.trouble}); "
            f"waiting up to {duration(PATIENCE_S)} for the disk."
        )
    while recording.keeper.trouble is not None and clock.monotonic() < until_s:
        clock.sleep(1.0)
        recording.tend()
    recording.end(why)
    assert recording.keeper.folder is not None
    return recording.keeper.folder.path
