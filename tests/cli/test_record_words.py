"""What a sheet says of the seal: no more than a seal shows."""

from __future__ import annotations

import pytest

from soakwitness.analysis.verification.results.verification import RecordState
from soakwitness.cli.words.record_words import seal_words


@pytest.mark.parametrize(
    ("sealed", "intact", "seen", "changed", "says"),
    [
        (True, True, True, False, "unchanged since it was sealed, as far as this log book knows"),
        (
            True,
            True,
            False,
            False,
            "unchanged since it was sealed, as far as its own seal shows, which no log book has seen",
        ),
        (True, False, True, False, "CHANGED since it was sealed"),
        (False, True, False, False, "not sealed"),
        (True, False, True, True, "CHANGED by another program while it was being recorded"),
        (False, False, False, True, "CHANGED by another program while it was being recorded"),
    ],
)
def test_words(sealed: bool, intact: bool, seen: bool, changed: bool, says: str) -> None:
    record = RecordState(rows=1, bad_rows=0, gaps_s=0.0, sealed=sealed, intact=intact, seen=seen, changed=changed)
    assert seal_words(record) == says
