"""What a page of the book calls the fields of its forms, and where it has what a command does: the page as a surface.

Templates take the fields' names from here, and so does a refusal that names a field: both say the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from soakwitness.firmware_bridge.common.surfaces import TERMINAL
from soakwitness.firmware_bridge.common.wording import Says

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
        "keep": _HIDDEN,
    },
    "upkeep": {"part": "Part", "struck": "Strike"},
}

# Where a page has what a command does: words that the command has, the closer ones first.
_PAGES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("mark", "--strike"), "Strike beside it, under Enter or strike marks on the run's page"),
    (("mark", "--inferred"), "the page Waiting"),
    (("mark",), "Enter or strike marks, on the run's page"),
    (("piece", "add"), "New pieces, under Enter"),
    (("piece", "charge"), "The charge of the next run, under Enter"),
    (("piece", "treatment"), "Enter something else, on the piece's page"),
    (("piece", "strike"), "Strike beside it, under Enter something else on the piece's page"),
    (("piece", "history"), "the piece's page"),
    (("piece", "find"), "the page Pieces"),
    (("batch", "list"), "the page Pieces"),
    (("disposition",), "Decide, on the run's page"),
    (("sensor", "list"), "the page Furnace"),
    (("survey", "--list"), "the page Furnace"),
    (("cutout",), "the page Furnace"),
    (("upkeep",), "the page Furnace"),
    (("today",), "the page Waiting"),
    (("runs",), "the page Runs"),
)


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
        found = (page for known, page in _PAGES if known[0] == words[0] and {*known} <= {*words})
        return next(found, f"{TERMINAL.command(words)} (in a terminal)")


ON_PAGE = OnPage()


def on_page(error: Exception) -> str:
    """The words of an error as a page without a form says them."""
    says = getattr(error, "says", None)
    return says.text("C", ON_PAGE) if isinstance(says, Says) else str(error)
