"""What ``record`` and ``watch`` share: the terminal with its living sentence and keys, signals, options."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, TextIO

import click

from soakwitness.cli.options.common import WrongUse
from soakwitness.firmware_bridge.runfolder.marks import WORDS_LENGTH

LINE_EVERY_S = 60.0
MOST_LINES = 4
ALL_OUT, UNDO = "all out", "undo"
KEYS = {" ": "next", "l": "load", "p": "pull", "o": ALL_OUT, "s": "plates", "h": "hand-warm", "d": "door", "u": UNDO}
# What a pedal, a presenter or a Bluetooth button sends as it is sold: Enter, Page up, Page down, the letter b.
BUTTONS = ("\r", "\n", "b")
BUTTON_SEQUENCES = ("\x1b[5~", "\x1b[6~")
KEYS_WORDS = (
    "Keys: space = next expected act, l load, p pull of the next piece, o all out, s plates, h hand-warm, d door, "
    "n note, u undo."
)
HELD_S = 1.0  # the same key again within this time is one that is held down
_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[ -~])")  # arrows, function keys, paste marks (ECMA-48, xterm)
_CUT_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*|O)?\Z")
_DURATION = re.compile(r"(?:(\d+(?:\.\d+)?)h)?(?:(\d+(?:\.\d+)?)m)?(?:(\d+(?:\.\d+)?)s?)?")


class Duration(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A duration such as ``90``, ``90s``, ``25m``, ``1h30m``; passed as seconds."""

    name = "duration"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Seconds."""
        if isinstance(value, (int, float)):
            return float(value)
        hit = _DURATION.fullmatch(value.strip())
        seconds = sum(float(n) * f for n, f in zip(hit.groups(), (3600, 60, 1), strict=True) if n) if hit else 0.0
        if seconds <= 0:
            self.fail(f"{value!r} is no duration. Write 90s, 25m or 1h30m.", param, ctx)
        return seconds


class Stop:
    """Asked to end: by Ctrl-C, SIGTERM or Ctrl-Break once; a second Ctrl-C stops at once.

    A terminal that goes away (SIGHUP) does not end a run: ``terminal_gone`` says so.
    """

    def __init__(self) -> None:
        self.why: str | None = None
        self.terminal_gone = False

    def __enter__(self) -> Stop:
        self._before = {number: signal.signal(number, self._handle) for number in self._signals()}
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def asked(self) -> bool:
        """Whether to end."""
        return self.why is not None

    @staticmethod
    def _signals() -> list[signal.Signals]:
        names = ("SIGINT", "SIGTERM", "SIGBREAK", "SIGHUP")
        return [getattr(signal, name) for name in names if hasattr(signal, name)]

    def _handle(self, number: int, _: FrameType | None) -> None:
        name = signal.Signals(number).name
        if name == "SIGHUP":
            self.terminal_gone = True
            return
        if self.why is not None and name == "SIGINT":
            raise KeyboardInterrupt
        if self.why is None:
            self.why = {"SIGINT": "Ctrl-C", "SIGBREAK": "Ctrl-Break"}.get(name, name)


class Screen:
    """One living sentence on a terminal, one plain line a minute in a pipe, messages above it."""

    def __init__(
        self, *, out: TextIO | None = None, err: TextIO | None = None, now: Callable[[], float] = time.monotonic
    ) -> None:
        self._err: TextIO | None = err or sys.stderr  # None where the system gives a service none
        self._now = now
        self.alive = self._err is not None and self._err.isatty()
        plain: TextIO | None = out or sys.stdout
        self._plain = None if plain is None or (plain.isatty() and self.alive) else plain
        self._line_at: float | None = None
        self._shown = 0  # lines
        self.prompt: str | None = None

    def sentence(self, words: str, *, line_every_s: float = LINE_EVERY_S) -> None:
        """Show how it stands now."""
        if self.alive:
            lines = self._wrapped(words if self.prompt is None else self.prompt)
            self._write(self._err, self._back() + "\n".join(lines))
            self._shown = len(lines)
        now = self._now()
        if self._plain is not None and (self._line_at is None or now - self._line_at >= line_every_s):
            self._line_at = now
            self._write(self._plain, f"{time.strftime('%H:%M:%S')} {words}\n")

    def message(self, words: str) -> None:
        """One line that stays."""
        self.clear()
        lines = [words]
        if self.alive:  # a link is one word, wherever the line ends
            wide = max(20, self._width() - 1)
            lines = textwrap.wrap(words, wide, break_long_words=False, break_on_hyphens=False)
        self._write(self._err, "\n".join(lines) + "\n")

    def bell(self) -> None:
        """Ring the terminal's bell."""
        if self.alive:
            self._write(self._err, "\a")

    def clear(self) -> None:
        """Take the living sentence away."""
        if self._shown:
            self._write(self._err, self._back())
            self._shown = 0

    def _back(self) -> str:
        """To the beginning of the sentence shown, which is wiped away."""
        up = f"\x1b[{self._shown - 1}A" if self._shown > 1 else ""
        return f"\r{up}\x1b[J"

    def _wrapped(self, words: str) -> list[str]:
        """The sentence in lines that fit, four at most."""
        width = max(20, self._width() - 1)
        lines = textwrap.wrap(words, width) or [""]
        if len(lines) > MOST_LINES:
            lines = [*lines[: MOST_LINES - 1], lines[MOST_LINES - 1][: width - 1] + "…"]
        return lines

    def _width(self) -> int:
        try:
            return os.get_terminal_size(self._err.fileno()).columns if self._err is not None else 80
        except (OSError, ValueError):
            return 80

    @staticmethod
    def _write(stream: TextIO | None, text: str) -> None:
        if stream is None:
            return
        with contextlib.suppress(OSError, ValueError):  # the terminal is gone: the run goes on
            stream.write(text)
            stream.flush()


