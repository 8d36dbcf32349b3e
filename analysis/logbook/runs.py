"""The log book's list of runs: taken from the run folders, which are the truth, and kept in step with them."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.doubting import doubtful_runs
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.packets import keep_packet_file
from soakwitness.analysis.logbook.striking import struck_runs
from soakwitness.analysis.record.moments import Stamp, from_utc_text, utc_text
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, joined
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import Event, RunHeader
from soakwitness.firmware_bridge.runfolder.doubtful import doubt_of
from soakwitness.firmware_bridge.runfolder.listing import last_made, run_id
from soakwitness.firmware_bridge.runfolder.seal import Seal, read_seal

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class RunEntry:
    """One run as the log book lists it, with the digests of the recipe it is judged by and of that one's packet.

    ``rules`` is the version of the rules that the kept verdict was made by.
    """

    run: str
    folder: Path
    furnace: str
    started_utc: str
    ended_utc: str | None
    zone: str | None
    operator: str | None
    origin: str
    software: str
    recipe_digest: str | None
    recipe_name: str | None
    seal: str | None
    missing: bool
    verdict: str | None = None
    rules: str | None = None
    packet_digest: str | None = None


@dataclass(frozen=True)
class Taken:
    """What ``take_in`` found: runs that are new, that changed, that are gone, and folders that cannot be read."""

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()


def take_in(
    book: LogBook,
    *,
    stamp: Stamp,
    again: bool = False,
    accept: Container[str] = (),
    progress: Progress | None = None,
) -> Taken:
    """Bring the list of runs in step with the folders in ``runs/``.

    A sealed run changes only by being sealed anew, so that one look at ``seal.json`` tells; of an open one the sizes of
    its tables are looked at.

    ``again``: read every folder anew; else only those that are new or changed. ``accept``: runs whose seal is taken as
    it is now, whatever was seen before. ``progress``: gets how many folders were read, of how many.
    """
    here = {entry.name: entry.path for entry in os.scandir(book.runs_folder) if entry.is_dir()}
    rows = book.rows("SELECT run, folder, files, missing FROM runs")
    known = {row["folder"].rpartition("/")[2]: row for row in rows}
    marks = {name: _file_mark(path) for name, path in here.items()}
    todo = [
        name
        for name in sorted(here)
        if again or name not in known or known[name]["files"] != marks[name] or known[name]["missing"]
    ]
    gone = [row["run"] for name, row in known.items() if name not in here and (again or not row["missing"])]
    if not todo and not gone:
        return Taken()
    new: list[str] = []
    changed: list[str] = []
    unreadable: list[str] = []
    with book.writing(stamp):
        for number, name in enumerate(todo, start=1):
            try:
                run = _take_folder(book, Path(here[name]), marks[name], stamp, accept=accept)
            except (RunFolderError, OSError, ValueError, OverflowError) as error:  # one odd folder leaves the others
                unreadable.append(f"{name}: {error}")
            else:
                (changed if name in known else new).append(run)
            if progress is not None:
                progress(number, len(todo))
        for run in gone:
            book.connection.execute("UPDATE runs SET missing = 1 WHERE run = ?", (run,))
    return Taken(tuple(new), tuple(changed), tuple(gone), tuple(unreadable))


def _file_mark(folder: str) -> str:
    """Size and time of what tells whether a run folder changed."""
    try:
        state = os.stat(f"{folder}/seal.json")
    except OSError:
        parts = sorted(e.name for e in os.scandir(folder) if e.name.endswith((".csv", "run.json")))
        return "open " + " ".join(f"{name} {os.stat(f'{folder}/{name}').st_size}" for name in parts)
    return f"seal {state.st_size} {state.st_mtime_ns}"


def _take_folder(book: LogBook, folder: Path, mark: str, stamp: Stamp, *, accept: Container[str]) -> str:
    from soakwitness.firmware_bridge.runfolder import reader

    header = reader.read_header(folder)
    other = book.row("SELECT folder FROM runs WHERE run = ?", header.run)
    if other is not None and Path(other["folder"]).name != folder.name and Path(book.folder, other["folder"]).is_dir():
        raise RunFolderError(f"it is a copy of run {header.run}, which is here as {other['folder']}. Move it away.")
    try:
        seal = read_seal(folder)
    except RunFolderError:
        seal = None  # ``logbook check`` says what is wrong with it
    seen = book.row("SELECT seal FROM runs WHERE run = ?", header.run)
    _upsert_run(book, header, folder, mark, seal, reader.read_events(folder))
    if header.run not in accept and seen is not None and seen["seal"] not in (None, *(seal.known_as if seal else ())):
        # another seal than the one that was seen, and not its successor: ``logbook check`` is to tell of it
        book.connection.execute("UPDATE runs SET seal = ? WHERE run = ?", (seen["seal"], header.run))
    _replace_sensors(book, header)
    _replace_marks(book, header.run, folder)
    if seal is not None:
        _keep_head(book, seal, stamp)
    book.connection.execute("DELETE FROM figures WHERE run = ?", (header.run,))
    return header.run


def _upsert_run(
    book: LogBook, header: RunHeader, folder: Path, mark: str, seal: Seal | None, events: tuple[Event, ...]
) -> None:
    name, text, packet_text = header.recipe_name or "", header.recipe_file, header.packet_file
    digest = None if text is None else keep_recipe(book, name, text)
    packet = None if packet_text is None else keep_packet_file(book, header.packet_name or "", packet_text)
    values: dict[str, object] = {
        "run": header.run,
        "folder": f"runs/{folder.name}",
        "furnace": header.furnace_name,
        "started_utc": _utc(header.started_utc, folder),
        "ended_utc": next((_utc(e.utc, folder) for e in reversed(events) if e.event == "end"), None),
        "zone": header.zone,
        "operator": header.operator,
        "origin": header.origin,
        "software": header.software,
        "recipe_digest": digest,
        "packet_digest": packet,
        "recorder_id": seal.chain_id if seal else header.recorder_id,
        "recorder_counter": seal.chain_number if seal else None,
        "previous_seal": seal.previous if seal else None,
        "seal": seal.digest if seal else None,
        "files": mark,
        "missing": 0,
        "doubtful": doubt_of(events),
    }
    names = list(values)
    book.connection.execute(
        f"INSERT INTO runs ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}) "
        f"ON CONFLICT (run) DO UPDATE SET {', '.join(f'{n} = excluded.{n}' for n in names[1:])}",
        tuple(values.values()),
    )


def _utc(text: str, folder: Path) -> str:
    try:
        return utc_text(from_utc_text(text))
    except ValueError:
        raise RunFolderError(f"{folder}: {text!r} is no time. Take the folder from a copy of the log book.") from None


def _replace_sensors(book: LogBook, header: RunHeader) -> None:
    book.connection.execute("DELETE FROM run_sensors WHERE run = ?", (header.run,))
    for column in header.columns:
        if column.kind == "sensor":
            book.insert(
                "run_sensors",
                run=header.run,
                sensor=column.name,
                role=column.role or "",
                serial=column.serial,
                channel=column.channel,
                position=column.position,
                input_offset=to_kelvin(column.input_offset, column.unit),
                thermocouple=column.thermocouple,
                tolerance_class=column.tolerance_class,
            )


def _replace_marks(book: LogBook, run: str, folder: Path) -> None:
    from soakwitness.firmware_bridge.runfolder import reader

    book.connection.execute("DELETE FROM run_marks WHERE run = ?", (run,))
    for number, mark in enumerate(reader.read_marks(folder)):
        for piece in mark.pieces or (None,):
            book.insert(
                "run_marks",
                run=run,
                number=number,
                t_s=mark.t_s,
                act=mark.act,
                piece=piece,
                note=mark.note,
                entered_later=int(mark.entered_later),
                origin=mark.origin,
                within_s=mark.within_s,
                struck=int(mark.struck),
            )


def _keep_head(book: LogBook, seal: Seal, stamp: Stamp) -> None:
    """Keep the newest seal of each recorder: a run that vanishes after it was seen leaves a hole that shows."""
    book.connection.execute(
        "INSERT INTO chains (recorder_id, counter, seal, run, seen_utc) VALUES (?, ?, ?, ?, ?) "
        "ON CONFLICT (recorder_id) DO UPDATE SET counter = excluded.counter, seal = excluded.seal, run = excluded.run, "
        "seen_utc = excluded.seen_utc WHERE excluded.counter >= counter",
        (seal.chain_id, seal.chain_number, seal.digest, seal.run, stamp.at_utc),
    )


def keep_recipe(book: LogBook, name: str, text: str) -> str:
    """Keep a recipe's text once; return its digest, the SHA-256 of the text."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    book.connection.execute("INSERT OR IGNORE INTO recipes (digest, name, text) VALUES (?, ?, ?)", (digest, name, text))
    return digest


