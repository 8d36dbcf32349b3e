"""What holds for every test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.log_books import OPENED


@pytest.fixture(autouse=True)
def log_books_are_closed() -> Iterator[None]:
    """Close the log books that a test opened with ``new_book``."""
    yield
    while OPENED:
        OPENED.pop().close()
