"""What the log book knows of a run's seal: who can write a folder can seal it again, but not what was seen before."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chain import saved_chain
from soakwitness.firmware_bridge.runfolder.seal import Seal, read_seal

FOREIGN = "its seal is not the one the log book has seen"


@dataclass(frozen=True)
class SealKnown:
    """Whether the log book knows the seal of a run, and what it knows against it."""

    seen: bool = False
    doubt: str | None = None


def seal_known(book: LogBook, folder: Path, run: str) -> SealKnown:
    """Compare the seal of a run with what the log book has seen, and with the chain that it belongs to.

    Returns ``seen`` only where the log book has seen this seal, or one that it grew out of by later marks; that it only
    names one is not enough.
    """
    row = book.row("SELECT seal FROM runs WHERE run = ?", run)
    seen = None if row is None else row["seal"]
    try:
        seal = read_seal(folder)
    except RunFolderError:
        return SealKnown()  # the check of the record itself says what is wrong with it
    if seal is None:
        return SealKnown(doubt=None if seen is None else "its seal is gone, which the log book has seen")
    if seen is not None and seen not in seal.known_as:
        return SealKnown(doubt=FOREIGN)
    return SealKnown(seen is not None, _out_of_chain(book, seal))


def _out_of_chain(book: LogBook, seal: Seal) -> str | None:
    """What the seal after this one, or the head of the recorder's chain, says against it."""
    after = book.row(
        "SELECT run, previous_seal FROM runs WHERE recorder_id = ? AND recorder_counter = ?",
        seal.chain_id,
        seal.chain_number + 1,
    )
    if after is not None and after["previous_seal"] not in (None, *seal.known_as):
        return f"its seal is not the one that {after['run']} was chained to"
    chain = saved_chain(book.folder)
    if chain is None or chain.id != seal.chain_id or chain.head_run != seal.run or chain.sealing is not None:
        return None
    return None if chain.head in (None, *seal.known_as) else "its seal is not the one that its recorder wrote last"
