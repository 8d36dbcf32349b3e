"""Where a run is made of a foreign log before it counts: beside ``runs/``, and moved there whole.

An import that is killed leaves nothing in ``runs/``; what it left here is taken away by the next one. Between the seal
and the move lies one moment: a folder that was sealed by then, and stands in the recorder's chain, is moved then.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from soakwitness.analysis.errors import ImportFileError
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chain import open_chain
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.listing import INCOMING, run_folders
from soakwitness.firmware_bridge.runfolder.lock import Lock, LockHeld
from soakwitness.firmware_bridge.runfolder.seal import read_seal

_LOCK = "importing.lock"


@contextlib.contextmanager
def importing(logbook: Path) -> Iterator[None]:
    """Hold the place where imports are made; nobody else imports into this log book meanwhile."""
    try:
        logbook.mkdir(parents=True, exist_ok=True)
        lock = Lock(logbook / _LOCK, {"what": "import"})
    except LockHeld:
        raise ImportFileError(f"{logbook}: another import is under way there. Wait until it is done.") from None
    except OSError as error:
        raise ImportFileError(f"{logbook}: no run can be made there: {error.strerror or error}.") from None
    try:
        clear(logbook)
        yield
    finally:
        with contextlib.suppress(OSError):
            (logbook / INCOMING).rmdir()
        lock.release()


def clear(logbook: Path) -> None:
    """Take away what killed imports left; move what was whole already. Call it with the place held."""
    folder = logbook / INCOMING
    for left in sorted(folder.iterdir()) if folder.is_dir() else ():
        if _in_chain(logbook, left):
            arrive(left)
        else:
            shutil.rmtree(left, ignore_errors=True)


def arrive(path: Path) -> Path:
    """Move a sealed run to where runs are."""
    runs = path.parent.parent / "runs"
    runs.mkdir(exist_ok=True)
    target = runs / path.name
    if target.exists():
        raise ImportFileError(f"{target} is there already. Try once more.")
    os.rename(path, target)
    Files().sync_folder(runs)
    return target


def _in_chain(logbook: Path, path: Path) -> bool:
    """Whether the recorder counts this folder's seal: it is the last one, or another continues it."""
    try:
        seal = read_seal(path)
        with open_chain(logbook, Files()) as book:
            head = book.chain.head
    except (RunFolderError, OSError):
        return False
    return seal is not None and (head == seal.digest or seal.digest in _continued(logbook))


def _continued(logbook: Path) -> Iterator[str | None]:
    for run in run_folders(logbook):
        with contextlib.suppress(RunFolderError):
            seal = read_seal(run)
            yield None if seal is None else seal.previous
