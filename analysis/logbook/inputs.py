"""What the log book knows that a verification of one run needs: recipe, pieces, corrections, sensor life."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.condition.figures import SensorFigures
from soakwitness.analysis.logbook.charges import Charged, pieces_in_run
from soakwitness.analysis.logbook.moments import local_day
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import RunEntry, recipe_text
from soakwitness.analysis.logbook.sensors import calibration_valid_on, sensor_life_on
from soakwitness.firmware_bridge.runfolder.model import Column

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correction import Correction
    from soakwitness.analysis.verification.model import PieceInfo


@dataclass(frozen=True)
class RunInputs:
    """Plain data, so that another process can be handed it. ``corrections`` as the log book keeps them, by sensor."""

    run: str
    folder: Path
    furnace: str
    started_utc: str
    ended_utc: str | None
    recipe_digest: str | None
    recipe: str | None
    corrections: Mapping[str, Mapping[str, Any]]
    charged: tuple[Charged, ...]
    sensor: SensorFigures | None

    def pieces(self) -> tuple[PieceInfo, ...]:
        """The pieces as ``verify`` takes them."""
        from soakwitness.analysis.verification.model import PieceInfo

        return tuple(
            PieceInfo(
                id=c.piece,
                thickness_mm=c.thickness_mm,
                foil=c.foil,
                heated_faces=c.heated_faces,
                blades=c.blades,
                charge=None if c.charge is None else f"charge {c.charge}",
                place=c.place,
            )
            for c in self.charged
        )

    def used_corrections(self) -> dict[str, Correction]:
        """The corrections as ``verify`` takes them."""
        from soakwitness.analysis.calibration.correction import correction_from_dict

        return {name: correction_from_dict(data) for name, data in self.corrections.items()}


def run_inputs(book: LogBook, entry: RunEntry) -> RunInputs:
    """Gather what a verification of one run needs.

    Parameters
    ----------
    book : LogBook
        The open log book.
    entry : RunEntry
        The run.

    Returns
    -------
    RunInputs
        Recipe, pieces, the corrections valid on the day of the run, and the control sensor's life.
    """
    from soakwitness.analysis.calibration.keeping import calibrations_for

    sensors = book.rows("SELECT * FROM run_sensors WHERE run = ? ORDER BY rowid", entry.run)
    found, _ = calibrations_for(
        book,
        entry.furnace,
        [
            Column(
                row["sensor"],
                "sensor",
                "C",
                serial=row["serial"],
                channel=row["channel"],
                position=row["position"],
                input_offset=row["input_offset"],
                thermocouple=row["thermocouple"],
            )
            for row in sensors
        ],
        started_utc=entry.started_utc,
        zone=entry.zone,
    )
    charged = pieces_in_run(book, entry.run)
    return RunInputs(
        run=entry.run,
        folder=entry.folder,
        furnace=entry.furnace,
        started_utc=entry.started_utc,
        ended_utc=entry.ended_utc,
        recipe_digest=entry.recipe_digest,
        recipe=None if entry.recipe_digest is None else recipe_text(book, entry.recipe_digest),
        corrections={name: c.correction for name, c in found.items()},
        charged=charged,
        sensor=_control_sensor(book, entry, local_day(entry.started_utc, entry.zone)),
    )


def _control_sensor(book: LogBook, entry: RunEntry, day: str) -> SensorFigures | None:
    row = book.row(
        "SELECT * FROM run_sensors WHERE run = ? "
        "ORDER BY role = 'control' DESC, role = 'recording' DESC, rowid LIMIT 1",
        entry.run,
    )
    if row is None:
        return None
    figures = SensorFigures(
        row["sensor"],
        serial=row["serial"],
        channel=row["channel"],
        position=row["position"],
        input_offset_c=row["input_offset"],
        thermocouple=row["thermocouple"],
    )
    life = sensor_life_on(book, entry.furnace, row["sensor"], entry.started_utc)
    if life is not None:
        figures = replace(
            figures,
            life=life.entry,
            fitted_utc=life.fitted_utc,
            serial=row["serial"] or life.serial,
            channel=row["channel"] or life.channel,
            position=row["position"] or life.position,
            input_offset_c=row["input_offset"] if row["input_offset"] is not None else life.input_offset_c,
            thermocouple=row["thermocouple"] or life.thermocouple,
        )
    calibration = calibration_valid_on(book, entry.furnace, row["sensor"], day)
    if calibration is None:
        return figures
    return replace(
        figures,
        calibrated_on=calibration.done_on,
        calibration_due=calibration.due_on,
        overdue=calibration.overdue_on(day),
    )
