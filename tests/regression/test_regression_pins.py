"""The pins: own output, kept so that every difference of a change shows. They say nothing of what is right."""

from __future__ import annotations

import difflib

import pytest

from tests.regression.pins import NAMES, kept, taken


@pytest.mark.parametrize("name", NAMES)
def test_nothing_changed_unseen(name: str) -> None:
    changed = [line for line in difflib.unified_diff(kept(name), taken(name), "taken", "now", n=0, lineterm="")]
    shown = "\n".join(changed[:60])
    assert not changed, (
        f"{len(changed)} lines of {name} differ; python -m tests.regression.pins takes them anew\n{shown}"
    )
