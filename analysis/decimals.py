"""Plain decimals out of the bytes of many rows at once: each cell's characters stand in two 64-bit numbers.

A cell is plain where it is empty (no reading: NaN) or ``-12.5``: digits, at most 15 of them, at most one point with at
most seven places behind it, at most one minus sign before. Digits and the power of ten are then exact in binary, and
one division rounds once: the result is the nearest double. Whatever is written otherwise is not judged here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
_Words = npt.NDArray[np.uint64]
_Places = npt.NDArray[np.int64]

_WORD = 8  # characters in one number
_MOST_DIGITS = 15  # below 2^53
_COMMA, _LINE_FEED, _MINUS = ord(","), ord("\n"), ord("-")
_U = np.uint64
_EACH = _U(0x0101010101010101)
_ZEROS, _TOP_BITS = _EACH * _U(ord("0")), _EACH * _U(0x80)
_POINTS = _EACH * _U(ord(".") ^ ord("0"))
_OVER_NINE = _EACH * _U(0x80 - 10)  # added to a byte, it sets the top bit of 10 and more
# Bytes of the last 0 to 8 characters of a word: the last character is the highest byte.
_LAST = np.array([((1 << 8 * k) - 1) << 8 * (_WORD - k) for k in range(_WORD + 1)], dtype=_U)
_BEHIND_POINT = _U(0x0706050403020100)  # places behind the point by the byte where it stands
_TENS = 10.0 ** np.arange(_WORD)


def plain_columns(rows: bytes, cells: int, wanted: Sequence[int]) -> list[FloatArray] | None:
    """Numbers of the columns ``wanted`` of whole rows of ``cells`` cells each; None where one is not plain."""
    padded = b"\n" * (2 * _WORD) + rows
    letters = np.frombuffer(padded, np.uint8, offset=2 * _WORD)
    ends = np.flatnonzero(letters <= _COMMA)  # commas, line feeds, and what has no place in a plain row
    pattern = bytes([_COMMA] * (cells - 1) + [_LINE_FEED])
    if letters[ends].tobytes() != pattern * (ends.size // cells):
        return None
    found: list[FloatArray] = []
    for column in wanted:
        end = ends[column::cells]
        begin = ends[column - 1 :: cells] if column else np.concatenate(([-1], ends[cells - 1 : -1 : cells]))
        numbers = _numbers(padded, end, begin + 1)
        if numbers is None:
            return None
        found.append(numbers)
    return found


def _numbers(padded: bytes, end: _Places, begin: _Places) -> FloatArray | None:
    """Numbers of the cells from ``begin`` to ``end``; a minus sign is looked for only where something was odd."""
    width = end - begin
    numbers = _unsigned(padded, end, width)
    if numbers is None:
        minus = np.frombuffer(padded, np.uint8, offset=2 * _WORD)[begin] == _MINUS
        if not minus.any() or bool((minus & (width == 1)).any()):
            return None
        numbers = _unsigned(padded, end, width - minus)
        if numbers is not None:
            np.negative(numbers, out=numbers, where=minus)
    if numbers is not None and not width.all():
        numbers[width == 0] = np.nan
    return numbers


def _unsigned(padded: bytes, end: _Places, width: _Places) -> FloatArray | None:
    """Numbers without a sign that end before ``end``; None where one is not plain."""
    longest = int(width.max(initial=0))
    if longest > 2 * _WORD:
        return None
    characters = _last_characters(padded, _WORD, end, np.minimum(width, _WORD) if longest > _WORD else width)
    is_point = _zero_bytes(characters ^ _POINTS)
    pointed = is_point != 0
    # A word with no point has "all bytes before it" set, and nothing behind.
    point = is_point >> _U(7)
    before = point - _U(1)
    behind = ~((before << _U(8)) | _U(0xFF))
    digits = np.where(pointed, ((characters & before) << _U(8)) | (characters & behind), characters)
    if _odd(digits) or bool((pointed & (width == 1)).any()):
        return None
    whole = _value(digits)
    if longest > _WORD:
        first = _last_characters(padded, 0, end, np.maximum(width - _WORD, 0))
        if _odd(first) or int((width - pointed).max()) > _MOST_DIGITS:
            return None
        whole += _value(first) * np.where(pointed, _U(10**7), _U(10**8))
    places = (point * _BEHIND_POINT) >> _U(56)
    return whole.view(np.int64) / _TENS[places.view(np.int64)]


def _last_characters(padded: bytes, offset: int, end: _Places, width: _Places) -> _Words:
    """Eight bytes each, 0 to 9 where a digit stood; zero before the last ``width`` characters."""
    words = np.ndarray((len(padded) - _WORD - offset + 1,), "<u8", padded, offset=offset, strides=(1,))
    taken: _Words = (words[end] ^ _ZEROS) & _LAST[width]
    return taken


def _zero_bytes(words: _Words) -> _Words:
    """The top bit of each byte that is zero; of a 1 above a zero as well, which then is no digit either."""
    return (words - _EACH) & ~words & _TOP_BITS


def _odd(digits: _Words) -> bool:
    """Whether any byte is no digit."""
    return bool((((digits + _OVER_NINE) | digits) & _TOP_BITS).any())


def _value(digits: _Words) -> _Words:
    """The number that eight digits make: pairs, then fours, then all, each by one multiplication."""
    pairs = digits * _U(10) + (digits >> _U(8))
    lane = _U(0x000000FF000000FF)
    upper = (pairs & lane) * _U(100 + (1_000_000 << 32))
    lower = ((pairs >> _U(16)) & lane) * _U(1 + (10_000 << 32))
    return (upper + lower) >> _U(32)
