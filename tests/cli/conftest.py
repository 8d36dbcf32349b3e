"""What tests of pages share: a browser, and a shop of an evening, served."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cli.books import ServedBook, served
from tests.cli.browsers import chromium
from tests.entry_shop import evening_shop


@pytest.fixture
def browser() -> Iterator[Any]:
    """A headless Chromium; where there is none, the test is skipped."""
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three blades hardened too short; only read from: ``logbook`` is a copy."""
    return evening_shop(tmp_path_factory.mktemp("shop") / "book")


@pytest.fixture
def logbook(shop: Path, tmp_path: Path) -> Path:
    """A shop of its own for each test."""
    return Path(shutil.copytree(shop, tmp_path / "book"))


@pytest.fixture
def book(logbook: Path) -> Iterator[ServedBook]:
    """That shop's book, served."""
    with served(logbook) as book:
        yield book
