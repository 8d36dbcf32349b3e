"""What was looked at lately: each look is done once by the worker, whoever waits for it, and kept for some minutes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.told_text import ToldBlock, told_blocks
from soakwitness.cli.book.working import JobRefused

KEPT = timedelta(minutes=10)
MOST_KEPT, MOST_WAITING = 16, 8


@dataclass
class Looked:
    """A look: how far it is, and what came of it. ``at``: when it was done, None as long as it is not."""

    at: datetime | None = None
    progress: tuple[int, int] | None = None
    blocks: Sequence[ToldBlock] = ()
    notes: Sequence[str] = ()
    chart: str | None = None
    refused: str | None = None


@dataclass
class LookedLately:
    """The looks of a book."""

    desk: Desk
    _kept: dict[str, Looked] = field(default_factory=dict)

    def kept(self, look: str, **about: Any) -> Looked | None:
        """What came of a look, or how far it is; None where it was not asked for lately."""
        found = self._kept.get(_key(look, about))
        old = found is not None and found.at is not None and self.desk.now() - found.at > KEPT
        return None if old else found

    def ask(self, look: str, *, instead_of: str = "", **about: Any) -> Looked:
        """The same, begun where it is not there, or where it is the one that was done at ``instead_of``."""
        found = self.kept(look, **about)
        if found is not None and not (found.at is not None and found.at.isoformat() == instead_of):
            return found
        if sum(one.at is None for one in self._kept.values()) >= MOST_WAITING:
            return Looked(self.desk.now(), refused="Too much is being looked at already. Load this page again later.")
        key, made = _key(look, about), Looked()
        self._kept.pop(key, None)
        for over in [name for name, one in self._kept.items() if one.at is not None][:-MOST_KEPT]:
            del self._kept[over]
        self._kept[key] = made
        self.desk.states.begin(self._do(made, look, about))
        return made

    async def _do(self, made: Looked, look: str, about: Mapping[str, Any]) -> None:
        def progress(done: int, of: int) -> None:
            made.progress = (done, of)

        try:
            found = await self.desk.looker.ask("look", progress=progress, look=look, **about)
            made.blocks = told_blocks(found["text"])
            made.notes = [line for line in found["notes"] if line.strip()]
            made.chart = found["chart"]
        except JobRefused as error:
            made.refused = str(error)
        finally:
            made.at = self.desk.now()


def _key(look: str, about: Mapping[str, Any]) -> str:
    return json.dumps([look, about], sort_keys=True)