class Keys:
    """Single keys of the recording terminal; a note is typed after ``n`` and ended with Enter.

    Keys that send several characters (arrows, function keys) mean nothing but for Page up and down, which buttons send
    as they do Enter: the next act. A key that is held down counts once.
    """

    def __init__(
        self,
        screen: Screen,
        press: Callable[[str], object],
        note: Callable[[str], object],
        *,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._screen = screen
        self._press = press
        self._note = note
        self._now = now
        self._typed: str | None = None
        self._cut = ""  # what may be the beginning of a sequence
        self._last: tuple[str, float] | None = None

    def look(self) -> None:
        """Take what was typed since."""
        self.take_all(read_keys())

    def take_all(self, came: str) -> None:
        """Take all that came since the last look, which may be nothing."""
        text = self._cut + came
        if self._typed is None:
            for sequence in BUTTON_SEQUENCES:
                text = text.replace(sequence, BUTTONS[0])
        text = _SEQUENCE.sub("", text)
        cut = _CUT_SEQUENCE.search(text)
        self._cut = cut[0] if cut and came else ""
        if cut:
            text = text[: cut.start()] + ("" if came else "\x1b")
        for key in text:
            self.take(key)

    def take(self, key: str) -> None:
        """Take one key."""
        if self._typed is not None:
            self._type(key)
        elif key == "n":
            self._typed = ""
        elif (means := "next" if key in BUTTONS else KEYS.get(key.lower())) and not self._is_held(key):
            self._press(means)
        self._screen.prompt = None if self._typed is None else f"Note (Enter to keep, Esc to drop): {self._typed}"

    def _is_held(self, key: str) -> bool:
        last, now = self._last, self._now()
        self._last = key, now
        return last is not None and last[0] == key and now - last[1] < HELD_S

    def _type(self, key: str) -> None:
        assert self._typed is not None
        if key in "\r\n":
            text, self._typed = self._typed.strip(), None
            if text:
                self._note(text)
        elif key == "\x1b":
            self._typed = None
        elif key in "\b\x7f":
            self._typed = self._typed[:-1]
        elif key.isprintable() and len(self._typed) < WORDS_LENGTH:
            self._typed += key


@contextlib.contextmanager
def single_keys(enabled: bool) -> Iterator[None]:
    """Let the terminal hand over single keys, unechoed; Ctrl-C keeps its meaning."""
    if not enabled or os.name == "nt":
        yield
        return
    import termios

    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)
    _take_over(number)
    try:
        yield
    finally:
        if in_foreground(number):
            with contextlib.suppress(termios.error):
                termios.tcsetattr(number, termios.TCSADRAIN, before)


def _take_over(terminal: int) -> None:
    """Ask for single keys, also where the shell has set the terminal back since (Ctrl-Z and fg)."""
    import termios
    import tty

    with contextlib.suppress(termios.error):
        if in_foreground(terminal) and termios.tcgetattr(terminal)[3] & termios.ICANON:
            tty.setcbreak(terminal)


def in_foreground(terminal: int) -> bool:
    """Whether this process may use its terminal: one in the background (``&``) would be stopped for it."""
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return True  # not the terminal that this process was started from: nothing stops it


def read_keys() -> str:
    """Keys typed since the last call, without waiting."""
    if os.name == "nt":
        import msvcrt  # type: ignore[import-not-found,unused-ignore]

        keys = ""
        while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
            keys += msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
        return keys
    import select

    try:
        number = sys.stdin.fileno()
        _take_over(number)
        ready, _, _ = select.select([number], [], [], 0)
        return os.read(number, 256).decode("utf-8", "ignore") if ready and in_foreground(number) else ""
    except (OSError, ValueError):
        return ""


def check_speed(speed: float, kind: str) -> None:
    """Refuse a fast clock on a real instrument."""
    if speed != 1.0 and kind != "simulated":
        raise WrongUse(f"--speed {speed:g}: only a simulated furnace can run faster than time.")
