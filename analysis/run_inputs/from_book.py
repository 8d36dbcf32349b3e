"""What the log book knows of one run: wire, pieces, corrections, sensor lives, treatments, recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.analysis.condition.measuring import sensor_of
from soakwitness.analysis.evidence.run_figures import SensorFigures
from soakwitness.analysis.logbook.calibrations import with_wire_on_record
from soakwitness.analysis.logbook.charges import Charged, pieces_in_run, pieces_waiting
from soakwitness.analysis.logbook.place_differences import places_for
from soakwitness.analysis.logbook.run_loads import load_of_run
from soakwitness.analysis.logbook.runs import recipe_text
from soakwitness.analysis.logbook.seals import seal_known
from soakwitness.analysis.logbook.sensors import sensor_life_on
from soakwitness.analysis.logbook.treatments import left_out_since, treatments_of, treatments_since
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.moments import local_day
from soakwitness.analysis.run_inputs.corrections_in_force import corrections_for
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.results.verification import PieceInfo, UsualDifference

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.firmware_bridge.runfolder.contents import Column, Mark, RunHeader


def kept_recipe(book: LogBook, entry: RunEntry | None) -> Recipe | None:
    """The recipe that the log book judges a run by; None where it has none."""
    if entry is None or entry.recipe_digest is None:
        return None
    return parse_recipe(recipe_text(book, entry.recipe_digest), f"{entry.recipe_name}, in the log book")


def known_to_the_book(
    book: LogBook, folder: Path, header: RunHeader, marks: Sequence[Mark], *, history: bool = True
) -> RunInputs:
    """Everything but recipe and packet."""
    corrections, refused = corrections_for(book, header)
    named = _named(marks)
    charged = _charged(book, folder, header, named)
    known = seal_known(book, folder, header.run)
    stood = [c.place for c in charged if c.place]
    places, not_used = places_for(
        book,
        header.furnace_name,
        header.columns,
        started_utc=header.started_utc,
        zone=header.zone,
        work_places=stood,
    )
    since = treatments_since(book, [c.piece for c in charged], since_utc=header.started_utc)
    left_out = left_out_since(book, [c.piece for c in charged], since_utc=header.started_utc)
    return RunInputs(
        folder,
        with_wire_on_record(book, header),
        pieces=tuple(_piece(c, named, since[c.piece], left_out[c.piece]) for c in charged),
        corrections=corrections,
        places=places,
        refused=(*refused, *not_used),
        sensors={
            c.name: _sensor(book, header, c, corrections.get(c.name)) for c in header.columns if c.kind == "sensor"
        },
        usual=_usual(book, header) if history else (),
        seal_seen=known.seen,
        seal_doubt=known.doubt,
        load=load_of_run(book, header.run),
        treatments={c.piece: done for c in charged if (done := treatments_of(book, c.piece))},
    )


def _usual(book: LogBook, header: RunHeader) -> tuple[UsualDifference, ...]:
    from soakwitness.analysis.run_inputs.usual_differences import (
        usual_differences,  # reads runs: not for those that only watch
    )

    return usual_differences(book, header)


def _named(marks: Sequence[Mark]) -> dict[str, str]:
    """Pieces that marks name, as the first mark spells them; upper and lower case count as the same."""
    named: dict[str, str] = {}
    for mark in marks:
        for name in () if mark.struck else mark.pieces:
            named.setdefault(name.casefold(), name)
    return named


def _charged(book: LogBook, folder: Path, header: RunHeader, named: Mapping[str, str]) -> tuple[Charged, ...]:
    """Pieces entered for the run or waiting for it, then those that only marks name."""
    charged = pieces_in_run(book, header.run, named=tuple(named.values()))
    if folder.resolve().parent != book.runs_folder.resolve():
        return charged
    known = {c.piece.casefold() for c in charged}
    waiting = pieces_waiting(book, header.furnace_name, header.started_utc)
    return (*charged, *(c for c in waiting if c.piece.casefold() not in known))


def _piece(
    charged: Charged, named: Mapping[str, str], treated: tuple[str, ...], left_out: tuple[str, ...]
) -> PieceInfo:
    return PieceInfo(
        id=named.get(charged.piece.casefold(), charged.piece),
        thickness_mm=charged.thickness_mm,
        foil=charged.foil,
        heated_faces=charged.heated_faces,
        blades=charged.blades,
        charge=charged.charge_name,
        place=charged.place,
        treated=treated,
        left_out=left_out,
    )


def _sensor(book: LogBook, header: RunHeader, column: Column, calibration: Correction | None) -> SensorFigures:
    """Life and calibration of one sensor at the run's start; what the run says of it counts before the life."""
    figures = sensor_of(column)
    life = sensor_life_on(book, header.furnace_name, column.name, header.started_utc)
    if life is not None:
        figures = replace(
            figures,
            life=life.entry,
            fitted_utc=life.fitted_utc,
            serial=figures.serial or life.serial,
            channel=figures.channel or life.channel,
            position=figures.position or life.position,
            input_offset_c=life.input_offset_c if figures.input_offset_c is None else figures.input_offset_c,
            thermocouple=figures.thermocouple or life.thermocouple,
        )
    if calibration is None:
        return figures
    return replace(
        figures,
        calibrated_on=calibration.done_on,
        calibration_due=calibration.due_on,
        overdue=calibration.overdue_on(local_day(header.started_utc, header.zone)),
    )
