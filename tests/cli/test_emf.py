"""``soakwitness emf`` as a person meets it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import run_main


def ask(*words: str) -> Result:
    return CliRunner().invoke(soakwitness, ["emf", *words])


def test_both_ways_with_a_reference_junction() -> None:
    # README of thermocouple-its90: 4.096 mV at 25 degC is 124.3 degC; CHECKS section 1: K 1050 is 43.211248 mV
    answer = json.loads(ask("4.096mV", "--type", "K", "--reference", "25", "--json").stdout)
    assert answer["reference_c"] == 25.0
    assert answer["rows"][0]["temp_c"] == pytest.approx(124.3, abs=0.05)
    row = json.loads(ask("1050", "--type", "k", "--json").stdout)["rows"][0]
    assert row["emf_mv"] == pytest.approx(43.211248, abs=6e-7)
    assert row["seebeck_uv_per_c"] == pytest.approx(38.4386, abs=6e-5)


def test_a_negative_temperature_is_no_option() -> None:
    # CHECKS section 1
    assert "-3.5536" in ask("-100", "--type", "K").stdout


def test_table_in_fahrenheit() -> None:
    # 32, 212 degF are 0, 100 degC; NIST SRD 60 prints 0.000 and 4.096 mV for type K
    lines = ask("--table", "32:212:180", "--type", "K", "--unit", "F").stdout.splitlines()
    assert lines[2].split()[:2] == ["32.00", "0.0000"]
    assert lines[3].split()[0] == "212.00"
    assert float(lines[3].split()[1]) == pytest.approx(4.096, abs=0.0005)


def test_a_tolerance_in_fahrenheit_is_a_difference() -> None:
    # CHECKS section 1: K standard at 1050 degC is 7.875 K, as a difference in degF x1.8
    answer = ask("1050C", "--type", "K", "--tolerance-class", "standard", "--unit", "F")
    assert answer.stdout.splitlines()[2].split()[-1] == "14.18"
    assert "public copies" in answer.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["0.2mV", "--type", "B"], "0.2 mV is outside type B, 0.291 to 13.8203"),
        (["1400", "--type", "K"], "1400 °C is outside type K, -270 °C to 1372 °C"),
        (["2552", "--type", "K", "--unit", "F"], "2552 °F is outside type K, -454 °F to 2501.6 °F"),  # x 1.8 + 32
        (["hot", "--type", "K"], "'hot' is no value"),
        (["--refrence", "3", "--type", "K"], "'--refrence' is no value"),
        (["--type", "K"], "nothing to convert"),
        (["--type", "K", "--table", "0:100:0"], "--table 0:100:0"),
        (["--type", "K", "--table", "0:1e9:1"], "at most 10000 rows"),
        (["3", "--type", "Q"], "'Q' is not one of"),
    ],
)
def test_wrong_use_is_one_line_and_status_2(
    words: list[str], says: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["soakwitness", "emf", *words])
    assert run_main(soakwitness) == 2
    assert says in capsys.readouterr().err
