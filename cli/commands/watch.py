"""``soakwitness watch``: every heating of the furnace becomes a run by itself."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import (
    Finite,
    Words,
    WrongUse,
    force_option,
    logbook_option,
    unit_option,
)
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
from soakwitness.firmware_bridge.common.wording import temperature

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts
    from soakwitness.firmware_bridge.recording.when_heating_begins import HeatingSettings

FOLDER = click.Path(path_type=Path, file_okay=False, exists=True)
FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("furnace", type=FILE)
@click.option("--recipe", "recipe_path", type=FILE, help="Recipe of every run; else the one that it is seen to follow.")
@recorded_packet_option
@click.option("--recipes", type=FOLDER, help="Folder of the recipes that a run can be seen to follow.")
@click.option("--operator", type=Words(), help="Who runs the furnace.")
@click.option("--cold", type=Finite(), help="A run is over below this, in the furnace's unit; else 50 C.")
@click.option("--idle", "idle_s", type=Duration(), default="2h", show_default=True, help="Or not heated for so long.")
@click.option("--before", "before_s", type=Duration(), default="5m", show_default=True, help="Kept from before a run.")
@click.option("--for", "for_s", type=Duration(), help="End the watch by itself after so long.")
@click.option("--speed", type=Finite(1, 10_000), default=1.0, help="Simulated furnace: so many times faster.")
@click.option("--install", is_flag=True, help="Print a systemd unit for this user instead, and how to enable it.")
@click.option("--write", is_flag=True, help="With --install: write it.")
@page_options
@unit_option
@logbook_option
@force_option
@click.pass_context
def watch(
    context: click.Context,
    furnace: Path,
    recipe_path: Path | None,
    packet_path: Path | None,
    recipes: Path | None,
    operator: str | None,
    cold: float | None,
    idle_s: float,
    before_s: float,
    for_s: float | None,
    speed: float,
    install: bool,
    write: bool,
    page: bool,
    lan: bool,
    port: int | None,
    unit: Unit | None,
    logbook: Path,
    force: bool,
) -> None:
    """Watch the furnace that the file FURNACE describes, for ever, and record every run by itself.

    A run begins when the furnace heats, with the minutes before it, and is sealed when it is cold or idle; then it is
    compared with its recipe, in another process.

    Example: soakwitness watch furnace.toml --for 5s
    """
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace

    check_page(page, lan, port)
    checked = load_furnace(furnace)
    check_speed(speed, checked.link.kind)
    followed = follow_recipe(recipe_path, packet_path, checked)
    if write and not install:
        raise WrongUse("--write belongs to --install.")
    settings = _settings(checked, cold, idle_s, before_s)
    if install:
        _install(context, checked, furnace, logbook, write=write, force=force)
        return
    about = about_runs(logbook, operator, followed.recipe, followed.packet)
    screen = Screen()
    served = open_page(page, lan, port, logbook, screen, recipes)
    _say_first(screen, checked, logbook)
    with Stop() as stop, single_keys(screen.alive and sys.stdin.isatty()):
        after = _after(logbook, recipes, unit)
        person = Person(screen, stop, unit or checked.unit, followed.recipe, followed.soak, served, after)
        try:
            _watch(checked, person, settings, speed, for_s, about)
        finally:
            person.leave()


def _say_first(screen: Screen, furnace: Furnace, logbook: Path) -> None:
    from soakwitness.cli.words.cautions import NO_SAFETY_DEVICE

    screen.message(NO_SAFETY_DEVICE)
    keys = f" While a run is open: {KEYS_WORDS}" if screen.alive and sys.stdin.isatty() else ""
    screen.message(f"Watching {furnace.name}; its runs go into {logbook}. End with Ctrl-C.{keys}")


def _watch(
    furnace: Furnace,
    person: Person,
    settings: HeatingSettings,
    speed: float,
    for_s: float | None,
    about: RunFacts,
) -> None:
    from soakwitness.cli.terminal.notifying import Watchdog
    from soakwitness.firmware_bridge.recording.watching import watch_furnace

    watchdog = Watchdog()

    def tend() -> None:
        person.tend_children()
        watchdog.feed()
        if person.why_end() is not None:
            watchdog.stopping()

    watch_furnace(furnace, clock_at(speed), about, person, settings=settings, for_s=for_s, tend=tend)


def _settings(furnace: Furnace, cold: float | None, idle_s: float, before_s: float) -> HeatingSettings:
    from soakwitness.firmware_bridge.recording.now import to_celsius
    from soakwitness.firmware_bridge.recording.when_heating_begins import HeatingSettings

    cold_c = 50.0 if cold is None else to_celsius(cold, furnace)
    if not 0.0 < cold_c <= 500.0:
        raise WrongUse(
            f"--cold {cold:g}: from {temperature(0.0, furnace.unit)} to {temperature(500.0, furnace.unit)}, "
            "in the furnace's unit."
        )
    return HeatingSettings(cold_c=cold_c, idle_s=idle_s, before_s=before_s, warm_c=max(60.0, cold_c + 10.0))


def _after(logbook: Path, recipes: Path | None, unit: str | None) -> Callable[[Path], list[str]]:
    """Command that looks at a run when it is over."""

    def words(run: Path) -> list[str]:
        command = [sys.executable, "-m", "soakwitness.cli.terminal.after_run", str(run), "--logbook", str(logbook)]
        command += ["--recipes", str(recipes)] if recipes is not None else []
        return command + (["--unit", unit] if unit is not None else [])

    return words


def _install(context: click.Context, furnace: Furnace, file: Path, logbook: Path, *, write: bool, force: bool) -> None:
    from soakwitness.cli.terminal.service import give_unit, given_words, unit_name, unit_text
    from soakwitness.firmware_bridge.runfolder.writer import reduced_name

    words = ["watch", str(file.absolute()), "--logbook", str(logbook.absolute())]
    words += given_words(context, leave_out=("install", "write", "force", "logbook"))
    text = unit_text(furnace.name, words, file.absolute().parent)
    name = unit_name(reduced_name(furnace.name))
    give_unit(name, text, write=write, force=force, end_words="End and seal a run")
