"""An import that is killed leaves nothing that counts, wherever the kill falls."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.incoming import importing
from soakwitness.analysis.logbook.care import check_book
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.runfolder.listing import INCOMING, look_at, run_folders

STAMP = Stamp("2026-11-25T12:00:00Z", "Ana")
CHILD = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from soakwitness.analysis.importing.making import import_file
from soakwitness.analysis.importing.settings import ImportSettings, sensor_choices
left = int(sys.argv[3])
calls = 0
def counted(event, args):
    global calls
    if event in ("open", "os.rename", "os.mkdir", "os.remove", "os.rmdir") and "book" in str(args[0]):
        calls += 1
        if calls == left:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(counted)
settings = ImportSettings("Time", sensor_choices(["recording=Temp"]))
import_file(Path(sys.argv[1]), settings, logbook=Path(sys.argv[2]), imported_utc=datetime(2026, 11, 25, tzinfo=UTC))
print(calls)
"""


def child(log: Path, book: Path, kill_at: int) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", CHILD, str(log), str(book), str(kill_at)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.skipif(os.name == "nt", reason="kills by a signal")
def test_a_killed_import_leaves_nothing_or_a_whole_run(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("Time,Temp\n" + "".join(f"{k},{20 + k}\n" for k in range(50)))
    whole = child(log, tmp_path / "book-0", 0)
    assert whole.returncode == 0, whole.stderr
    calls = int(whole.stdout)
    assert calls > 10
    for at in range(1, calls + 1, max(1, calls // 12)):
        book = tmp_path / f"book-{at}"
        assert child(log, book, at).returncode == -signal.SIGKILL
        left = [look_at(run, compare=True) for run in run_folders(book)]
        assert all((run.state, run.intact, run.rows) == ("sealed", True, 50) for run in left), at
        other = tmp_path / "other.csv"
        other.write_text("Time,Temp\n0,20\n1,21\n")
        assert child(other, book, 0).returncode == 0
        assert not (book / INCOMING).exists()
        runs = [look_at(run, compare=True) for run in run_folders(book)]
        assert all((run.state, run.intact) == ("sealed", True) for run in runs)
        assert [run.rows for run in runs].count(2) == 1
        with open_logbook(book, create=True) as opened:
            assert not [t for t in check_book(opened) if "does not list" not in t.says], at


def test_two_imports_at_once_are_refused(tmp_path: Path) -> None:
    with importing(tmp_path), pytest.raises(ImportFileError, match="another import is under way"), importing(tmp_path):
        pass
