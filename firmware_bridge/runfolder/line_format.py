"""Bytes of ``samples.csv`` and ``events.csv``: cells, rows and the checksum that runs through them.

The checksum cell of a row is the CRC-32 (ISO-HDLC, ``zlib.crc32``) of the row's bytes before the comma in front of
that cell, continued from the checksum of the row before; the first row continues the header's. A checksum is written
as eight lower-case hex digits and compared as text.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from zlib import crc32

from soakwitness.firmware_bridge.errors import RunFolderError

EVENT_COLUMNS = ("t_s", "utc", "event", "detail")
CELL_LENGTH = 10  # comma, eight digits, line feed
_RESERVED = frozenset(("t_s", "utc", "crc"))
_UNFIT = re.compile(r'[,"\x00-\x1f\x7f]')
_CELL = r'("[^"]*(?:""[^"]*)*"|(?!")[^,]*)'
_EVENT = re.compile(",".join([_CELL] * 5), re.DOTALL)

Value = float | str | None


def header_line(columns: Iterable[str]) -> bytes:
    r"""Header of ``samples.csv`` for these columns, with its line feed.

    >>> header_line(["control"])
    b't_s,utc,control,crc\n'
    """
    names = list(columns)
    for name in names:
        if not name.strip() or name in _RESERVED or _UNFIT.search(name):
            raise RunFolderError(
                f"column name {name!r}: a name may not be empty, t_s, utc or crc, nor hold a comma, a quote or a "
                "control character. Rename it."
            )
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise RunFolderError(f"column name {twice!r} stands there twice. Give each column its own name.")
    return ",".join(["t_s", "utc", *names, "crc"]).encode() + b"\n"


def events_header() -> bytes:
    """Header of ``events.csv``."""
    return ",".join([*EVENT_COLUMNS, "crc"]).encode() + b"\n"


def header_crc(line: bytes) -> int:
    """Checksum from which the first row goes on: of the header before ``,crc``."""
    return crc32(line.rpartition(b",")[0])


def row_bytes(body: bytes, previous: int) -> tuple[bytes, int]:
    """A whole row with checksum and line feed, and its checksum."""
    crc = crc32(body, previous)
    return b"%b,%08x\n" % (body, crc), crc


def number_text(value: float) -> str:
    """A number as a plain decimal, at most six places; empty where it is not finite.

    >>> number_text(123.40000000000001), number_text(20.0), number_text(float("nan"))
    ('123.4', '20', '')
    """
    if not math.isfinite(value):
        return ""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def time_text(t_s: float) -> str:
    """Seconds with three places; never a minus zero."""
    return f"{round(t_s, 3) + 0.0:.3f}"


def utc_text(moment: datetime | float) -> str:
    """ISO 8601 in UTC with milliseconds, from a datetime with a zone or from seconds since 1970.

    >>> utc_text(0.25)
    '1970-01-01T00:00:00.250Z'
    """
    if isinstance(moment, datetime):
        if moment.tzinfo is None:
            raise RunFolderError(f"{moment.isoformat()}: a time without a zone. Give it one.")
        moment = moment.timestamp()
    whole = datetime.fromtimestamp(round(moment * 1000) / 1000, UTC)
    return whole.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def read_utc(text: str) -> float:
    """Seconds since 1970 of an ISO 8601 time with a zone; NaN where it is none."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return math.nan
    return math.nan if moment.tzinfo is None else moment.timestamp()


def cell(value: Value) -> str:
    """One cell of ``samples.csv``: a number, a cell that is formatted already, or nothing."""
    if value is None:
        return ""
    return value if isinstance(value, str) else number_text(value)


def sample_body(t_s: float, utc: str, columns: Sequence[str], values: Mapping[str, Value]) -> bytes:
    """Bytes of a sample row before its checksum; a column without a value is left empty."""
    cells = [cell(values.get(name)) for name in columns]
    return ",".join([time_text(t_s), utc, *cells]).encode()


def event_body(t_s: float, utc: str, event: str, detail: str) -> bytes:
    """Bytes of an event row before its checksum; line breaks become blanks, what is no character is written out."""
    out = io.StringIO()
    line = [" ".join(part.split("\n")).replace("\r", " ") for part in (event, detail)]
    csv.writer(out, lineterminator="").writerow([time_text(t_s), utc, *line])
    return out.getvalue().encode("utf-8", "backslashreplace")


def event_cells(row: str) -> tuple[str, ...] | None:
    """Cells of an event row, checksum included, whatever their length; None where they are not five."""
    hit = _EVENT.fullmatch(row)
    if hit is None:
        return None
    return tuple(cell[1:-1].replace('""', '"') if cell.startswith('"') else cell for cell in hit.groups())
