"""The accessibility rules of axe-core on a page of the book, where they are installed (npm install in tests/axe)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

SOURCE = Path(__file__).resolve().parents[1] / "axe" / "node_modules" / "axe-core" / "axe.min.js"
RUN = "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"


def needs_axe() -> None:
    """Skip the test where the rules are not installed."""
    if not SOURCE.is_file():
        pytest.skip("no axe-core: node and then npm install in tests/axe")


def broken_rules(tab: Any) -> list[str]:
    """What a page breaks, with the place of each; nothing where the rules are not installed."""
    if not SOURCE.is_file():
        return []
    tab.evaluate(SOURCE.read_text(encoding="utf-8") + "; 0")
    found = tab.evaluate(RUN)["violations"]
    return [f"{one['id']}: {node['target']} {node['failureSummary']}" for one in found for node in one["nodes"]]
