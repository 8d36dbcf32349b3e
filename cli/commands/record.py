"""``soakwitness record``: one run, from now until Ctrl-C."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from soakwitness.cli.options.common import Finite, Words, logbook_option, unit_option
from soakwitness.cli.terminal.attending import KEYS_WORDS, Duration, Screen, Stop, check_speed, single_keys
from soakwitness.cli.terminal.beginning import (
    about_runs,
    check_page,
    clock_at,
    follow_recipe,
    open_page,
    page_options,
    recorded_packet_option,
)
from soakwitness.cli.terminal.person import Person
from soakwitness.firmware_bridge.common.units import Unit


@click.command()
@click.argument("furnace", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path, dir_okay=False), help="Recipe of this run.")
@recorded_packet_option
@click.option("--operator", type=Words(), help="Who runs the furnace.")
@click.option("--for", "for_s", type=Duration(), help="End by itself after so long: 90s, 25m, 1h30m.")
@click.option("--speed", type=Finite(1, 10_000), default=1.0, help="Simulated furnace: so many times faster.")
@click.option("--new", "fresh", is_flag=True, help="Begin a new run, also where one that was cut off could go on.")
@page_options
@unit_option
@logbook_option
def record(
    furnace: Path,
    recipe_path: Path | None,
    packet_path: Path | None,
    operator: str | None,
    for_s: float | None,
    speed: float,
    fresh: bool,
    page: bool,
    lan: bool,
    port: int | None,
    unit: Unit | None,
    logbook: Path,
) -> None:
    """Record one run of the furnace that the file FURNACE describes, until Ctrl-C.

    A run that a crash or a power cut broke off is gone on with if it is the same heating. The path of the run folder
    is the last line on stdout.

    Example: soakwitness record furnace.toml --for 5s
    """
    from soakwitness.cli.words.cautions import NO_SAFETY_DEVICE
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace
    from soakwitness.firmware_bridge.recording.session import record_run

    check_page(page, lan, port)
    checked = load_furnace(furnace)
    check_speed(speed, checked.link.kind)
    followed = follow_recipe(recipe_path, packet_path, checked)
    about = about_runs(logbook, operator, followed.recipe, followed.packet)
    screen = Screen()
    keys = screen.alive and sys.stdin.isatty()
    screen.message(NO_SAFETY_DEVICE)
    screen.message(f"Recording {checked.name} into {logbook}. End with Ctrl-C.{' ' + KEYS_WORDS if keys else ''}")
    with Stop() as stop, single_keys(keys):
        served = open_page(page, lan, port, logbook, screen)
        person = Person(screen, stop, unit or checked.unit, followed.recipe, followed.soak, served)
        try:
            path = record_run(
                checked,
                clock_at(speed),
                about,
                person,
                for_s=for_s,
                fresh=fresh,
                orphaned=lambda: stop.terminal_gone,
            )
        finally:
            person.leave()
    screen.message("Sealed.")
    click.echo(str(path))
