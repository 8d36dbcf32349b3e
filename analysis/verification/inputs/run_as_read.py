"""Read and clean: one run as its sensors and marks tell it, before anything of a recipe is looked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.inputs.bad_readings import BadReadings, bad_readings, without_bad
from soakwitness.analysis.verification.inputs.doors import doors_of
from soakwitness.analysis.verification.inputs.load_sensor_visits import Visit, visits_of
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS, Readings, readings_of
from soakwitness.analysis.verification.inputs.sensor_choice import (
    StandsIn,
    chamber_trace,
    load_traces,
    stands_in,
)
from soakwitness.analysis.verification.inputs.sensor_errors import SensorErrors, errors_of
from soakwitness.analysis.verification.inputs.stays import Stay, charges_told, drop_unnamed
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap, uncertain_gaps
from soakwitness.analysis.verification.results.verification import PieceInfo, Source, UsualDifference
from soakwitness.firmware_bridge.common.chamber import FEWEST_READINGS
from soakwitness.firmware_bridge.common.zones import local_day
from soakwitness.firmware_bridge.furnace.rack import Rack, rack_in
from soakwitness.firmware_bridge.marks.questions import Question

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference

WENT_ON_S = 60.0


@dataclass(frozen=True)
class RunKnowledge:
    """What is known of a run beside its readings: pieces, corrections and places by sensor, usual differences."""

    pieces: tuple[PieceInfo, ...] = ()
    corrections: Mapping[str, Correction] | None = None
    usual: tuple[UsualDifference, ...] = ()
    places: Mapping[str, PlaceDifference] | None = None


@dataclass(frozen=True)
class SensorAsRead:
    """One sensor as it reads, nothing added; a load sensor is one for each of its visits in the furnace."""

    name: str
    source: Source
    readings: Readings
    errors: SensorErrors
    thickness_mm: float | None = None
    number: int = 0
    visit: Visit | None = None


@dataclass(frozen=True)
class RunAsRead:
    """A run without its bad readings: its chamber's sensor, its load sensors, who was in when, what is to be asked.

    ``stands_in``: the chamber's sensor took over from one that broke; ``doors_s`` [s] are moments at which a door was
    open, ``uncertain`` gaps whose length is not known; ``rack`` the one of its furnace file.
    """

    run: Run
    bad: tuple[BadReadings, ...]
    known: RunKnowledge
    chamber: SensorAsRead
    loads: tuple[SensorAsRead, ...]
    stays: tuple[Stay, ...]
    questions: tuple[Question, ...]
    doors_s: tuple[float, ...]
    stands_in: StandsIn | None
    uncertain: tuple[UncertainGap, ...]
    rack: Rack | None = None

    @property
    def went_on(self) -> bool:
        """Whether the record went on after the chamber's last reading."""
        readings = self.chamber.readings
        after_s = float(self.run.t_s[-1]) - float(readings.t_s[-1])
        return after_s > max(GAP_PERIODS * readings.period_s, WENT_ON_S)


def read_run(run: Run, known: RunKnowledge) -> RunAsRead:
    """Read a run: what is no temperature is left out, and said in ``bad``."""
    bad = bad_readings(run)
    return read_clean(without_bad(run, bad), known, bad)


def read_clean(run: Run, known: RunKnowledge, bad: tuple[BadReadings, ...]) -> RunAsRead:
    """Read a run, or a part of one, whose bad readings are left out already."""
    trace = chamber_trace(run)
    columns = {c.name: c for c in run.columns}
    day = local_day(run.header.started_utc, run.header.zone)

    def errors(name: str) -> SensorErrors:
        return errors_of(columns.get(name), known.corrections or {}, day, known.places)

    stays, questions = charges_told(run.marks, known.pieces)
    source: Source = "load" if trace.role == "load" else "control"
    chamber = SensorAsRead(trace.name, source, readings_of(trace), errors(trace.name))
    return RunAsRead(
        run=run,
        bad=bad,
        known=known,
        chamber=chamber,
        loads=tuple(
            load
            for tr in load_traces(run, trace)
            for load in _visiting(tr, chamber.readings, errors(tr.name), columns[tr.name].thickness_mm)
        ),
        stays=drop_unnamed(stays),
        questions=questions,
        doors_s=doors_of(run),
        stands_in=stands_in(run, trace),
        uncertain=uncertain_gaps(run),
        rack=rack_in(run.header.furnace_file),
    )


def _visiting(
    trace: Trace, chamber: Readings, errors: SensorErrors, thickness_mm: float | None
) -> Iterator[SensorAsRead]:
    """A load sensor, once for each time that it was in the furnace."""
    readings = readings_of(trace)
    visits = visits_of(readings, chamber)
    ends = [*(visit.in_s for visit in visits[1:]), np.inf]
    for number, (visit, end_s) in enumerate(zip(visits, ends, strict=True)):
        part = readings if len(visits) == 1 else readings.part(visit.in_s if number else -np.inf, end_s)
        if part.t_s.size >= FEWEST_READINGS:
            yield SensorAsRead(trace.name, "load", part, errors, thickness_mm, number, visit)


def corrected(trace: Trace, errors: SensorErrors) -> Readings:
    """Readings with what a calibration in force says added, where it reaches; elsewhere they stay what was shown."""
    readings = readings_of(trace)
    return replace(readings, temp_c=readings.temp_c + errors.added_c(readings.temp_c))
