"""A headless Chromium for tests, or the reason why there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]


@contextmanager
def chromium() -> Iterator[Any]:
    """Start Chromium; skip the test where browser or driver are absent."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser driver is not installed")
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no Chromium on this machine")
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=QUIET)
        yield browser
        browser.close()


class Watched:
    """A tab, with what went wrong in it and what it asked for."""

    def __init__(self, browser: Any, width: int, height: int, scheme: str = "light") -> None:
        self.tab = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
        self.problems: list[str] = []
        self.asked: list[str] = []
        self.tab.on("console", lambda m: self.problems.append(m.text) if m.type == "error" else None)
        self.tab.on("pageerror", lambda error: self.problems.append(str(error)))
        self.tab.on("request", lambda request: self.asked.append(request.url))

    def fits(self, width: int) -> bool:
        """Whether nothing reaches over the side."""
        return bool(self.tab.evaluate("document.documentElement.scrollWidth") <= width)
