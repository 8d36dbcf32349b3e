"""Published steels as shipped, and a user's own file with its mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.metallurgy.disagreements import disagreements
from soakwitness.analysis.metallurgy.published_treatments import (
    COLUMNS,
    MORE_COLUMNS,
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
    """As read in the sources that stand beside them; the stockist's and the producer's sheets for 440C disagree."""
    assert figures("S44004", "harden") == [(1010, 1065, None, None)]
    assert figures("440C", "as quenched") == [(None, None, 59, None)]
    assert [(row[0], row[2]) for row in figures("1.4125", "temper")] == [
        (149, 60),
        (204, 59),
        (260, 57),
        (316, 56),
        (371, 56),
        (427, 56),
        (204, 56),
        (315, 57),
    ]
    assert figures("A2", "harden") == [(954, 982, None, None), (930, 970, None, None)]
    assert figures("D2", "harden") == [(1010, 1024, None, None), (1020, 1050, None, None), (1040, 1080, None, None)]
    assert figures("1.2379", "preheat") == [(815, 815, None, None)]
    assert figures("O1", "as quenched") == [(None, None, 65, 65)]
    assert figures("AISI 52100", "as quenched") == [(None, None, 64, 66)]
    assert figures("1.2842", "temper")[1] == (200, 200, 61, 62)
    assert figures("55NiCrMoV7", "harden") == [(840, 860, None, None)]  # EN ISO 4957: 850 ±10
    assert figures("1.4028", "Ms") == [(280, 280, None, None)]


def test_every_figure_says_of_which_grade_its_source_is() -> None:
    grades = {figure.grade for steel in published_steels() for figure in steel.figures}
    assert grades == {"standard", "standard, re-keyed", "handbook", "sheet", "trade", "dealers agree"}


def test_what_sources_disagree_about_is_said() -> None:
    def told(name: str) -> str:
        steel = find_steel(name, published_steels())
        assert steel is not None
        return " ".join(disagreements(steel))

    assert "tempered at 204 °C 56 HRC (producer's sheet) or 59 HRC (stockist's sheet" in told("440C")
    assert "cold treatment: before the first temper" in told("440C")
    assert "hardening temperature: 1010 °C to 1024 °C" in told("D2")
    assert told("1.2714") == ""


def test_words_are_figures_of_some_kinds_and_soaks_have_minutes() -> None:
    whole = ",".join((*COLUMNS, *MORE_COLUMNS)) + "\n"
    (quench,) = parse_figures(HEADER + "x,,quench,,,,,oil or air,me", "own")
    assert figure_sentence(quench) == "quench: oil or air (me)."
    (soak,) = parse_figures(whole + "x,,soak,,,,,,me,20,45,trade", "own")
    assert figure_sentence(soak) == "soak: 20 to 45 min (me; trade)."
    with pytest.raises(SteelsError, match="quench without a note says nothing"):
        parse_figures(HEADER + "x,,quench,,,,,,me", "own")
    with pytest.raises(SteelsError, match="give a temperature"):
        parse_figures(HEADER + "x,,soak,,,,,long,me", "own")


def test_every_figure_has_a_source() -> None:
    assert all(figure.source for steel in published_steels() for figure in steel.figures)


def test_sentences() -> None:
    steel = find_steel("S44004", published_steels())
    assert steel is not None
    assert figure_sentence(steel.figures[0]) == "harden: 1010 °C to 1065 °C (AS 2837; standard)."
    assert figure_sentence(steel.figures[0], "F") == "harden: 1850 °F to 1949 °F (AS 2837; standard)."
    assert (
        figure_sentence(steel.figures[1]) == "as quenched: at least 59 HRC, small oil-quenched bar (AS 2837; standard)."
    )
    (first, *_) = steel.of("temper")
    assert figure_sentence(first).startswith("temper: 149 °C, 60 HRC, 25 mm round")


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
        ("x,,boil,200,200,,,,me", "line 2: steel 'x', what 'boil': what is one of composition"),
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
