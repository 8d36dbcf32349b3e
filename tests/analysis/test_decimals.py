"""Plain decimals out of bytes: the same double that Python's own ``float`` makes of the same characters."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.decimals import plain_columns
from soakwitness.firmware_bridge.runfolder.format import number_text, time_text


def column(*cells: str) -> list[float] | None:
    """What is read of one column of cells, between two that are not wanted."""
    rows = "".join(f"x,{cell},y\n" for cell in cells).encode()
    found = plain_columns(rows, 3, [1])
    return None if found is None else found[0].tolist()


def bits(number: float) -> bytes:
    return struct.pack("<d", number)


@pytest.mark.parametrize(
    "cell",
    ["0", "7", "20", "1040.3", "-5.3", "-0", "-0.0", "0.000001", "12345.600", "123456.600", "1234567.890123", ".5",
     "5.", "-.5", "007.50", "999999999999999", "-999999999999999", "12345678.1234567", "99999999", "100000000"],
)  # fmt: skip
def test_a_plain_cell_is_what_python_reads(cell: str) -> None:
    read = column(cell, "1", cell)
    assert read is not None
    assert [bits(number) for number in read] == [bits(float(cell)), bits(1.0), bits(float(cell))]


@pytest.mark.parametrize(
    "cell",
    ["-", ".", "-.", "--5", "5-", "1.2.3", "1e3", "+5", " 5", "5 ", "nan", "inf", "1/2", "./", "/.", "1:2", '"5"',
     "5\r", "1234567890123456", "1.23456789", "12345678901234567.5", "5\0", "0x10", "\N{DEGREE SIGN}", "1_0", "3,4",
     "3\n4"],
)  # fmt: skip
def test_any_other_cell_is_left_to_who_knows(cell: str) -> None:
    assert column("20.5", cell, "21.5") is None


def test_an_empty_cell_is_no_reading() -> None:
    read = column("", "20.5", "")
    assert read is not None
    assert [math.isnan(number) for number in read] == [True, False, True]


def test_rows_with_another_number_of_cells_are_left() -> None:
    assert plain_columns(b"1,2,3\n4,5\n6\n", 3, [0]) is None
    assert plain_columns(b"1,2\n3,4,5,6\n", 3, [0]) is None
    assert plain_columns(b"1,2,3\n\n", 3, [0]) is None
    assert plain_columns(b"1,2,3", 3, [0]) is None


def test_each_column_stands_where_it_was_asked() -> None:
    found = plain_columns(b"0.5,a,1,22.25,crc\n1.5,b,,-3,crc\n", 5, [0, 2, 3])
    assert found is not None
    assert np.array_equal(found, [[0.5, 1.5], [1.0, np.nan], [22.25, -3.0]], equal_nan=True)
    empty = plain_columns(b"", 5, [0, 2])
    assert empty is not None
    assert [part.size for part in empty] == [0, 0]


@given(st.lists(st.floats(-9e8, 9e8), min_size=1, max_size=30))
def test_whatever_a_recorder_writes_is_plain(numbers: list[float]) -> None:
    for write in (number_text, time_text):
        cells = [write(number) for number in numbers]
        read = column(*cells)
        assert read is not None
        assert [bits(number) for number in read] == [bits(float(cell)) for cell in cells]


decimals = st.from_regex(r"-?([0-9]{1,15}|[0-9]{0,8}\.[0-9]{1,7}|[0-9]{1,15}\.)", fullmatch=True)


@given(st.lists(decimals, min_size=1, max_size=30))
def test_every_plain_decimal_is_what_python_reads(cells: list[str]) -> None:
    read = column(*cells)
    assert read is not None
    assert [bits(number) for number in read] == [bits(float(cell)) for cell in cells]
