"""What a run says of its sensors against what the log book says, and what is said of a packet and its day."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.condition.figures import SensorFigures
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.packets import keep_measured
from soakwitness.analysis.logbook.runs import run_named, take_in
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.analysis.packet.file import PacketFile
from soakwitness.analysis.run_inputs.packets import counts_since, newest_packet, used
from soakwitness.analysis.runs import open_run
from soakwitness.firmware_bridge.runfolder.model import Column
from tests.analysis.run_inputs.test_inputs import NIGHT_UTC, book_with, calibrated, known
from tests.analysis.run_inputs.test_packets import CHAMBER, measured, shop, true_c
from tests.calibration_runs import make_run
from tests.log_books import STAMP, new_book

LIFE = {"serial": "K-1", "channel": "1", "position": "roof", "input_offset_c": 1.5, "thermocouple": "K"}


def figures(folder: Path, column: Column, **days: str) -> SensorFigures:
    book, _ = book_with(folder, column)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01T08:00:00Z", stamp=STAMP, **LIFE)  # type: ignore[arg-type]
    if days:
        calibrated(book, life, **days)
    return known(book).sensors["chamber"]


def test_what_the_run_does_not_say_its_sensor_s_life_does(tmp_path: Path) -> None:
    found = figures(tmp_path, CHAMBER)
    assert (found.serial, found.channel, found.position) == ("K-1", "1", "roof")
    assert (found.input_offset_c, found.thermocouple) == (1.5, "K")
    assert found.life is not None
    assert found.fitted_utc is not None
    assert found.fitted_utc.startswith("2026-01-01")


def test_what_the_run_says_goes_before(tmp_path: Path) -> None:
    said = replace(CHAMBER, channel="2", position="door", input_offset=0.0, thermocouple="N")
    found = figures(tmp_path, said)
    assert (found.serial, found.channel, found.position) == ("K-1", "2", "door")
    # No offset is said, too: that is not the life's 1.5.
    assert (found.input_offset_c, found.thermocouple) == (0.0, "N")


def test_when_it_was_calibrated_and_until_when(tmp_path: Path) -> None:
    found = figures(tmp_path, CHAMBER, done_on="2026-02-01", due_on="2027-02-01")
    assert (found.calibrated_on, found.calibration_due, found.overdue) == ("2026-02-01", "2027-02-01", False)


def test_a_packet_without_a_name_is_called_by_its_text() -> None:
    file = PacketFile("", measured(0.5))
    assert used(file, "option").says == f"measured packet {file.digest[:12]}, given with the command"
    assert used(PacketFile("mine.toml", measured(0.5, fitted=False)), "run").says == "packet mine.toml, of the run"
    assert used(file, "log book", since="2026-11-25").says.endswith("of the log book, which counts since 2026-11-25")


def test_a_packet_of_another_kind_is_no_trouble_where_one_piece_is_of_its_kind(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name, foil=False)
    header = replace(open_run(run).header, packet_name="bare.toml", packet_file=measured(0.8, foil=False))

    def refused() -> str:
        from soakwitness.analysis.run_inputs.inputs import run_inputs

        return " ".join(map(str, run_inputs(book, run, header, ()).refused))

    assert "is not used" not in refused()
    # One in foil beside it: the bare one is still used for the other.
    charge_pieces(book, ["B-2"], stamp=STAMP, run=run.name, foil=True)
    assert "is not used" not in refused()


def test_a_kept_packet_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    keep_measured(book, "odd.toml", measured(0.5), since="2026-01-01", foil=True, stamp=STAMP)
    book.connection.execute("UPDATE packet_files SET text = 'eps_o = 7'")
    inputs = known(book)
    assert inputs.packet is None
    assert "odd.toml, of the log book, cannot be used" in str(inputs.refused[-1])
    says: list[str] = []
    assert newest_packet(book, open_run(run).header, foil=True, says=says) is None
    assert len(says) == 1
    assert newest_packet(book, open_run(run).header, foil=True) is None


def test_a_packet_counts_since_the_first_day_of_the_runs_it_was_learned_from(tmp_path: Path) -> None:
    later = make_run(tmp_path, {CHAMBER: true_c}, started_utc=NIGHT_UTC + 86_400).path
    # 23:30 UTC on the 24th: in Vienna, which the run names, it is the 25th already.
    night = make_run(tmp_path, {CHAMBER: true_c}, started_utc=NIGHT_UTC).path
    book = new_book(tmp_path)
    take_in(book, stamp=STAMP)
    model = used(PacketFile("m.toml", measured(0.5)), "option").model
    assert counts_since(book, replace(model, fitted_from=f"{later.name}, {night.name}")) == "2026-11-25"
    assert counts_since(book, replace(model, fitted_from=later.name)) == "2026-11-26"
    assert run_named(book, night.name).started_utc.startswith("2026-11-24")
    assert counts_since(book, replace(model, fitted_from="nobody's")) is None


@pytest.mark.parametrize("place", ["front", None])
def test_the_place_of_a_piece_is_kept(tmp_path: Path, place: str | None) -> None:
    book, run = book_with(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name, place=place)
    (piece,) = known(book).pieces
    assert (piece.id, piece.place) == ("B-1", place)