def give_recipe(
    book: LogBook, run: str, name: str, text: str, *, stamp: Stamp, packet: tuple[str, str] | None = None
) -> str:
    """Say by which recipe a run is to be judged from now on (instead of the one it was recorded with).

    ``packet`` is name and text of the packet file that the recipe names. Returns the recipe's digest.
    """
    with book.writing(stamp):
        digest = keep_recipe(book, name, text)
        packet_digest = None if packet is None else keep_packet_file(book, *packet)
        entry = run_named(book, run)
        if entry.recipe_digest != digest or packet_digest not in (None, entry.packet_digest):
            book.insert(
                "run_recipes",
                run=run,
                recipe_digest=digest,
                packet_digest=packet_digest,
                entered_utc=stamp.at_utc,
                entered_by=stamp.by,
            )
    return digest


def recipe_text(book: LogBook, digest: str) -> str:
    """Text of a recipe that the log book keeps."""
    row = book.row("SELECT text FROM recipes WHERE digest = ?", digest)
    if row is None:
        says = f"The log book has no recipe {digest[:12]}. Run:"
        raise LogBookError(joined([says, NextCommand.of("logbook", "rebuild")]))
    return str(row["text"])


FROM_RUNS = (
    "FROM runs r "
    "LEFT JOIN run_recipes g ON g.entry = "
    "(SELECT max(entry) FROM run_recipes WHERE run = r.run AND struck_utc IS NULL) "
    "LEFT JOIN recipes c ON c.digest = coalesce(g.recipe_digest, r.recipe_digest) "
    "LEFT JOIN verdicts v ON v.run = r.run AND v.recipe_digest = coalesce(g.recipe_digest, r.recipe_digest) "
    "LEFT JOIN figures f ON f.run = r.run "
)
_LISTED = (
    "SELECT r.*, coalesce(g.recipe_digest, r.recipe_digest) AS judged_by, c.name AS recipe_name, "
    "coalesce(g.packet_digest, r.packet_digest) AS packed_as, "
    "CASE WHEN f.run IS NULL THEN NULL ELSE v.verdict END AS verdict, "
    "CASE WHEN f.run IS NULL THEN NULL ELSE v.analysis_version END AS rules "
) + FROM_RUNS


