"""``soakwitness record``: one run, from now until Ctrl-C."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from soakwitness.cli.attending import KEYS_WORDS, Duration, Keys, Screen, Stop, check_speed, single_keys
from soakwitness.cli.common import logbook_option, unit_option

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.furnace.model import Furnace
    from soakwitness.firmware_bridge.recording.beginning import About
    from soakwitness.firmware_bridge.recording.clocks import Clock
    from soakwitness.firmware_bridge.recording.recorder import Recording


@click.command()
@click.argument("furnace", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path, dir_okay=False), help="Recipe of this run.")
@click.option("--operator", help="Who runs the furnace.")
@click.option("--for", "for_s", type=Duration(), help="End by itself after so long: 90s, 25m, 1h30m.")
@click.option("--speed", type=click.FloatRange(1, 10_000), default=1.0, help="Simulated furnace: so many times faster.")
@click.option("--new", "fresh", is_flag=True, help="Begin a new run, also where one that was cut off could go on.")
@unit_option
@logbook_option
def record(
    furnace: Path,
    recipe_path: Path | None,
    operator: str | None,
    for_s: float | None,
    speed: float,
    fresh: bool,
    unit: Literal["C", "F"] | None,
    logbook: Path,
) -> None:
    """Record one run of the furnace that the file FURNACE describes, until Ctrl-C.

    A run that a crash or a power cut broke off is gone on with if it is the same heating. The path of the run folder
    is the last line on stdout.

    Example: soakwitness record furnace.toml --for 5s
    """
    from soakwitness.firmware_bridge.furnace.file import load_furnace
    from soakwitness.firmware_bridge.recording.clocks import FastClock, RealClock

    checked = load_furnace(furnace)
    check_speed(speed, checked.link.kind)
    about = _about(recipe_path, operator, logbook)
    clock = RealClock() if speed == 1.0 else FastClock(speed)
    path = _record(checked, clock, about, for_s=for_s, fresh=fresh, unit=unit)
    click.echo(str(path))


def _about(recipe_path: Path | None, operator: str | None, logbook: Path) -> About:
    from soakwitness.firmware_bridge.recording.beginning import About, local_zone

    if recipe_path is None:
        return About(logbook, operator=operator, zone=local_zone())
    from soakwitness.analysis.recipes.file import load_recipe

    recipe = load_recipe(recipe_path)
    return About(logbook, recipe.name, recipe.text, recipe.load, operator, local_zone())


class Person:
    """The person at the terminal, for ``session.record_run``."""

    def __init__(self, screen: Screen, stop: Stop, clock: Clock, unit: Literal["C", "F"] | None) -> None:
        self._screen = screen
        self._stop = stop
        self._clock = clock
        self._unit = unit
        self._keys: Keys | None = None

    def tell(self, words: str) -> None:
        """One sentence that stays."""
        self._screen.message(words)

    def heard(self, event: str, detail: str) -> None:
        """An event was entered."""
        import time

        self._screen.message(f"{time.strftime('%H:%M:%S')} {event}{': ' if detail else ''}{detail}")

    def bell(self) -> None:
        """An alarm rings."""
        self._screen.bell()

    def show(self, recording: Recording) -> None:
        """A slot was taken."""
        from soakwitness.cli.words.now_words import now_sentence

        self._screen.sentence(now_sentence(recording.now(), unit=self._unit))

    def tend(self, recording: Recording) -> None:
        """Keys."""
        if self._screen.alive:
            if self._keys is None:
                self._keys = Keys(
                    self._screen,
                    lambda means: recording.press(means, by="key"),
                    lambda text: recording.mark("note", note=text, by="key"),
                )
            self._keys.look()

    def why_end(self) -> str | None:
        """Why to end."""
        return self._stop.why


def _record(
    furnace: Furnace,
    clock: Clock,
    about: About,
    *,
    for_s: float | None,
    fresh: bool,
    unit: Literal["C", "F"] | None,
) -> Path:
    import sys

    from soakwitness.cli.words.cautions import NO_SAFETY_DEVICE
    from soakwitness.firmware_bridge.recording.session import record_run

    screen = Screen()
    keys = screen.alive and sys.stdin.isatty()
    screen.message(NO_SAFETY_DEVICE)
    screen.message(f"Recording {furnace.name} into {about.logbook}. End with Ctrl-C.{' ' + KEYS_WORDS if keys else ''}")
    with Stop() as stop, single_keys(keys):
        person = Person(screen, stop, clock, unit)
        try:
            path = record_run(furnace, clock, about, person, for_s=for_s, fresh=fresh)
        finally:
            screen.clear()
    screen.message("Sealed.")
    return path
