"""Names of pieces as they are typed, with ranges."""

from __future__ import annotations

import re
from collections.abc import Sequence

from soakwitness.firmware_bridge.errors import RunFolderError

LONGEST_RANGE = 1000
_RANGE = re.compile(r"(?P<stem>.*?)(?P<first>\d+)\.\.(?P<last_stem>.*?)(?P<last>\d+)")
LONGEST_NAME = 60
_NAME = re.compile(r"(?![-=+@])[^\s,;*?\"'`\\/<>|]+")  # the first sign: options of a command, formulas of a spreadsheet


def spelled_out(names: Sequence[str]) -> tuple[str, ...]:
    """Write out ranges such as ``B-041..B-052`` or ``B-041..052``; each name once, in order.

    Raises RunFolderError if a range goes down or is longer than 1,000, or a name is too long, begins
    as an option or a formula does, or holds blanks or signs that a shell or file trips over.
    """
    found: list[str] = []
    for name in names:
        if ".." in name:
            found += _range(name)
        else:
            found.append(name)
    for name in found:
        if not is_name(name):
            shown = name if len(name) <= LONGEST_NAME else name[:20] + "..."
            raise RunFolderError(
                f"{shown!r} cannot be a piece's name: use letters, digits, '-', '_' and '.', at most {LONGEST_NAME} of "
                "them, no blanks, and no '-', '=', '+' or '@' first."
            )
    return tuple(dict.fromkeys(found))


def is_name(name: str) -> bool:
    """Whether this can be a piece's name; marks of other programs may name pieces otherwise."""
    return _NAME.fullmatch(name) is not None and len(name) <= LONGEST_NAME


def _range(text: str) -> list[str]:
    if len(text) > 2 * LONGEST_NAME + 2:
        raise RunFolderError(f"{text[:20] + '...'!r} is no range. Write it as B-041..B-052.")
    match = _RANGE.fullmatch(text)
    if match is None or match["last_stem"] not in ("", match["stem"]):
        raise RunFolderError(f"{text!r} is no range. Write it as B-041..B-052.")
    first, last = int(match["first"]), int(match["last"])
    if not first <= last < first + LONGEST_RANGE:
        raise RunFolderError(f"{text!r}: a range counts upward, over at most {LONGEST_RANGE} pieces.")
    width = len(match["first"])
    return [f"{match['stem']}{number:0{width}d}" for number in range(first, last + 1)]


def in_ranges(names: Sequence[str]) -> tuple[str, ...]:
    """Draw together what ``spelled_out`` writes out: three and more that count upward, as ``B-041..B-046``."""
    found: list[list[str]] = []
    for name in dict.fromkeys(names):
        if found and _next(found[-1][-1]) == name and len(found[-1]) < LONGEST_RANGE:
            found[-1].append(name)
        else:
            found.append([name])
    drawn = ([f"{group[0]}..{group[-1]}"] if len(group) > 2 else group for group in found)
    return tuple(name for group in drawn for name in group)


def _next(name: str) -> str | None:
    """The name that counts on from this one with as many digits; None where it ends in none."""
    stem, digits = re.fullmatch(r"(.*?)(\d*)", name, re.S).groups()  # type: ignore[union-attr]
    if not digits or len(digits) > LONGEST_NAME or ".." in name:
        return None
    return f"{stem}{int(digits) + 1:0{len(digits)}d}"


def counting(name: str) -> tuple[tuple[str, int], ...]:
    """Sort key by which ``B-9`` comes before ``B-10``, upper and lower case alike."""
    parts = re.findall(r"(\D*)(\d*)", name.casefold())
    return tuple((text, int(digits) if digits else -1) for text, digits in parts)
