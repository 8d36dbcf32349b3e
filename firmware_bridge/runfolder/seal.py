"""``seal.json``: the digests of a finished run, chained to the seal before it by the same recorder.

The seal shows accidents and careless edits, not forgery: who can write the folder can make a new seal.

A seal's own digest is the SHA-256 of ``seal.json`` with 64 zeros where the digest stands. Marks that are entered or
struck out after the end are appended to ``events.csv`` and the run is sealed again: the new seal keeps, under
``former``, the digest of each seal before it and how many bytes of ``events.csv`` that one covered, so that the
appended part can be told from the first one. All else stays as it was: a former seal can be written again out of the
new one, and its digest shows whether that grew out of it.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.common.jsontext import from_json
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.files import open_regular, read_small

SEAL_FORMAT = "1.0"
_MOST_BYTES = 64 << 20
_ZEROS = "0" * 64
_LATER_KEYS = ("changed",)  # which seals of the first releases do not have
_SEGMENT = re.compile(r"samples(?:-([1-9]\d*))?\.csv")


@dataclass(frozen=True)
class FormerSeal:
    """A seal that this one replaced, because something was entered later."""

    digest: str
    sealed_utc: str
    events_bytes: int
    events_sha256: str


@dataclass(frozen=True)
class Seal:
    """``seal.json``. ``files`` maps a name to its SHA-256; ``good`` lists (segment, start, stop, rows).

    ``changed`` says what another program did while the run was recorded, and what is missing since; ``grew_from`` are
    digests of former seals that it grew out of by marks alone: who forges a record can name a seal, but not make it.
    """

    run: str
    sealed_utc: str
    rows: int
    events: int
    events_bytes: int
    files: Mapping[str, str]
    good: tuple[tuple[str, int, int, int], ...]
    bad_rows: tuple[tuple[str, int, str], ...]
    torn_tail: bool
    says: tuple[str, ...]
    changed: tuple[str, ...]
    chain_id: str
    chain_number: int
    previous: str | None
    former: tuple[FormerSeal, ...]
    grew_from: tuple[str, ...]
    digest: str

    @property
    def known_as(self) -> tuple[str, ...]:
        """Digests under which another seal may have named this one as the one before it."""
        return (self.digest, *self.grew_from)


def segments(path: Path) -> list[Path]:
    """Sample segments of a run folder, in the order in which they are read."""
    numbered = ((_SEGMENT.fullmatch(file.name), file) for file in path.iterdir())
    return [file for _, file in sorted((int(hit[1] or 1), file) for hit, file in numbered if hit)]


def sealed_names(path: Path) -> list[str]:
    """Names of all files that a seal of this folder covers, in the order in which differences are told."""
    original = path / "original"
    kept = sorted(file for file in original.rglob("*") if file.is_file()) if original.is_dir() else []
    names = ["run.json", *(file.name for file in segments(path)), "events.csv"]
    return names + [file.relative_to(path).as_posix() for file in kept]


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes, as hex."""
    with open_regular(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def seal_text(said: dict[str, Any]) -> str:
    """``seal.json`` as text, its own digest filled in."""
    return _blank(said).replace(_ZEROS, _digest(said))


def _blank(said: dict[str, Any]) -> str:
    return json.dumps({**said, "digest": _ZEROS}, indent=1, ensure_ascii=False) + "\n"


def _digest(said: dict[str, Any]) -> str:
    return hashlib.sha256(_blank(said).encode()).hexdigest()


def read_seal(path: Path) -> Seal | None:
    """Seal of a run folder, None where there is none.

    Raises RunFolderError if ``seal.json`` is damaged or was changed.
    """
    file = path / "seal.json"
    try:
        data = read_small(file, _MOST_BYTES)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise RunFolderError(f"{file} cannot be read: {error.strerror or error}.") from None
    try:
        said = from_json(data)
        seal = _parse(said, _grew_from(path, said))
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        raise RunFolderError(f"{file} is damaged.") from None
    blank = data.replace(seal.digest.encode(), _ZEROS.encode())
    if hashlib.sha256(blank).hexdigest() != seal.digest:
        raise RunFolderError(f"{file} was changed: its own digest does not hold.")
    return seal


def _parse(said: dict[str, Any], grew_from: tuple[str, ...]) -> Seal:
    chain = said["chain"]
    return Seal(
        run=str(said["run"]),
        sealed_utc=str(said["sealed_utc"]),
        rows=int(said["rows"]),
        events=int(said["events"]),
        events_bytes=int(said["events_bytes"]),
        files={str(name): str(digest) for name, digest in said["files"].items()},
        good=tuple((str(a), int(b), int(c), int(d)) for a, b, c, d in said["good"]),
        bad_rows=tuple((str(a), int(b), str(c)) for a, b, c in said["bad_rows"]),
        torn_tail=bool(said["torn_tail"]),
        says=tuple(str(words) for words in said.get("says", ())),
        changed=tuple(str(words) for words in said.get("changed", ())),
        chain_id=str(chain["id"]),
        chain_number=int(chain["number"]),
        previous=None if chain["previous"] is None else str(chain["previous"]),
        former=tuple(FormerSeal(**seal) for seal in said["former"]),
        grew_from=grew_from,
        digest=str(said["digest"]),
    )


def _grew_from(path: Path, said: dict[str, Any]) -> tuple[str, ...]:
    """Digests of the former seals, from the last one back, that come out when they are written again."""
    if not said["former"]:
        return ()
    try:
        with open_regular(path / "events.csv") as file:
            events = file.read()
    except OSError:
        return ()
    last_first = range(len(said["former"]) - 1, -1, -1)
    held = itertools.takewhile(lambda number: _is_former(said, number, events), last_first)
    return tuple(str(said["former"][number]["digest"]) for number in held)[::-1]


def _is_former(said: dict[str, Any], number: int, events: bytes) -> bool:
    """Whether the seal without the events entered since has the digest of its former seal of this number."""
    former = said["former"][number]
    before = said | {
        "sealed_utc": former["sealed_utc"],
        "events_bytes": former["events_bytes"],
        "files": said["files"] | {"events.csv": former["events_sha256"]},
        "former": said["former"][:number],
    }
    forms = [before, {key: value for key, value in before.items() if key not in _LATER_KEYS or value}]
    least = int(said["events"]) - events[former["events_bytes"] : said["events_bytes"]].count(b"\n")
    counts = range(least, least + 3)  # the end of a line that was cut when it was sealed is no event
    return any(_digest(form | {"events": count}) == former["digest"] for count in counts for form in forms)


def differences(path: Path, seal: Seal) -> list[str]:
    """Names of the files that are not what the seal says, missing and added ones included."""
    here = sealed_names(path)
    missing = [name for name in seal.files if name not in here]
    changed = [name for name in here if not _same(path / name, seal.files.get(name))]
    grown = ["events.csv"] if not changed and not _former_hold(path, seal.former) else []
    return changed + missing + grown


def _same(file: Path, digest: str | None) -> bool:
    try:
        return digest is not None and file_sha256(file) == digest
    except OSError:
        return False


def _former_hold(path: Path, former: Sequence[FormerSeal]) -> bool:
    """Whether ``events.csv`` still begins with what each former seal covered."""
    if not former:
        return True
    with open_regular(path / "events.csv") as file:
        data = file.read()
    return all(hashlib.sha256(data[: seal.events_bytes]).hexdigest() == seal.events_sha256 for seal in former)
