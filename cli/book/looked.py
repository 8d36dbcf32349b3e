"""What was looked at lately: each is done once by the worker, whoever waits for it, and kept for some minutes.

No longer than the log book stays as it is: a plan made before a calibration was entered would have the wrong
temperature typed.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.working import JobRefused

KEPT = timedelta(minutes=10)
MOST_KEPT, MOST_WAITING = 16, 8


@dataclass
class Looked:
    """A look: how far it is, and what came of it. ``at``: when it was done, None as long as it is not.

    ``of``: the state of the log book that it tells of.
    """

    at: datetime | None = None
    of: tuple[int, ...] = ()
    progress: tuple[int, int] | None = None
    found: Any = None
    refused: str | None = None


@dataclass
class LookedLately:
    """The looks of a book by one of the worker's jobs; ``reads`` makes of its answer what the page shows."""

    desk: Desk
    job: str
    reads: Callable[[Any], Any]
    _kept: dict[str, Looked] = field(default_factory=dict)

    def kept(self, **about: Any) -> Looked | None:
        """What came of a look, or how far it is; None where it was not asked for lately."""
        found = self._kept.get(_key(about))
        old = found is not None and found.at is not None and self.desk.now() - found.at > KEPT
        return None if old or self.outdated(**about) else found

    def outdated(self, **about: Any) -> bool:
        """Whether something was written into the log book since it was done."""
        found = self._kept.get(_key(about))
        return found is not None and found.at is not None and found.of != _state_of(self.desk.logbook)

    def holds(self, **about: Any) -> None:
        """What was written since does not change what came of it."""
        found = self._kept.get(_key(about))
        if found is not None and found.at is not None:
            found.of = _state_of(self.desk.logbook)

    def ask(self, *, instead_of: str = "", **about: Any) -> Looked:
        """The same, begun where it is not there, or where it is the one that was done at ``instead_of``."""
        found = self.kept(**about)
        if found is not None and not (found.at is not None and found.at.isoformat() == instead_of):
            return found
        if sum(one.at is None for one in self._kept.values()) >= MOST_WAITING:
            return Looked(self.desk.now(), refused="Too much is being looked at already. Load this page again later.")
        key, made = _key(about), Looked()
        self._kept.pop(key, None)
        for over in [name for name, one in self._kept.items() if one.at is not None][:-MOST_KEPT]:
            del self._kept[over]
        self._kept[key] = made
        self.desk.states.begin(self._do(made, about))
        return made

    def forget(self, **about: Any) -> None:
        """What was refused is looked at anew when it is asked for again: what kept it away may be mended by then."""
        self._kept.pop(_key(about), None)

    async def _do(self, made: Looked, about: Mapping[str, Any]) -> None:
        def progress(done: int, of: int) -> None:
            made.progress = (done, of)

        try:
            made.found = self.reads(await self.desk.looker.ask(self.job, progress=progress, **about))
        except JobRefused as error:
            made.refused = str(error)
        finally:
            made.at, made.of = self.desk.now(), _state_of(self.desk.logbook)


def _state_of(logbook: Path) -> tuple[int, ...]:
    """Size and time of the log book's files: they change with whatever is written."""
    from soakwitness.analysis.logbook.copies import DATABASE

    found: list[int] = []
    for name in (DATABASE, f"{DATABASE}-wal"):
        with contextlib.suppress(OSError):
            about = (logbook / name).stat()
            found += [about.st_size, about.st_mtime_ns] if about.st_size else []
    return tuple(found)


def _key(about: Mapping[str, Any]) -> str:
    return json.dumps(about, sort_keys=True)
