"""A run that was forged and sealed again: what the log book has seen is asked by everyone who calls a record whole."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from soakwitness.cli.main import main
from soakwitness.firmware_bridge.runfolder.reader import check_rows, read_header
from soakwitness.firmware_bridge.runfolder.seal import file_sha256, read_seal, seal_text
from soakwitness.firmware_bridge.runfolder.sealing import seal_run
from tests.run_folders import STARTED_UTC

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


class Shop:
    """A log book with three runs of the same recipe, sealed one after the other by one recorder."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.book = folder / "book"
        self._capsys = capsys
        self._monkeypatch = monkeypatch
        for number in range(3):
            path = self.path(number)
            shutil.copytree(SAMPLES / "good", path)
            (path / "seal.json").unlink()
            said = json.loads((path / "run.json").read_text())
            (path / "run.json").write_text(json.dumps({**said, "run": path.name}))
            seal_run(path, sealed_utc=STARTED_UTC + number)

    def path(self, number: int) -> Path:
        return self.book / "runs" / f"2026030{number + 1}T070410Z_shed_00{number}0"

    def say(self, *words: str) -> str:
        self._monkeypatch.setattr("sys.argv", ["soakwitness", *words, "--logbook", str(self.book)])
        self._capsys.readouterr()
        with pytest.raises(SystemExit):
            main()
        told = self._capsys.readouterr()
        self.out = told.out
        return told.out + told.err

    def forge(self, number: int, *, names_it: bool = False) -> None:
        """Other readings with sound checksums under a new seal: what anybody can do who can write the folder.

        ``names_it``: it names the true seal as one that it grew out of.
        """
        path = self.path(number)
        said = json.loads((path / "seal.json").read_text())
        true = {key: said[key] for key in ("digest", "sealed_utc", "events_bytes")}
        said["former"] += [{**true, "events_sha256": said["files"]["events.csv"]}] if names_it else []
        (path / "seal.json").unlink()
        rows = (path / "samples.csv").read_bytes().splitlines(keepends=True)
        (path / "samples.csv").write_bytes(b"".join(rows[:-5]))
        check = check_rows(path, read_header(path), sealed=False, differs=[])
        said["files"]["samples.csv"] = file_sha256(path / "samples.csv")
        said |= {"rows": check.rows, "good": [[p.segment.name, p.start, p.stop, p.rows] for p in check.good]}
        (path / "seal.json").write_text(seal_text({key: value for key, value in said.items() if key != "digest"}))

    def seal_again(self, number: int) -> None:
        """The same with the program's own means, which makes a new link of the chain."""
        path = self.path(number)
        (path / "seal.json").unlink()
        rows = (path / "samples.csv").read_bytes().splitlines(keepends=True)
        (path / "samples.csv").write_bytes(b"".join(rows[:-5]))
        seal_run(path, sealed_utc=STARTED_UTC + 900)

    def verified(self, number: int) -> dict[str, object]:
        self.say("verify", str(self.path(number)), "--json")
        found: dict[str, object] = json.loads(self.out)
        return found

    def sheet(self, number: int, folder: Path) -> str:
        out = folder / "sheet.html"
        self.say("sheet", str(self.path(number)), "--out", str(out), "--force")
        return out.read_text()

    def listed(self, number: int) -> str:
        return next(line for line in self.say("runs", "--check").splitlines() if self.path(number).name in line)


@pytest.fixture
def shop(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shop:
    return Shop(tmp_path, capsys, monkeypatch)


def test_a_seal_is_said_to_show_what_it_shows_and_no_more(shop: Shop, tmp_path: Path) -> None:
    assert "unchanged since it was sealed, as far as this log book knows" in shop.sheet(1, tmp_path)
    assert "sealed, intact" in shop.listed(1)
    assert shop.verified(1)["verdict"] == "pass"


def test_a_run_of_no_log_book_is_said_to_be_known_by_its_own_seal_alone(shop: Shop, tmp_path: Path) -> None:
    out = tmp_path / "good.html"
    shop.say("sheet", str(SAMPLES / "good"), "--out", str(out))
    assert "unchanged since it was sealed, as far as its own seal shows" in out.read_text()


@pytest.mark.parametrize("how", ["seen", "not seen before it was forged", "sealed again", "names the true seal"])
@pytest.mark.parametrize("number", [1, 2])  # one in the middle of the chain, and the newest
def test_a_forged_run_is_called_whole_by_nobody(shop: Shop, tmp_path: Path, how: str, number: int) -> None:
    if how != "not seen before it was forged":
        shop.verified(number)
    if how == "sealed again":
        shop.seal_again(number)
    else:
        shop.forge(number, names_it=how == "names the true seal")
    found = shop.verified(number)
    assert found["verdict"] == "not proven"
    assert found["record"]["intact"] is False  # type: ignore[index]
    (says,) = [f["says"] for f in found["findings"] if f["code"] == "record changed"]  # type: ignore[attr-defined]
    assert "log book" in says
    assert "changed: its seal" in shop.listed(number)
    assert "intact" not in shop.listed(number)
    assert "CHANGED since it was sealed" in shop.sheet(number, tmp_path)
    assert shop.verified(0)["verdict"] == "pass", "the others are what they were"


def test_rebuilding_keeps_what_was_seen_until_the_run_is_accepted(shop: Shop, tmp_path: Path) -> None:
    shop.verified(2)
    shop.forge(2)
    shop.say("logbook", "rebuild")
    assert "its seal is not the one the log book has seen" in shop.say("logbook", "check")
    assert shop.verified(2)["verdict"] == "not proven"
    (shop.book / "recorder.json").unlink()  # its head names the first seal
    shop.say("logbook", "rebuild", "--accept", shop.path(2).name)
    assert "has seen" not in shop.say("logbook", "check")
    assert shop.verified(2)["verdict"] == "pass"
    assert "nosuchrun" in shop.say("logbook", "rebuild", "--accept", "nosuchrun")


def test_a_seal_that_is_gone_is_told(shop: Shop) -> None:
    shop.verified(1)
    (shop.path(1) / "seal.json").unlink()
    assert "its seal is gone" in shop.listed(1)
    assert shop.verified(1)["verdict"] == "not proven"


def test_marks_entered_later_are_no_forgery(shop: Shop, tmp_path: Path) -> None:
    before = read_seal(shop.path(1))
    shop.verified(1)
    shop.say("mark", "note", "seen", "--run", shop.path(1).name)
    after = read_seal(shop.path(1))
    assert before is not None
    assert after is not None
    assert before.digest in after.known_as
    assert shop.verified(1)["verdict"] == "pass"
    assert "sealed, intact" in shop.listed(1)
    shop.say("mark", "note", "seen again", "--run", shop.path(1).name)
    again = read_seal(shop.path(1))
    assert again is not None
    assert again.known_as == (again.digest, before.digest, after.digest)
    assert shop.verified(1)["verdict"] == "pass"
