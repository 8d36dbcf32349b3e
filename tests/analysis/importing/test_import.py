"""Foreign logs of every shape become run folders that hold what the file says, or a clear refusal."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing import rows
from soakwitness.analysis.importing.making import Imported, import_file
from soakwitness.analysis.importing.settings import (
    ImportSettings,
    checked_settings,
    load_layout,
    save_layout,
    sensor_choices,
    signal_choices,
)
from soakwitness.analysis.record.run import Run, open_run
from tests.odd_tables import workbook
from tests.reference_data import measured_file, measured_run

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
Importer = Callable[..., Imported]


def settings_for(
    *, time: str = "Time", sensors: tuple[str, ...] = ("recording=Temp",), signals: tuple[str, ...] = (), **more: Any
) -> ImportSettings:
    return ImportSettings(time=time, columns=(*sensor_choices(sensors), *signal_choices(signals)), **more)


@pytest.fixture
def bring(tmp_path: Path) -> Importer:
    def bring_in(content: str | bytes, *, name: str = "log.csv", **more: Any) -> Imported:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        own = {key: more.pop(key) for key in ("started_utc", "marks") if key in more}
        return import_file(path, settings_for(**more), logbook=tmp_path / "book", imported_utc=NOW, **own)

    return bring_in


def readings(made: Imported, name: str = "recording") -> tuple[list[float], list[float]]:
    run: Run = open_run(made.path)
    assert run.check.intact
    assert run.check.sealed
    return run.t_s.tolist(), run.values[name].tolist()


# --- how the file is written


@pytest.mark.parametrize(
    "content",
    [
        "Time,Temp\n0,20.5\n1,21\n2.5,-3.25\n",
        "Time;Temp\r\n0;20,5\r\n1;21\r\n2,5;-3,25\r\n",
        "Time\tTemp\n0\t20.5\n1\t21\n2.5\t-3.25\n",
        "Time|Temp\n0|20.5\n1|21\n2.5|-3.25",
        '"Time","Temp"\n"0","20.5"\n"1","21"\n"2.5","-3.25"\n',
        '"Time","Temp"\n"0","20,5"\n"1","21,0"\n"2,5","-3,25"\n',
        "Time , Temp\n0 , 20.5\n1 , 21\n2.5 , -3.25\n",
        "\ufeffTime,Temp\n0,20.5\n1,21\n2.5,-3.25\n",
        "Logger 7, serial 12\nstarted by hand\n\nTime,Temp\n0,20.5\n1,21\n2.5,-3.25\n",
        "sep=;\nTime;Temp\n0;20.5\n1;21\n2.5;-3.25\n",
        "# Time and Temp of the left furnace\nTime,Temp\n0,20.5\n1,21\n2.5,-3.25\n",
        "Time,Temp\ns,degC\n0,20.5\n1,21\n2.5,-3.25\n",
        "Time,Temp,\n0,20.5,\n1,21,\n2.5,-3.25,\n",
        "Time,Temp\n0,20.5,\n1,21,\n2.5,-3.25,\n",
        "Time,Temp\n0,20.5,,,\n1,21,,,\n2.5,-3.25,,,\n",
        "No,Temp,Other,Time\n1,20.5,x,0\n2,21,y,1\n3,-3.25,z,2.5\n",
        "Time,Temp\n0,20.5\n\n1,21\n2.5,-3.25\nend of log\n",
        "Time,Temp\n0,2.05e1\n1,21\n2.5,-325e-2\n",
        "Time,Temp\r0,20.5\r1,21\r2.5,-3.25\r",
    ],
)
def test_layouts(bring: Importer, content: str) -> None:
    assert readings(bring(content)) == ([0.0, 1.0, 2.5], [20.5, 21.0, -3.25])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(bring: Importer, encoding: str) -> None:
    content = "Zeit;Temp °C\n0;20,5\n1;21,0\n2;21,5\n".encode(encoding)
    made = bring(content, time="Zeit", sensors=("recording=Temp °C",))
    assert readings(made) == ([0.0, 1.0, 2.0], [20.5, 21.0, 21.5])


def test_signs_between_thousands(bring: Importer) -> None:
    assert readings(bring('Time,Temp\n0,"950"\n1,"1,050"\n'))[1] == [950.0, 1050.0]
    assert readings(bring("Time;Temp\n0;950,5\n1;1.050,5\n"))[1] == [950.5, 1050.5]


def test_columns_by_position_and_a_file_without_names(bring: Importer) -> None:
    made = bring("0,20.5,1\n1,21.5,1\n", time="#1", sensors=("recording=#2",))
    assert readings(made) == ([0.0, 1.0], [20.5, 21.5])
    made = bring("Time,T,T\n0,20.5,30.5\n1,21.5,31.5\n", sensors=("recording=#3",))
    assert readings(made)[1] == [30.5, 31.5]


def test_blanks_between_cells_when_said(bring: Importer) -> None:
    made = bring("Time   Temp\n  0    20.5\n  1    21.5\n", separator=" ")
    assert readings(made) == ([0.0, 1.0], [20.5, 21.5])


def test_the_figures_stay_as_they_were_written(bring: Importer) -> None:
    made = bring("Time,Temp\n0,20.50\n1,0021.5\n2,1050.123456789\n")
    rows = (made.path / "samples.csv").read_text().splitlines()[1:]
    assert [row.split(",")[2] for row in rows] == ["20.50", "0021.5", "1050.123456789"]


# --- times


def test_negative_seconds_stay(bring: Importer) -> None:
    assert readings(bring("Time,Temp\n-2,20\n-1,21\n0,22\n1,23\n"))[0] == [-2.0, -1.0, 0.0, 1.0]


@pytest.mark.parametrize(("unit", "expected"), [("ms", 0.06), ("s", 60.0), ("min", 3600.0), ("h", 216_000.0)])
def test_units_of_time(bring: Importer, unit: str, expected: float) -> None:
    assert readings(bring("Time,Temp\n0,20\n60,21\n", time_unit=unit))[0] == [0.0, expected]


@pytest.mark.parametrize(
    ("first", "second", "how"),
    [
        ("2026-11-25T07:15:00Z", "2026-11-25T07:15:30Z", {}),
        ("2026-11-25T08:15:00+01:00", "2026-11-25T08:15:30+01:00", {}),
        ("2026-11-25 08:15:00", "2026-11-25 08:15:30", {"zone": "Europe/Berlin"}),
        ("2026-11-25 07:15:00.000", "2026-11-25 07:15:30.000", {"zone": "UTC"}),
        ("2026-11-25T08:15:00", "2026-11-25T08:15:30", {"zone": "+01:00"}),
        ("25.11.2026 08:15:00", "25.11.2026 08:15:30", {"zone": "Europe/Berlin", "time_format": "%d.%m.%Y %H:%M:%S"}),
        ("11/25/26 2:15:00 AM", "11/25/26 2:15:30 AM", {"zone": "-05:00", "time_format": "%m/%d/%y %I:%M:%S %p"}),
        ("1795590900", "1795590930", {}),
        ("2026-11-25T08:14:00Z", "2026-11-25T08:14:30Z", {"clock_offset_s": -3540.0}),
    ],
)  # fmt: skip
def test_one_moment_in_many_writings(bring: Importer, first: str, second: str, how: dict[str, Any]) -> None:
    made = bring(f"Time,Temp\n{first},20\n{second},21\n", **how)
    assert readings(made)[0] == [0.0, 30.0]
    assert open_run(made.path).header.started_utc == "2026-11-25T07:15:00.000Z"
    assert (made.path / "samples.csv").read_text().splitlines()[2].split(",")[1] == "2026-11-25T07:15:30.000Z"
    assert not any("does not say when" in note for note in made.notes)


def test_date_and_time_in_two_columns(bring: Importer) -> None:
    content = "Day;Time;Temp\n24.11.2026;23:59:30;20,5\n25.11.2026;00:00:30;21\n"
    made = bring(content, date="Day", time_format="%d.%m.%Y %H:%M:%S", zone="UTC")
    assert readings(made) == ([0.0, 60.0], [20.5, 21.0])
    with pytest.raises(ImportFileError, match="time '24.11.2026 23:59:30' is neither"):
        bring(content, date="Day")


def test_times_of_day_pass_midnight(bring: Importer) -> None:
    made = bring("Time,Temp\n23:59:30,20\n00:00:30,21\n", time_format="%H:%M:%S")
    assert readings(made)[0] == [0.0, 60.0]


def test_the_hour_that_comes_twice(bring: Importer) -> None:
    # Europe/Berlin left summer time on 2026-10-25 at 01:00 UTC: 02:59:59 (+02:00) is followed by 02:00:00 (+01:00).
    walls = ["02:30:00", "02:59:00", "02:00:00", "02:30:00", "03:00:00"]
    made = bring("Time,Temp\n" + "".join(f"2026-10-25 {wall},20\n" for wall in walls), zone="Europe/Berlin")
    assert readings(made)[0] == [0.0, 1740.0, 1800.0, 3600.0, 5400.0]


def test_the_hour_that_is_skipped(bring: Importer) -> None:
    content = "Time,Temp\n2026-03-29 01:59:00,20\n2026-03-29 02:10:00,21\n"
    with pytest.raises(ImportFileError, match=r"line 3: the time 2026-03-29 02:10:00 does not exist"):
        bring(content, zone="Europe/Berlin")
    assert readings(bring(content, zone="+01:00"))[0] == [0.0, 660.0]


def test_a_start_for_a_log_that_counts_seconds(bring: Importer) -> None:
    made = bring("Time,Temp\n60,20\n90,21\n", started_utc=datetime(2026, 11, 20, 6, 0, tzinfo=UTC))
    assert readings(made)[0] == [60.0, 90.0]
    assert (made.path / "samples.csv").read_text().splitlines()[1].startswith("60.000,2026-11-20T06:01:00.000Z,")
    unknown = bring("Time,Temp\n60,20\n90,21\n")
    assert any("does not say when it was" in note for note in unknown.notes)


def test_a_clock_offset_shifts_seconds(bring: Importer) -> None:
    assert readings(bring("Time,Temp\n0,20\n1,21\n", clock_offset_s=12.5))[0] == [12.5, 13.5]


def test_repeated_times_are_kept_once_and_counted(bring: Importer) -> None:
    made = bring("Time,Temp\n0,20\n0,99\n1,21\n1,98\n1,97\n2,22\n")
    assert readings(made) == ([0.0, 1.0, 2.0], [20.0, 21.0, 22.0])
    assert "3 rows with the time of the row above, left out." in made.notes


def test_times_that_go_back_are_found_between_pieces_too(bring: Importer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "ROWS_AT_ONCE", 3)
    made = bring("Time,Temp\n" + "".join(f"{k},{20 + k}\n" for k in range(10)))
    assert readings(made) == (list(range(10)), [20.0 + k for k in range(10)])
    with pytest.raises(ImportFileError, match=r"line 5: the time '1' is 1 s before the row above it"):
        bring("Time,Temp\n0,1\n1,1\n2,1\n1,1\n")


# --- cells


def test_cells_without_a_number_are_missing_readings(bring: Importer) -> None:
    cells = ["20.5", "OPEN", "---", "", "nan", "inf", "-inf", "1e999", "#N/A", "21.5"]
    made = bring("Time,Temp\n" + "".join(f"{k},{cell}\n" for k, cell in enumerate(cells)))
    t_s, temp_c = readings(made)
    assert t_s == list(range(10))
    assert np.isnan(temp_c[1:9]).all()
    assert [temp_c[0], temp_c[9]] == [20.5, 21.5]
    assert any(note.startswith("Temp: 7 cells without a number") and "'OPEN', in line 3" in note for note in made.notes)


def test_short_rows_are_missing_readings(bring: Importer) -> None:
    made = bring("Time,Temp,Other\n0,20,1\n1\n2,22,3\n", sensors=("recording=Temp", "load=Other"))
    assert np.isnan(readings(made)[1][1])


def test_signals_and_several_of_a_role(bring: Importer) -> None:
    made = bring(
        "Time,A,B,C,SP,P\n0,68,70,72,1450,99\n1,69,71,73,1450,98\n",
        sensors=("control=A", "load=B", "load:spine=C"),
        signals=("setpoint=SP", "output=P"),
        unit="F",
        thermocouple="K",
        tolerance_class="2",
        expanded_uncertainty=4.5,
        furnace="left",
    )
    run = open_run(made.path)
    assert [(c.name, c.role, c.unit) for c in run.columns] == [
        ("control", "control", "F"),
        ("load", "load", "F"),
        ("spine", "load", "F"),
        ("setpoint", None, "F"),
        ("output", None, "%"),
    ]
    assert run.values["setpoint"][0] == pytest.approx(1418 / 1.8)
    assert run.values["output"].tolist() == [99.0, 98.0]
    column = run.columns[0]
    assert (column.thermocouple, column.tolerance_class, column.expanded_uncertainty) == ("K", "2", 4.5)
    assert run.columns[3].expanded_uncertainty is None
    assert (run.header.furnace_name, run.header.origin, run.header.every_s) == ("left", "imported", 1.0)
    assert made.path.name.split("_")[1] == "left"


def test_the_original_is_kept_and_sealed(bring: Importer) -> None:
    content = "Time,Temp\n0,20\n1,21\n"
    made = bring(content)
    kept = made.path / "original" / "log.csv"
    assert kept.read_text() == content
    assert "original/log.csv" in json.loads((made.path / "seal.json").read_text())["files"]
    kept.write_text(content + "2,22\n")
    assert not open_run(made.path).check.intact


def test_names_that_speak_of_the_other_unit(bring: Importer) -> None:
    made = bring("Time,Temp [°F]\n0,68\n1,69\n", sensors=("recording=Temp [°F]",), unit="C")
    assert any("speaks of Fahrenheit, but the unit is C" in note for note in made.notes)
    made = bring("Time,Temp (C)\n0,68\n1,69\n", sensors=("recording=Temp (C)",), unit="F")
    assert any("speaks of Celsius, but the unit is F" in note for note in made.notes)


def test_units_that_nobody_states_are_those_of_the_names(bring: Importer) -> None:
    made = bring("Time [min],Temp [°F]\n0,68\n1,69\n", time="Time [min]", sensors=("recording=Temp [°F]",))
    assert open_run(made.path).columns[0].unit == "F"
    assert readings(made)[0] == [0.0, 60.0]
    assert any("taken in °F, as the name 'Temp [°F]' says" in note for note in made.notes)
    assert any("taken in min, as the name 'Time [min]' says" in note for note in made.notes)
    below = bring("Time,Temp\ns,°F\n0,68\n1,69\n")
    assert open_run(below.path).columns[0].unit == "F"
    with pytest.raises(ImportFileError, match="speak of C and F"):
        bring("Time,A °C,B °F\n0,20,68\n1,20,68\n", sensors=("load=A °C", "load=B °F"))


def test_marks_of_a_person(bring: Importer, tmp_path: Path) -> None:
    marks = tmp_path / "marks.csv"
    marks.write_text(
        "time,act,pieces,note\n2026-11-25T07:16:00Z,pull,B-2,\n2026-11-25T07:15:10Z,load,B-1..B-2 C-7,wet foil\n"
    )
    made = bring("Time,Temp\n2026-11-25T07:15:00Z,20\n2026-11-25T07:15:30Z,21\n", marks=marks)
    found = [(m.t_s, m.act, m.pieces, m.note, m.entered_later) for m in open_run(made.path).marks]
    assert found == [(10.0, "load", ("B-1", "B-2", "C-7"), "wet foil", True), (60.0, "pull", ("B-2",), "", True)]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("when,act\n0,load\n", "line 1: the columns must be time, act"),
        ("time,act\n0,lift\n", "line 2: act 'lift'; write one of load, pull"),
        ("time,act\nsoon,load\n", "line 2: 'soon' is no time as the log writes it"),
    ],
)
def test_marks_that_cannot_be_read(bring: Importer, tmp_path: Path, content: str, says: str) -> None:
    marks = tmp_path / "marks.csv"
    marks.write_text(content)
    with pytest.raises(ImportFileError, match=r"marks\.csv, line") as caught:
        bring("Time,Temp\n0,20\n1,21\n", marks=marks)
    assert says in str(caught.value)
    assert not list((tmp_path / "book").glob("runs/*"))


# --- refusals


@pytest.mark.parametrize(
    ("content", "more", "says"),
    [
        ("", {}, "is empty"),
        ("\n\n  \n", {}, "is empty"),
        (b"\xff\xfe", {}, "is empty"),
        (b"PK\x03\x04rest of an archive", {}, "is a spreadsheet or archive"),
        (bytes(range(256)) * 20, {}, "is no text file"),
        ("Time,Temp\n", {}, "no row with a time below them"),
        ("Time,Temp\nfoo,bar\n", {}, "no row with a time below them"),
        ("Time,Temp\n0,20\n", {"sensors": ("recording=temp",)}, "no column 'temp'. Columns in line 1: 'Time', 'Temp'."),
        ("a;b;c\n0;1;2\n", {}, "no column 'Time'. Columns in line 1: 'a', 'b', 'c'."),
        ("Time,Temp\n0,20\n", {"sensors": ("recording=#3",)}, "no column '#3'"),
        ("Time,Temp,Temp\n0,20,21\n", {}, "is there more than once. Say which by position: #2, #3."),
        ("Time,Temp\n0,OPEN\n1,OPEN\n", {}, "the column 'Temp' holds no number; the first cell, line 2, is 'OPEN'"),
        ("Time,Temp\n0,\n1,\n", {}, "the column 'Temp' holds no number; all its cells are empty"),
        ("Time,Temp\n0,20\nlater,21\n", {}, "line 3: 'later' is no time, but the row has readings"),
        ("Time,Temp\n2026-11-25T07:15Z,20\n2026-11-25T07:16,21\n", {}, "line 3: time '2026-11-25T07:16'"),
        ("Time,Temp\n2026-11-25T07:15,20\n2026-11-25T07:16Z,21\n", {"zone": "UTC"}, "some times have a time zone"),
        ("Time,Temp\n0,20\n1e12,21\n", {}, "line 3: '1e12' is no possible time"),
        ("Time,Temp\n-1e12,20\n0,21\n", {}, "line 2: '-1e12' is no possible time"),
        ("Time,Temp\n0,20\n", {"clock_offset_s": float("nan")}, "--clock-offset nan: must be a number of seconds"),
        ("Time,Temp\n5,20\n3,21\n", {}, "line 3: the time '3' is 2 s before the row above it"),
        ("Time,Temp\n0,20,5\n1,21,5\n", {}, "line 2: 3 cells, but 2 columns. Are there decimal commas?"),
        ("Time,Temp\n0,20\n1,21,5,7\n", {}, "line 3: 4 cells, but 2 columns"),
        ("Time,Temp\n2026-11-25 07:15:00,20\n", {}, "has no time zone. Say which clock it is"),
        ("Time,Temp\n2026-11-25,20\n", {}, "has no time zone. Say which clock it is"),
        ("Time,Temp\n25.11.2026 07:15:00,20\n", {}, "--time-format '%d.%m.%Y %H:%M:%S'"),
        ("Time,Temp\n03/04/2026 07:15:00,20\n", {}, "'%d/%m/%Y %H:%M:%S' or --time-format '%m/%d/%Y %H:%M:%S'"),
        ("Time,Temp\nMonday 3,20\n", {}, "is neither a number nor ISO 8601. Say how it is written"),
        ("Time,Temp\n7:15,20\n", {"time_format": "%d.%m.%Y"}, "does not fit --time-format '%d.%m.%Y'"),
        ("Time,Temp\n25.11.2026,20\n", {"time_format": "%d.%m.%Y"}, "has no time zone"),
        ("Time,Temp\n1795590900000,20\n", {}, "looks like milliseconds since 1970"),
        ("Time,Temp\n2026-11-25 07:15:00,20\n", {"zone": "Berlin"}, "--zone: 'Berlin' is no time zone"),
        ("Time,Temp\n0,20\n", {"sensors": ()}, "No sensor is given"),
        ("Time,Temp\n0,20\n", {"sensors": ("oven=Temp",)}, "--sensor 'oven=Temp': write ROLE=COLUMN"),
        ("Time,Temp\n0,20\n", {"sensors": ("recording",)}, "--sensor 'recording': write ROLE=COLUMN"),
        ("Time,Temp\n0,20\n", {"sensors": ("load:a,b=Temp",)}, "cannot be used: no comma or quote"),
        ("Time,Temp\n0,20\n", {"sensors": ("load:x=Temp", "survey:x=Temp")}, "'x' is given twice"),
        ("Time,Temp\n0,20\n", {"signals": ("=Temp",)}, "--signal '=Temp': write NAME=COLUMN"),
        ("Time,Temp\n0,20\n", {"expanded_uncertainty": -1.0}, "--expanded-uncertainty -1: must be from 0"),
    ],
)  # fmt: skip
def test_refusals(bring: Importer, tmp_path: Path, content: str | bytes, more: dict[str, Any], says: str) -> None:
    with pytest.raises(ImportFileError) as caught:
        bring(content, **more)
    assert says in str(caught.value)
    assert caught.value.exit_code == 2
    assert not list((tmp_path / "book").glob("runs/*"))


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path, says in ((tmp_path / "none.csv", "there is no such file"), (tmp_path, "is a folder")):
        with pytest.raises(ImportFileError, match=says):
            import_file(path, settings_for(), logbook=tmp_path / "book", imported_utc=NOW)


# --- whole files


@pytest.mark.parametrize("number", [1, 4, 24])
def test_measured_runs_arrive_unchanged(tmp_path: Path, number: int) -> None:
    path = measured_file(number)
    made = import_file(
        path, settings_for(sensors=("recording=Shroud",)), logbook=tmp_path, imported_utc=NOW, name="radiant"
    )
    t_s, temp_c = measured_run(number)
    run = open_run(made.path)
    assert run.t_s == pytest.approx(t_s, abs=1e-9)
    assert run.values["recording"] == pytest.approx(temp_c, abs=1e-9)
    assert made.path.name.split("_")[1] == "radiant"


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30, deadline=None)
@given(
    values=st.lists(st.one_of(st.none(), st.integers(-2000, 18000)), min_size=1, max_size=40).filter(any),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal_comma=st.booleans(),
    at_once=st.integers(1, 50),
)
def test_whatever_is_written_comes_back(
    bring: Importer, values: list[int | None], separator: str, decimal_comma: bool, at_once: int
) -> None:
    decimal = "," if decimal_comma and separator != "," else "."
    cells = ["" if v is None else f"{v / 10:.1f}".replace(".", decimal) for v in values]
    content = f"Time{separator}Temp\n" + "".join(f"{k}{separator}{cell}\n" for k, cell in enumerate(cells))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rows, "ROWS_AT_ONCE", at_once)
        t_s, temp_c = readings(bring(content, notice_faults=False))
    assert t_s == list(range(len(values)))
    assert temp_c == pytest.approx([np.nan if v is None else v / 10 for v in values], nan_ok=True)


def test_progress_reaches_the_end(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Time,Temp\n" + "".join(f"{k},20\n" for k in range(1000)))
    told: list[float] = []
    import_file(path, settings_for(), logbook=tmp_path, imported_utc=NOW, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


# --- layouts


def test_layouts_come_back(tmp_path: Path) -> None:
    chosen = settings_for(sensors=("recording=Temp", "load:spine=B"), signals=("setpoint=SP",), zone="Europe/Berlin")
    save_layout(tmp_path, "left-logger", chosen)
    assert load_layout(tmp_path, "left-logger") == chosen


def test_layouts_that_cannot_be_used(tmp_path: Path) -> None:
    path = save_layout(tmp_path, "left", settings_for())
    with pytest.raises(ImportFileError, match="No log layout 'right'.*Layouts there: left"):
        load_layout(tmp_path, "right")
    with pytest.raises(ImportFileError, match="use letters, digits"):
        save_layout(tmp_path, "../left", settings_for())
    path.write_text("{")
    with pytest.raises(ImportFileError, match="the layout cannot be used"):
        load_layout(tmp_path, "left")


@pytest.mark.parametrize("value", ["1" + "0" * 400, "1" + "0" * 5000, "1e400", "[]", "{}", "[" * 100_000])
@pytest.mark.parametrize("key", ["time", "clock_offset_s", "unit", "zone", "decimal", "time_unit", "columns"])
def test_a_spoilt_layout_is_refused(tmp_path: Path, key: str, value: str) -> None:
    path = save_layout(tmp_path, "left", settings_for())
    said = {name: json.dumps(old) for name, old in json.loads(path.read_text()).items()} | {key: value}
    path.write_text("{" + ", ".join(f'"{name}": {text}' for name, text in said.items()) + "}")
    with pytest.raises(ImportFileError, match="the layout cannot be used|No sensor is given"):
        checked_settings(load_layout(tmp_path, "left"))


def test_columns_far_beyond_the_last_are_refused(bring: Importer) -> None:
    with pytest.raises(ImportFileError, match="no column '#99"):
        bring("Time,Temp\n0,20\n", time="#" + "9" * 5000)


@pytest.mark.parametrize(
    "second",
    ["9" * 5000 + ":00:00", "9" * 30 + ":00:00", "2026-11-25 " + "9" * 5000 + ":00", "2026-11-25T07:15:30+0100junk"],
)
@pytest.mark.parametrize("first", ["0:00:00", "2026-11-25 07:15:00", "2026-11-25T07:15:00+01:00"])
def test_a_spoilt_time_is_no_time(bring: Importer, first: str, second: str) -> None:
    with pytest.raises(ImportFileError, match="is no time, but the row has readings"):
        bring(f"Time,Temp\n{first},20\n{second},21\n", zone="UTC")
    with pytest.raises(ImportFileError, match="is no time: it has 5006 signs|is neither a number nor ISO|no time"):
        bring(f"Time,Temp\n{second},20\n{first},21\n", zone="UTC")


def test_a_damaged_spreadsheet_is_refused(bring: Importer) -> None:
    pytest.importorskip("openpyxl", reason="openpyxl is not installed: no spreadsheet is read")
    whole = workbook([["Time", "Temp"], *([float(k), 20.0 + k] for k in range(50))])
    for at in (40, len(whole) // 2, len(whole) - 30):
        spoilt = bytearray(whole)
        spoilt[at : at + 8] = b"\xff" * 8
        with pytest.raises(ImportFileError, match="cannot be read|no column"):
            bring(bytes(spoilt), name=f"log-{at}.xlsx")
    assert readings(bring(whole, name="log.xlsx"))[1] == [20.0 + k for k in range(50)]


def test_a_layout_that_an_earlier_version_kept_is_still_known(tmp_path: Path) -> None:
    kept = save_layout(tmp_path, "stick", ImportSettings(time="t", columns=()))
    (tmp_path / "import-profiles").mkdir()
    kept.rename(tmp_path / "import-profiles" / "stick.json")
    assert load_layout(tmp_path, "stick") == ImportSettings(time="t", columns=())
