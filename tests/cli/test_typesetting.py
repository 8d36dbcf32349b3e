"""Where lines of the PDF break: by the width of the words in the embedded font."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.cli.sheets.blocks import SheetTable
from soakwitness.cli.sheets.pdf import Setting, column_widths
from soakwitness.cli.sheets.typesetting import width_in, wrapped

WORDS = st.lists(st.text("abcdefghijWM0123456789°", min_size=1, max_size=30), min_size=1, max_size=30)


def test_widths_are_those_of_the_type() -> None:
    """A figure of the common sans serifs is 0.5 to 0.65 of its height wide, all ten alike; bold is wider."""
    assert 0.5 <= width_in("0", 72.0) <= 0.65
    assert width_in("0" * 10, 72.0) == pytest.approx(10 * width_in("0", 72.0), rel=0.02)
    assert width_in("soak", 14.0) == pytest.approx(2.0 * width_in("soak", 7.0))
    assert width_in("hold", 10.0, bold=True) > width_in("hold", 10.0)


@given(words=WORDS, wide=st.floats(0.5, 6.0), first=st.floats(0.0, 0.4))
def test_no_line_is_too_wide_and_no_word_is_lost(words: list[str], wide: float, first: float) -> None:
    lines = wrapped(" ".join(words), wide, 7.4, first_in=first)
    assert "".join("".join(lines).split()) == "".join(words)
    assert all(width_in(line, 7.4) <= wide for line in lines)
    assert width_in(lines[0], 7.4) <= wide - first


@given(rows=st.lists(st.tuples(*[st.text("abc 12", max_size=200)] * 5), min_size=1, max_size=6))
def test_columns_share_the_width_and_no_more(rows: list[tuple[str, ...]]) -> None:
    widths = column_widths(SheetTable("", ("step", "asked", "had", "limits", "verdict"), tuple(rows)), Setting(7.4))
    assert sum(widths) <= 7.4 + 1e-6
    assert min(widths) > 0.1
