"""Makes the run folder of a simulated run directly, without link, recorder or waiting."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.furnace.sensors_and_links import Contact, Furnace, ModbusSource, Sensor
from soakwitness.firmware_bridge.links.blocks import number
from soakwitness.firmware_bridge.links.numbers import is_fault, scaled
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.header import columns_of
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from soakwitness.firmware_bridge.simulated import instrument
from soakwitness.firmware_bridge.simulated.furnace import SimulatedFurnace
from soakwitness.firmware_bridge.simulated.settings import read_settings

Values = Mapping[str, float | None]


@dataclass(frozen=True)
class Papers:
    """What goes into ``run.json`` beside the furnace."""

    started_utc: datetime
    recipe_name: str | None = None
    recipe_file: str | None = None
    operator: str | None = None
    zone: str | None = None
    software: str | None = None


def write_run(
    furnace: Furnace, logbook: Path, papers: Papers, *, tail_s: float = 600.0, longest_s: float = 86_400.0
) -> Path:
    """Run the scenario of a furnace file and write it as a sealed run folder; return its path.

    Loading, pulling and plates become marks, except a cold load. While the cable is pulled there are no rows.

    ``furnace``: A furnace file with ``kind = "simulated"`` that reads Modbus registers. ``tail_s``: the run ends so
    long after the controller has switched off [s].
    """
    settings = read_settings(furnace.link.settings, unit=furnace.unit, source=furnace.source or "[link]")
    folder = RunFolder.create(
        logbook,
        columns=columns_of(furnace),
        furnace_name=furnace.name,
        started_utc=papers.started_utc,
        furnace_file=furnace.text,
        recipe_name=papers.recipe_name,
        recipe_file=papers.recipe_file,
        every_s=furnace.every_s,
        zone=papers.zone,
        operator=papers.operator,
        origin="simulated",
        software=papers.software,
    )
    writing = _Writing(folder, furnace, papers.started_utc)
    simulated = SimulatedFurnace(settings.scenario)
    for t_s in _times(simulated, furnace.every_s, tail_s, longest_s):
        writing.look(t_s, simulated)
    writing.event(t_s, "end", "the furnace is off")
    folder.seal(sealed_utc=papers.started_utc + timedelta(seconds=t_s))
    return folder.path


def _times(simulated: SimulatedFurnace, every_s: float, tail_s: float, longest_s: float) -> Iterator[float]:
    """Run on from one sampling time to the next until the run is over."""
    off_s: float | None = None
    count = 0
    while count * every_s <= longest_s and (off_s is None or count * every_s <= off_s + tail_s):
        simulated.advance(count * every_s)
        if off_s is None and simulated.is_off:
            off_s = count * every_s
        yield count * every_s
        count += 1


class _Writing:
    """Writes what the instrument shows, and what was done, into a run folder."""

    def __init__(self, folder: RunFolder, furnace: Furnace, started_utc: datetime) -> None:
        self.folder = folder
        self.furnace = furnace
        self.started_utc = started_utc.astimezone(UTC)
        self.faults: dict[str, str] = {}
        self.done = 0
        self.lost = False
        self.event(0.0, "start", f"{furnace.name}, simulated, a reading every {duration(furnace.every_s)}")

    def event(self, t_s: float, event: str, detail: str) -> None:
        self.folder.write_event(t_s, self.started_utc + timedelta(seconds=t_s), event, detail)

    def look(self, t_s: float, simulated: SimulatedFurnace) -> None:
        """Take one reading, if the cable is in, and enter what was done since the one before."""
        self._cable(t_s, pulled=simulated.active("cable pulled") is not None)
        if not self.lost:
            values, faults = read_registers(self.furnace, instrument.registers(simulated.shown(), self.furnace.unit))
            self.folder.write_row(t_s, self.started_utc + timedelta(seconds=t_s), values)
            self._sensor_faults(t_s, faults)
        self._marks(simulated)

    def _cable(self, t_s: float, *, pulled: bool) -> None:
        if pulled and not self.lost:
            self.event(t_s, "link lost", "missing: the port is gone")
        elif self.lost and not pulled:
            self.event(t_s, "link back", "")
        self.lost = pulled

    def _sensor_faults(self, t_s: float, faults: Mapping[str, str]) -> None:
        for name in sorted({*faults, *self.faults}):
            if faults.get(name) != self.faults.get(name):
                self.event(t_s, "sensor fault", f"{name}: {faults.get(name, 'reads again')}")
        self.faults = dict(faults)

    def _marks(self, simulated: SimulatedFurnace) -> None:
        for happening in simulated.happenings[self.done :]:
            self.done += 1
            if happening.act == "load" and happening.t_s == 0.0:
                continue
            mark = Mark(
                t_s=happening.t_s,
                act=happening.act,
                pieces=happening.pieces,
                mark_id=f"m{self.done:02}",
                entered_t_s=happening.t_s,
            )
            self.event(happening.t_s, "mark", encode_mark(mark))


def read_registers(furnace: Furnace, registers: Mapping[int, int]) -> tuple[Values, dict[str, str]]:
    """Values and faults by column, as a Modbus link gives them."""
    values: dict[str, float | None] = {}
    faults: dict[str, str] = {}
    for part in furnace.parts:
        assert isinstance(part.source, ModbusSource), "only registers are read here"
        raw = number(part.source, {(part.source.table, i): word for i, word in registers.items()})
        if isinstance(part, Contact):
            values[part.name] = float(raw == part.closed_is)
        elif raw is None or is_fault(raw, part.fault_values, part.source):
            values[part.name] = None
            if isinstance(part, Sensor):
                faults[part.name] = f"fault value {raw:g}" if raw is not None else "not there"
        else:
            values[part.name] = scaled(part, raw)
    return values, faults