STANDS = "r.run IN (SELECT run FROM standing_runs)"


def list_runs(
    book: LogBook,
    *,
    furnace: str | None = None,
    since_utc: str | None = None,
    until_utc: str | None = None,
    newest: int | None = None,
) -> tuple[RunEntry, ...]:
    """Runs in the order of their start; those struck out, and doubtful ones, are left out.

    ``since_utc``, ``until_utc``: only those that started then or later, and before then. Returns the runs, each with
    its kept verdict where one is up to date.
    """
    rows = book.rows(
        _LISTED
        + f"WHERE {STANDS} AND (?1 IS NULL OR furnace = ?1 COLLATE NOCASE) AND (?2 IS NULL OR started_utc >= ?2) "
        "AND (?3 IS NULL OR started_utc < ?3) ORDER BY started_utc DESC, r.run DESC LIMIT ?4",
        furnace,
        since_utc,
        until_utc,
        -1 if newest is None else newest,
    )
    return tuple(_entry(book, row) for row in reversed(rows))


def runs_listed(book: LogBook, runs: Iterable[str]) -> tuple[RunEntry, ...]:
    """Entries of these runs, in that order; unknown ones are left out."""
    found = (book.row(_LISTED + "WHERE r.run = ?", run) for run in runs)
    return tuple(_entry(book, row) for row in found if row is not None)


def run_named(book: LogBook, name: str) -> RunEntry:
    """Run by its id, the beginning or end of it, its folder, or ``last``: the one last made or imported.

    Raises LogBookError if there is none, or several begin so.
    """
    text = Path(name).name if os.sep in name else name
    if text == "last":
        made = last_made(book.folder, leave_out={*struck_runs(book), *doubtful_runs(book)})
        rows = book.rows(_LISTED + "WHERE r.run = ?", "" if made is None else run_id(made)) or book.rows(
            _LISTED + f"WHERE {STANDS} ORDER BY started_utc DESC, r.run DESC LIMIT 1"
        )
    else:
        rows = book.rows(_LISTED + "WHERE r.run = ?1 OR folder = 'runs/' || ?1", text) or book.rows(
            _LISTED + "WHERE substr(r.run, 1, length(?1)) = ?1 OR substr(r.run, -length(?1) - 1) = '_' || ?1 "
            "ORDER BY r.run LIMIT 9",
            text,
        )
    if len(rows) == 1:
        return _entry(book, rows[0])
    if rows:
        raise LogBookError(f"{name}: several runs begin so, such as {rows[0]['run']} and {rows[1]['run']}. Give more.")
    hint = copied_in(book, name) or joined(["List them with:", NextCommand.of("runs")])
    raise LogBookError(joined([f"{name}: no such run in {book.folder}.", hint]))


def copied_in(book: LogBook, name: str) -> Says | None:
    """How a run folder that lies elsewhere comes into the log book; None where the name is no run folder."""
    if not (Path(name) / "run.json").is_file():
        return None
    return joined(
        [f"It is a run folder: copy it into {book.folder / 'runs'}, then:", NextCommand.of("logbook", "rebuild")]
    )


def find_run_entry(book: LogBook, name: str) -> RunEntry | None:
    """Run as ``run_named`` finds it, or None."""
    try:
        return run_named(book, name)
    except LogBookError:
        return None


def furnaces(book: LogBook) -> tuple[str, ...]:
    """Names of all furnaces that have runs, the latest used first."""
    rows = book.rows("SELECT furnace FROM standing_runs GROUP BY furnace ORDER BY max(started_utc) DESC")
    return tuple(row["furnace"] for row in rows)


def _entry(book: LogBook, row: sqlite3.Row) -> RunEntry:
    return RunEntry(
        run=row["run"],
        folder=book.folder / row["folder"],
        furnace=row["furnace"],
        started_utc=row["started_utc"],
        ended_utc=row["ended_utc"],
        zone=row["zone"],
        operator=row["operator"],
        origin=row["origin"],
        software=row["software"],
        recipe_digest=row["judged_by"],
        recipe_name=row["recipe_name"],
        seal=row["seal"],
        missing=bool(row["missing"]),
        verdict=row["verdict"],
        rules=row["rules"],
        packet_digest=row["packed_as"],
    )
