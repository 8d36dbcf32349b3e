"""Published steels as shipped, and a user's own file with its mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.metallurgy.published_treatments import (
    COLUMNS,
    SteelFigure,
    SteelsError,
    append_figure,
    figure_line,
    figure_sentence,
    find_steel,
    known_steels,
    parse_figures,
    published_steels,
)

HEADER = ",".join(COLUMNS) + "\n"


def figures(name: str, what: str) -> list[tuple[float | None, float | None, float | None, float | None]]:
    steel = find_steel(name, published_steels())
    assert steel is not None
    return [(f.low_c, f.high_c, f.hrc_low, f.hrc_high) for f in steel.figures if f.what == what]


def test_the_figures_that_could_be_confirmed() -> None:
    """The list of the project's plan: AS 2837 for S44004, public texts without a title on record for the others."""
    assert figures("S44004", "harden") == [(1010, 1065, None, None)]
    assert figures("440C", "as quenched") == [(None, None, 59, None)]
    assert [(row[0], row[2]) for row in figures("1.4125", "temper")] == [(149, 60), (204, 59), (260, 57), (316, 56)]
    assert figures("A2", "harden") == [(954, 982, None, None)]
    assert [(row[0], row[2]) for row in figures("a2", "temper")] == [(177, 62), (205, 61)]
    assert figures("D2", "harden") == [(1010, 1010, None, None)]
    assert figures("D2", "preheat") == [(815, 815, None, None)]
    assert figures("O1", "as quenched") == [(None, None, 65, 65)]
    assert figures("AISI 52100", "as quenched") == [(None, None, 64, 67)]
    assert figures("1.2842", "temper") == [(200, 200, 61, 62)]


def test_every_figure_has_a_source() -> None:
    assert all(figure.source for steel in published_steels() for figure in steel.figures)


def test_sentences() -> None:
    steel = find_steel("S44004", published_steels())
    assert steel is not None
    assert figure_sentence(steel.figures[0]) == "harden: 1010 °C to 1065 °C (AS 2837)."
    assert figure_sentence(steel.figures[0], "F") == "harden: 1850 °F to 1949 °F (AS 2837)."
    assert figure_sentence(steel.figures[1]) == "as quenched: at least 59 HRC, small oil-quenched bar (AS 2837)."
    assert figure_sentence(steel.figures[2]).startswith("temper: 149 °C, 60 HRC (")


def test_own_figures_join_the_published_ones(tmp_path: Path) -> None:
    path = tmp_path / "book" / "steels.csv"
    assert known_steels(path) == published_steels()
    append_figure(path, SteelFigure("shop-7", "temper", 200, 210, 60, 61, 'thin, "edge"', "certificate", ("lot 3",)))
    append_figure(path, SteelFigure("S44004", "stress relief", 650, 650, source="own note"))
    steels = known_steels(path)
    own = find_steel("lot 3", steels)
    assert own is not None
    assert own.figures[0].note == 'thin, "edge"'
    assert own.figures[0].also == ("lot 3",)
    steel = find_steel("S44004", steels)
    assert steel is not None
    assert [f.low_c for f in steel.figures if f.what == "stress relief"] == [650]
    assert find_steel("nothing", steels) is None


def test_a_file_without_a_last_line_end_is_continued(tmp_path: Path) -> None:
    path = tmp_path / "steels.csv"
    path.write_text(HEADER + "x,,temper,200,200,,,,me")
    append_figure(path, SteelFigure("y", "temper", 210, 210, source="me"))
    assert [steel.name for steel in known_steels(path)][-2:] == ["x", "y"]


def test_a_line_comes_back() -> None:
    figure = SteelFigure("x", "harden", 1010.5, 1020, None, None, "a, b", "text", ("p", "q"))
    assert parse_figures(HEADER + figure_line(figure), "own") == [figure]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("x,,boil,200,200,,,,me", "line 2: steel 'x', what 'boil': what is one of preheat"),
        (",,temper,200,200,,,,me", "line 2: steel ''"),
        ("x,,temper,200,200,,,,", "line 2: the figure has no source"),
        ("x,,temper,,,,,,me", "line 2: give a temperature, a hardness, or both"),
        ("x,,temper,warm,200,,,,me", "line 2, low_c = 'warm': must be a number or empty"),
        ("x,,temper,nan,200,,,,me", "line 2, low_c = 'nan': must be a number or empty"),
        ("x,,temper,210,200,,,,me", "line 2: temperature 210 °C to 200 °C: must rise, from -200 °C to 1400 °C"),
        ("x,,temper,2000,2000,,,,me", "from -200 °C to 1400 °C"),
        ("x,,temper,200,200,99,99,,me", "line 2: hardness 99 to 99 HRC: must rise, from 10 to 72"),
        ("x,,temper,200", "line 2: the line must have 9 cells"),
        ("x,,temper,200,200,,,a,b,me", "line 2: the line must have 9 cells"),
    ],
)
def test_lines_that_cannot_be_used(tmp_path: Path, line: str, says: str) -> None:
    path = tmp_path / "steels.csv"
    path.write_text(HEADER + line + "\n")
    with pytest.raises(SteelsError) as caught:
        known_steels(path)
    assert says in str(caught.value)
    assert str(path) in str(caught.value)
    assert caught.value.exit_code == 2


def test_another_header_and_a_figure_without_source(tmp_path: Path) -> None:
    with pytest.raises(SteelsError, match="line 1: the header must be steel,also,what"):
        parse_figures("a,b\n1,2\n", "own")
    with pytest.raises(SteelsError, match="has no source"):
        append_figure(tmp_path / "s.csv", SteelFigure("x", "temper", 200, 200))
    assert not (tmp_path / "s.csv").exists()
