"""What a printed page is made of, as plain words in order; ``html`` and ``pdf`` only lay it out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Tone = Literal["good", "wait", "bad", ""]
TONES: dict[str, Tone] = {"pass": "good", "fail": "bad", "not proven": "wait", "warn": "wait"}
MOST_LINES = 24  # of tables and sentences in the larger type
MOST_LETTERS = 2400  # of a card in the larger type
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class SheetTable:
    """A table: its heading, column heads and rows of words; a column ``verdict`` is told apart."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""
    after: str = ""  # a line below, such as how many more there are


@dataclass(frozen=True)
class Item:
    """One sentence with its weight as a tag, and ``more`` in another shade behind it."""

    tag: str
    text: str
    more: str = ""


@dataclass(frozen=True)
class Items:
    """Sentences below each other; ``broad``: their tags are longer than a word of four letters."""

    heading: str
    items: tuple[Item, ...]
    empty: str = ""
    after: str = ""
    broad: bool = False


@dataclass(frozen=True)
class Lines:
    """Paragraphs; ``small`` is what stands in small type."""

    heading: str
    lines: tuple[str, ...]
    small: bool = False


@dataclass(frozen=True)
class Chart:
    """A picture: ``draw`` is given a figure and the part of it that is free, as shares of it (left, bottom, ...).

    ``own_in``: a height of its own; else it takes what room the page has. ``svg``: the same for a page in HTML, where
    it is drawn otherwise there.
    """

    draw: Callable[[Figure, Box], None]
    says: str
    least_in: float = 2.0
    most_in: float = 4.3
    own_in: float = 0.0
    svg: Callable[[], str] | None = None


@dataclass(frozen=True)
class Signature:
    """Places to write in by hand."""

    places: tuple[str, ...]


Block = SheetTable | Items | Lines | Chart | Signature


@dataclass(frozen=True)
class Sheet:
    """One page, and what found no room on it.

    ``where`` says what is told of; ``tag`` the verdict in words; ``below`` explains the sentence; ``shop`` who made it;
    ``foot`` ends the page; ``annex`` begins a page of its own where there is one. ``flat``: its picture is a small one.
    ``card``: it is read standing, so that its sentences are as large as one page lets them.
    """

    title: str
    where: str
    tag: str
    tone: Tone
    sentence: str
    below: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    foot: str
    shop: tuple[str, ...] = ()
    annex: tuple[Block, ...] = ()
    flat: bool = False
    card: bool = False

    @property
    def long(self) -> bool:
        """Whether a card says so much that it is set smaller."""
        items = [item for part in self.blocks if isinstance(part, Items) for item in part.items]
        return sum(len(item.text) + len(item.more) for item in items) > MOST_LETTERS

    @property
    def full(self) -> bool:
        """Whether so much stands on the page that it is set smaller."""
        return lines_of(self.blocks) > MOST_LINES


def lines_of(blocks: tuple[Block, ...]) -> int:
    """About how many lines tables and sentences take."""
    rows = sum(len(part.rows) for part in blocks if isinstance(part, SheetTable))
    own = sum(round(6 * part.own_in) for part in blocks if isinstance(part, Chart))  # six lines an inch
    return own + rows + 2 * sum(len(part.items) for part in blocks if isinstance(part, Items))
