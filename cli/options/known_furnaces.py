"""Names of furnaces that the log book knows: a name typed wrongly would begin a furnace of its own in silence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import WrongUse, nearest
from soakwitness.cli.options.entering import names_in_files

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook

new_furnace_option = click.option(
    "--new-furnace", is_flag=True, help="The furnace is not known yet: take its name as it is typed."
)


def known_furnace(book: LogBook, text: str, *, new: bool = False) -> str:
    """The furnace's name as runs, sensor lives and furnace files have it; any name while none is known.

    Raises WrongUse for a name that none of them has: names those there are.
    """
    from soakwitness.analysis.logbook.runs import furnaces
    from soakwitness.analysis.logbook.sensors import sensor_lives
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace

    if Path(text).is_file():
        return load_furnace(text).name
    lives = (life.furnace for life in sensor_lives(book))
    names = (*names_in_files(Path(), book.folder.parent), *lives, *furnaces(book))
    known = {name.casefold(): name for name in names}
    if text.casefold() in known:
        return known[text.casefold()]
    if new or not known:
        return text
    there = ", ".join(sorted(set(known.values())))
    raise WrongUse(
        f"--furnace {text}: no run, no sensor and no furnace file here has this name.{nearest(text, known.values())} "
        f"Known: {there}. If it is another one: --new-furnace"
    )
