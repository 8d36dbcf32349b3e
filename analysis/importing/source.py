"""A foreign log as lines of text, whatever it was saved as: encodings, and spreadsheets through pandas."""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from soakwitness.analysis.errors import ImportFileError

SAMPLE_BYTES = 1 << 18
_SPREADSHEET = (".xlsx", ".xlsm")
_NOTHING = b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"


@dataclass(frozen=True)
class Source:
    """A log's file: its size, its encoding, its first lines.

    ``sheet`` holds the lines of a spreadsheet, else None; ``unfinished`` says that the last line has no end.
    """

    path: Path
    size: int
    encoding: str
    beginning: tuple[str, ...]
    sheet: tuple[str, ...] | None = field(default=None, repr=False)
    unfinished: bool = False

    @property
    def separator(self) -> str | None:
        """What parts the cells where that needs no finding out."""
        return None if self.sheet is None else "\t"

    @contextlib.contextmanager
    def lines(self) -> Iterator[tuple[Iterator[str], Callable[[], float]]]:
        """All lines without their ends, and a function that tells the share of the file that was read."""
        if self.sheet is not None:
            yield iter(self.sheet), lambda: 1.0
            return
        with (
            self.path.open("rb") as raw,
            io.TextIOWrapper(raw, encoding=self.encoding, errors="replace") as text,
        ):
            yield (line.removesuffix("\n") for line in text), lambda: raw.tell() / max(1, self.size)


def open_source(path: Path) -> Source:
    """Look at a log's file.

    Raises ImportFileError if it is missing, a folder, empty, no text, or a spreadsheet that nothing here can read.
    """
    try:
        if path.is_dir():
            raise ImportFileError(f"{path} is a folder. Give the log file itself.")
        with path.open("rb") as file:
            sample = file.read(SAMPLE_BYTES)
            size = file.seek(0, 2)
            file.seek(max(0, size - 2))
            end = file.read()
    except FileNotFoundError:
        raise ImportFileError(f"{path}: there is no such file. Check the name and the folder.") from None
    except OSError as error:
        raise ImportFileError(f"{path}: cannot be read ({error.strerror}).") from None
    if not sample.strip(_NOTHING):
        raise ImportFileError(f"{path} is empty: it holds no column names and no readings.")
    if sample.startswith(b"PK\x03\x04") and path.suffix.lower() in _SPREADSHEET:
        sheet = tuple(_sheet_lines(path))
        return Source(path, size, "spreadsheet", sheet[:2000], sheet)
    encoding = _encoding(path, sample)
    lines = sample.decode(encoding, "replace").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    unfinished = not end.strip(b"\0").endswith((b"\n", b"\r"))
    return Source(path, size, encoding, tuple(lines if size <= SAMPLE_BYTES else lines[:-1]), unfinished=unfinished)


def cells_of(line: str, separator: str, columns: int = 0) -> list[str]:
    """Cells of one line, blanks around them included.

    A quote that is not closed on its line takes no other line with it; where it would take other cells of its own
    line, so that fewer than ``columns`` are left, it is no quote.
    """
    if separator == " ":
        return line.split()
    if '"' not in line:
        return line.split(separator)
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:  # a cell of over 128 kB
        cells = line.split(separator)
    if len(cells) < columns and line.count('"') % 2:
        cells = line.split(separator)
    return cells


def stripped_cells(line: str, separator: str, columns: int = 0) -> list[str]:
    """Cells of one line as ``cells_of`` finds them, without blanks around them."""
    return [cell.strip() for cell in cells_of(line, separator, columns)]


def _encoding(path: Path, sample: bytes) -> str:
    if sample.startswith(b"PK\x03\x04") or sample.startswith(b"\xd0\xcf\x11\xe0"):
        raise ImportFileError(
            f"{path} is a spreadsheet or archive, not a text file. Save it as CSV text, or as .xlsx, first."
        )
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


def _sheet_lines(path: Path) -> Iterator[str]:
    """The first sheet's rows, cells parted by tabs."""
    import pandas as pd

    try:
        with warnings.catch_warnings():  # of styles and extensions that a table of readings does not need
            warnings.simplefilter("ignore", UserWarning)
            table = pd.read_excel(path, header=None, dtype=object, engine="openpyxl", keep_default_na=False)
    except ImportError:
        raise ImportFileError(
            f"{path} is a spreadsheet, and what reads it is not installed. Install it with: pip install openpyxl. "
            "Or save the sheet as CSV text."
        ) from None
    except Exception as error:  # whatever a damaged archive makes its reader stumble over
        raise ImportFileError(f"{path}: the spreadsheet cannot be read ({error}). Save it as CSV text.") from None
    for row in table.itertuples(index=False):
        yield "\t".join(_cell_text(value) for value in row)


def _cell_text(value: Any) -> str:
    """A cell as a log would write it: moments as ISO 8601 to the millisecond, lengths of time as H:MM:SS."""
    if value is None or value != value:
        return ""
    if isinstance(value, datetime):
        rounded = value + timedelta(microseconds=500)
        return rounded.isoformat(sep=" ", timespec="milliseconds")
    if isinstance(value, timedelta):
        seconds = round(value.total_seconds(), 3)
        return f"{int(seconds // 3600)}:{int(seconds // 60 % 60):02d}:{seconds % 60:06.3f}"
    if isinstance(value, (date, time)):
        return value.isoformat()
    return repr(value) if isinstance(value, float) else " ".join(str(value).split())
