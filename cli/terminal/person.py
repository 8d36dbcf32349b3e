"""The person at the terminal, as ``record`` and ``watch`` see them: sentences, keys, the live page."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.page.feed import page_state
from soakwitness.cli.terminal.attending import ALL_OUT, UNDO, Keys, Screen, Stop
from soakwitness.cli.words.furnace_side import furnace_side
from soakwitness.cli.words.mark_words import entry_words, expected_words, mark_words
from soakwitness.cli.words.now_words import now_sentence, readings_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.recording.now import Now
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.recording.sampling import Sample

if TYPE_CHECKING:
    import subprocess

    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.cli.page.process import PageProcess
    from soakwitness.cli.terminal.soaking import SoakLine

IDLE_LINE_S = 3600.0  # a journal that is written for years


@dataclass
class Person:
    """Told what happens, asked whether to end; see ``recording.claiming.Attendant``."""

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
        said = entry_words(detail) if event == "mark" else None
        self.screen.message(f"{time.strftime('%H:%M:%S')} {said or event + (': ' if detail else '') + detail}")

    def bell(self) -> None:
        """An alarm rings."""
        self.screen.bell()

    def show(self, recording: Recording) -> None:
        """A slot was taken."""
        lead = self._follow(recording)
        now = recording.now()
        self.screen.sentence(now_sentence(now, unit=self.unit, lead=lead))
        if self.page is not None:
            clock = self.soak.state if self.soak is not None else None
            side = furnace_side(now, recipe=self.recipe, clock=clock)
            holds = self.recipe.holds if self.recipe else ()
            self.page.send(page_state(now, unit=self.unit, lead=lead, holds=holds, side=side))

    def _follow(self, recording: Recording) -> str | None:
        """The soak clock's sentence; one that fails is left behind: the record matters more."""
        if self.soak is None:
            return None
        try:
            return self.soak.follow(recording, self.unit)
        except Exception as error:
            self.soak.leave()
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
                lambda means: self._press(recording, means),
                lambda text: recording.mark("note", note=text, by="key", origin="key"),
            )
            self._keys = recording, keys
        self._keys[1].look()

    def _press(self, recording: Recording, means: str) -> None:
        """A key: enter what it means; what that was is heard, what comes then is said."""
        if means == UNDO:
            back = recording.undo(by="key")
            if back is not None:
                self.tell(f"Taken back: {mark_words(back)}.")
            else:
                self.tell(
                    "Nothing to take back: after two minutes strike it out: soakwitness mark --strike ID --why REASON"
                )
        elif means == ALL_OUT:
            recording.mark("pull", by="key", origin="key")
        else:
            recording.press(means, "key", by="key")
        self.tell(f"Next: {expected_words(recording.now().expected)}.")

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
        if self.soak is not None:
            self.soak.leave()
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
                child.wait()
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
