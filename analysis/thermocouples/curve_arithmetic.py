"""Arithmetic of the thermocouple functions for arrays.

Values go through in blocks that stay in the processor's cache; the inverse starts from a table made of the forward
function itself and is polished on that function.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.thermocouples.coefficients import REFERENCE_FUNCTIONS

FloatArray = npt.NDArray[np.float64]

B_LOWEST_MV = 0.291  # published start of the inverse of type B; below it one emf has two temperatures
PRINTED_HALF_DIGIT_MV = 0.0005  # the printed tables' last entries may stand this much beyond the exact end
_BLOCK = 8192
_CELLS = 16384
_SOLVED_C = 2e-10
_MOST_STEPS = 6
# Near -270 degC the published polynomials lose six digits in floating point (terms of 1e5 mV make 6 mV) where a
# degree is less than 0.001 mV; about this centre they do not.
_COLD_C = -120.0
_COLD_CENTRE_C = -200.0


@dataclass(frozen=True)
class CurveRow:
    """One piece with the input range (``low``, ``high``] that it serves, and what it does to a block."""

    low: float
    high: float
    work: Callable[[FloatArray], FloatArray]


def in_blocks(values: npt.ArrayLike, rows: tuple[CurveRow, ...]) -> FloatArray:
    """Work through the values block by block; NaN where no row serves them."""
    given = np.asarray(values, dtype=np.float64)
    flat = np.ascontiguousarray(given).ravel()
    out = np.empty_like(flat)
    for start in range(0, flat.size, _BLOCK):
        block = flat[start : start + _BLOCK]
        out[start : start + _BLOCK] = _one_block(block, rows)
    return out.reshape(given.shape)


def _one_block(block: FloatArray, rows: tuple[CurveRow, ...]) -> FloatArray:
    """Evaluate one block, row by row; a block that one row serves whole needs no picking."""
    lowest, highest = block.min(), block.max()
    for row in rows:
        if lowest > row.low and highest <= row.high:
            return row.work(block)
    out = np.full_like(block, np.nan)
    for row in rows:
        at = ((block > row.low) & (block <= row.high)).nonzero()[0]
        if at.size:
            out[at] = row.work(block.take(at))
    return out


def forward(temp_c: npt.ArrayLike, kind: str) -> FloatArray:
    """E(t) against 0 degC [mV], NaN outside."""
    return in_blocks(temp_c, temperature_rows(kind))


@cache
def pieces_of(kind: str) -> tuple[Function, ...]:
    """Published pieces; below -120 degC written about another centre, for the sake of rounding."""
    out: list[Function] = []
    for piece in REFERENCE_FUNCTIONS[kind]:
        low_c = piece.low_c
        if low_c < _COLD_C:
            out.append(Function(low_c, _COLD_C, _about(piece.coefficients, _COLD_CENTRE_C), _COLD_CENTRE_C))
            low_c = _COLD_C
        out.append(Function(low_c, piece.high_c, piece.coefficients, 0.0, piece.exponential))
    return tuple(out)


def _about(coefficients: tuple[float, ...], centre_c: float) -> tuple[float, ...]:
    """Coefficients of the same polynomial in powers of (t - centre), exactly, then rounded once."""
    shifted = [Fraction(0)]
    for c in reversed(coefficients):  # Horner with the polynomial (t - centre) + centre
        longer = [Fraction(0), *shifted]
        for power, value in enumerate(shifted):
            longer[power] += value * Fraction(centre_c)
        longer[0] += Fraction(c)
        shifted = longer
    return tuple(float(c) for c in shifted[: len(coefficients)])


@dataclass(frozen=True)
class Function:
    """One piece of a reference function, in powers of (t - ``centre_c``)."""

    low_c: float
    high_c: float
    coefficients: tuple[float, ...]
    centre_c: float
    exponential: tuple[float, float, float] | None = None

    def emf(self, temp_c: FloatArray) -> FloatArray:
        """E(t) [mV]."""
        out = _horner(temp_c - self.centre_c if self.centre_c else temp_c, self.coefficients)
        if self.exponential is not None:
            out += self._bump(temp_c, self.exponential)
        return out

    def slope(self, temp_c: FloatArray) -> FloatArray:
        """Slope dE/dt [mV/degC]."""
        derivative = tuple(k * c for k, c in enumerate(self.coefficients) if k)
        out = _horner(temp_c - self.centre_c, derivative)
        if self.exponential is not None:
            _, a1, a2 = self.exponential
            out += self._bump(temp_c, self.exponential) * (2 * a1 * (temp_c - a2))
        return out

    @staticmethod
    def _bump(temp_c: FloatArray, exponential: tuple[float, float, float]) -> FloatArray:
        """Exponential term a0 exp(a1 (t - a2)^2) of type K above 0 degC [mV]."""
        a0, a1, a2 = exponential
        out = temp_c - a2
        out *= out
        out *= a1
        np.exp(out, out=out)
        out *= a0
        return out


def _horner(x: FloatArray, coefficients: tuple[float, ...]) -> FloatArray:
    """Polynomial in one array, in place."""
    out = x * coefficients[-1]
    for c in coefficients[-2:0:-1]:
        out += c
        out *= x
    out += coefficients[0]
    return out


@cache
def temperature_rows(kind: str, of: Literal["emf", "slope"] = "emf") -> tuple[CurveRow, ...]:
    """Rows over temperature; a boundary belongs to the piece below it (type K is exactly 0 mV at 0 degC)."""
    rows = []
    for index, piece in enumerate(pieces_of(kind)):
        low = float(np.nextafter(piece.low_c, -np.inf)) if index == 0 else piece.low_c
        rows.append(CurveRow(low, piece.high_c, getattr(piece, of)))
    return tuple(rows)


@cache
def inverse_rows(kind: str) -> tuple[CurveRow, ...]:
    """Rows over emf; the outer ones are widened by half a printed digit, except where type B is refused."""
    pieces = pieces_of(kind)
    rows: list[CurveRow] = []
    for index, piece in enumerate(pieces):
        low_mv, high_mv = (float(e) for e in piece.emf(np.array([piece.low_c, piece.high_c])))
        if index > 0:
            low_mv = rows[-1].high
        elif kind == "B":
            low_mv = float(np.nextafter(B_LOWEST_MV, 0.0))
        else:
            low_mv -= PRINTED_HALF_DIGIT_MV
        if index == len(pieces) - 1:
            high_mv += PRINTED_HALF_DIGIT_MV
        rows.append(CurveRow(low_mv, high_mv, Inverse(piece, low_mv, high_mv)))
    return tuple(rows)


class Inverse:
    """Inverse of one piece: a table of the forward function gives the first guess, Newton the rest.

    The number of steps is found when the table is made, at three places in every cell, not for every value.
    """

    def __init__(self, piece: Function, low_mv: float, high_mv: float) -> None:
        self.piece = piece
        self.low_mv = low_mv
        self.per_mv = _CELLS / (high_mv - low_mv)
        nodes_mv = np.linspace(low_mv, high_mv, _CELLS + 1)
        nodes_c = self._solve_slowly(nodes_mv)
        self.guess_c = nodes_c[:-1].copy()
        self.rise_c = np.diff(nodes_c)
        between_mv = (nodes_mv[:-1, None] + np.array([0.2, 0.5, 0.8]) / self.per_mv).ravel()
        true_c = np.clip(self._solve_slowly(between_mv), piece.low_c, piece.high_c)
        self.more_steps = 0
        while self.more_steps < _MOST_STEPS and np.abs(self(between_mv) - true_c).max() > _SOLVED_C:
            self.more_steps += 1

    def _solve_slowly(self, emf: FloatArray) -> FloatArray:
        """Temperatures by interpolation in a fine table, then full Newton steps [degC]."""
        grid_c = np.linspace(self.piece.low_c, self.piece.high_c, 4 * _CELLS)
        grid_mv = self.piece.emf(grid_c)
        start = int(np.argmin(grid_mv))  # type B only: from the lowest emf upward
        temp_c = np.interp(emf, grid_mv[start:], grid_c[start:])
        for _ in range(4):
            step = (self.piece.emf(temp_c) - emf) / self.piece.slope(temp_c)
            temp_c = temp_c - step
        return temp_c

    def __call__(self, emf: FloatArray) -> FloatArray:
        """Temperature of each emf [degC]: the table's slope serves for the first step, the true one after it."""
        place = emf - self.low_mv
        place *= self.per_mv
        cell = place.astype(np.intp)
        place -= cell
        c_per_mv = self.rise_c.take(cell, mode="clip")
        temp_c = place
        temp_c *= c_per_mv
        temp_c += self.guess_c.take(cell, mode="clip")
        c_per_mv *= self.per_mv
        temp_c -= c_per_mv * (self.piece.emf(temp_c) - emf)
        for _ in range(self.more_steps):
            temp_c -= (self.piece.emf(temp_c) - emf) / self.piece.slope(temp_c)
        return np.clip(temp_c, self.piece.low_c, self.piece.high_c, out=temp_c)
