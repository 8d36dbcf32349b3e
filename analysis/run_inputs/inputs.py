"""What is known of one run, gathered once: wire, recipe, pieces, corrections, sensor lives, treatments.

Everyone who judges a run, counts its soak or measures it takes this, so that all of them rest on the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.calibration.correction import Correction, correction_from_dict
from soakwitness.analysis.calibration.keeping import calibrations_for, with_wire_on_record
from soakwitness.analysis.condition.figures import SensorFigures
from soakwitness.analysis.condition.measuring import sensor_of
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.charges import Charged, pieces_in_run, pieces_waiting
from soakwitness.analysis.logbook.moments import local_day
from soakwitness.analysis.logbook.runs import recipe_text, runs_listed
from soakwitness.analysis.logbook.sensors import Calibration, sensor_life_on
from soakwitness.analysis.logbook.treatments import Treatment, treatments_of
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.analysis.run_inputs.packets import UsedPacket, packet_for
from soakwitness.analysis.verification.model import PieceInfo
from soakwitness.firmware_bridge.runfolder import reader

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.recipes.words import Unit
    from soakwitness.analysis.runs import Run
    from soakwitness.analysis.verification.model import Verification
    from soakwitness.firmware_bridge.runfolder.model import Column, Mark, RunHeader


@dataclass(frozen=True)
class RunInputs:
    """What is known of one run; plain data, so that another process can be handed it.

    ``header`` is the run's own with type and class of its thermocouples as the log book knows them. ``recipe`` None:
    there is none, or it cannot be read, and ``trouble`` says why. ``packet`` is one that was measured. ``refused`` says
    what on record is not used, and why. ``sensors``, ``corrections`` by the sensor's name, ``treatments`` by the
    piece's.
    """

    folder: Path
    header: RunHeader
    recipe: Recipe | None = None
    trouble: str | None = None
    pieces: tuple[PieceInfo, ...] = ()
    corrections: Mapping[str, Correction] = field(default_factory=dict)
    packet: UsedPacket | None = None
    refused: tuple[str, ...] = ()
    sensors: Mapping[str, SensorFigures] = field(default_factory=dict)
    treatments: Mapping[str, tuple[Treatment, ...]] = field(default_factory=dict)

    @property
    def model(self) -> PacketModel | None:
        """The measured packet as ``verify`` takes it."""
        return None if self.packet is None else self.packet.model

    def on_record(self, run: Run) -> Run:
        """The run with what the log book knows of its thermocouples."""
        return replace(run, header=self.header)

    def judged(self, run: Run, *, unit: Unit = "C") -> Verification:
        """Verify the run by all that is known of it; there must be a recipe."""
        from soakwitness.analysis.verification.verifying import verify

        assert self.recipe is not None
        return verify(
            self.on_record(run),
            self.recipe,
            packet=self.model,
            pieces=self.pieces,
            corrections=self.corrections,
            unit=unit,
        )

    def answer(self, verification: Verification) -> dict[str, Any]:
        """A verification as ``verify --json`` writes it: with the rules, and the packet where it rests on one."""
        from soakwitness.analysis.verification.report import as_json

        packet = self.packet.as_dict() if self.packet is not None and verification.by_estimate else None
        return as_json(verification) | {"rules": RULES_VERSION, "packet": packet}


def run_inputs(
    book: LogBook | None,
    folder: Path,
    header: RunHeader,
    marks: Sequence[Mark],
    *,
    recipe: Recipe | None = None,
    packet: UsedPacket | None = None,
) -> RunInputs:
    """Gather what is known of one run.

    Parameters
    ----------
    book : LogBook or None
        The open log book, its list of runs in step with the folders; None where there is none.
    folder : Path
        The run folder.
    header : RunHeader
        Its ``run.json``.
    marks : sequence of Mark
        Its marks, as far as there are any yet.
    recipe : Recipe, optional
        A recipe to try; else the one the log book judges the run by, else the run's own.
    packet : UsedPacket, optional
        A packet to try; else the one that counts for the run.

    Returns
    -------
    RunInputs
        Everything as it was at the run's start: in force on that day in the run's own zone.

    Raises
    ------
    RecipeError, PacketFileError
        If the recipe, or a packet file that lies beside it, cannot be read.
    """
    entry = None if book is None else next(iter(runs_listed(book, [header.run])), None)
    judged_by = _recipe(book, folder, header, entry)
    if recipe is not None and (judged_by is None or recipe.text != judged_by.text):
        judged_by = recipe
    found = _without_book(folder, header) if book is None else _from_book(book, folder, header, marks)
    refused = found.refused
    if packet is None and judged_by is not None:
        packet, says = packet_for(book, header, entry, judged_by, found.pieces)
        refused = (*refused, *says)
    return replace(found, recipe=judged_by, packet=packet, refused=refused)


def inputs_of_entry(book: LogBook, entry: RunEntry) -> RunInputs:
    """Gather what is known of a run of the log book; a recipe that cannot be read is left out and said.

    Parameters
    ----------
    book : LogBook
        The open log book.
    entry : RunEntry
        The run as it lists it.

    Returns
    -------
    RunInputs
        What is known.

    Raises
    ------
    RunFolderError
        If the run folder cannot be read.
    """
    header, marks = reader.read_header(entry.folder), reader.read_marks(entry.folder)
    try:
        return run_inputs(book, entry.folder, header, marks)
    except AnalysisError as error:
        return replace(_from_book(book, entry.folder, header, marks), trouble=str(error))


def _without_book(folder: Path, header: RunHeader) -> RunInputs:
    return RunInputs(folder, header, sensors={c.name: sensor_of(c) for c in header.columns if c.kind == "sensor"})


def _from_book(book: LogBook, folder: Path, header: RunHeader, marks: Sequence[Mark]) -> RunInputs:
    """Everything but recipe and packet."""
    found, refused = calibrations_for(
        book, header.furnace_name, header.columns, started_utc=header.started_utc, zone=header.zone
    )
    named = _named(marks)
    charged = _charged(book, folder, header, named)
    return RunInputs(
        folder,
        with_wire_on_record(book, header),
        pieces=tuple(_piece(c, named) for c in charged),
        corrections={name: correction_from_dict(one.correction) for name, one in found.items()},
        refused=refused,
        sensors={c.name: _sensor(book, header, c, found.get(c.name)) for c in header.columns if c.kind == "sensor"},
        treatments={c.piece: done for c in charged if (done := treatments_of(book, c.piece))},
    )


def _recipe(book: LogBook | None, folder: Path, header: RunHeader, entry: RunEntry | None) -> Recipe | None:
    if book is not None and entry is not None and entry.recipe_digest is not None:
        return parse_recipe(recipe_text(book, entry.recipe_digest), f"{entry.recipe_name}, in the log book")
    if header.recipe_file:
        return parse_recipe(header.recipe_file, f"{folder / 'run.json'}, recipe")
    return None


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


def _piece(charged: Charged, named: Mapping[str, str]) -> PieceInfo:
    return PieceInfo(
        id=named.get(charged.piece.casefold(), charged.piece),
        thickness_mm=charged.thickness_mm,
        foil=charged.foil,
        heated_faces=charged.heated_faces,
        blades=charged.blades,
        charge=None if charged.charge is None else f"charge {charged.charge}",
        place=charged.place,
    )


def _sensor(book: LogBook, header: RunHeader, column: Column, calibration: Calibration | None) -> SensorFigures:
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
