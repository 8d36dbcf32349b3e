"""The shop's own name and address, from a file beside the log book's database: what a customer's page is headed by."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.errors import LogBookError
from soakwitness.firmware_bridge.common import tables

NAME = "shop.toml"
MAKE = "Write one with: soakwitness logbook shop"
TEMPLATE = """\
# The shop as its papers name it: soakwitness sheet RUN, soakwitness sheet --piece NAME.
# Lines that begin with # are notes; take the # away to use what stands behind it.

name = "Name of the shop"
address = ["Street 1", "1010 Town"]
# phone = "+43 1 0000000"
# mail = "shop@example.org"
# web = "https://example.org"
# note = "Heat treatment of knife blades"
"""


@dataclass(frozen=True)
class Shop:
    """Who signs: ``lines`` are what is known beside the name, in the order in which they are printed."""

    name: str
    lines: tuple[str, ...] = ()


def read_shop(folder: Path) -> Shop | None:
    """The shop of a log book's folder; None where there is no such file.

    Raises LogBookError if a key is unknown or wrong: names file, line, key, value and what is allowed.
    """
    path = folder / NAME
    if not path.exists():
        return None
    _, text = tables.read_file(path, LogBookError, kind="the shop's file", make=MAKE)
    table = tables.parse(text, str(path), LogBookError, hint=MAKE)
    name = table.text("name", "the shop's name in quotes")
    if name is None:
        table.refuse("name", 'is missing; it needs the shop\'s name in quotes, such as name = "Forge of A. Smith".')
    address = table.words("address", '["Street 1", "1010 Town"]')
    rest = [table.text(key) for key in ("phone", "mail", "web", "note")]
    table.finish()
    return Shop(name, tuple(word.strip() for word in (*address, *(r for r in rest if r)) if word.strip()))
