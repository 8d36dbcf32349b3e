"""Cells of tables that a spreadsheet will open."""

from __future__ import annotations

import re
from typing import Any

_RUNS = ("=", "+", "-", "@", "\t", "\r")  # what spreadsheets take for the beginning of a formula
_NUMBER = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?")


def defused(cell: Any) -> Any:
    """A text that a spreadsheet would run as a formula, with an apostrophe before it; everything else as it is.

    >>> defused("=1+1")
    "'=1+1"
    >>> defused("-78")
    '-78'
    """
    if isinstance(cell, str) and cell.startswith(_RUNS) and not _NUMBER.fullmatch(cell):
        return "'" + cell
    return cell
