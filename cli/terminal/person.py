"""The person at the terminal, as ``record`` and ``watch`` see them: sentences, keys, the live page."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.page.feed import page_state
from soakwitness.cli.terminal.attending import Keys, Screen, Stop
from soakwitness.cli.words.now_words import now_sentence, readings_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.recording.now import Now
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample

if TYPE_CHECKING:
    import subprocess

    from soakwitness.analysis.packet.packet_file import PacketFile
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.cli.page.process import PageProcess
    from soakwitness.cli.terminal.soaking import SoakLine
    from soakwitness.firmware_bridge.recording.clocks import Clock
    from soakwitness.firmware_bridge.recording.starting_a_recorder import RunFacts

IDLE_LINE_S = 3600.0  # a journal that is written for years
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
        about = replace(about, recipe_name=recipe.name, recipe_file=recipe.text, loading=recipe.load)
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


@dataclass
class Person:
    """Told what happens, asked whether to end; see ``recording.session.Attendant``."""

    screen: Screen
    stop: Stop
    unit: Unit
    recipe: Recipe | None = None
    soak: SoakLine | None = None
    page: PageProcess | None = None
    after: Callable[[Path], list[str]] | None = None  # command to run when a run is sealed

    def __post_init__(self) -> None:
        self._keys: tuple[Recording, Keys] | None = None
        self._children: list[tuple[Path, subprocess.Popen[str]]] = []

    def tell(self, words: str) -> None:
        """One sentence that stays."""
        self.screen.message(words)

    def heard(self, event: str, detail: str) -> None:
        """An event was entered."""
        self.screen.message(f"{time.strftime('%H:%M:%S')} {event}{': ' if detail else ''}{detail}")

    def bell(self) -> None:
        """An alarm rings."""
        self.screen.bell()

    def show(self, recording: Recording) -> None:
        """A slot was taken."""
        lead = self._follow(recording)
        now = recording.now()
        self.screen.sentence(now_sentence(now, unit=self.unit, lead=lead))
        if self.page is not None:
            self.page.send(page_state(now, unit=self.unit, lead=lead, holds=self.recipe.holds if self.recipe else ()))

    def _follow(self, recording: Recording) -> str | None:
        """The soak clock's sentence; one that fails is left behind: the record matters more."""
        if self.soak is None:
            return None
        try:
            return self.soak.follow(recording, self.unit)
        except Exception as error:
            self.soak = None
            self.tell(f"The soak clock is ended ({type(error).__name__}: {error}); the recording goes on.")
            return None

    def idle(self, sample: Sample, furnace: Furnace) -> None:
        """A slot was taken while no run is open."""
        now = idle_now(sample, furnace)
        if now.link_lost is None:
            lead = f"Watching {furnace.name}, it does not heat"
            words = f"{lead}. {readings_words(now, self.unit)}."
        else:
            lead = f"Watching {furnace.name}, no link: {now.link_lost.rstrip('.')}"
            words = f"{lead}."
        self.screen.sentence(words, line_every_s=IDLE_LINE_S)
        if self.page is not None:
            self.page.send(page_state(now, unit=self.unit, lead=lead))

    def tend(self, recording: Recording) -> None:
        """Take keys."""
        if not (self.screen.alive and sys.stdin.isatty()):
            return
        if self._keys is None or self._keys[0] is not recording:
            keys = Keys(
                self.screen,
                lambda means: recording.press(means, by="key"),
                lambda text: recording.mark("note", note=text, by="key"),
            )
            self._keys = recording, keys
        self._keys[1].look()

    def why_end(self) -> str | None:
        """Why to end."""
        return self.stop.why

    def finished(self, run: Path) -> None:
        """A run was sealed: look at it in another process."""
        if self.after is None:
            return
        import subprocess

        pipe = subprocess.PIPE
        child = subprocess.Popen(
            self.after(run),
            stdin=subprocess.DEVNULL,
            stdout=pipe,
            stderr=pipe,
            text=True,
            start_new_session=True,  # Ctrl-C ends the watch, not the verdict on a run that is over
        )
        self._children.append((run, child))

    def tend_children(self) -> None:
        """Say what the looking found, when it has."""
        for run, child in list(self._children):
            if child.poll() is not None:
                self._children.remove((run, child))
                out, err = child.communicate()
                lines = (out.strip() or err.strip() or f"exit status {child.returncode}").split("\n")
                self.tell(f"{run.name}: {lines[-1]}")

    def leave(self) -> None:
        """Let go of everything."""
        self._wait_for_children()
        if self.page is not None:
            self.page.stop()
        self.screen.clear()

    def _wait_for_children(self) -> None:
        if not self._children:
            return
        import subprocess

        for _, child in self._children:
            try:
                child.wait(timeout=60)
            except subprocess.TimeoutExpired:
                child.kill()
        self.tend_children()


def idle_now(sample: Sample, furnace: Furnace) -> Now:
    """Facts while no run is open."""
    reading = sample.look.reading
    return Now(
        furnace=furnace,
        run=None,
        t_s=0.0,
        utc_s=sample.utc_s,
        values=reading.values if reading else {},
        faults=reading.faults if reading else {},
        reading_age_s=0.0 if reading else None,
        rows=0,
        link_lost=str(sample.look.error) if sample.look.error else None,
    )
