"""What ``record`` and ``watch`` begin with: the live page, the clock, the recipe to follow, a run's own facts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.terminal.attending import Screen
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace

if TYPE_CHECKING:
    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.cli.page.process import PageProcess
    from soakwitness.cli.terminal.soaking import SoakLine
    from soakwitness.firmware_bridge.recording.clocks import Clock
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts

F = TypeVar("F", bound=Callable[..., Any])


def page_options(function: F) -> F:
    """Options ``--page``, ``--lan``, ``--port``."""
    function = click.option("--port", type=click.IntRange(0, 65535), default=None, help="Port of the live page.")(
        function
    )
    function = click.option("--lan", is_flag=True, help="Open the live page to the workshop network, by a link.")(
        function
    )
    return click.option("--page", is_flag=True, help="Serve a live page of the run on this computer.")(function)


def recorded_packet_option(function: F) -> F:
    """Option ``--packet``, passed as ``packet_path``: what the runs of this command carry with them."""
    return click.option(
        "--packet",
        "packet_path",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Measured packet of these runs; else the recipe's, else the newest of the log book.",
    )(function)


def check_page(page: bool, lan: bool, port: int | None) -> None:
    """Refuse what belongs to a live page where none is asked for."""
    if not page and (lan or port is not None):
        raise WrongUse("--lan and --port belong to the live page: add --page.")


def open_page(page: bool, lan: bool, port: int | None, screen: Screen) -> PageProcess | None:
    """Start the live page where it is asked for, and say where it is."""
    check_page(page, lan, port)
    if not page:
        return None
    from soakwitness.cli.page.process import DEFAULT_PORT, PageProcess

    served = PageProcess(port=DEFAULT_PORT if port is None else port, lan=lan)
    if not served.running:
        served.stop()
        raise WrongUse(f"the live page cannot be served on port {port or DEFAULT_PORT}. Give another --port.")
    screen.message(f"Live page: {served.address}")
    return served


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
