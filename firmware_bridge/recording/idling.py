"""What is told while no run is open: a watch that cannot see the furnace would miss the next run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.recording.alarms import Alarms
from soakwitness.firmware_bridge.recording.believing import Believing
from soakwitness.firmware_bridge.recording.now import chamber_sensor, facts, over_limit
from soakwitness.firmware_bridge.recording.sampling import Sample


class Idling:
    """Alarms between runs.

    An instrument that is merely silent is taken as switched off with the furnace, and a sensor's fault matters only
    where no sensor is left that speaks for the chamber.

    ``since_s``: steady time from which a missing reading counts [s]. ``heard``: told what would be an event of a run,
    as (event, detail).
    """

    def __init__(self, furnace: Furnace, alarms: Alarms, since_s: float, heard: Callable[[str, str], None]) -> None:
        self._furnace = furnace
        self._alarms = alarms
        self._last_s = since_s
        self._heard = heard
        self._values: Mapping[str, float | None] = {}
        self._believing = Believing(furnace)

    def look(self, sample: Sample) -> Sample:
        """Take one slot; give it without what is held back."""
        change, reading, error = sample.look.change, sample.look.reading, sample.look.error
        if change is not None:
            self._heard("link back" if change.back else "link lost", change.says)
        if reading is not None:
            shown, doubts = self._believing.look(sample.now_s, reading.values)
            for doubt in doubts:
                self._heard("doubt", doubt)
            self._last_s, self._values = sample.now_s, shown
            self._alarm("link lost", None)
            over = over_limit(self._furnace, shown)
            if over is not None or not self._believing.holding:  # what is held back ends no alarm either
                self._alarm("over-temperature", over)
            blind = chamber_sensor(self._furnace, reading.values) is None
            words = "; ".join(f"{name}: {fault}" for name, fault in reading.faults.items())
            self._alarm("sensor fault", f"{words or 'no reading'}: heating cannot be seen" if blind else None)
            return replace(sample, look=replace(sample.look, reading=replace(reading, values=shown)))
        if error is not None and sample.now_s - self._last_s >= self._furnace.alarm.silent_s:
            off = error.reason == "silent"
            silent = f"no reading for {duration(sample.now_s - self._last_s)}: {error}"
            self._alarm("link lost", None if off else silent)
        return sample

    def tend(self) -> None:
        """To be called several times a second."""
        self._alarms.tend()
        self._tell_failed_command()

    def close(self) -> None:
        """A run begins, or the watch is over."""
        self._alarms.close()

    def _alarm(self, key: str, says: str | None) -> None:
        if self._alarms.set(key, says, facts(self._furnace, None, self._values)):
            self._heard("alarm", f"{key}: {says}")
            self._tell_failed_command()

    def _tell_failed_command(self) -> None:
        if self._alarms.failed:
            self._heard("alarm", self._alarms.failed)
            self._alarms.failed = None
