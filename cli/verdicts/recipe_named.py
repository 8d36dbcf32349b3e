"""A recipe or a measured packet as a command is told of it: its file, or what the log book keeps under that name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.options.common import WrongUse, nearest
from soakwitness.cli.options.screen import say
from soakwitness.cli.verdicts.verified import given_packet

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.run_inputs.measured_packets import UsedPacket


def recipe_named(book: LogBook | None, named: Path) -> tuple[Recipe, UsedPacket | None]:
    """The recipe of a file; else that of the log book by this name, with the measured packet that it names.

    Raises WrongUse where there is neither.
    """
    from soakwitness.analysis.recipes.recipe_file import load_recipe, parse_recipe

    if book is None or named.exists():
        return load_recipe(named), None
    from soakwitness.analysis.logbook.kept_recipes import kept_recipe, kept_recipes

    kept = kept_recipe(book, str(named))
    if kept is None:
        there = [one.name for one in kept_recipes(book)]
        known = f" It has: {', '.join(there)}." if there else ""
        raise WrongUse(
            f"{named}: there is no such file, and the log book has no recipe of this name."
            f"{nearest(str(named), there)}{known}"
        )
    recipe = replace(parse_recipe(kept.text, f"{kept.name} of the log book"), digest=kept.digest)
    return recipe, _packet_named(book, recipe, kept.packet_digest)


def packet_named(book: LogBook | None, named: Path | None) -> UsedPacket | None:
    """The measured packet of a file; else the newest one that the log book keeps by this name or digest."""
    if book is None or named is None or named.exists():
        return given_packet(named)
    from soakwitness.analysis.logbook.packets import measured_packets
    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.run_inputs.measured_packets import used

    kept = [PacketFile(one.name, one.text) for one in measured_packets(book)]
    found = [one for one in kept if str(named) in (one.name, one.digest)]
    return used(found[-1], "option") if found else given_packet(named)


def _packet_named(book: LogBook, recipe: Recipe, digest: str | None) -> UsedPacket | None:
    """The measured packet of the recipe's newest run, where the recipe names one: its file lies nobody knows where."""
    if recipe.measured is None or digest is None:
        return None
    from soakwitness.analysis.errors import PacketFileError
    from soakwitness.analysis.logbook.packets import packet_file
    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.run_inputs.measured_packets import used

    name, text = packet_file(book, digest)
    try:
        return used(PacketFile(name, text), "recipe")
    except PacketFileError as error:  # nobody can mend what was kept
        say(f"The packet file {name}, named by {recipe.source}, cannot be used: {error}", err=True)
        return None
