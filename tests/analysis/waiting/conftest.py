"""A workshop for each test; its recorders are let go afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.waiting_days import Workshop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    made = Workshop(tmp_path / "book")
    yield made
    made.close()
