"""The person at the terminal, as ``record`` and ``watch`` see them: sentences, keys, and what the book is told."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.telling.bench_state import Diary, bench_state
from soakwitness.cli.telling.present import Present
from soakwitness.cli.telling.run_state import ended_state, run_state
from soakwitness.cli.terminal.attending import ALL_OUT, UNDO, Keys, Screen, Stop
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
    present: Present | None = None
    after: Callable[[Path], list[str]] | None = None  # command to run when a run is sealed

    def __post_init__(self) -> None:
        self._keys: tuple[Recording, Keys] | None = None
        self._children: list[tuple[Path, subprocess.Popen[str]]] = []
        self._diary = Diary()
        self._told: tuple[str, str] | None = None  # the furnace and the run that the book was told last

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
        self._tell_book(now, lead)

    def _tell_book(self, now: Now, lead: str | None) -> None:
        """Tell the book, if one runs."""
        if self.present is None:
            return
        recipe, run = self.recipe, now.run
        if self._told is not None and (run is None or run.name != self._told[1]):
            self._tell_ended()
        self._told = None if run is None else (now.furnace.name, run.name)
        name, holds = (None, ()) if recipe is None or run is None else (recipe.name, recipe.holds)
        clock = self.soak.state if self.soak is not None else None
        hold = holds[clock.hold - 1] if clock is not None and clock.hold is not None and holds else None
        if run is not None:
            self._diary.look(now, clock, self.unit)

        def state() -> dict[str, Any]:
            side = None
            if run is not None:
                side = bench_state(now, recipe=recipe, clock=clock, unit=self.unit, lead=lead or "", diary=self._diary)
            return run_state(now, unit=self.unit, lead=lead, recipe=name, holds=holds, hold=hold, side=side)

        self.present.tell(state)

    def _tell_ended(self) -> None:
        if self.present is not None and self._told is not None:
            furnace, run = self._told
            self.present.tell(lambda: ended_state(furnace, run))
            self._told = None

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
        self._tell_book(now, lead)

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
        self._tell_ended()
        if self.present is not None:
            self.present.leave()
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
