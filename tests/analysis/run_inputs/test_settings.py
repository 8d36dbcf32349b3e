"""To what a controller is set: the reading at which the calibration puts the target."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.analysis.recipes.program import program_sentences, program_setpoints
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.run_inputs.controller_settings import settings_for
from soakwitness.analysis.run_inputs.provable_bands import unprovable_bands
from tests.analysis.run_inputs.test_inputs import book_with, calibrated
from tests.log_books import STAMP

AT = "2026-11-26T10:00:00Z"
RECIPE = parse_recipe(
    """name = "p"
[[step]]
ramp = 900
to = 1060
[[step]]
hold_minutes = 10
tolerance = 6
[[step]]
ramp = "full power"
to = 180
[[step]]
hold_minutes = 60
tolerance = 5
"""
)
# At a reading r above 1000 degC it adds -6 - 0.005 (r - 1000).
SLOPING = {"reading_c": [700.0, 1000.0, 1100.0], "correction_c": [-6.0, -6.0, -6.5], "expanded_c": [2.2, 2.2, 2.2]}


def test_the_controller_is_set_to_what_the_sensor_shows_at_the_target(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    calibrated(book, life, done_on="2026-05-01", due_on="2027-05-01", table=SLOPING)
    found = settings_for(book, "shed", RECIPE, at_utc=AT, zone="Europe/Vienna")
    # r - 6 - 0.005 (r - 1000) = 1060, so 0.995 r = 1061: r = 1066.33.
    assert found.set_to_c == {2: pytest.approx(1061 / 0.995)}
    assert [says.text("C") for says in found.says] == [
        "Sensor chamber shows 1066.3 °C when it is truly 1060 °C ± 2.6 °C (calibration of 2026-05-01, "
        "±1.1 °C assumed for drift in 209 d and 0 h above 950 °C).",
        "Sensor chamber: nothing is known of it at 180 °C: the calibration of 2026-05-01 goes from 700 °C to 1100 °C, "
        "so 180 °C stays as it is written.",
    ]
    ramp, hold, _, temper = program_setpoints(RECIPE, found.set_to_c)
    assert ramp.setpoint_c == hold.setpoint_c == found.set_to_c[2]
    assert temper.setpoint_c == 180.0
    assert program_sentences(RECIPE, "C", found.set_to_c)[1] == "Stay at 1066.3 °C for 10 min."


def test_an_overdue_calibration_sets_nothing(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    calibrated(book, life, done_on="2026-05-01", due_on="2026-10-01")
    found = settings_for(book, "shed", RECIPE, at_utc=AT, zone="Europe/Vienna")
    assert found.set_to_c == {}
    assert "overdue since 2026-10-01" in found.says[0].text("C")


def test_a_furnace_without_a_run_is_refused(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path)
    with pytest.raises(LogBookError, match="barn: the log book has no run"):
        settings_for(book, "barn", RECIPE, at_utc=AT, zone=None)


@pytest.mark.parametrize(("tolerance", "finer"), [(2.4, True), (2.9, False)])
def test_a_band_finer_than_the_calibration_can_prove_is_said(tmp_path: Path, tolerance: float, finer: bool) -> None:
    """The sensor is known to ± 2.6 K there, as the test above has it: half a band of 2.4 is less, one of 2.9 more."""
    book, _ = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    calibrated(book, life, done_on="2026-05-01", due_on="2027-05-01", table=SLOPING)
    fine = parse_recipe(RECIPE.text.replace("tolerance = 6", f"tolerance = {tolerance}"))
    says = [each.text("C") for each in unprovable_bands(fine, settings_for(book, "shed", fine, at_utc=AT, zone=None))]
    reached = "Step 4: no calibration in force of chamber reaches 180 °C, so the verdict is one as read."
    assert says[-1] == reached
    assert [each.startswith("Step 2 has a band from 1057.6 °C to 1062.4 °C, finer than chamber") for each in says] == (
        [True, False] if finer else [False]
    )
