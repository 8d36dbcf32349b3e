"""The numbers of a run's good rows: plain decimals by arithmetic on whole columns, any other row by pandas.

Every row that a recorder or an import writes is plain; pandas need not even be loaded for those. Where any cell is
written otherwise (text, an exponent, another number of cells), pandas reads all rows, and its rules hold.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from soakwitness.analysis.decimals import FloatArray, plain_columns
from soakwitness.firmware_bridge.runfolder.model import ByteRange

if TYPE_CHECKING:
    import pandas as pd

_AT_ONCE = 1 << 19


def read_rows(ranges: Sequence[ByteRange], names: Sequence[str]) -> dict[str, FloatArray]:
    """Numbers of ``t_s`` and the columns ``names``, NaN where a cell holds none; ``utc`` and ``crc`` are skipped."""
    wanted = ["t_s", *names]
    rows = sum(part.rows for part in ranges)
    if not rows:
        return {name: np.empty(0) for name in wanted}
    plain = _plain(ranges, len(names), rows)
    return dict(zip(wanted, plain, strict=True)) if plain is not None else _by_pandas(ranges, names)


def _plain(ranges: Sequence[ByteRange], columns: int, rows: int) -> list[FloatArray] | None:
    """The columns, or None where a row is not plain or there are not as many as the check of the record counted."""
    cells, wanted = columns + 3, [0, *range(2, columns + 2)]
    numbers = [np.empty(rows) for _ in wanted]
    done = 0
    for block in _blocks(ranges):
        some = plain_columns(block, cells, wanted)
        if some is None or done + some[0].size > rows:
            return None
        for column, part in zip(numbers, some, strict=True):
            column[done : done + part.size] = part
        done += some[0].size
    return numbers if done == rows else None


def _blocks(ranges: Sequence[ByteRange]) -> Iterator[bytes]:
    """The good rows in blocks of whole rows."""
    rest = b""
    with io.BufferedReader(_Rows(ranges), _AT_ONCE) as stream:
        while block := stream.read(_AT_ONCE):
            whole = block.rfind(b"\n") + 1
            if whole:
                yield rest + block[:whole]
                rest = block[whole:]
            else:
                rest += block


class _Rows(io.RawIOBase):
    """The good rows of all segments as one stream of bytes, read as they are asked for.

    Each range ends in a line feed: the last row of a segment may have lost its own.
    """

    def __init__(self, ranges: Sequence[ByteRange]) -> None:
        self._chunks = self._read(ranges)
        self._rest = b""

    def readable(self) -> bool:
        """Say that this is a stream for reading."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill ``buffer`` with the next bytes; 0 at the end."""
        rest = self._rest or next(self._chunks, b"")
        count = min(len(buffer), len(rest))
        buffer[:count] = rest[:count]
        self._rest = rest[count:]
        return count

    @staticmethod
    def _read(ranges: Sequence[ByteRange]) -> Iterator[bytes]:
        for segment, parts in groupby(ranges, key=lambda part: part.segment):
            with segment.open("rb") as file:
                for part in parts:
                    file.seek(part.start)
                    left, chunk = part.stop - part.start, b"\n"
                    while left and (more := file.read(min(left, _AT_ONCE))):
                        chunk = more
                        left -= len(chunk)
                        yield chunk
                    if not chunk.endswith(b"\n"):
                        yield b"\n"


def _by_pandas(ranges: Sequence[ByteRange], names: Sequence[str]) -> dict[str, FloatArray]:
    """Parse the rows with pandas, text and infinity as NaN."""
    try:
        table = _parse(ranges, names, "float64")
    except ValueError:  # a cell that is no number: only then pay for looking at each
        table = _parse(ranges, names, "str")
    return {name: _numbers(table[name]) for name in ("t_s", *names)}


def _parse(ranges: Sequence[ByteRange], names: Sequence[str], dtype: str) -> pd.DataFrame:
    import pandas as pd

    every = ["t_s", "utc", *names, "crc"]
    with io.BufferedReader(_Rows(ranges), _AT_ONCE) as stream:
        return pd.read_csv(
            stream, header=None, names=every, usecols=["t_s", *names], dtype=dtype, index_col=False, engine="c"
        )


def _numbers(column: pd.Series[Any]) -> FloatArray:
    """Return finite numbers or NaN: text and infinity are no readings."""
    import pandas as pd

    text = column.dtype != np.float64
    numbers: FloatArray = np.asarray(pd.to_numeric(column, errors="coerce") if text else column, dtype=np.float64)
    wild = np.isinf(numbers)
    return np.where(wild, np.nan, numbers) if wild.any() else numbers
