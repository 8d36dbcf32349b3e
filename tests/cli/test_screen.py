"""Sentences and tables in the width of a screen."""

from __future__ import annotations

import pytest

from soakwitness.cli.options.screen import fitted, screen_width, table, wrapped


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")


def test_no_screen_is_taken_as_narrower_than_60_or_wider_than_100(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    for columns in ("20", "72", "300"):
        monkeypatch.setenv("COLUMNS", columns)
        seen.append(screen_width())
    assert seen == [60, 72, 100]


def test_a_number_keeps_its_unit() -> None:
    # "to 1040" would end at the tenth column, its unit would begin the next line
    assert wrapped("held to 1040 °C for 15 min.", 12) == ["held to", "1040 °C for", "15 min."]


def test_what_goes_on_stands_under_its_own_text() -> None:
    first, second = fitted(f"- {'word ' * 20}".rstrip())
    assert first.startswith("- word")
    assert second.startswith("  word")
    assert fitted("short\n  and indented") == ["short", "  and indented"]


def test_a_table_breaks_its_words_and_never_its_figures() -> None:
    rows = [["where", "°C", "what was seen there"], ["left", "1053.9", "the blade came out straight and clean, twice"]]
    rows.append(["right front bottom", "1045.2", "-"])
    lines = table(rows, indent="  ").split("\n")
    assert max(len(line) for line in lines) <= 60
    assert [line.split()[1] for line in lines if line.startswith("  left")] == ["1053.9"]
    assert lines[0].index("°C") == lines[1].index("1053.9")


def test_a_table_that_cannot_be_narrow_enough_becomes_sentences() -> None:
    heads = [f"head {n}" for n in range(9)]
    rows = [heads, ["blade", *(f"{1000 + n}.5 °C" for n in range(7)), "-"]]
    text = table(rows)
    assert text.startswith("blade, head 1 1000.5 °C,")
    assert max(len(line) for line in text.split("\n")) <= 60
    assert "head 8" not in text


def test_no_rows_are_no_table() -> None:
    assert table([]) == ""
