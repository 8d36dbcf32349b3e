"""What ``record`` and ``watch`` begin with: the book, the clock, the recipe to follow, a run's own facts."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.telling.present import Present
from soakwitness.cli.terminal.attending import Screen
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace

if TYPE_CHECKING:
    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.cli.telling.joining import Joined
    from soakwitness.cli.terminal.soaking import SoakLine
    from soakwitness.firmware_bridge.recording.clocks import Clock
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts

F = TypeVar("F", bound=Callable[..., Any])


def page_options(function: F) -> F:
    """Options ``--page``, ``--lan``, ``--port``."""
    function = port_option(function)
    function = lan_option(function)
    return click.option("--page", is_flag=True, help="Show the run on a page: join the book, or start it.")(function)


def lan_option(function: F) -> F:
    """Option ``--lan``."""
    return click.option("--lan", is_flag=True, help="Open the book to the workshop network, by a link.")(function)


def port_option(function: F) -> F:
    """Option ``--port``; None where the usual one is meant."""
    return click.option("--port", type=click.IntRange(0, 65535), default=None, help="Port of the book's page.")(
        function
    )


def recorded_packet_option(function: F) -> F:
    """Option ``--packet``, passed as ``packet_path``: what the runs of this command carry with them."""
    return click.option(
        "--packet",
        "packet_path",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Measured packet of these runs; else the recipe's, else the newest of the log book.",
    )(function)


def check_page(page: bool, lan: bool, port: int | None) -> None:
    """Refuse what belongs to a page where none is asked for."""
    if not page and (lan or port is not None):
        raise WrongUse("--lan and --port belong to the page: add --page.")


def open_page(
    page: bool, lan: bool, port: int | None, logbook: Path, screen: Screen, recipes: Path | None = None
) -> Present:
    """Join or start the book where a page is asked for, and say where it is; return what tells it how a run stands."""
    check_page(page, lan, port)
    if page:
        from soakwitness.cli.telling.joining import join_or_start

        joined = join_or_start(logbook, port=port, lan=lan, recipes=recipes)
        for line in link_code(joined):
            click.echo(line, err=True, color=True)
        for words in address_words(joined):
            screen.message(words)
    return Present(logbook)


def address_words(joined: Joined) -> list[str]:
    """Where the book is on this computer and, where it is open to it, in the workshop network."""
    words = [f"The book: {joined.address}"]
    if joined.network:
        words.append(f"In the workshop network, for devices that have their link: {', '.join(joined.network)}")
    if joined.link is not None:
        words.append(f"Link of the first phone or tablet: {joined.link}")
    if joined.trust is not None:
        words.append(f"How a device comes to trust it: {(joined.network or (joined.address,))[0]}certificate")
        words.append(f"Fingerprint of its certificate (SHA-256): {joined.trust}")
    return words


def link_code(joined: Joined) -> list[str]:
    """The first device's link as a square code, where there is one and the terminal can show it."""
    from soakwitness.cli.terminal.square_code import code_lines

    return [] if joined.link is None else code_lines(joined.link, sys.stderr)


def about_runs(logbook: Path, operator: str | None, recipe: Recipe | None, packet: PacketFile | None) -> RunFacts:
    """What the runs of this command say of themselves."""
    from soakwitness.firmware_bridge.common.zones import local_zone
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts

    about = RunFacts(logbook, operator=operator, zone=local_zone())
    if packet is not None:
        about = replace(about, packet_name=packet.name, packet_file=packet.text)
    if recipe is not None:
        from soakwitness.analysis.recipes.handling import practice_of

        about = replace(about, recipe_name=recipe.name, recipe_file=recipe.text, practice=practice_of(recipe))
    return about


def clock_at(speed: float) -> Clock:
    """The computer's own clock, or one that runs ahead of it for a simulated furnace."""
    from soakwitness.firmware_bridge.recording.clocks import FastClock, RealClock

    return RealClock() if speed == 1.0 else FastClock(speed)


@dataclass(frozen=True)
class Followed:
    """The recipe that was given, the measured packet that was given or that it names, and the clock that follows it."""

    recipe: Recipe | None = None
    packet: PacketFile | None = None
    soak: SoakLine | None = None


def follow_recipe(path: Path | None, packet_path: Path | None, furnace: Furnace) -> Followed:
    """Read the recipe and the packet that are given, and begin to follow them."""
    if path is None and packet_path is None:
        return Followed()
    from soakwitness.analysis.packet.packet_file import named_packet, read_packet_file
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.cli.terminal.soaking import SoakLine

    recipe = None if path is None else load_recipe(path)
    packet = None if packet_path is None else read_packet_file(packet_path)
    model = None if packet is None else packet.model(str(packet_path))
    if packet is None and recipe is not None:
        packet = named_packet(recipe)
        model = None if packet is None else packet.model()
    return Followed(recipe, packet, None if recipe is None else SoakLine(recipe, furnace, packet=model))
