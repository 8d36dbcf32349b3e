"""Finds and reads the guide's pages (package data: one Markdown file a page, plain enough for a terminal)."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable

ORDER = (
    "start",
    "furnace-file",
    "wiring",
    "recipe",
    "first-run",
    "marks",
    "verify",
    "memory-logger",
    "packet",
    "calibration",
    "survey",
    "pieces",
    "audit",
    "condition",
    "sheets",
    "service",
    "files",
    "cautions",
)


def _page(name: str) -> Traversable:
    return files("soakwitness.cli.guide") / f"{name}.md"


def page_titles() -> list[tuple[str, str]]:
    """Names and titles of the pages, in reading order."""
    return [(name, _page(name).read_text(encoding="utf-8").splitlines()[0].lstrip("# ")) for name in ORDER]


def find_page(topic: str) -> str | None:
    """Text of a page by its name or the beginning of it; None where there is none, or several."""
    wanted = topic.lower().replace(" ", "-").replace("_", "-")
    hits = [name for name in ORDER if name == wanted] or [name for name in ORDER if name.startswith(wanted)]
    return _page(hits[0]).read_text(encoding="utf-8") if len(hits) == 1 else None
