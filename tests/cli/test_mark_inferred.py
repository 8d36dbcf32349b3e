"""``soakwitness mark --inferred`` on a sample whose pulls nobody marked."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.late import strike_late
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_header, read_marks
from tests.make_sample_logs import SAMPLES


def run(*words: object) -> Result:
    return CliRunner().invoke(soakwitness, [str(word) for word in words])


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A log book with the sample ``good``, its marks struck out: their pulls are its truth."""
    folder = tmp_path / "runs" / read_header(SAMPLES / "good").run
    shutil.copytree(SAMPLES / "good", folder)
    for mark in read_marks(folder):
        strike_late(folder, mark.mark_id, why="a test", by=None, now_utc=1.8e9)
    for words in (("add", "A", "B", "--thickness-mm", 3), ("charge", "last", "A", "B")):
        done = run("piece", *words, "--logbook", tmp_path)
        assert done.exit_code == 0, done.stderr
    return tmp_path


def test_dips_are_offered_and_entered_once_they_are_confirmed(book: Path) -> None:
    asked = run("mark", "--inferred", "last", "--logbook", book)
    assert asked.exit_code == 0, asked.stderr
    assert "pull of A?" in asked.stdout
    assert "Were these the pulls of A and B, in the order of the rack?" in asked.stdout
    folder = next((book / "runs").iterdir())
    assert all(mark.struck for mark in read_marks(folder))
    done = run("mark", "--inferred", "last", "--confirm", "--by", "anna", "--logbook", book)
    assert done.exit_code == 0, done.stderr
    made = [mark for mark in read_marks(folder) if not mark.struck]
    assert [(m.act, m.pieces, m.by, m.origin, m.within_s, m.entered_later) for m in made] == [
        ("pull", ("A",), "anna", "inferred", 10.0, True),
        ("pull", ("B",), "anna", "inferred", 10.0, True),
    ]
    truth = [mark.t_s for mark in read_marks(SAMPLES / "good") if mark.act == "pull"]
    assert [mark.t_s for mark in made] == pytest.approx(truth, abs=10.0)
    assert check_record(folder).intact
    assert "Pull of A (id " in run("mark", "--list", "--run", "last", "--logbook", book).stdout
    assert "inferred, ± 10 s" in run("mark", "--list", "--run", "last", "--logbook", book).stdout
    verdict = json.loads(run("verify", "last", "--json", "--logbook", book).stdout)
    assert any("is inferred from a door dip, ± 10 s" in one["says"] for one in verdict["findings"])
    again = run("mark", "--inferred", "last", "--confirm", "--logbook", book)
    assert again.exit_code == 2
    assert "nothing is offered" in again.stderr


def test_wrong_use(book: Path) -> None:
    assert "--confirm goes with --inferred" in run("mark", "--list", "--confirm", "--logbook", book).stderr
    assert "one thing at a time" in run("mark", "pull", "--inferred", "last", "--logbook", book).stderr
