"""Finds and reads the guide's pages (package data: one Markdown file a page, plain enough for a terminal)."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable

ORDER = (
    "start",
    "furnace-file",
    "alarms",
    "sensors",
    "wiring",
    "simulated",
    "recipe",
    "steels",
    "handling",
    "plan",
    "first-run",
    "first-runs",
    "book",
    "at-the-furnace",
    "devices",
    "marks",
    "late-marks",
    "today",
    "verify",
    "definitions",
    "memory-logger",
    "packet",
    "rack",
    "calibration",
    "sensor-life",
    "thermocouples",
    "survey",
    "pieces",
    "evidence",
    "photographs",
    "audit",
    "condition",
    "sheets",
    "service",
    "files",
    "cautions",
)
# The page that tells of a command.
ABOUT = {
    "demo": "start",
    "ports": "wiring",
    "furnace": "furnace-file",
    "record": "first-run",
    "watch": "service",
    "book": "book",
    "mark": "marks",
    "today": "today",
    "runs": "files",
    "import": "memory-logger",
    "recipe": "recipe",
    "plan": "plan",
    "verify": "verify",
    "sheet": "sheets",
    "packet": "packet",
    "calibrate": "calibration",
    "fixed-points": "thermocouples",
    "survey": "survey",
    "place": "survey",
    "accuracy": "calibration",
    "sensor": "calibration",
    "emf": "thermocouples",
    "piece": "pieces",
    "batch": "pieces",
    "audit": "audit",
    "condition": "condition",
    "cutout": "evidence",
    "upkeep": "condition",
    "disposition": "pieces",
    "logbook": "files",
    "steels": "steels",
    "guide": "start",
}


def page_text(name: str) -> str:
    """Text of the page of exactly this name."""
    return _page(name).read_text(encoding="utf-8")


def page_titles() -> list[tuple[str, str]]:
    """Names and titles of the pages, in reading order."""
    return [(name, page_text(name).splitlines()[0].lstrip("# ")) for name in ORDER]


def fitting_pages(topic: str) -> list[str]:
    """Names of the pages a topic may mean: a page's name, a command's, or the beginning of either."""
    wanted = topic.strip().lower().replace(" ", "-").replace("_", "-")
    if wanted in ORDER:
        return [wanted]
    if wanted in ABOUT:
        return [ABOUT[wanted]]
    hits = [name for name in ORDER if name.startswith(wanted)]
    hits = hits or [page for command, page in ABOUT.items() if command.startswith(wanted)]
    return list(dict.fromkeys(hits))


def _page(name: str) -> Traversable:
    return files("soakwitness.cli.guide") / f"{name}.md"
