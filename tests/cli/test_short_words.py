"""What ``verify`` prints first: at most twelve lines, in the terminal's width, on runs of a foreign hand too."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.verification.results.verification import Bounds, PieceResult
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.words import short_words
from soakwitness.cli.words.short_words import MOST_LINES, short_lines, verdict_lines
from tests.named_cases import named_cases


def lines_of(name: str, monkeypatch: pytest.MonkeyPatch, *, columns: int = 80, colour: bool = False) -> list[str]:
    monkeypatch.setenv("COLUMNS", str(columns))
    if colour:
        monkeypatch.delenv("NO_COLOR", raising=False)
    else:
        monkeypatch.setenv("NO_COLOR", "1")
    case = named_cases()[name]
    return short_lines(case.recipe, verify(case.run, case.recipe), unit="C")


@pytest.mark.parametrize("columns", [60, 80, 100])
@pytest.mark.parametrize("name", ["cut_that_ended_it", "load_never_there_600", "wrong_story", "ripple_in_the_climb_6"])
def test_it_fits_the_terminal(name: str, columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = lines_of(name, monkeypatch, columns=columns)
    assert len(lines) <= MOST_LINES
    assert max(len(line) for line in lines) <= columns


def test_a_narrower_terminal_is_written_as_if_it_had_60(monkeypatch: pytest.MonkeyPatch) -> None:
    assert lines_of("wrong_story", monkeypatch, columns=20) == lines_of("wrong_story", monkeypatch, columns=60)


def test_the_verdict_is_emphasised_unless_the_reader_wants_no_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    bold, plain = lines_of("wrong_story", monkeypatch, colour=True), lines_of("wrong_story", monkeypatch)
    assert bold[0].startswith("\x1b[31m\x1b[1mToo hot:\x1b[0m")
    assert bold[1:] == plain[1:]
    assert plain[0].startswith("Too hot: ")


def test_passing_pieces_go_first_then_passing_holds_and_failing_ones_never(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("NO_COLOR", "1")
    case = named_cases()["ripple_in_the_climb_6"]
    found = verify(case.run, case.recipe)
    hold = found.holds[-1]
    soak = Bounds(1400.0, 1410.0, 1420.0)
    pieces = tuple(
        PieceResult(f"B-{n}", None, soak, verdict, verdict, verdict)
        for n, verdict in enumerate(["pass"] * 9 + ["fail"] * 2, 1)
    )
    several = replace(found, steps=tuple(replace(s, pieces=pieces) if s is hold else s for s in found.steps))
    lines = short_lines(case.recipe, several, unit="C")
    assert len(lines) == MOST_LINES
    assert [line for line in lines if "B-" in line and "Fail" in line] != []
    assert {"B-10", "B-11"} <= {line[2:6] for line in lines}
    assert any(line.startswith("Step 2, ") for line in lines)
    with pytest.MonkeyPatch.context() as small:
        small.setattr(short_words, "MOST_LINES", 7)
        few = short_lines(case.recipe, several, unit="C")
    assert len(few) == 7
    assert not any("B-1:" in line or line.startswith("Step 2, ") for line in few)
    assert {"B-10", "B-11"} <= {line[2:6] for line in few}


def test_runs_of_a_foreign_hand_fit_too(monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.campaigns.foreign_runs import as_run, foreign_run

    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    for seed in range(30):
        case = foreign_run(seed)
        recipe = parse_recipe(case.recipe_toml, "foreign")
        found = verify(as_run(case), recipe)
        lines = short_lines(recipe, found, unit="C")
        assert len(lines) <= MOST_LINES, seed
        assert max(len(line) for line in lines) <= 80, seed
        assert len(verdict_lines(found, unit="C")) <= 3, seed  # verdict, reason and next act
        first = " ".join(lines[:4])
        assert first.startswith(("Pass", "Too ", "Not ", "Fail", "Late", "Tempered")), (seed, first)
