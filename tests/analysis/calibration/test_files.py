"""Certificates and tables of readings that people write: right ones, and every mistake named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.calibration.measured_pairs.paired_readings import ReadingsError, load_readings, parse_readings
from soakwitness.analysis.calibration.measured_pairs.reference import (
    CertificateError,
    load_certificate,
    of_class,
    parse_certificate,
    stated,
)

CERTIFICATE = """
sensor = "reference N 1.5 mm"
thermocouple = "N"
date = 2026-03-02
drift = 0.5
[[point]]
temp = 600
correction = -0.8
U = 1.1
k = 2
[[point]]
temp = 1000
correction = -1.6
U = 1.5
"""


def test_a_certificate_is_interpolated_and_ends_at_its_points() -> None:
    reference = parse_certificate(CERTIFICATE, "n.toml")
    # by hand, halfway
    assert reference.correction_c(800.0) == pytest.approx(-1.2)
    rows = reference.rows(800.0)
    assert rows[0].contribution_c == pytest.approx(0.65)
    assert rows[1].contribution_c == pytest.approx(0.5 / 3**0.5)
    assert all(row.common for row in rows)
    assert reference.covers(590.0)
    assert not reference.covers(589.0)
    assert not reference.covers(1011.0)
    assert reference.thermocouple == "N"
    assert "reference N 1.5 mm" in str(reference.says)
    assert "2026-03-02" in str(reference.says)


def test_a_certificate_in_fahrenheit() -> None:
    # 1832 degF is 1000 degC; a difference of 1.8 degF is 1 K
    reference = parse_certificate(
        'date = "2026-03-02"\nunit = "F"\n[[point]]\ntemp = 1832\ncorrection = -1.8\nU = 3.6\nk = 2\n', "f.toml"
    )
    point = reference.points[0]
    assert (point.temp_c, point.correction_c, point.expanded_c) == pytest.approx((1000.0, -1.0, 2.0))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("U = 1.1", ""), r"n.toml, line 6, \[\[point\]\] 1, U: is needed"),
        (("U = 1.1", "U = 0"), r"n.toml, line 9, \[\[point\]\] 1, U = 0: must be above 0"),
        (("k = 2", "k = 0.5"), r"n.toml, line 10, \[\[point\]\] 1, k = 0.5: must be from 1 to 5"),
        (("temp = 1000", 'temp = "hot"'), r'n.toml, line 12, \[\[point\]\] 2, temp = "hot": must be a number'),
        (("temp = 1000", "temp = 600"), "two points stand at 600 °C"),
        (("correction = -1.6", "corection = -1.6"), "unknown key. Did you mean correction"),
        (("date = 2026-03-02", ""), "n.toml, date: the certificate's date is needed"),
        (("date = 2026-03-02", 'date = "spring"'), 'date = "spring": must be a day'),
        (('"N"', '"X"'), 'thermocouple = "X": must be one of'),
        (("drift = 0.5", "temp = 3"), r"temp = 3: this key belongs in a \[\[point\]\]"),
        (("[[point]]", "[point]"), "n.toml, line 11, column 8: .*Cannot"),
        (("drift = 0.5", "drift ="), "n.toml, line 5, column 8: .*Invalid value"),
    ],
)
def test_mistakes_in_a_certificate(change: tuple[str, str], says: str) -> None:
    with pytest.raises(CertificateError, match=says):
        parse_certificate(CERTIFICATE.replace(*change, 1), "n.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(CertificateError, match="no such file"):
        load_certificate(tmp_path / "none.toml")
    (tmp_path / "latin.csv").write_bytes(b"reference,sensor\n1,2\xe9\n")
    with pytest.raises(ReadingsError, match="cannot be read"):
        load_readings(tmp_path / "latin.csv")


def test_a_reference_without_certificate() -> None:
    # IEC class 1 of type N at 900 degC: 0.004 x 900 = 3.6 as a half-width; the class ends at 1000
    reference = of_class("N", "1")
    assert reference.rows(900.0)[0].contribution_c == pytest.approx(3.6 / 3**0.5)
    assert reference.correction_c(900.0) == 0.0
    assert not reference.covers(1001.0)
    assert stated(1.8, "given").rows(500.0)[0].contribution_c == pytest.approx(0.9)


def test_readings_with_decimal_commas() -> None:
    found = parse_readings(
        "\ufeffreference;sensor;head\n1049,5;1052;41\n# left out\n\n780;781,5;-\n".lstrip("\ufeff"), "r.csv"
    )
    assert [(r.reference_c, r.sensor_c, r.head_c) for r in found] == [(1049.5, 1052.0, 41.0), (780.0, 781.5, None)]


def test_readings_in_fahrenheit() -> None:
    found = parse_readings("Reference, Sensor\n212,32\n", "r.csv", unit="F")
    assert (found[0].reference_c, found[0].sensor_c) == pytest.approx((100.0, 0.0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "r.csv: empty"),
        ("reference,sensor\n", "no reading below the header"),
        ("reference,shown\n1,2\n", "line 1: column 'shown' is not known"),
        ("sensor\n1\n", "column 'reference' is missing"),
        ("reference,sensor,sensor\n1,2,3\n", "'sensor' stands twice"),
        ("reference,sensor\n1000,hot\n", "line 2, sensor 'hot': must be a temperature"),
        ("reference,sensor\n1000\n", "line 2: sensor is empty"),
        ("reference,sensor\n1000,1001,3\n", "line 2: 3 cells, the header has 2"),
        ("reference,sensor\n\n1000,9999\n", "line 3, sensor '9999': outside"),
        ("reference,sensor\n1000,nan\n", "line 2, sensor 'nan'"),
    ],
)
def test_mistakes_in_readings(text: str, says: str) -> None:
    with pytest.raises(ReadingsError, match=says):
        parse_readings(text, "r.csv")


def test_a_quote_left_open_stays_on_its_line() -> None:
    found = parse_readings('reference,sensor,note\n1000,1001,"open\n900,901,\n', "r.csv")
    assert [r.sensor_c for r in found] == [1001.0, 901.0]


def test_a_sensor_that_shows_fahrenheit_may_be_above_every_thermocouple() -> None:
    # 1100 degC shown as 2012 degF: what the diagnosis is to find must be accepted
    assert parse_readings("reference,sensor\n1100,2012\n", "r.csv")[0].sensor_c == 2012.0
    with pytest.raises(ReadingsError, match="-270 °C to 2000 °C"):
        parse_readings("reference,sensor\n2012,1100\n", "r.csv")
