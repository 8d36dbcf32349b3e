"""Where a sentence is read, and how it names there what its reader is to do: fill something in, or ask for something.

Such a sentence carries a :class:`Field` or a :class:`NextCommand` among its values (``Says``), and the surface that
shows it puts them into its own words: a terminal has options and commands, a page has fields with names and other
pages.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import Protocol


class Surface(Protocol):
    """Where sentences are read."""

    def field(self, name: str, value: str, metavar: str) -> str:
        """What is filled in under this name, and with which value; empty where nobody fills it in."""

    def command(self, words: tuple[str, ...]) -> str:
        """How one gets at what a command of soakwitness does."""


class Terminal:
    """Options and commands."""

    def field(self, name: str, value: str, metavar: str) -> str:
        """``--why``, ``--mm 0.8``, ``--at TIME``."""
        return f"--{name} {value or metavar}".rstrip()

    def command(self, words: tuple[str, ...]) -> str:
        """The command as it is typed."""
        return " ".join(["soakwitness", *map(shlex.quote, words)])


TERMINAL: Surface = Terminal()
ASIDE = " ({})"  # behind what is asked


@dataclass(frozen=True)
class Field:
    """What is to be filled in, by the name of the command's option.

    ``metavar`` is what a terminal writes for a value that is the reader's own; ``around`` stands with it, and nowhere
    where nobody fills it in.
    """

    name: str
    value: str = ""
    metavar: str = ""
    around: str = "{}"

    def text(self, surface: Surface) -> str:
        """In the words of a surface."""
        named = surface.field(self.name, self.value, self.metavar)
        return self.around.format(named) if named else ""


@dataclass(frozen=True)
class NextCommand:
    """A command by its words, without the program's name."""

    words: tuple[str, ...]

    @staticmethod
    def of(*words: str) -> NextCommand:
        """A command of these words."""
        return NextCommand(words)

    def text(self, surface: Surface) -> str:
        """In the words of a surface."""
        return surface.command(self.words)
