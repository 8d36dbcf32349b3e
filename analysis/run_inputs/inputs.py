"""What is known of one run, gathered once: wire, recipe, pieces, corrections, sensor lives, treatments.

Everyone who judges a run, counts its soak or measures it takes this, so that all of them rest on the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.run_inputs.model import RunInputs
from soakwitness.analysis.run_inputs.packets import UsedPacket, packet_for
from soakwitness.firmware_bridge.common.wording import Says

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.firmware_bridge.runfolder.model import Mark, RunHeader


def run_inputs(
    book: LogBook | None,
    folder: Path,
    header: RunHeader,
    marks: Sequence[Mark],
    *,
    recipe: Recipe | None = None,
    packet: UsedPacket | None = None,
    history: bool = True,
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
    history : bool
        Whether earlier runs are read too, for how pairs of sensors usually differ; a run that still goes on needs none.

    Returns
    -------
    RunInputs
        Everything as it was at the run's start: in force on that day in the run's own zone.

    Raises
    ------
    RecipeError, PacketFileError
        If the recipe, or a packet file that lies beside it, cannot be read.
    """
    found, entry, judged_by = RunInputs(folder, header), None, None
    if book is not None:  # a log book needs modules that do without it
        from soakwitness.analysis.logbook.runs import runs_listed
        from soakwitness.analysis.run_inputs.from_book import kept_recipe, known_to_the_book

        entry = next(iter(runs_listed(book, [header.run])), None)
        found, judged_by = known_to_the_book(book, folder, header, marks, history=history), kept_recipe(book, entry)
    if judged_by is None and header.recipe_file:
        judged_by = parse_recipe(header.recipe_file, f"{folder / 'run.json'}, recipe")
    if recipe is not None and (judged_by is None or recipe.text != judged_by.text):
        judged_by = recipe
    refused = found.refused
    if packet is None and judged_by is not None:
        packet, says = packet_for(book, header, entry, judged_by, found.pieces)
        refused = (*refused, *map(Says.plain, says))
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
    from soakwitness.analysis.run_inputs.from_book import known_to_the_book
    from soakwitness.firmware_bridge.runfolder import reader

    header, marks = reader.read_header(entry.folder), reader.read_marks(entry.folder)
    try:
        return run_inputs(book, entry.folder, header, marks)
    except AnalysisError as error:
        return replace(known_to_the_book(book, entry.folder, header, marks), trouble=str(error))
