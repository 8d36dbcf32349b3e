"""``place``: measured, entered, listed, ended; and seen by verify and program."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column
from tests.calibration_runs import CONTROL, make_run, true_c

LOAD = Column("load", "sensor", "C", role="load", resolution=0.1, expanded_uncertainty=2.0)
RECIPE = """name = "blades"
load = "cold"
[[step]]
ramp = "full power"
to = 1050
[[step]]
soak_from = "control"
hold_minutes = 25
tolerance = 8
"""


def told(*arguments: str, book: Path, status: int = 0) -> str:
    done = CliRunner().invoke(soakwitness, [*arguments, "--logbook", str(book)])
    code = getattr(done.exception, "exit_code", done.exit_code) if done.exception else done.exit_code
    assert code == status, (done.output, done.exception)
    return done.output or str(done.exception)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A log book with a run whose control sensor reads 12 hot by its place, a load sensor at the work."""
    make_run(tmp_path, {CONTROL: lambda t: true_c(t) + 12.0, LOAD: true_c})
    (tmp_path / "blades.toml").write_text(RECIPE, encoding="utf-8")
    return tmp_path


def test_measured_in_a_run_it_acts_from_then_on(book: Path) -> None:
    says = told("place", "measure", "last", "--work", "load", "--at", "1050", book=book)
    assert "Place difference -12 °C ±" in says
    assert "Entered as place difference 1, done 2026-11-25, due 2027-11-25." in says
    (kept,) = json.loads(told("place", "list", "--json", book=book))
    assert kept["point"]["at_c"] == pytest.approx(1050.0, abs=0.1)
    assert kept["point"]["holds_error"] is True
    program = told("recipe", "program", str(book / "blades.toml"), "--furnace", "shed", book=book)
    assert "Go to 1062 °C" in program
    assert "when the work's place is at 1050 °C" in program


def test_entered_in_degrees_f_it_is_a_difference(book: Path) -> None:
    arguments = ["control", "--furnace", "shed", "--at", "1904", "--difference=-21.6", "--uncertainty", "5.4"]
    says = told("place", "enter", *arguments, "--unit", "F", "--why", "paint", "--date", "2026-11-01", book=book)
    assert "the work at 1904 °F has -21.6 °F ± 5.4 °F" in says
    (kept,) = json.loads(told("place", "list", "--json", book=book))
    assert (kept["point"]["at_c"], kept["point"]["difference_c"]) == (pytest.approx(1040.0), pytest.approx(-12.0))
    told("place", "end", "1", "--why", "shelf raised", book=book)
    assert "ended" in told("place", "list", book=book)


def test_refusals_say_what_to_do(book: Path) -> None:
    assert "the work's place differs" in told(
        *("place", "enter", "control", "--furnace", "shed", "--at", "1040", "--difference", "3"),
        *("--uncertainty", "2", "--why", " "),
        book=book,
        status=2,
    )
    assert "give a RUN" in told("place", "measure", "--work", "load", book=book, status=2)
    assert "no survey 4" in told("place", "measure", "--survey", "4", "--work", "load", book=book, status=2)
    assert "Name the one at the work" in told("place", "measure", "last", "--work", "control", book=book, status=2)
