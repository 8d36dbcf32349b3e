"""What holds for every test."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from tests.log_books import OPENED


@pytest.fixture(autouse=True, scope="session")
def nobody_s_log_book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep away from the log book, the working folder and the units of the person who runs the tests.

    For the whole session, before any other fixture: what is started as a process of its own inherits it.
    """
    with pytest.MonkeyPatch.context() as patch:
        for name in [name for name in os.environ if name.startswith("SOAKWITNESS")]:
            patch.delenv(name)
        for name in ("COLUMNS", "LINES"):
            os.environ[name] = ""  # the readline library sets them behind Python's back, for child processes only
            del os.environ[name]
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        patch.chdir(tmp_path_factory.mktemp("working-folder"))
        yield


@pytest.fixture(autouse=True)
def log_books_are_closed() -> Iterator[None]:
    """Close the log books that a test opened with ``new_book``."""
    yield
    while OPENED:
        OPENED.pop().close()
