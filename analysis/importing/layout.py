"""How a foreign log is written: encoding, separator, decimal sign, and the line with the column names."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.errors import ImportFileError

SEPARATORS = (",", ";", "\t", "|")
SAMPLE_BYTES = 1 << 18
HEADER_WITHIN = 100  # lines of remarks before the column names that are looked at
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)*(?:[eE][-+]?\d+)?")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+")
_POSITION = re.compile(r"#([1-9]\d*)")


@dataclass(frozen=True)
class Layout:
    """How one file is written. ``header_line`` counts from 1, 0: the file has no column names."""

    path: Path
    size: int
    encoding: str
    separator: str
    decimal: str
    thousands: str | None
    header_line: int
    names: tuple[str, ...]
    places: tuple[int, ...]  # of the wanted columns, in the order asked for


def find_layout(
    path: Path, wanted: Sequence[str], *, separator: str | None = None, decimal: str | None = None, times: int = 1
) -> Layout:
    """Find out how a log is written, from its beginning and the names of the wanted columns.

    ``wanted``: columns by name, or by position as ``#1``, ``#2``. ``times``: how many of the wanted columns, from the
    first, hold times. Returns the layout, with the place of each wanted column.

    Raises ImportFileError if the file is missing, empty or no text, or has no such column (the message lists those
    there are).
    """
    size, encoding, lines = _beginning(path)
    tried = [separator] if separator else list(SEPARATORS)
    hits = [hit for sep in tried if (hit := _header_with(lines, sep, wanted)) is not None]
    if hits:
        line, sep = min(hits, key=lambda hit: (hit[0], -len(_cells(lines[hit[0]], hit[1]))))
    else:
        line, sep = _likely_header(lines, tried)
    names = tuple(_cells(lines[line], sep))
    no_names = all(_POSITION.fullmatch(name) for name in wanted) and _numeric(names) > 0
    places = _places(path, names, wanted, 0 if no_names else line + 1)
    start = line if no_names else line + 1
    rows = [cells for text in lines[start : start + 2000] if len(cells := _cells(text, sep)) > max(places)]
    found, thousands = _decimal(rows, places[times:], decimal)
    return Layout(path, size, encoding, sep, found, thousands, start if not no_names else 0, names, places)


def column_names(path: Path, *, separator: str | None = None) -> str:
    """List the columns that a log seems to have.

    Returns such as ``Columns in log.csv, line 3: 'Time', 'Temp1'.``.

    Raises ImportFileError if the file is missing, empty or no text.
    """
    _, _, lines = _beginning(path)
    line, sep = _likely_header(lines, [separator] if separator else list(SEPARATORS))
    return f"Columns in {path.name}, line {line + 1}: {_listed(_cells(lines[line], sep))}."


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(name) for name in names[:40]) + (" and more" if len(names) > 40 else "")


def _beginning(path: Path) -> tuple[int, str, list[str]]:
    """Size, encoding and first lines of a file."""
    try:
        if path.is_dir():
            raise ImportFileError(f"{path} is a folder. Give the log file itself.")
        with path.open("rb") as file:
            sample = file.read(SAMPLE_BYTES)
        size = path.stat().st_size
    except FileNotFoundError:
        raise ImportFileError(f"{path}: there is no such file. Check the name and the folder.") from None
    except OSError as error:
        raise ImportFileError(f"{path}: cannot be read ({error.strerror}).") from None
    if not sample.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise ImportFileError(f"{path} is empty: it holds no column names and no readings.")
    encoding = _encoding(path, sample)
    text = sample.decode(encoding, "replace")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return size, encoding, lines if size <= SAMPLE_BYTES else lines[:-1]


def _encoding(path: Path, sample: bytes) -> str:
    if sample.startswith(b"PK\x03\x04") or sample.startswith(b"\xd0\xcf\x11\xe0"):
        raise ImportFileError(f"{path} is a spreadsheet or archive, not a text file. Save it as CSV text first.")
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    for encoding, odd in (("utf-16-le", sample[1:400:2]), ("utf-16-be", sample[0:400:2])):
        if len(odd) > 8 and odd.count(0) > 0.9 * len(odd):
            return encoding
    strange = sum(byte < 9 or 13 < byte < 32 for byte in sample)
    if b"\x00" in sample or strange > 0.01 * len(sample):
        raise ImportFileError(f"{path} is no text file (it holds binary data). Export the log as CSV text first.")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _cells(line: str, separator: str) -> list[str]:
    return [
        cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=separator, skipinitialspace=True), [])
    ]


def _header_with(lines: Sequence[str], separator: str, wanted: Sequence[str]) -> tuple[int, str] | None:
    """Line and separator of a header that holds all wanted names (positions: enough cells)."""
    for place, line in enumerate(lines[:HEADER_WITHIN]):
        cells = _cells(line, separator)
        if len(cells) > 1 and all(_place(cells, name) is not None for name in wanted):
            return place, separator
    return None


def _likely_header(lines: Sequence[str], separators: Sequence[str]) -> tuple[int, str]:
    """Guess the header: the first line with as many cells as most lines have."""
    best = (0, 0, separators[0])
    for sep in separators:
        counts = Counter(len(_cells(line, sep)) for line in lines[:500] if line.strip())
        usual, often = counts.most_common(1)[0]
        if usual > 1 and often * usual > best[0]:
            place = next(k for k, line in enumerate(lines) if len(_cells(line, sep)) == usual)
            best = (often * usual, place, sep)
    return best[1], best[2]


def _place(names: Sequence[str], wanted: str) -> int | None:
    if wanted in names:
        return list(names).index(wanted)
    position = _POSITION.fullmatch(wanted)
    return int(position[1]) - 1 if position and int(position[1]) <= len(names) else None


def _places(path: Path, names: Sequence[str], wanted: Sequence[str], line: int) -> tuple[int, ...]:
    places = []
    for name in wanted:
        place = _place(names, name)
        if place is None:
            where = f"line {line}" if line else "the first line"
            raise ImportFileError(f"{path}: no column {name!r}. Columns in {where}: {_listed(names)}.")
        if names.count(name) > 1:
            spots = ", ".join(f"#{k + 1}" for k, n in enumerate(names) if n == name)
            raise ImportFileError(
                f"{path}: the column {name!r} is there more than once. Say which by position: {spots}."
            )
        places.append(place)
    return tuple(places)


def _numeric(cells: Sequence[str]) -> int:
    return sum(bool(_NUMBER.fullmatch(cell)) for cell in cells)


def _decimal(rows: Sequence[Sequence[str]], places: Sequence[int], given: str | None) -> tuple[str, str | None]:
    """Return the decimal sign and the sign between thousands, from the cells of the wanted columns."""
    cells = [row[place] for row in rows for place in places if _NUMBER.fullmatch(row[place])]
    both = [cell for cell in cells if "," in cell and "." in cell]
    other = {",": ".", ".": ","}
    if given:
        return given, other[given] if any(other[given] in cell for cell in cells) else None
    if both:
        last = "," if both[0].rfind(",") > both[0].rfind(".") else "."
        return last, other[last]
    commas = [cell for cell in cells if "," in cell]
    if commas and len(commas) < len(cells) and all(_THOUSANDS.fullmatch(cell) for cell in commas):
        return ".", ","  # 950 and 1,050: a decimal comma would stand in every cell
    return ("," if commas else "."), None
