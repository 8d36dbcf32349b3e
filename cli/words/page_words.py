"""What a page of the book calls the fields of its forms, and where it has what a command does: the page as a surface.

Templates take the fields' names from here, and so does a refusal that names a field: both say the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

from soakwitness.cli.words.commands_in_text import RetoldPart, retold
from soakwitness.firmware_bridge.common.surfaces import TERMINAL
from soakwitness.firmware_bridge.common.wording import Says

IN_A_TERMINAL = " (in a terminal)"
_HIDDEN = ""  # what a page carries along and nobody fills in
_EVERYWHERE = {
    "names": "Pieces",
    "name": "Piece",
    "run": "Run",
    "furnace": "Furnace",
    "place": "Place",
    "steel": "Steel",
    "lot": "Lot",
    "thickness_mm": "Thickness",
    "stamp": "Stamp",
    "customer": "Customer",
    "order": "Order",
    "coupon": "Coupon",
    "batch": "Batch",
    "kind": "Kind",
    "entry": "Entry",
    "after": "After which step?",
    "before": "Before which step?",
    "at": "When",
    "zone": _HIDDEN,
    "note": "Note",
    "why": "Why",
    "unit": "Degrees",
    "strike": "Strike",
    "seen": _HIDDEN,
    "by": _HIDDEN,
    "logbook": _HIDDEN,
    "out": _HIDDEN,
}
_OF_FORM: dict[str, dict[str, str]] = {
    "piece": {"names": "Names"},
    "charge": {
        "number": "Charge",
        "place": "Place in the rack",
        "foil": "In foil?",
        "heated_faces": "Heated faces",
        "blades": "Blades in one packet",
        "kg": "Mass of all in the furnace",
        "fixtures": "Fixtures",
        "fixtures_kg": "Of that fixtures",
        "empty": "Nothing is in it",
    },
    "hardness": {
        "readings": "Readings",
        "before": _HIDDEN,
        "scale": "Scale",
        "load_n": "Test load",
        "block": "Test block's value",
        "block_reading": "It read on the block",
        "tester": "Tester",
        "spot": "Spot",
        "along": "Along the blade",
        "across": "Across the blade",
        "ground_off_mm": "Ground off the skin there",
        "spacing_mm": "Between indentations",
        "edge_mm": "From an edge",
        "section_mm": "Thickness there",
        "as_read": "It was read so",
    },
    "treatment": {
        "kind": "Treatment",
        "not_done": "Was it done?",
        "start": "Began",
        "end": "Ended",
        "shown": "Oven, bath or plates showed",
        "second": "A second thermometer showed",
        "lowest": "Lowest temperature",
        "removed_mm": "Ground off a face",
        "oven": "Oven or bath",
    },
    "inspect": {"look": "Look", "mm": "How much", "result": "It showed", "place": "Where on the blade"},
    "photo": {"file": "Photograph", "note": "What it shows", "at": "When it was taken"},
    "note": {"words": "Note"},
    "strike": {"why": "Why?"},
    "strike of a run": {"why": "Why?"},
    "disposition": {"decide": "Decision", "finding": "Finding", "step": "Step"},
    "mark": {
        "act": "What",
        "pieces": "Pieces",
        "outside": "Before the record began, or after it ended",
        "why": "Why?",
    },
    "inferred": {"inferred": "Run", "confirm": "Yes: enter them as inferred"},
    "batch": {"name": "Name"},
    "cutout": {
        "set_": "Set to",
        "tripped_at": "It cut at",
        "no_trip_up_to": "No cut up to",
        "in_run": "In the run",
        "day": "Day",
    },
    "plan": {
        "recipe_path": "Recipe",
        "pieces": "Names",
        "thickness_mm": "Or their thickness",
        "count": "How many packets",
        "foil": "In foil?",
        "reaches": "A furnace without runs: where is it when?",
        "starts": "Switched on at",
        "temper_path": "Recipe of the temper",
        "packet_path": "Measured packet",
        "keep": _HIDDEN,
    },
    "upkeep": {"part": "Done to", "struck": "Strike"},
}


@dataclass(frozen=True)
class PageOfCommand:
    """A page that has what a command does.

    ``command``: words that the command has. ``says`` where, in a sentence; ``act`` stands on what leads there: to the
    page of the name ``route``, which is that of one run or piece, or asks for a furnace, as ``of`` tells.
    """

    command: tuple[str, ...]
    says: str
    act: str = ""
    route: str = ""
    of: str = ""


# The closer ones first.
PAGES = (
    PageOfCommand(
        ("mark", "--strike"),
        "Strike beside it, under Enter or strike marks on the run's page",
        "Strike the mark",
        "strike_mark",
        of="run",
    ),
    PageOfCommand(("mark", "--inferred"), "the page Waiting"),
    PageOfCommand(
        ("mark",), "Enter or strike marks, on the run's page", "Enter or strike marks", "enter_marks", of="run"
    ),
    PageOfCommand(("piece", "add"), "New pieces, under Enter", "Enter new pieces", "enter_charge"),
    PageOfCommand(
        ("piece", "charge", "next"),
        "The charge of the next run, under Enter",
        "Enter the charge of the next run",
        "enter_charge",
    ),
    PageOfCommand(
        ("piece", "treatment"),
        "Enter something else, on the piece's page",
        "Enter what was done",
        "enter_treatment",
        of="piece",
    ),
    PageOfCommand(
        ("piece", "hardness"), "Enter hardness, on the piece's page", "Enter hardness", "enter_hardness", of="piece"
    ),
    PageOfCommand(("piece", "strike"), "Strike beside it, under Enter something else on the piece's page"),
    PageOfCommand(("piece", "history"), "the piece's page", "Its page", "piece", of="piece"),
    PageOfCommand(("piece", "find"), "the page Pieces", "Pieces", "pieces"),
    PageOfCommand(("batch", "list"), "the page Pieces", "Pieces", "pieces"),
    PageOfCommand(("disposition",), "Decide, on the run's page", "Decide about it", "enter_decision", of="run"),
    PageOfCommand(("sensor", "list"), "the page Furnace", "Its furnace", "furnace", of="furnace"),
    PageOfCommand(("survey", "--list"), "the page Furnace", "Its furnace", "furnace", of="furnace"),
    PageOfCommand(("cutout",), "the page Furnace", "Enter a test of its cut-out", "enter_cutout", of="furnace"),
    PageOfCommand(("upkeep",), "the page Furnace", "Enter what was done to it", "enter_upkeep", of="furnace"),
    PageOfCommand(("condition",), "How it is doing, on the page Furnace", "How it is doing", "condition", of="furnace"),
    PageOfCommand(("today",), "the page Waiting", "Waiting", "waiting"),
    PageOfCommand(("runs",), "the page Runs", "Runs", "runs"),
)
_ON_NO_PAGE = (("runs", "--doubtful"), ("runs", "--strike"), ("runs", "--heating"), ("today", "--not-needed"))


def page_of(words: tuple[str, ...]) -> PageOfCommand | None:
    """The page that has what a command does; None where only a terminal has it."""
    if any(known[0] == words[0] and {*known} <= {*words} for known in _ON_NO_PAGE):
        return None
    return next((page for page in PAGES if page.command[0] == words[0] and {*page.command} <= {*words}), None)


def fields_of(form: str | None) -> dict[str, str]:
    """What the fields of a form are called on its page, by the parameters of its command."""
    return _EVERYWHERE | _OF_FORM.get(form or "", {})


@dataclass(frozen=True)
class OnPage:
    """A page as the surface of a sentence; ``names``: its fields, by the names of the options too."""

    names: Mapping[str, str] = field(default_factory=lambda: fields_of(None))

    def field(self, name: str, value: str, metavar: str) -> str:
        """A field by the name that stands at it; empty where the page carries it along itself."""
        called = self.names.get(name, self.names.get(name.replace("-", "_"), name.replace("-", " ").capitalize()))
        return f"“{called}”{f': {value}' if value else ''}" if called else ""

    def command(self, words: tuple[str, ...]) -> str:
        """The page that has it; else the command, which needs a terminal."""
        page = page_of(words)
        return f"{TERMINAL.command(words)}{IN_A_TERMINAL}" if page is None else page.says


ON_PAGE = OnPage()


def kept_parts(text: str) -> list[RetoldPart]:
    """A sentence that was kept as a terminal reads it, or that a command printed, as a page says it, in its parts."""
    told = retold(text, ON_PAGE.command)
    for number, (part, after) in enumerate(pairwise(told)):
        if after.text.startswith(")") and part.text.endswith(IN_A_TERMINAL):  # an aside within an aside
            told[number] = replace(part, text=f"{part.text.removesuffix(IN_A_TERMINAL)}, in a terminal")
    return told


def kept_on_page(text: str) -> str:
    """The same as one text."""
    return "".join(part.text for part in kept_parts(text))


def on_page(error: Exception) -> str:
    """The words of an error as a page without a form says them."""
    says = getattr(error, "says", None)
    return says.text("C", ON_PAGE) if isinstance(says, Says) else str(error)
