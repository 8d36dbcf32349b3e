"""Sealing a run, and entering or striking out a mark after its end."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chain import open_chain
from soakwitness.firmware_bridge.runfolder.contents import Event, RecordCheck
from soakwitness.firmware_bridge.runfolder.events import append_events
from soakwitness.firmware_bridge.runfolder.files import Files, open_regular, write_whole
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.line_format import event_body, utc_text
from soakwitness.firmware_bridge.runfolder.marks import decode_mark, decode_strike
from soakwitness.firmware_bridge.runfolder.reader import as_sealed, check_record, check_rows, read_events
from soakwitness.firmware_bridge.runfolder.seal import (
    SEAL_FORMAT,
    FormerSeal,
    Seal,
    differences,
    file_sha256,
    read_seal,
    seal_text,
    sealed_names,
)


def seal_run(path: Path, *, sealed_utc: datetime | float, files: Files | None = None) -> Seal:
    """Check every row of a run and write ``seal.json``, chained to the recorder's seal before it.

    Rows that were bad or cut already are named in the seal and stay out of the record.

    Raises RunFolderError if the run is sealed already, or the folder cannot be read or written.
    """
    if (path / "seal.json").exists():
        raise RunFolderError(f"{path} is sealed already.")
    files = files or Files()
    logbook = path.parent.parent
    try:
        check = check_rows(path, read_header(path), sealed=False, differs=[])
        with open_chain(logbook, files) as book:
            book.save(replace(book.chain, sealing=path.name))
            chain = {"id": book.chain.id, "number": book.chain.seals + 1, "previous": book.chain.head}
            seal = _write(path, check, chain, (), sealed_utc, files)
            book.save(replace(book.chain, seals=seal.chain_number, head=seal.digest, head_run=path.name, sealing=None))
    except OSError as error:
        raise RunFolderError(f"{path} cannot be sealed: {error.strerror or error}. Free the disk.") from None
    return seal


def _write(
    path: Path,
    check: RecordCheck,
    chain: dict[str, object],
    former: tuple[FormerSeal, ...],
    sealed_utc: datetime | float,
    files: Files,
) -> Seal:
    text = seal_text(
        {
            "format": SEAL_FORMAT,
            "run": path.name,
            "sealed_utc": utc_text(sealed_utc),
            "rows": check.rows,
            "events": len(read_events(path)),
            "events_bytes": (path / "events.csv").stat().st_size,
            "files": {name: file_sha256(path / name) for name in sealed_names(path)},
            "good": [[part.segment.name, part.start, part.stop, part.rows] for part in check.good],
            "bad_rows": [[bad.segment, bad.line, bad.says] for bad in check.bad_rows],
            "torn_tail": check.torn_tail,
            "says": list(check.says),
            "changed": list(check.changed),
            "chain": chain,
            "former": [asdict(seal) for seal in former],
        }
    )
    write_whole(files, path / "seal.json", text.encode())
    seal = read_seal(path)
    assert seal is not None
    return seal


def append_sealed(
    path: Path, details: Sequence[tuple[float, str]], *, now_utc: datetime | float, files: Files | None = None
) -> Seal:
    """Enter marks into a sealed run: append them to ``events.csv`` and seal again, naming the former seal.

    ``details``: for each ``mark`` event its ``t_s`` [s] and its detail (``marks.encode_mark`` or
    ``marks.encode_strike``).
    What the former seal found of the record is said again in its own words: the new one grew out of it by marks alone.

    Raises RunFolderError if the run is not sealed, or was changed since: a new seal would hide that.
    """
    files = files or Files()
    check = check_record(path)
    seal = read_seal(path) if check.intact or _holds(path, check) else _only_entered_later(path, check)
    if seal is None:
        why = f"{check.first_difference} is not what the seal says" if check.sealed else "it is not sealed"
        raise RunFolderError(f"{path}: {why}, so nothing can be entered into it under a new seal.")
    covered = FormerSeal(seal.digest, seal.sealed_utc, seal.events_bytes, seal.files["events.csv"])
    bodies = [event_body(t_s, utc_text(now_utc), "mark", detail) for t_s, detail in details]
    try:
        append_events(path, bodies, files=files)
        chain = {"id": seal.chain_id, "number": seal.chain_number, "previous": seal.previous}
        new = _write(path, as_sealed(path, seal), chain, (*seal.former, covered), now_utc, files)
        with open_chain(path.parent.parent, files) as book:
            if book.chain.head == seal.digest:
                book.save(replace(book.chain, head=new.digest))
    except OSError as error:
        raise RunFolderError(f"{path} cannot be written: {error.strerror or error}. Free the disk.") from None
    return new


def _holds(path: Path, check: RecordCheck) -> bool:
    """Whether a record that was changed while it was recorded is still what its seal says."""
    if not check.sealed or not check.changed:
        return False
    try:
        seal = read_seal(path)
    except RunFolderError:
        return False
    return seal is not None and not differences(path, seal)


def _only_entered_later(path: Path, check: RecordCheck) -> Seal | None:
    """The seal, if all that differs is marks entered later: a crash came before they were sealed."""
    if not check.sealed or check.first_difference != "events.csv":
        return None
    try:
        seal = read_seal(path)
    except RunFolderError:
        return None
    if seal is None or differences(path, seal) != ["events.csv"]:
        return None
    with open_regular(path / "events.csv") as file:
        data = file.read()
    first = hashlib.sha256(data[: seal.events_bytes]).hexdigest()
    later = read_events(path)[seal.events :]
    fit = all(event.event == "mark" and (decode_strike(event) or _is_later(event)) for event in later)
    return seal if fit and not check.bad_rows and first == seal.files["events.csv"] else None


def _is_later(event: Event) -> bool:
    mark = decode_mark(event)
    return mark is not None and mark.entered_later
