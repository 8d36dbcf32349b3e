"""``soakwitness mark --inferred``: door dips that no mark explains, offered, and entered once they are confirmed."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined

if TYPE_CHECKING:
    from soakwitness.analysis.verification.inferring import Inferred
    from soakwitness.firmware_bridge.common.units import Unit


def infer_marks(path: Path, logbook: Path, *, confirm: bool, by: str | None) -> None:
    """Say what is offered for a finished run; enter it where it is confirmed."""
    from soakwitness.cli.words.inferred_words import inferred_lines
    from soakwitness.cli.words.mark_words import one_of_marks
    from soakwitness.firmware_bridge.common.wording import moment
    from soakwitness.firmware_bridge.runfolder.contents import Mark
    from soakwitness.firmware_bridge.runfolder.late import enter_late
    from soakwitness.firmware_bridge.runfolder.marks import new_mark_id
    from soakwitness.firmware_bridge.runfolder.origins import INFERRED_WITHIN_S, origin_words
    from soakwitness.firmware_bridge.runfolder.reader import read_marks

    found, unit = found_in(path, logbook)
    if not confirm:
        for line in inferred_lines(found, path.name, unit):
            click.echo(line)
        return
    if not found.offered:
        says = f"{path.name}: nothing is offered that could be confirmed. Look:"
        raise WrongUse(joined([says, NextCommand.of("mark", "--inferred", path.name)]))
    for one in found.offered:
        mark = Mark(
            one.opening.at_s,
            one.act,
            () if one.piece is None else (one.piece,),
            mark_id=new_mark_id(),
            entered_later=True,
            by=by,
            origin="inferred",
            within_s=INFERRED_WITHIN_S,
        )
        enter_late(path, mark, now_utc=time.time())
        click.echo(f"{moment(mark.t_s)}  {one_of_marks(mark, read_marks(path))} entered as {origin_words(mark)}.")


def found_in(path: Path, logbook: Path) -> tuple[Inferred, Unit]:
    """The door dips of a finished run, what they are offered as, and the unit of its recipe."""
    from soakwitness.analysis.record.run import open_run
    from soakwitness.analysis.verification.inferring import inferred_marks
    from soakwitness.cli.verdicts.verified import known_inputs, take_in

    run = open_run(path)
    take_in(logbook, run)
    inputs = known_inputs(logbook, run)
    if inputs.recipe is None:
        raise WrongUse(f"{path.name} carries no recipe: what its pieces were to do is not known. Mark it by hand.")
    return inferred_marks(run, inputs.recipe, inputs.pieces), inputs.recipe.unit
