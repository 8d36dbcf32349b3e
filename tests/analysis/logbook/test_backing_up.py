"""A backup is proven by restoring it: database, runs, layouts and steels, byte by byte."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import sqlite3
import zipfile
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import backing_up
from soakwitness.analysis.logbook.backing_up import back_up, restore
from soakwitness.analysis.logbook.care import check_book
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.runs import list_runs, take_in
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock
from tests.log_books import LATER, OPENED, STAMP, new_book
from tests.run_folders import fill, new_run, sealed_run


def _shop(folder: Path) -> LogBook:
    """A log book with everything that may lie in one."""
    for _ in range(3):
        sealed_run(folder, 40)
    book = new_book(folder, "C-001..C-004")
    take_in(book, stamp=STAMP)
    (folder / "steels.csv").write_text("grade,what\nshop-7,temper\n")
    (folder / "log-layouts").mkdir()
    (folder / "log-layouts" / "öfen.json").write_text("{}")
    run = sorted((folder / "runs").iterdir())[0]
    (run / "reports").mkdir()
    (run / "reports" / "sheet.html").write_text("<html>")
    (run / "original").mkdir(exist_ok=True)
    return book


def _content(folder: Path) -> dict[str, str]:
    """Digest of each file that must come back; the database is compared by its rows."""
    left_out = ("logbook.sqlite", "logbook.writer", "copies/", "locks/")
    names = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    return {
        name: hashlib.sha256(path.read_bytes()).hexdigest()
        for name, path in names.items()
        if not name.startswith(left_out) and not name.endswith(".lock")
    }


def _tables(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    raw = sqlite3.connect(folder / "logbook.sqlite")
    try:
        names = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        return {name: sorted(raw.execute(f"SELECT * FROM {name}").fetchall(), key=repr) for name in names}
    finally:
        raw.close()


def _open(folder: Path) -> LogBook:
    book = open_logbook(folder)
    OPENED.append(book)
    return book


def test_what_was_backed_up_comes_back(tmp_path: Path) -> None:
    book = _shop(tmp_path / "book")
    file = tmp_path / "shop.zip"
    made = back_up(book, file, stamp=LATER)
    before, tables = _content(tmp_path / "book"), _tables(tmp_path / "book")
    assert made.runs == 3
    book.close()
    shutil.rmtree(tmp_path / "book")

    found = restore(file, tmp_path / "again" / "book")
    assert found.made_utc == LATER.at_utc
    assert found.runs == 3
    assert _content(tmp_path / "again" / "book") == before
    assert _tables(tmp_path / "again" / "book") == tables
    back = _open(tmp_path / "again" / "book")
    assert take_in(back, stamp=LATER).changed == (), "nothing counts as changed"
    assert check_book(back) == ()
    assert len(list_runs(back)) == 3


def test_a_log_book_in_use_is_backed_up_with_its_open_run(tmp_path: Path) -> None:
    book = _shop(tmp_path / "book")
    run = new_run(tmp_path / "book")
    fill(run, 20)
    lock = Lock(run.path / RUN_LOCK, {"who": "recorder"})
    other = _open(tmp_path / "book")
    with other.writing(STAMP):  # somebody is in the middle of an entry
        other.insert("pieces", piece="half")
        back_up(book, tmp_path / "shop.zip", stamp=LATER)
    lock.release()
    restore(tmp_path / "shop.zip", tmp_path / "again")
    assert (tmp_path / "again" / "runs" / run.path.name / "samples.csv").read_bytes().count(b"\n") == 21
    assert "half" not in repr(_tables(tmp_path / "again")["pieces"])
    run.close()


def _refused(file: Path, goal: Path) -> str | None:
    try:
        restore(file, goal)
    except LogBookError as error:
        return str(error)
    return None


@pytest.mark.parametrize("harm", ["flipped", "cut", "empty", "no zip"])
def test_a_damaged_backup_restores_nothing_and_says_where(tmp_path: Path, harm: str) -> None:
    file = tmp_path / "shop.zip"
    back_up(_shop(tmp_path / "book"), file, stamp=LATER)
    whole = file.read_bytes()
    chance = random.Random(7)
    for number in range(40 if harm in ("flipped", "cut") else 1):
        data = bytearray(whole)
        if harm == "flipped":
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        data = {"cut": data[: chance.randrange(len(data))], "empty": b"", "no zip": b"hello"}.get(harm, data)  # type: ignore[assignment]
        file.write_bytes(data)
        goal = tmp_path / f"again {number}"
        says = _refused(file, goal)
        if says is None:  # a bit that means nothing, such as one of a time in the list of files
            assert _content(goal) == _content(tmp_path / "book")
        else:
            assert "shop.zip" in says
            assert not goal.exists()
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize("name", ["../evil", "/evil", "runs/../../evil", "C:/evil", "runs\\..\\evil", "", "."])
def test_a_name_that_leads_elsewhere_is_refused(tmp_path: Path, name: str) -> None:
    file = tmp_path / "shop.zip"
    files = {name: {"sha256": hashlib.sha256(b"x").hexdigest(), "mtime_ns": 0}}
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr(name or "x", b"x")
        archive.writestr("backup.json", json.dumps({"format": "1.0", "made_utc": LATER.at_utc, "files": files}))
    with pytest.raises(LogBookError, match="no place in a log book"):
        restore(file, tmp_path / "inside" / "again")
    assert not (tmp_path / "evil").exists()
    assert not (tmp_path / "inside" / "again").exists()


def test_nothing_is_restored_over_a_log_book(tmp_path: Path) -> None:
    book = _shop(tmp_path / "book")
    back_up(book, tmp_path / "shop.zip", stamp=LATER)
    before = _content(tmp_path / "book")
    with pytest.raises(LogBookError, match="is not empty"):
        restore(tmp_path / "shop.zip", tmp_path / "book")
    assert _content(tmp_path / "book") == before
    (tmp_path / "empty").mkdir()
    restore(tmp_path / "shop.zip", tmp_path / "empty")
    assert (tmp_path / "empty" / "steels.csv").exists()


def test_a_newer_format_and_a_file_that_is_no_backup_are_told(tmp_path: Path) -> None:
    file = tmp_path / "shop.zip"
    for said, words in (({"format": "9.0", "files": {}}, "newer"), ({"files": 5}, "no backup"), ([], "no backup")):
        with zipfile.ZipFile(file, "w") as archive:
            archive.writestr("backup.json", json.dumps(said))
        with pytest.raises(LogBookError, match=words):
            restore(file, tmp_path / "again")
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("holiday.jpg", b"x")
    with pytest.raises(LogBookError, match="no backup"):
        restore(file, tmp_path / "again")


def test_a_backup_is_there_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = _shop(tmp_path / "book")
    file = tmp_path / "shop.zip"
    file.write_bytes(b"last week's")
    with pytest.raises(LogBookError, match="exists"):
        back_up(book, file, stamp=LATER)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backing_up, "_add", full)
    with pytest.raises(LogBookError, match="No space left"):
        back_up(book, file, stamp=LATER, replace=True)
    assert file.read_bytes() == b"last week's"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book", "shop.zip"]


@pytest.mark.skipif(os.name == "nt", reason="pipes and links of POSIX")
def test_pipes_and_links_are_left_out_and_named(tmp_path: Path) -> None:
    book = _shop(tmp_path / "book")
    os.mkfifo(tmp_path / "book" / "runs" / "pipe")
    (tmp_path / "book" / "everything").symlink_to("/")
    made = back_up(book, tmp_path / "shop.zip", stamp=LATER)
    assert set(made.left_out) == {"runs/pipe", "everything"}
    restore(tmp_path / "shop.zip", tmp_path / "again")
    assert not (tmp_path / "again" / "everything").exists()


def test_a_backup_inside_the_log_book_is_refused(tmp_path: Path) -> None:
    book = _shop(tmp_path / "book")
    with pytest.raises(LogBookError, match="inside the log book"):
        back_up(book, tmp_path / "book" / "shop.zip", stamp=LATER)
